"""What ``melodex lesson`` does: a file of commands for sets, passages, and papers.

In: words of a command line. Out: one call of a task, and its result shown.

``sets`` makes and lists them, ``passages`` keeps and orders what is in one, ``papers``
prints, plans, marks and packs one. Read first: ``sets``.
"""
