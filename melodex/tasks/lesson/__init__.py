"""Teaching sets: kept, arranged, asked about, packed.

In: finds of the other tasks. Out: sets with passages, labels, questions and answers.

``sets`` makes and edits them; ``keeping`` takes finds in; ``labels`` says what each
shows, ``measures`` how hard it is, ``order`` arranges, ``questions`` chooses a worksheet's
questions of those that ``asking`` makes; ``file`` packs and unpacks, ``checks`` proves
what was unpacked, ``state`` says what has changed since. Read first: ``sets``.
"""
