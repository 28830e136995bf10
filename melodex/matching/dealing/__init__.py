"""Work dealt out: here, to processes of this machine, or to an existing Dask cluster.

In: a function of a module and what it is to be called with, many times. Out: what it gave,
in order, whoever did it.

``dealer`` says what a dealer is, works here and by processes, and keeps results so that
work can be stopped and gone on with; ``cluster`` is the home of dask.distributed, which is
imported only for a scheduler's address; ``exchange`` is kinship of all tunes, dealt out.
Read first: ``dealer``.
"""
