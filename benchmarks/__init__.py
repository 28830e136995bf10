"""What is measured, by question; ``python -m benchmarks`` names everything there is.

``speed`` how fast; ``reading`` whether files are read as others read them; ``retrieval``
whether kin are found; ``chance`` whether expected numbers are right, and the audit that
rests on them; ``analysis`` whether keys, chords and form are right; ``pages`` what is
drawn, printed and served; ``faults`` what breaks; ``shards`` whether shards give the
answers of one file, and what they cost.

In: the installed package, tunes that music21 installs, invented ones. Out: figures on
the screen and, with ``--keep NAME``, files in ``runs/<date>-<NAME>``. Read
``keeping.py`` first, then ``material.py``: the tunes that several of them use.
"""
