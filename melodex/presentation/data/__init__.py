"""Results as JSON and CSV.

In: the record of any task. Out: text of JSON or CSV, always the same for the same
record. ``forms`` picks the form; the other files hold one task each, ``values`` what
they share. Read first: ``forms``.
"""
