"""What a corpus holds, and how it is kept in order.

In: a corpus. Out: lists, counts, tags, duplicates, and the state of the file.

``holdings`` lists, counts, tags and removes; ``duplicates`` finds tunes that stand twice;
``upkeep`` checks, repairs and copies; ``undo`` takes back what was done, ``held`` keeps
words whose place is gone until it is back. Read first: ``holdings``.
"""
