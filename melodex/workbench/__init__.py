"""The local page, a door onto tasks.

In: requests of a browser on this machine. Out: pages, fragments, files.

``serving`` starts it, ``app`` names the routes, ``guard`` lets in only who carries the
key of the run, ``asking`` reads a request, ``bench`` holds the corpus, ``ticked`` finds a
row of a result again, ``work`` does long work in the background; ``views`` has one file for
each page. Read first: ``app``.
"""
