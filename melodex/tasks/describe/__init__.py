"""What is in a piece.

In: a tune or a passage. Out: keys, form, harmony, degrees and finds, each with its bars.

``describe`` is the task; ``grid`` has the bars with what starts in each, ``finds`` what is
worth telling and how rare it is; ``sentences`` words what analysis found; ``surroundings``
puts the other lines of its piece around a passage. Read first: ``describe``.
"""
