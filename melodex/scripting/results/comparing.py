"""What comparisons return.

Contents: CompareResult, AuditResult, AuditEachResult, WholeAuditResult, FamiliesResult.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING, Any

from melodex.scripting.file import CorpusFile
from melodex.scripting.notebook import Drawing
from melodex.scripting.results.result import TITLED, Found, ListResult, Result, count
from melodex.scripting.tune import Tune
from melodex.tasks.audit.audit import Audit
from melodex.tasks.audit.findings import Finding
from melodex.tasks.audit.whole import ClosePair, WholeAudit
from melodex.tasks.collection.families import Families, Family
from melodex.tasks.compare.compare import Comparison

if TYPE_CHECKING:
    # Who deals work out loads more than asking alone does.
    from melodex.tasks.audit.many import ManyAudits

__all__ = [
    "AuditEachResult",
    "AuditResult",
    "CompareResult",
    "FamiliesResult",
    "WholeAuditResult",
]


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


class AuditEachResult(ListResult["ManyAudits", AuditResult]):
    """Audits of many tunes, in the order given; of :meth:`melodex.Corpus.audit_each`.

    Its ``refusals`` name what could not be audited, and why.
    """

    __slots__ = ("audits",)
    shown_columns = ("own_title", *AuditResult.shown_columns)

    def __init__(self, record: ManyAudits, corpus: CorpusFile) -> None:
        super().__init__(record)
        self.audits = tuple(AuditResult(found, corpus) for found in record.audits)

    @property
    def headline(self) -> str:
        """How many tunes were audited, and how many places of them come close."""
        found = self.record
        audited = f"{count(len(self), 'tune', 'tunes')} audited"
        findings = count(found.findings_in_all, "finding", "findings")
        refused = f", {len(found.refusals):,} refused" if found.refusals else ""
        return f"{audited}, {findings}{refused}"

    @property
    def items(self) -> tuple[AuditResult, ...]:
        """The audits."""
        return self.audits

    @property
    def passages(self) -> tuple[Tune, ...]:
        """What the findings came close to, tune after tune."""
        return tuple(tune for found in self.audits for tune in found.passages)

    def rows(self) -> list[dict[str, Any]]:
        """One row for each finding, with the tune that it is of."""
        from melodex.presentation.data.audit import many_audits_rows

        return many_audits_rows(self.record)

    def to_csv(self) -> str:
        """The findings as CSV (RFC 4180)."""
        from melodex.presentation.data.audit import MANY_COLUMNS
        from melodex.presentation.data.values import csv_text

        return csv_text(self.rows(), MANY_COLUMNS)

    def text(self, width: int = 80) -> str:
        """A line for each tune, then what was refused."""
        from melodex.presentation.text.audit import many_audits_text

        return many_audits_text(self.record)

    def to_json(self) -> str:
        """Each audit as JSON under its name, and what was refused."""
        from melodex.presentation.data.audit import many_audits_json

        return many_audits_json(self.record)


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
