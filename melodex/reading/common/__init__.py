"""What the readers of several notations share.

``chord_text`` tells a chord symbol from other words, ``fermatas`` makes phrases of held
notes, ``parts`` holds a part of a score as written, ``carried`` takes what an export of
ours says beside its notation.

Read first: ``carried``.
"""
