"""Which pieces and passages show a feature.

In: a wish (``wish``). Out: tunes and passages that meet it.

``gather`` is the task; ``whole`` asks of whole tunes, ``places`` finds the bars,
``progressions`` searches chords, ``reasons`` says why no tune was found, ``counts`` what
could be wished for. Read first: ``wish``, then ``gather``.
"""
