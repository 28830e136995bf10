"""What was done on the pages of this run, and how each of it is undone.

Conventions: whoever changes something under the bench's lock notes it here, with the
number by which the corpus keeps what was taken out, or with a way of its own. Words that
are written down again and again are one deed until something else is done, since pages
save them at every pause.

Contents: Deed, Deeds, changing, undo_deed.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from melodex.corpus.lessons import ExampleRow, LessonRow, example_rows, lesson_rows
from melodex.corpus.reader import Corpus
from melodex.errors import CorpusError

__all__ = ["Deed", "Deeds", "Doing", "changing", "undo_deed"]

MOST_DEEDS = 200
WORDS = "words"


@dataclass(slots=True)
class Deed:
    """Something that was done.

    Parameters
    ----------
    id : int
        Counts from 1 in this run.
    kind : str
        ``words`` where only words were written; anything else for the rest.
    words : str
        What was done, in a sentence.
    back : str
        The address of the page where it was done.
    number : int or None
        By which the corpus undoes it.
    last_number : int
        Of the last change of the corpus that it made.
    undoing : callable or None
        Undoes it where the corpus keeps nothing of it: something was made.
    at : str
        The time, in UTC.
    is_undone : bool
        Whether that has been done.
    """

    id: int
    kind: str
    words: str
    back: str
    number: int | None = None
    undoing: Callable[[], None] | None = None
    at: str = field(default_factory=lambda: datetime.now(UTC).isoformat(timespec="seconds"))
    is_undone: bool = False
    last_number: int = 0

    @property
    def can_be_undone(self) -> bool:
        """Whether there is a way back."""
        return not self.is_undone and (self.number is not None or self.undoing is not None)


class Deeds:
    """The deeds of a run, the latest last."""

    def __init__(self) -> None:
        self.kept: OrderedDict[int, Deed] = OrderedDict()
        self.count = 0

    def note(self, deed: Deed) -> Deed:
        """Keep a deed, under the next id; words join those just before them."""
        last = next(reversed(self.kept.values()), None)
        if last and deed.kind == last.kind == WORDS and last.words == deed.words:
            last.back, last.last_number = deed.back, deed.last_number
            return last
        self.count += 1
        deed.id = self.count
        self.kept[deed.id] = deed
        while len(self.kept) > MOST_DEEDS:
            self.kept.popitem(last=False)
        return deed

    def find(self, text: str) -> Deed | None:
        """The deed of an id as an address carries it, None where there is none."""
        return self.kept.get(int(text)) if text.isdecimal() and len(text) < 9 else None

    def latest(self) -> list[Deed]:
        """All of them, the latest first."""
        return list(reversed(self.kept.values()))


def last_number(corpus_path: Path) -> int:
    """The number of the last change that can be undone, 0 where there is none."""
    from melodex.tasks.collection.undo import what_was_done

    if not corpus_path.exists():
        return 0
    with Corpus.open(corpus_path) as corpus:
        known = what_was_done(corpus)
    return known[0].number if known and known[0].can_be_undone else 0


@dataclass(slots=True)
class Doing:
    """What is filled in while something is done: how to say it, and how to undo it."""

    words: str = ""
    back: str = "/"
    kind: str = ""
    undoing: Callable[[], None] | None = None
    deed: Deed | None = None


@contextmanager
def changing(corpus_path: Path, deeds: Deeds) -> Iterator[Doing]:
    """Note what is done inside, if anything was and words are given for it."""
    before = last_number(corpus_path)
    doing = Doing()
    yield doing
    after = last_number(corpus_path)
    # The first number leads back to before all of it, where there were several changes.
    number = before + 1 if after > before else None
    if doing.words and (number is not None or doing.undoing is not None):
        made = Deed(0, doing.kind, doing.words, doing.back, number, doing.undoing)
        made.last_number = after
        doing.deed = deeds.note(made)


# Undoing


def undo_deed(corpus_path: Path, deed: Deed) -> None:
    """Undo a deed.

    Raises
    ------
    CorpusError
        If that was done already, or nothing is kept of it.
    """
    if not deed.can_be_undone:
        raise CorpusError("that has been undone already", hint="see what was done")
    if deed.undoing is not None:
        deed.undoing()
    else:
        undo_number(corpus_path, deed.number or 0, keeps_words=deed.kind != WORDS)
    deed.is_undone = True


def undo_number(corpus_path: Path, number: int, *, keeps_words: bool) -> None:
    """Undo a change of the corpus; notes in sets stay as they are where that is wanted."""
    from melodex.tasks.collection.undo import undo
    from melodex.tasks.lesson.words import keep_words

    before = sets_of(corpus_path)
    done = undo(corpus_path, number)
    if not keeps_words:
        return
    after = {row.name: row.id for row, _ in sets_of(corpus_path).values()}
    for name in done.sets:
        if after.get(name) in before:
            keep_words(corpus_path, name, before[after[name]][1])


def sets_of(corpus_path: Path) -> dict[int, tuple[LessonRow, list[ExampleRow]]]:
    """Every set with its passages, by row number."""
    with Corpus.open(corpus_path) as corpus:
        return {
            row.id: (row, example_rows(corpus, row.id)) for row, _ in lesson_rows(corpus)
        }
