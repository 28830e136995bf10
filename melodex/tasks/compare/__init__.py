"""compare: what exactly two passages share, and where they part.

In: two passages. Out: a ``Comparison``, pairs of notes with what they are to each other.

``compare`` lays them over each other and says it in sentences; ``shared_passages`` finds
what two whole tunes have in common. Read first: ``compare``.
"""
