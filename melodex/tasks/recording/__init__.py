"""What a musician asks with a recording: which tunes it resembles, and how right it is.

In: what was heard, and a corpus or a passage of a teaching set. Out: frozen records.

``recording`` asks every reading of a sound at once; ``marking`` lays what was sung back
against the passage, note against note. Read first: ``recording``.
"""
