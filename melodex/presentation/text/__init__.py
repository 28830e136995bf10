"""Results as text for a terminal.

In: the record of any task, and a style (width, signs, colour). Out: lines of text.

``forms`` picks the text; the other files hold one task each; ``style`` breaks lines,
``staves`` sets notes in columns, ``words`` makes text of strangers safe to print.
Read first: ``forms``.
"""
