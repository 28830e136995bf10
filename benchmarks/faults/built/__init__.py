"""Inputs that mean harm, built and not changed from real ones.

In: a kind and a number. Out: the bytes of an input, the same each time.
``broken`` breaks formats, ``scores`` and ``by_bytes`` keep to them and cost.
Read first: ``broken``.
"""
