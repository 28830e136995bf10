"""Looking after a corpus: checked, repaired, copied, brought up to date.

In: a corpus file, whole or damaged.
Out: findings (``checking``, by ``soundness`` of single things), a file with what could be
saved (``repairing``, of the ``remains`` by ``salvage``), a consistent copy while others
write (``copying``), a file of the present schema (``migrations``).

Nothing here changes a file before a copy of it is safe.
Read first: ``checking``.
"""
