"""ABC text (standard 2.1) becomes melodies.

In: decoded text of one or many tunes. Out: a ``FileReading``: tunes, warnings with line
and column, refusals.

``reader`` goes through a file; ``file`` and ``header`` part it; ``tokens`` and ``music``
read the notes, with ``pitch``, ``time``, ``bars``, ``voices``, ``words`` and ``fields``
for what their names say; ``faults`` words what was not understood. Read first: ``reader``.
"""
