"""Rows of tunes and places, written inside a transaction that somebody else begins.

In: rows as ``preparing`` makes them.
Out: statements put to the files of a corpus.

``row_writer`` writes one tune or place; ``places`` takes places out; ``lines`` brings lines
of a piece together; ``packing`` keeps the notes for matching and ``words`` the index of
words; ``tables`` makes what an empty corpus has. Read first: ``row_writer``.
"""
