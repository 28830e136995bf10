"""What speaks for a match beyond its points.

In: a phrase and the tunes that the exact search found.
Out: features of each match and the order by all of them.

``features`` measures, ``ranking`` weighs; ``ngrams`` and ``figures`` count what is
shared and how rare it is, ``commonness`` words it as a stock figure or none,
``kinship`` says how alike two whole tunes are, ``as_sung`` how near a tune lies to what was
sung. Read first: ``features``.
"""
