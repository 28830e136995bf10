"""MusicXML written: a passage, a comparison or some staves, for a notation program.

In: melodies, as staves. Out: the text of a partwise document.

``document`` puts a document together, ``part`` writes the measures of a part, ``elements``
single elements. Read first: ``document``.
"""
