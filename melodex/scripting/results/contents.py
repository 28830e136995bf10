"""What calls about the contents of a corpus return.

Contents: AddResult, TuneList.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from melodex.corpus.tunes.tune_rows import TuneRow
from melodex.scripting.notebook import words_html
from melodex.scripting.results.result import ListResult, Result, count
from melodex.tasks.collection.holdings import Listing

if TYPE_CHECKING:
    # Writing to a corpus loads sqlite-utils, which asking does without.
    from melodex.tasks.adding.add import AddResult as Added  # noqa: F401

__all__ = ["AddResult", "TuneList"]


class AddResult(Result["Added"]):
    """What became of the files that were added; of :meth:`melodex.Corpus.add`."""

    __slots__ = ()

    @property
    def headline(self) -> str:
        """How many tunes went in, and how many files or tunes did not."""
        found = self.record
        words = [f"{found.added} added", f"{found.unchanged} unchanged"]
        words += [f"{found.replaced} replaced"] if found.replaced else []
        words += [f"{len(found.refusals)} refused"] if found.refusals else []
        return ", ".join(words)

    def text(self, width: int = 80) -> str:
        """What the command says."""
        from melodex.presentation.text.corpus import adding_text

        return adding_text(self.record)

    def to_json(self) -> str:
        """What the command writes as JSON."""
        from melodex.presentation.data.corpus import adding_json

        return adding_json(self.record)

    def _repr_html_(self) -> str:
        """The same words, for a notebook."""
        return words_html(str(self))


class TuneList(ListResult[Listing, TuneRow]):
    """The tunes of a corpus in rows; of :meth:`melodex.Corpus.tunes`."""

    __slots__ = ()
    shown_columns = ("title", "composer", "year", "printed_key", "metre", "collection")

    @property
    def headline(self) -> str:
        """How many."""
        found = self.record
        return f"{len(found.tunes):,} of {count(found.corpus_tunes, 'tune', 'tunes')}"

    @property
    def items(self) -> tuple[TuneRow, ...]:
        """The rows."""
        return self.record.tunes

    def rows(self) -> list[dict[str, Any]]:
        """One row for each tune."""
        from melodex.presentation.data.corpus import listing_rows

        return listing_rows(self.record)

    def text(self, width: int = 80) -> str:
        """What the command prints."""
        from melodex.presentation.text.corpus import listing_text

        return listing_text(self.record)

    def to_json(self) -> str:
        """What the command writes as JSON."""
        from melodex.presentation.data.corpus import listing_json

        return listing_json(self.record)

    def to_csv(self) -> str:
        """The rows as CSV (RFC 4180)."""
        from melodex.presentation.data.corpus import listing_csv

        return listing_csv(self.record)
