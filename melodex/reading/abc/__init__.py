"""ABC text (standard 2.1) becomes melodies.

In: decoded text of one or many tunes. Out: a ``FileReading``: tunes, warnings with line
and column, refusals.

``reader`` goes through a file, ``file`` and ``header`` part it; ``voices`` and ``lines``
say which voices there are and which is the melody; ``tune`` reads one of them, its fields
by ``fields`` and its music by ``voice/``; ``faults`` words what was not understood.

Read first: ``reader``.
"""
