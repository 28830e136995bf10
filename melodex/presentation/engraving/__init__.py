"""Music as a picture.

In: melodies and their comparison. Out: SVG, one system after another, with degrees,
chords and marks under and over the notes.

``pictures`` is what others call; ``layout`` decides bars and rows, ``long_bars`` parts
what no system holds, ``mei`` writes them for verovio, which ``engraver`` runs,
``mei_texts`` their texts in the letters of ``words``, which also say a picture in words;
``sheet`` tidies what it returns, ``drawing`` and ``marks`` draw on it; ``fragments`` are
the pictures of the local page.

Read first: ``pictures``.
"""
