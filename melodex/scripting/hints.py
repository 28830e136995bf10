"""What to try, in the words of Python: calls and their arguments.

Contents: HINTS, advised.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from melodex.errors import MelodexError

__all__ = ["HINTS", "advised"]

HINTS = {
    "add any": "corpus.add(...) with any file of it works them out anew",
    "add tunes": "corpus.add(folder) puts tunes into it",
    "check": "corpus.check() says what is damaged",
    "check, then add": "corpus.check() says what is damaged; add these files again",
    "choose notation": "say which with notation=...",
    "find title": "corpus.tunes(title=part) finds tunes by a part of their title",
    "gather chords": "corpus.gather(progression=...) finds chords, in any key",
    "keep passages": "lesson.keep(...) puts some into it",
    "list sources": "corpus.tunes() shows sources and collections",
    "list tunes": "corpus.tunes() shows what is in the corpus",
    "look at set": "print(corpus.lesson(name)) says which have changed",
    "make corpus": "corpus.add(folder) makes one",
    "make set": "corpus.new_lesson(name) makes one",
    "name feature": "name a feature, such as device='borrowed chord'",
    "other corpus": "melodex.open(path) opens another file",
    "other folder for work": "name another with work=",
    "read recordings": "save it as WAV, or install melodex[listen]",
    "replace": "name another file, or replace it with force=True",
    "replace read-only": "replace it with force=True",
}
"""By the name of the remedy; see :data:`melodex.errors.REMEDIES`."""


@contextmanager
def advised() -> Iterator[None]:
    """Add to an error what Python offers, as a note under its message (PEP 678)."""
    try:
        yield
    except MelodexError as error:
        note = HINTS.get(error.remedy)
        if note and note not in getattr(error, "__notes__", ()):
            error.add_note(note)
        raise
