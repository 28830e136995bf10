"""Reading files and folders into a corpus.

In: paths, or bytes handed over by the local page. Out: what was added, unchanged,
replaced and refused, with reasons.

``add`` is the task; ``pool`` reads in several processes, ``parts`` parts large files,
``walking`` goes through folders, ``going_on`` keeps what was read of them,
``handed`` takes what a page hands over. Read first: ``add``.
"""
