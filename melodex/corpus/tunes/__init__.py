"""What a corpus tells of its tunes.

In: an opened corpus, and tune ids or what a person calls a tune.
Out: melodies, rows as lists show them, and the particulars of one tune.

``tune_rows`` has the rows and the lines of a piece; ``melodies`` rebuilds melodies, with
the keys that they were read in; ``titles`` finds tunes by name and lists them;
``particulars`` says where a tune was read, from what, what was not understood and what was
remarked. Read first: ``tune_rows``.
"""
