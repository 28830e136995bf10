"""What is in a piece.

In: a tune or a passage. Out: keys, form, harmony, degrees and finds, each with its bars.

``describe`` is the task; ``sentences`` words what analysis found; ``surroundings`` puts the
other lines of its piece around a passage. Read first:
``describe``.
"""
