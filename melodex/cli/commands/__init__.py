"""The commands, one file each, loaded only when called.

In: words of a command line. Out: one call of a task, and its result shown.

A file is named like its command, and its function is called ``command``.
Read first: any; ``resemble`` is a plain one.
"""
