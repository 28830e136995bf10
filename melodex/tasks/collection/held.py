"""Words for a passage or a set that is gone: held in the corpus until it is back.

Conventions: a page may be older than the set that it shows, so what is typed there may have
no place. It is kept as a setting of the corpus, so that it outlives whoever held it, and is
written as soon as its place is there again. What one page says of a text takes the place of
no other's words. The oldest go where there are too many.

Contents: Held, held_words, hold_words, put_back_held, let_go_of.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Collection, Iterable, Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from melodex.corpus.lessons import WORDS_HELD, LessonRow, find_lesson, numbered_lesson
from melodex.corpus.reader import Corpus
from melodex.errors import LessonError
from melodex.melody.shape import UNREADABLE
from melodex.tasks.lesson.sets import LONGEST_TEXT, writing
from melodex.tasks.lesson.words import Said, write_words

if TYPE_CHECKING:
    from melodex.tasks.lesson.undoing import Undoing

__all__ = ["Held", "held_words", "hold_words", "let_go_of", "put_back_held"]

MOST_HELD = 200
"""Texts that are held; our choice."""

Naming = Callable[[Corpus, str], LessonRow]
Place = tuple[str, str, str]
"""Set, page and key."""


@dataclass(frozen=True, slots=True)
class Held:
    """A text that has no place.

    Parameters
    ----------
    set_id : int
        Row number of its set; 0 where that is not known.
    name : str
        Of the set, as the page had it.
    page : str
        The page that it was typed on.
    key : str
        Of the passage, or of a text of the set (see ``words``).
    text, seen : str
        The text, and the mark of what stood there as it was typed.
    own : tuple of str
        Marks of what the same page has written there.
    """

    set_id: int
    name: str
    page: str
    key: str
    text: str
    seen: str
    own: tuple[str, ...] = ()

    @property
    def place(self) -> Place:
        """By what it takes the place of an earlier one."""
        return self.name, self.page, self.key


def held_words(corpus: Corpus) -> tuple[Held, ...]:
    """Every text that is held, the oldest first."""
    return read_held(corpus.settings.get(WORDS_HELD, ""))


def read_held(text: str) -> tuple[Held, ...]:
    """What the setting says; nothing where it is damaged, which a check tells of."""
    try:
        rows = json.loads(text or "[]")
        return tuple(Held(**{**row, "own": tuple(row["own"])}) for row in rows)
    except UNREADABLE:
        return ()


def hold_words(corpus_path: Path, more: Iterable[Held]) -> None:
    """Hold some texts; of one page and place the later one stands."""
    # No longer one is written either.
    new = {each.place: each for each in more if len(each.text) <= LONGEST_TEXT}

    def with_new(held: Sequence[Held]) -> list[Held]:
        return [*(h for h in held if h.place not in new), *new.values()][-MOST_HELD:]

    if new:
        alter(corpus_path, with_new)


def let_go_of(corpus_path: Path, places: Collection[Place]) -> Undoing:
    """Hold some texts no more; return what holds them again."""
    gone: list[Held] = []

    def without(held: Sequence[Held]) -> list[Held]:
        gone.extend(each for each in held if each.place in places)
        return [each for each in held if each.place not in places]

    alter(corpus_path, without)
    return partial(hold_again, corpus_path, gone)


def hold_again(corpus_path: Path, gone: Sequence[Held]) -> Undoing:
    """Hold texts that were let go; return what lets go of them."""
    hold_words(corpus_path, gone)
    return partial(let_go_of, corpus_path, {each.place for each in gone})


def alter(corpus_path: Path, change: Callable[[Sequence[Held]], list[Held]]) -> None:
    """Change what is held, as it is when our turn has come."""
    with writing(corpus_path) as writer, writer.transaction():
        held = change(read_held(writer.setting(WORDS_HELD)))
        writer.do("DELETE FROM setting WHERE name = ?", [WORDS_HELD])
        if held:
            writer.put_setting(WORDS_HELD, json.dumps([asdict(each) for each in held]))


def put_back_held(corpus_path: Path, named: Naming = find_lesson) -> tuple[Held, ...]:
    """Write the words whose place is there again; return them.

    Parameters
    ----------
    corpus_path : Path
        Of the corpus.
    named : callable
        Finds a set by the name that a page had, where its number is not known.
    """
    with Corpus.open(corpus_path) as corpus:
        held = held_words(corpus)
        names = {each.place: name_now(corpus, each, named) for each in held}
    placed: list[Held] = []
    for name, page in dict.fromkeys((names[h.place], h.page) for h in held):
        if name is None:
            continue
        these = [h for h in held if (names[h.place], h.page) == (name, page)]
        said = {h.key: Said(h.text, h.seen, frozenset(h.own)) for h in these}
        lost = write_words(corpus_path, name, said).lost
        placed += [h for h in these if h.key not in lost]
    if placed:
        let_go_of(corpus_path, {each.place for each in placed})
    return tuple(placed)


def name_now(corpus: Corpus, held: Held, named: Naming) -> str | None:
    """What the set of a text is called now; None where it is not there."""
    if held.set_id:
        row = numbered_lesson(corpus, held.set_id)
        return row.name if row else None
    with suppress(LessonError):
        return named(corpus, held.name).name
    return None
