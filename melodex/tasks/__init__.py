"""One task for each thing that a musician asks.

In: an opened corpus and plain values. Out: frozen records that ``presentation`` shows.

``resemble``, ``compare``, ``audit``, ``describe``, ``gather`` and ``lesson`` are the six
questions; ``adding`` and ``collection`` keep the corpus; ``passage`` finds the notes
that are meant, ``tune_file`` those of a file; ``demo`` asks the questions of invented
tunes. In a folder, the file named like it is read first. Both doors, ``cli`` and
``workbench``, call these and nothing else.
"""
