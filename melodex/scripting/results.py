"""What the calls return: results that say themselves, as data, and as pictures.

Conventions: ``repr`` is one line; ``str`` is what the command prints; ``to_dict`` is
what its JSON holds; ``rows`` and ``to_csv`` are there where the result is a list. What
a result holds in full is its ``record``, whose attributes the result answers for too:
``found.remarks`` is ``found.record.remarks``.

Contents: Result, and one class for each call.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from functools import partial
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any, Generic, TypeVar, cast, overload

from melodex.corpus.tune_rows import TuneRow
from melodex.scripting.file import CorpusFile
from melodex.scripting.hints import advised
from melodex.scripting.lesson import Lesson, kept
from melodex.scripting.notebook import Drawing, cell_html, passage_drawings, words_html
from melodex.scripting.partly import SAYING, last_absence, saying
from melodex.scripting.saving import form_of
from melodex.scripting.tune import Tune
from melodex.tasks.audit.audit import Audit, Finding
from melodex.tasks.audit.whole import ClosePair, WholeAudit
from melodex.tasks.collection.families import Families, Family
from melodex.tasks.collection.holdings import Listing
from melodex.tasks.compare.compare import Comparison
from melodex.tasks.describe.describe import Description, Find
from melodex.tasks.gather.gather import Example, Gathering
from melodex.tasks.passage import Passage
from melodex.tasks.resemble import Match, Resemblance

if TYPE_CHECKING:
    # Writing to a corpus loads sqlite-utils, which asking does without.
    from melodex.tasks.adding.add import AddResult as Added  # noqa: F401

__all__ = [
    "AddResult",
    "AuditResult",
    "CompareResult",
    "DescribeResult",
    "FamiliesResult",
    "GatherResult",
    "ListResult",
    "ResembleResult",
    "Result",
    "TuneList",
    "WholeAuditResult",
]

Record = TypeVar("Record")
Item = TypeVar("Item")

BARS = ("first_bar", "last_bar")
TITLED = ("title", "composer", "year", *BARS)


class Result(Generic[Record]):
    """What a task found.

    Parameters
    ----------
    record : object
        All of it, as the task returned it.
    """

    __slots__ = ("absence", "record")

    shown_columns: tuple[str, ...] = ()
    """What of its rows a notebook shows."""

    def __init__(self, record: Record) -> None:
        self.record = record
        self.absence = last_absence()

    def __init_subclass__(cls, **named: Any) -> None:
        super().__init_subclass__(**named)
        for name in SAYING:
            if name in cls.__dict__:
                setattr(cls, name, saying(cls.__dict__[name]))

    def __getattr__(self, name: str) -> Any:
        if name.startswith("_") or name in {"absence", "record"}:
            raise AttributeError(name)
        return getattr(self.record, name)

    @property
    def partial(self) -> str:
        """Without which shards it was found, in a sentence; empty where without none."""
        return self.absence.remark if self.absence else ""

    @property
    def headline(self) -> str:
        """What was found, in a line."""
        raise NotImplementedError

    @property
    def passages(self) -> tuple[Tune, ...]:
        """The passages that were found, each as a tune, in their order."""
        return ()

    def rows(self) -> list[dict[str, Any]]:
        """What was found as rows, which ``pandas.DataFrame`` takes as they are."""
        return []

    def drawings(self) -> list[Drawing]:
        """What a notebook shows of it in pictures."""
        return passage_drawings(tune.passage for tune in self.passages)

    def __repr__(self) -> str:
        is_partial = ", partial" if self.partial else ""
        return f"<{type(self).__name__}: {self.headline}{is_partial}>"

    def __str__(self) -> str:
        return self.text().rstrip("\n")

    @saying
    def text(self, width: int = 80) -> str:
        """What the command prints, in lines of at most so many columns."""
        from melodex.presentation.text.forms import as_text
        from melodex.presentation.text.style import Style

        return as_text(self.record, Style(width))

    @saying
    def to_json(self) -> str:
        """What the command writes as JSON."""
        from melodex.presentation.data.forms import as_json

        return as_json(self.record)

    def to_dict(self) -> dict[str, Any]:
        """The same as plain data: dicts, lists, texts and numbers."""
        return cast(dict[str, Any], json.loads(self.to_json()))

    @saying
    def save(
        self, path: str | PathLike[str], *, paper: str = "a4", force: bool = False
    ) -> Path:
        """Write a file in the form that its ending says, whole or not at all.

        Parameters
        ----------
        path : str or PathLike
            ``.txt``, ``.json``, ``.html`` or ``.pdf``; a list also ``.csv``; a
            comparison also ``.svg``, ``.mid``, ``.musicxml`` or ``.abc``.
        paper : str
            ``a4`` or ``letter``, for ``.pdf``.
        force : bool
            Whether to replace a file that melodex did not write, or that has been
            changed since.

        Raises
        ------
        PresentationError
            If there is no such form of the result, or the file cannot be written.
        CorpusError
            If the file is a corpus.
        """
        from melodex.presentation.saving import save

        target = Path(path)
        form = form_of(target)
        if form == "text":
            content: str | bytes = self.text()
        elif form == "json":
            content = self.to_json()
        elif form == "csv":
            from melodex.presentation.data.forms import as_csv

            content = as_csv(self.record)
        else:
            from melodex.presentation.pages import rendered

            content = rendered(self.record, form, paper=paper)
        with advised():
            save(content, target, force=force)
        return target

    @saying
    def _repr_html_(self) -> str:
        """Pictures and table, for a notebook."""
        return cell_html(
            self.headline,
            summary=getattr(self.record, "summary", ()),
            drawings=self.drawings(),
            rows=self.rows() if self.shown_columns else (),
            columns=self.shown_columns,
            words=(
                *getattr(self.record, "remarks", ()),
                *getattr(self.record, "cautions", ()),
            ),
        )


class ListResult(Result[Record], Sequence[Item], Generic[Record, Item]):
    """A result that is a list: it can be counted, indexed and gone through."""

    __slots__ = ()

    @property
    def items(self) -> tuple[Item, ...]:
        """What the list holds, in full."""
        raise NotImplementedError

    def to_csv(self) -> str:
        """The rows as CSV (RFC 4180)."""
        from melodex.presentation.data.forms import as_csv

        return as_csv(self.record)

    def __len__(self) -> int:
        return len(self.items)

    def __bool__(self) -> bool:
        return bool(self.items)

    def __iter__(self) -> Iterator[Item]:
        return iter(self.items)

    @overload
    def __getitem__(self, place: int) -> Item: ...

    @overload
    def __getitem__(self, place: slice) -> Sequence[Item]: ...

    def __getitem__(self, place: int | slice) -> Item | Sequence[Item]:
        return self.items[place]


class Found(ListResult[Record, Item]):
    """Passages found in a corpus, which can be kept in a teaching set."""

    __slots__ = ("corpus", "sought")

    def __init__(
        self, record: Record, corpus: CorpusFile, sought: Passage | None = None
    ) -> None:
        super().__init__(record)
        self.corpus = corpus
        self.sought = sought

    def keep(self, name: str) -> Lesson:
        """Keep what was found in a teaching set, which is made if there is none.

        Parameters
        ----------
        name : str
            Of the set. A passage that it has already is not kept twice.

        Raises
        ------
        LessonError
            If the set would have too many passages, or nothing was found.
        """
        return kept(self.corpus, name, self)


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


class CompareResult(Result[Comparison]):
    """Two passages side by side; of :func:`melodex.compare`."""

    __slots__ = ()
    shown_columns = (
        "a_bar",
        "a_note",
        "a_degree",
        "relation",
        "b_bar",
        "b_note",
        "b_degree",
    )

    @property
    def headline(self) -> str:
        """Both passages, and how many notes agree."""
        found = self.record
        agree = f"{found.likeness.agreeing} of {found.likeness.paired} paired notes agree"
        return f"{found.a.label} and {found.b.label}: {agree}"

    @property
    def passages(self) -> tuple[Tune, ...]:
        """Both passages."""
        return Tune(self.record.a), Tune(self.record.b)

    def rows(self) -> list[dict[str, Any]]:
        """One row for each pair of notes, a missing one as None."""
        from melodex.presentation.data.resemble import pair_rows

        return pair_rows(self.record)

    def _repr_svg_(self) -> str:
        """Both passages on two staves in one key."""
        from melodex.presentation.pages import rendered

        return str(rendered(self.record, "svg"))

    def drawings(self) -> list[Drawing]:
        """Both in one picture."""
        return [("", self._repr_svg_)]


class AuditResult(Found[Audit, Finding]):
    """Where a tune comes close to the corpus; of :meth:`melodex.Corpus.audit`."""

    __slots__ = ()
    shown_columns = (
        "rank",
        "own_first_bar",
        "own_last_bar",
        *TITLED,
        "expected_by_chance",
        "verdict",
    )

    @property
    def headline(self) -> str:
        """The tune, and how many places of it come close."""
        found = self.record
        close = count(found.findings_in_all, "finding", "findings")
        against = count(found.corpus_tunes, "tune", "tunes")
        return f"{found.own.whole.title}: {close} against {against}"

    @property
    def items(self) -> tuple[Finding, ...]:
        """The findings."""
        return self.record.findings

    @property
    def passages(self) -> tuple[Tune, ...]:
        """What each finding came close to."""
        return tuple(Tune(finding.tune) for finding in self.items)

    def rows(self) -> list[dict[str, Any]]:
        """One row for each finding."""
        from melodex.presentation.data.audit import finding_rows

        return finding_rows(self.record)

    def to_csv(self) -> str:
        """The findings as CSV (RFC 4180)."""
        from melodex.presentation.data.audit import FINDING_COLUMNS
        from melodex.presentation.data.values import csv_text

        return csv_text(self.rows(), FINDING_COLUMNS)

    def _repr_svg_(self) -> str:
        """Every bar of the tune, with the findings that touch it."""
        from melodex.presentation.report.audit import coverage_picture

        return coverage_picture(self.record).svg

    def drawings(self) -> list[Drawing]:
        """The bars, then each finding with both passages."""
        from melodex.presentation.report.audit import finding_picture

        def draw(finding: Finding) -> str:
            return finding_picture(finding).svg

        return [
            ("", self._repr_svg_),
            *(
                (f"{found.own.label} and {found.tune.label}", partial(draw, found))
                for found in self.items
            ),
        ]


class WholeAuditResult(ListResult[WholeAudit, ClosePair]):
    """What stands in a corpus twice; of :meth:`melodex.Corpus.audit_whole`."""

    __slots__ = ()
    shown_columns = (
        "one_title",
        "one_first_bar",
        "one_last_bar",
        "other_title",
        "other_first_bar",
        "other_last_bar",
        "notes",
    )

    @property
    def headline(self) -> str:
        """How many pairs of tunes share a passage."""
        pairs = count(self.record.pairs_in_all, "pair", "pairs")
        return f"{pairs} among {count(self.record.corpus_tunes, 'tune', 'tunes')}"

    @property
    def items(self) -> tuple[ClosePair, ...]:
        """The pairs, the most telling first."""
        return self.record.pairs

    @property
    def passages(self) -> tuple[Tune, ...]:
        """Both passages of each pair, one after the other."""
        return tuple(Tune(side) for pair in self.items for side in (pair.one, pair.other))

    def rows(self) -> list[dict[str, Any]]:
        """One row for each pair."""
        from melodex.presentation.data.corpus import close_pair_rows

        return close_pair_rows(self.record)

    def to_csv(self) -> str:
        """The pairs as CSV (RFC 4180)."""
        from melodex.presentation.data.corpus import CLOSE_PAIR_COLUMNS
        from melodex.presentation.data.values import csv_text

        return csv_text(self.rows(), CLOSE_PAIR_COLUMNS)

    def text(self, width: int = 80) -> str:
        """What the command prints."""
        from melodex.presentation.text.audit_whole import whole_audit_text
        from melodex.presentation.text.style import Style

        return whole_audit_text(self.record, Style(width))

    def to_json(self) -> str:
        """What the command writes as JSON."""
        from melodex.presentation.data.corpus import whole_audit_json

        return whole_audit_json(self.record)


class FamiliesResult(ListResult[Families, Family]):
    """Tunes that are one by their music; of :meth:`melodex.Corpus.families`."""

    __slots__ = ()
    shown_columns = ("family", "title", "sureness", "key", "metre", "differences")

    @property
    def headline(self) -> str:
        """How many families there are, and how many tunes are in them."""
        families = count(self.record.families_in_all, "family", "families")
        return f"{families} with {count(self.record.tunes_in_families, 'tune', 'tunes')}"

    @property
    def items(self) -> tuple[Family, ...]:
        """The families, the largest first."""
        return self.record.families

    def rows(self) -> list[dict[str, Any]]:
        """One row for each tune of a family; families count from 1."""
        from melodex.presentation.data.corpus import family_rows

        return family_rows(self.record)

    def to_csv(self) -> str:
        """The tunes as CSV (RFC 4180)."""
        from melodex.presentation.data.corpus import families_csv

        return families_csv(self.record)

    def text(self, width: int = 80) -> str:
        """What the command prints."""
        from melodex.presentation.text.families import families_text

        return families_text(self.record)

    def to_json(self) -> str:
        """What the command writes as JSON."""
        from melodex.presentation.data.corpus import families_json

        return families_json(self.record)


class DescribeResult(ListResult[Description, Find]):
    """What is in a piece; of :func:`melodex.describe`. As a list: its finds."""

    __slots__ = ()
    shown_columns = ("kind", *BARS, "sentence", "tunes")

    @property
    def headline(self) -> str:
        """Title, key and how many things are worth telling."""
        melody = self.record.passage.melody
        finds = count(len(self), "find", "finds")
        return f"{melody.title}: {self.record.analysis.key.key}, {finds}"

    @property
    def items(self) -> tuple[Find, ...]:
        """The finds, the rarest first."""
        return self.record.finds

    @property
    def passages(self) -> tuple[Tune, ...]:
        """The bars of each find."""
        whole = Tune(self.record.passage)
        return tuple(whole.bars(find.first_bar, find.last_bar) for find in self.items)

    def rows(self) -> list[dict[str, Any]]:
        """One row for each find."""
        return cast(list[dict[str, Any]], self.to_dict()["finds"])

    def to_csv(self) -> str:
        """The finds as CSV (RFC 4180)."""
        from melodex.presentation.data.describe import FIND_COLUMNS
        from melodex.presentation.data.values import csv_text

        return csv_text(self.rows(), FIND_COLUMNS)

    def _repr_svg_(self) -> str:
        """The engraved melody with the degrees of its key centres and the numerals."""
        from melodex.presentation.report.describe import melody_svg

        return melody_svg(self.record)

    def drawings(self) -> list[Drawing]:
        """The melody alone."""
        return [("", self._repr_svg_)]


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


def count(number: int, one: str, many: str) -> str:
    """A number and what it counts."""
    return f"{number:,} {one if number == 1 else many}"
