"""compare: what exactly two passages share, and where they part.

In: two passages. Out: a ``Comparison``, pairs of notes with what they are to each other.

``compare`` lays them over each other, ``likeness`` says what each note is to its partner,
and ``sentences`` says it of the whole; ``shared_passages`` finds what two whole tunes have
in common. Read first: ``compare``.
"""
