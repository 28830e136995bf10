"""Words that open pages send: which of them came last, and those with no place just now.

Conventions: a page sends its words as one types and, when it is left, once more without
waiting for answers; so a later request may be here before an earlier one. Each page has
a name of its own and counts its requests, and of one text the highest count stands. Words
for a passage or a set that is gone are held in the corpus until it is back. Sets go by
their name, which another page may have changed: an old name leads to the set as long as
nothing else has it. All else is of one run, and bounded.

Contents: PageWords.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from melodex.corpus.lessons import LessonRow, find_lesson, numbered_lesson
from melodex.corpus.reader import Corpus
from melodex.corpus.rows import folded
from melodex.errors import LessonError

if TYPE_CHECKING:
    from melodex.tasks.lesson.words import Said

__all__ = ["PageWords"]

MOST_PAGES = 500
"""Open pages whose requests are told apart; our choice."""


class PageWords:
    """What the workbench knows of pages of sets that are open somewhere."""

    def __init__(self) -> None:
        self.turns: OrderedDict[str, dict[str, int]] = OrderedDict()
        self.marks: dict[str, dict[str, set[str]]] = {}
        self.names: dict[str, int] = {}

    # Which came last

    def in_time(self, page: str, turn: int, said: Mapping[str, Said]) -> dict[str, Said]:
        """Those words that no later request of the same page has overtaken.

        Each learns what else this page is known to have written: it may not have heard.
        """
        return {
            key: replace(each, own=self.own_marks(page, key))
            for key, each in said.items()
            if not self.is_overtaken(page, turn, key)
        }

    def is_overtaken(self, page: str, turn: int, key: str) -> bool:
        """Whether a later request of a page about a text was here first; notes this one."""
        if not page:
            return False
        turns = self.turns.setdefault(page, {})
        self.turns.move_to_end(page)
        while len(self.turns) > MOST_PAGES:
            gone, _ = self.turns.popitem(last=False)
            self.marks.pop(gone, None)
        if turns.get(key, -1) > turn:
            return True
        turns[key] = turn
        return False

    def own_marks(self, page: str, key: str) -> frozenset[str]:
        """Marks of what a page has written of a text."""
        return frozenset(self.marks.get(page, {}).get(key, ()))

    def note_marks(self, page: str, marks: Mapping[str, str]) -> None:
        """Remember what a page has written, by its marks."""
        if page in self.turns:
            own = self.marks.setdefault(page, {})
            for key, mark in marks.items():
                own.setdefault(key, set()).add(mark)

    # Names that were changed

    def note_name(self, name: str, set_id: int) -> None:
        """Remember what a set was called before."""
        self.names[folded(name)] = set_id

    def name_now(self, corpus: Corpus, name: str) -> str:
        """What a set is called now that had this name when a page was made.

        Raises
        ------
        LessonError
            If there is no such set.
        """
        return self.row_of(corpus, name).name

    def row_of(self, corpus: Corpus, name: str) -> LessonRow:
        """The row of a set by the name that it has or had."""
        try:
            return find_lesson(corpus, name)
        except LessonError:
            row = numbered_lesson(corpus, self.names.get(folded(name), 0))
            if row is None:
                raise
            return row

    # Words without a place

    def hold(
        self, corpus_path: Path, name: str, page: str, said: Mapping[str, Said]
    ) -> None:
        """Keep words of a page until what they were written on is there again."""
        from melodex.tasks.collection.held import Held, hold_words

        number = self.names.get(folded(name), 0)
        more = []
        for key, each in said.items():
            # A page without a script has no name: of it all that differs is kept.
            by, own = page or each.text, tuple(sorted(each.own))
            more.append(Held(number, name, by, key, each.text, each.seen, own))
        hold_words(corpus_path, more)

    def put_back(self, corpus_path: Path) -> None:
        """Write held words whose place is there again."""
        from melodex.tasks.collection.held import put_back_held

        put_back_held(corpus_path, self.row_of)
