"""How many matches as good chance would bring.

In: a phrase, and a sample of the corpus that it is searched in.
Out: the number of matches expected by chance at any number of points.

``sample`` draws the tunes and aligns them with phrases that are nobody's; ``fit`` fits
the law of extreme values to what they give. Read first: ``fit``.
"""
