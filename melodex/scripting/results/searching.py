"""What searches return.

Contents: ResembleResult, GatherResult.
"""

from __future__ import annotations

from functools import partial
from typing import Any, cast

from melodex.scripting.notebook import Drawing
from melodex.scripting.results.result import TITLED, Found, count
from melodex.scripting.tune import Tune
from melodex.tasks.gather.gather import Example, Gathering
from melodex.tasks.resemble import Match, Resemblance

__all__ = ["GatherResult", "ResembleResult"]


class ResembleResult(Found[Resemblance, Match]):
    """What a phrase resembles, best first; of :meth:`melodex.Corpus.resemble`."""

    __slots__ = ()
    shown_columns = ("rank", *TITLED, "points", "expected_by_chance", "commonness")

    @property
    def headline(self) -> str:
        """What was looked for, and how many tunes resemble it."""
        best = f", the best {self.items[0].passage.label}" if self.items else ""
        return f"{self.record.phrase.text}: {count(len(self), 'match', 'matches')}{best}"

    @property
    def items(self) -> tuple[Match, ...]:
        """The matches."""
        return self.record.matches

    @property
    def passages(self) -> tuple[Tune, ...]:
        """Where each match stands."""
        return tuple(Tune(match.passage) for match in self.items)

    def rows(self) -> list[dict[str, Any]]:
        """One row for each match."""
        from melodex.presentation.data.resemble import match_rows

        return match_rows(self.record)

    def _repr_svg_(self) -> str | None:
        """The phrase over the best match."""
        return self.drawings()[0][1]() if self.items else None

    def drawings(self) -> list[Drawing]:
        """The phrase over each match."""
        from melodex.presentation.report.forms import match_picture

        def draw(match: Match) -> str:
            return match_picture(self.record.asked_by(match).phrase, match).svg

        return [(match.passage.label, partial(draw, match)) for match in self.items]


class GatherResult(Found[Gathering, Example]):
    """Pieces and passages that show a feature; of :meth:`melodex.Corpus.gather`."""

    __slots__ = ()
    shown_columns = (*TITLED, "reasons")

    @property
    def headline(self) -> str:
        """What was asked for, and how many tunes show it."""
        found = self.record
        of = f"{found.tunes:,} of {count(found.corpus_tunes, 'tune', 'tunes')}"
        return f"{'; '.join(found.wish.told())}: {of}"

    @property
    def items(self) -> tuple[Example, ...]:
        """The examples."""
        return self.record.examples

    @property
    def passages(self) -> tuple[Tune, ...]:
        """The bars of each example; needs the corpus in which it was found."""
        tunes = self.corpus.tunes_by_id([example.tune_id for example in self.items])
        return tuple(
            tunes[example.tune_id].bars(example.first_bar, example.last_bar)
            for example in self.items
        )

    def rows(self) -> list[dict[str, Any]]:
        """One row for each example."""
        return cast(list[dict[str, Any]], self.to_dict()["examples"])
