"""Putting tunes into a corpus.

In: tunes as ``reading`` gives them.
Out: rows, facets and chunks, written in whole transactions.

``preparing`` works out everything that a tune brings, in any process; ``holding`` opens
the files and waits for a turn; ``rows`` writes one thing at a time; ``putting_in``,
``removing`` and ``remarks`` make a change of them, which ``taken_out``,
``putting_back`` and ``putting_sets_back`` undo; ``lesson_changes`` tells what one change
did to a teaching set; ``store`` opens a corpus for all of it. Read first: ``store``.
"""
