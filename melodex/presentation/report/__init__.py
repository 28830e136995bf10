"""Results as pages and as paper.

In: the record of any task. Out: one HTML file that asks nobody else, or a tagged PDF.

``forms`` picks the report, ``page`` is the frame, ``blocks`` and ``charts`` its parts,
``audit`` and ``describe`` the two larger reports; ``paper`` sets the PDF by typst.
Read first: ``forms``.
"""
