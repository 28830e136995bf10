"""What can be asked of a corpus and of a teaching set, parted by task.

Each module holds one class with the calls for its task; :class:`melodex.Corpus` and
:class:`melodex.Lesson` are made of them. A call opens the file, asks one function of
:mod:`melodex.tasks`, and returns a result; what it is asked with stands in its docstring,
which is what ``help`` shows.

Of a corpus: ``contents`` (what is in it, put in and taken out), ``searching`` (phrases and
features), ``comparing`` (tunes with one another, audits, families), ``describing`` (one
piece), ``keeping`` (remarks, teaching sets, copies). Of a teaching set: ``held_set`` (what
it holds) and ``sheets`` (what is given out). Read first: ``contents``.
"""
