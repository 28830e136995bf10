"""The pages of the workbench, one file each.

In: a request, read by ``asking``. Out: a page or a part of one.

``find`` (a phrase and its matches), ``tune`` (one tune, and two side by side), ``own``
(an audit), ``gather``, ``sets`` (teaching sets), ``shelf`` (the corpus), ``work`` (what
is being done). Read first: ``find``.
"""
