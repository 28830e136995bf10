"""A melody becomes what a musician would say of it.

In: a :class:`~melodex.melody.Melody`, with its chord symbols, marks and metre.
Out: keys and where they change (``keys``), chords with their numerals, cadences and
devices (``harmony``), sections, phrases and figures (``form``), degrees of the scale
(``degrees``), the eights that songs are counted in (``eights``); all of it together is a
piece (``piece``).

Nothing here reads a file or a corpus, and nothing is worded for a screen.
Read first: ``piece``, which calls the rest in order.
"""
