"""What is asked of a class: questions with answers that were reached twice.

In: the passages of a set with their labels. Out: questions, each with its accepted
answers and one sentence of why.

``records`` says what a question is; ``proofs`` is the second way to every answer;
``cutting`` brings passages to what a line of paper holds and leaves doubles out;
``focus`` finds the notes and chords that a set is about. ``plain`` asks what any passage
can be asked, ``topical`` what the set is about, ``returning`` to go on, ``aloud``
to sing and to hear, ``pairs`` and ``beside`` about two passages and ``relatives`` about
the corpus. Read first: ``records``.
"""
