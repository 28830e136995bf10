"""audit: where a tune of one's own comes close to the corpus, and whether by chance.

Conventions: the own tune is read in windows that overlap; what a window finds is
merged with what its neighbours find in the same tune, and the whole stretch is
aligned anew. Beside the windows all of it is compared note against note, for stretches
of few notes that tell much. The number expected by chance is that of the best window,
times as many as count as separate among those that were tried, or that of the stretch
where it is less: it says how many tunes as close chance would bring to the *whole* own
tune. Figures describe notes, not law.

Contents: CAUTIONS, Audit, audit, digest_of; the findings are made in ``findings``.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from melodex import __version__
from melodex.corpus.tunes.tune_rows import with_their_lines
from melodex.errors import EmptyMelodyError
from melodex.matching.asking import Notes
from melodex.matching.evidence.commonness import IntervalModel
from melodex.melody.tune_id import leading
from melodex.settings import AlignmentCosts
from melodex.tasks.audit.findings import (
    BarCover,
    Finding,
    also_of,
    coverage_of,
    findings_of,
    one_of_each_piece,
)
from melodex.tasks.audit.leads import leads_of, windows_of
from melodex.tasks.audit.stretched import stretch_leads
from melodex.tasks.matches import searched, sheets_left_out
from melodex.tasks.passage import Passage

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = ["CAUTIONS", "Audit", "audit", "digest_of"]

CAUTIONS: tuple[str, ...] = (
    "Likeness is not infringement, and no likeness found is not clearance: the corpus "
    "holds only what was put into it.",
    "The figures describe notes, not law. Law differs from country to country; before "
    "acting, ask a lawyer or a forensic musicologist qualified there.",
)

FEWEST_NOTES = 6
MODEL_SEED = 1
"""Of the sample that the model of intervals is learned from, so that answers do not
vary."""

MODEL_TUNES = 4096
"""So many: against 512, in the audit benchmark on 240 tunes that it does not report, the
most telling stretch is the borrowing in 68 of 100 in place of 66."""


@dataclass(frozen=True, slots=True)
class Audit:
    """What an audit found, and all that is needed to repeat it.

    Parameters
    ----------
    own : Passage
        The whole tune.
    findings : tuple of Finding
        In order of :attr:`~melodex.tasks.audit.findings.Finding.order`.
    findings_in_all : int
        How many there are; ``findings`` are the first of them.
    coverage : tuple of BarCover
        Every bar of the own tune.
    windows : int
        How many stretches were looked for.
    threshold : float
        Findings expected more often than this are left out.
    corpus_tunes, corpus_notes : int
        What was compared with.
    corpus_digest : str
        The same for the same tunes; see :func:`digest_of`.
    excluded : tuple of str
        Ids of tunes left out.
    costs : AlignmentCosts
        What a difference cost.
    version : str
        Of melodex.
    remarks, cautions : tuple of str
        What else has to be said.
    """

    own: Passage
    findings: tuple[Finding, ...]
    findings_in_all: int
    coverage: tuple[BarCover, ...]
    windows: int
    threshold: float
    corpus_tunes: int
    corpus_notes: int
    corpus_digest: str
    excluded: tuple[str, ...]
    costs: AlignmentCosts
    version: str
    remarks: tuple[str, ...]
    cautions: tuple[str, ...] = CAUTIONS

    def __repr__(self) -> str:
        return f"<Audit of {self.own.whole.title!r}: {self.findings_in_all} findings>"


def audit(
    corpus: Corpus,
    own: Passage,
    *,
    exclude: Sequence[str] = (),
    outside: frozenset[str] = frozenset(),
    threshold: float = 1.0,
    limit: int = 20,
    costs: AlignmentCosts | None = None,
    notes: Notes | None = None,
) -> Audit:
    """Find where a tune comes close to the corpus, and say whether that is chance.

    Parameters
    ----------
    corpus : Corpus
        Opened for reading.
    own : Passage
        The whole tune; it is never compared with itself.
    exclude : sequence of str
        Ids of tunes to leave out, such as relatives that are known.
    outside : frozenset of str
        Ids of the lines that are no part of what is searched.
    threshold : float
        Findings of which more are expected by chance are left out.
    limit : int
        At most so many findings.
    costs : AlignmentCosts, optional
        Points for pairs and gaps.
    notes : Notes, optional
        The notes of the corpus, where others hold them; read here if not given.

    Returns
    -------
    Audit
        With no findings where nothing comes close.

    Raises
    ------
    EmptyMelodyError
        If the tune is shorter than a phrase.
    """
    if len(own.melody) < FEWEST_NOTES:
        raise EmptyMelodyError(
            f"{len(own.melody)} notes are shorter than a phrase",
            where=own.whole.title,
            hint=f"an audit takes at least {FEWEST_NOTES}",
        )
    costs = costs or AlignmentCosts()
    remarks: list[str] = []
    # A tune goes with its whole piece, the own one and any that is left out.
    hidden = with_their_lines(corpus, {own.tune_id, *exclude}) | outside
    size = searched(corpus, outside)
    if outside:
        said = f"Searched: {size.tunes:,} of {corpus.tune_count:,} tunes"
        if corpus.line_count > corpus.tune_count:
            said += f", {size.lines:,} of {corpus.line_count:,} lines"
        remarks.append(f"{said}.")
    if any(own.tune_id == row[0] for row in held(corpus, own.tune_id)):
        remarks.append("The corpus holds the audited tune itself; it was left out.")
    remarks += sheets_left_out(corpus)
    whole = notes or Notes.of(corpus)
    within = whole.without(outside) if size.is_partial else whole
    spans = windows_of(len(own.melody))
    model = model_of(corpus, whole)
    leads = leads_of(corpus, within, own, spans, hidden, size, costs, remarks)
    leads += stretch_leads(corpus, within, own, model, hidden, size)
    findings = one_of_each_piece(
        corpus, findings_of(corpus, whole, own, leads, model, costs, threshold, remarks)
    )
    first = sorted(findings, key=lambda finding: finding.order)[:limit]
    ranked = tuple(
        replace(finding, rank=rank, also=also)
        for rank, (finding, also) in enumerate(
            zip(first, also_of(corpus, first, hidden, costs), strict=True), start=1
        )
    )
    expected = [finding.expected_by_chance or 0.0 for finding in ranked]
    if expected != sorted(expected):
        remarks.append(
            "Some findings come before others that chance would bring less, since their "
            "notes tell more or fewer tunes hold them."
        )
    return Audit(
        own=own,
        findings=ranked,
        findings_in_all=len(findings),
        coverage=coverage_of(own.melody, ranked),
        windows=len(spans),
        threshold=threshold,
        corpus_tunes=size.tunes,
        corpus_notes=size.notes,
        corpus_digest=digest_of(corpus),
        excluded=tuple(sorted(set(exclude))),
        costs=costs,
        version=__version__,
        remarks=tuple(dict.fromkeys(remarks)),
    )


def model_of(corpus: Corpus, notes: Notes) -> IntervalModel:
    """What follows what in a corpus, whichever tune is audited and whatever is left out.

    Learned once for many audits, of which it would take a fifth of the time each
    (run ``2026-11-29-audit-many``).
    """

    def learned() -> IntervalModel:
        drawn = notes.drawn(MODEL_SEED, MODEL_TUNES)
        return IntervalModel.learned(pitch for _, lines in drawn for pitch, _ in lines)

    return corpus.worked_out("intervals", learned)


def digest_of(corpus: Corpus) -> str:
    """What tells one set of tunes from another, as 12 hexadecimal digits.

    A date would not: the same tunes on another day give the same audit, and a tune
    added on the same day another one. Ids are themselves made from the melodies.
    """

    def digest() -> str:
        rows = corpus.query("SELECT tune_id FROM tune")
        ids = "".join(sorted(leading(row[0]) for row in rows))
        return hashlib.sha256(ids.encode("ascii")).hexdigest()[:12]

    return corpus.worked_out("digest of tune ids", digest)


def held(corpus: Corpus, tune_id: str) -> list[tuple[str]]:
    """The tune id, if the corpus holds it."""
    return corpus.query("SELECT tune_id FROM tune WHERE tune_id = ?", [tune_id])
