"""Python calls: every task from a script or a notebook, in as few words as a command.

In goes what a person would type: paths as text or ``PathLike``, titles, phrases, bars.
Out come results that say themselves in short (``repr``), as the command prints them
(``str``), as plain data, and, in a notebook, as engraved music with a table. This is the
third door beside the command line and the page: no music is decided here. Stable names
are those that ``melodex/__init__.py`` lists; import them from there.

Read first: ``corpus``, then ``calls`` and ``results``, both parted by task. Contents:
``opening`` (open, read, and what needs no corpus), ``tune``, ``lesson``, ``notebook``
(pictures), ``bridge`` (music21).
"""
