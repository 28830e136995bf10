"""The work on packed notes, in compiled code or in numpy, with the same answers.

In: chunks of the corpus, a phrase, the costs of alignment.
Out: upper bounds, exact points, alignments, tunes that hold a figure.

``choice`` says which engine serves; ``compiled`` is the skin of ``_kernel.c``,
``numpy_engine`` and ``lanes`` are its twin; ``alignment`` traces pairs; ``passes`` goes
over all chunks of a corpus. Read first: ``alignment``, then ``choice``.
"""
