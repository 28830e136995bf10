"""Holding the files of a corpus while they are written.

In: a path.
Out: connections, and a turn at them that others wait for.

``journal`` opens a file and waits; ``parts`` has it open; ``turns`` begins and ends a
change of one file, or of several together. Read first: ``turns``.
"""
