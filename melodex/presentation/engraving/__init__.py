"""Music as a picture.

In: melodies and their comparison. Out: SVG, one system after another, with degrees,
chords and marks under and over the notes.

``pictures`` is what others call; ``layout`` decides bars and rows, ``mei`` writes them
for the engraver verovio, ``svg`` and ``marks`` draw on what it returns; ``fragments``
are the pictures of the local page. Read first: ``pictures``.
"""
