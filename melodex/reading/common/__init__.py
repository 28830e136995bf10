"""What the readers of several notations share about single signs.

``chord_text`` tells a chord symbol from other words, ``fermatas`` makes phrases of held
notes, ``carried`` takes what an export of ours says beside its notation.

Read first: ``carried``.
"""
