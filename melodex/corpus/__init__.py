"""Melodies and their analysis, kept in one SQLite file.

In: melodies that were read, with the text they were read from.
Out: tunes, places, chunks of packed notes for matching, facets for gathering.

``schema`` says what the file holds; ``reader`` opens it for one question and
``connection`` how; ``tunes`` has what it tells of its tunes; ``chunks`` and ``packing``
lay out notes for matching; ``facets`` holds what analysis says; ``lessons`` holds teaching
sets; ``writing`` puts tunes in; ``care`` checks, mends, copies and migrates. Read first:
``schema``, then ``reader``.
"""
