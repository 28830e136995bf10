"""Putting tunes into a corpus.

In: tunes as ``reading`` gives them.
Out: rows, facets and chunks, written in whole transactions.

``preparing`` works out everything that a tune brings, in any process; ``row_writer``
and ``packing`` write it; ``journal`` opens the file and waits for a turn; ``store`` is
the one door to all of it. Read first: ``store``.
"""
