"""What was done on the pages of this run, and how each of it is undone.

Conventions: whoever changes something under the bench's lock notes it here, with the
number by which the corpus keeps what was taken out, or, for a set, with what undoes just
that and leaves what was done since. Words that are written down again and again are one
deed until something else is done, since pages save them at every pause.

Contents: Deed, Deeds, changing, deleting, undo_deed.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from melodex.corpus.reader import Corpus
from melodex.corpus.schema import LAST_CHANGE
from melodex.errors import CorpusError

if TYPE_CHECKING:
    from melodex.tasks.lesson.undoing import Undoing

__all__ = ["Deed", "Deeds", "Doing", "changing", "deleting", "undo_deed"]

MOST_DEEDS = 200
"""Deeds that can be undone; older ones are forgotten; our choice."""
WORDS = "words"

Texts = tuple[int, dict[str, str], dict[str, str]]
"""A set by its row number, and its texts by their keys before and after."""
Choice = tuple[int, str, str]
"""A set by its row number, and which questions were chosen for it before and after."""


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
        Undoes it, where the corpus is not to be put back as a whole.
    texts : tuple of (int, dict, dict) or None
        Of words that were written: the set, what stood there before, and then.
    choice : tuple of (int, str, str) or None
        Of questions that were chosen or reworded: the set, and the plans before and after.
    at : str
        The time, in UTC.
    is_undone : bool
        Whether that has been done.
    again : callable or None
        Does it again where the corpus has undone it and keeps nothing of that.
    """

    id: int
    kind: str
    words: str
    back: str
    number: int | None = None
    undoing: Undoing | None = None
    texts: Texts | None = None
    choice: Choice | None = None
    at: str = field(default_factory=lambda: datetime.now(UTC).isoformat(timespec="seconds"))
    is_undone: bool = False
    last_number: int = 0
    again: Undoing | None = None

    @property
    def can_be_undone(self) -> bool:
        """Whether there is a way back."""
        ways = (self.number, self.undoing, self.texts, self.choice)
        return not self.is_undone and any(way is not None for way in ways)

    def goes_on_in(self, deed: Deed) -> bool:
        """Whether another deed is the same, gone on with."""
        if self.is_undone or self.words != deed.words:
            return False
        return not (self.choice and deed.choice) or self.choice[2] == deed.choice[1]


class Deeds:
    """The deeds of a run, the latest last."""

    def __init__(self) -> None:
        self.kept: OrderedDict[int, Deed] = OrderedDict()
        self.count = 0

    def note(self, deed: Deed) -> Deed:
        """Keep a deed, under the next id; words join those just before them."""
        last = next(reversed(self.kept.values()), None)
        if last and deed.kind == last.kind == WORDS and last.goes_on_in(deed):
            last.back, last.last_number = deed.back, deed.last_number
            if last.texts and deed.texts:
                (_, before, after), (of, first, then) = deed.texts, last.texts
                last.texts = (of, {**before, **first}, {**then, **after})
            if last.choice and deed.choice:
                last.choice = (*last.choice[:2], deed.choice[2])
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
    """The number of the last change that was kept, though it may be undone by now."""
    if not corpus_path.exists():
        return 0
    with Corpus.open(corpus_path) as corpus:
        return int(corpus.settings.get(LAST_CHANGE, "0"))


def is_kept(corpus_path: Path, number: int) -> bool:
    """Whether a change can be undone."""
    from melodex.tasks.collection.undo import what_was_done

    with Corpus.open(corpus_path) as corpus:
        known = what_was_done(corpus)
    return any(each.number == number and each.can_be_undone for each in known)


@dataclass(slots=True)
class Doing:
    """What is filled in while something is done: how to say it, and how to undo it."""

    words: str = ""
    back: str = "/"
    kind: str = ""
    undoing: Undoing | None = None
    texts: Texts | None = None
    choice: Choice | None = None
    again: Undoing | None = None
    deed: Deed | None = None


@contextmanager
def changing(corpus_path: Path, deeds: Deeds) -> Iterator[Doing]:
    """Note what is done inside, if anything was and words are given for it."""
    before = last_number(corpus_path)
    doing = Doing()
    yield doing
    after = last_number(corpus_path)
    # What comes after the first are words that were held, which go with their passage.
    is_new = after > before and is_kept(corpus_path, before + 1)
    number = before + 1 if is_new else None
    if doing.words and (number is not None or doing.undoing is not None):
        made = Deed(0, doing.kind, doing.words, doing.back, number, doing.undoing)
        made.last_number, made.texts, made.choice = after, doing.texts, doing.choice
        made.again = doing.again
        doing.deed = deeds.note(made)


# Undoing


def deleting(corpus_path: Path, names: Sequence[str]) -> Undoing | None:
    """What deletes sets that were made or have come back, None where there are none.

    What they held is kept by the corpus for a while.
    """
    from melodex.tasks.lesson.sets import remove_lesson

    def deleted() -> None:
        for name in names:
            remove_lesson(corpus_path, name)

    return deleted if names else None


def undo_deed(corpus_path: Path, deed: Deed) -> Undoing | None:
    """Undo a deed; return what does it again, None where the corpus knows.

    Raises
    ------
    CorpusError
        If that was done already, or nothing is kept of it.
    """
    from melodex.tasks.collection.undo import undo
    from melodex.tasks.lesson.choosing import put_choice
    from melodex.tasks.lesson.undoing import put_texts

    if not deed.can_be_undone:
        raise CorpusError("that has been undone already", hint="see what was done")
    again: Undoing | None = None
    if deed.texts is not None:
        again = put_texts(corpus_path, *deed.texts)
    elif deed.choice is not None:
        again = put_choice(corpus_path, *deed.choice)
    elif deed.undoing is not None:
        again = deed.undoing()
    else:
        again = deleting(corpus_path, undo(corpus_path, deed.number).gone) or deed.again
    deed.is_undone = True
    return again
