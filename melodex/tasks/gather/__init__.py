"""Which pieces and passages show a feature.

In: a wish (``wish``). Out: tunes and passages that meet it.

``gather`` is the task; ``places`` finds the bars, ``progressions`` searches chords,
``counts`` says what could be wished for. Read first: ``wish``, then ``gather``.
"""
