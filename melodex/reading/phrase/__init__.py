"""A phrase that a person typed becomes a melody.

In: text in any notation that is understood. Out: the phrase with the notation it was
taken for. ``reader`` recognises; ``signs``, ``names``, ``abc`` and ``rhythm`` read;
``faults`` carries what was wrong and where.
Read first: ``reader``.
"""
