"""Putting tunes into a corpus.

In: tunes as ``reading`` gives them.
Out: rows, facets and chunks, written in whole transactions.

``preparing`` works out everything that a tune brings, in any process; ``holding`` opens
the files and waits for a turn; ``rows`` writes one thing at a time; ``putting_in``,
``removing`` and ``remarks`` make a change of them, which ``taken_out`` and
``putting_back`` undo; ``store`` opens a corpus for all of it. Read first: ``store``.
"""
