"""One's own tune: where it comes close to the corpus, and whether by chance.

Contents: own, finding, audited.
"""

from __future__ import annotations

from dataclasses import dataclass

from markupsafe import Markup
from starlette.responses import JSONResponse, Response

from melodex.errors import PassageError
from melodex.presentation.doors import open_doors
from melodex.tasks.audit.audit import Audit, audit
from melodex.tasks.audit.findings import Finding
from melodex.tasks.gather.counts import tunes_outside
from melodex.workbench.asking import Ask, rendered_page
from melodex.workbench.bench import StoppableCorpus
from melodex.workbench.files import as_file
from melodex.workbench.ticked import passage_place, shown_again
from melodex.workbench.views.find import choices_of, narrowing, set_names
from melodex.workbench.views.tune import doors_of, refuse_endless

__all__ = ["audited", "finding", "own"]

USUAL_FINDINGS, MOST_FINDINGS = 20, 200  # on a page
FIELDS = ("tune", "except", "part", "sung", "threshold", "limit")


@dataclass(frozen=True, slots=True)
class Card:
    """What the list shows of a finding; ``opened`` is its evidence, where it lies open.

    ``strength`` is a shade from 0 to 4: one more for each power of ten by which chance
    would bring it less often than once.
    """

    finding: Finding
    facts: tuple[tuple[str, str], ...]
    strength: int
    opened: Markup | None


LINES = ("part", "sung")
"""What is offered only where scores have several lines, or words."""


def audited(ask: Ask, corpus: StoppableCorpus) -> Audit:
    """Audit as the fields say; an answer just given is not worked out again."""
    key = ("audit", *(ask.said(name) for name in FIELDS))
    found: Audit = ask.bench.remembered(key, lambda: audit_anew(ask, corpus))
    return found


def audit_anew(ask: Ask, corpus: StoppableCorpus) -> Audit:
    """Audit as the fields say."""
    passage = ask.bench.passage(ask.said("tune"), corpus)
    refuse_endless(passage)
    known = [each.strip() for each in ask.said("except").split(",")]
    return audit(
        corpus,
        passage,
        exclude=[corpus.resolve(each) for each in known if each],
        outside=tunes_outside(corpus, narrowing(ask)),
        threshold=threshold_of(ask),
        limit=ask.number("limit", USUAL_FINDINGS, least=1, most=MOST_FINDINGS),
    )


def threshold_of(ask: Ask) -> float:
    """Above how many expected by chance a finding is left out."""
    try:
        number = float(ask.said("threshold") or 1)
    except ValueError:
        return 1.0
    return number if 0 < number < 1e6 else 1.0


def own(ask: Ask) -> Response:
    """Where a tune comes close to the corpus; the first finding lies open."""
    if not ask.said("tune"):
        lines = choices_of(ask, ask.corpus_if_any(), LINES)
        return rendered_page(
            ask, "own.html", "My own tune", found=None, sets=(), at_hand="", lines=lines
        )
    from melodex.presentation.engraving.fragments import sections_html, texts_of
    from melodex.presentation.report.audit import (
        audit_summary,
        coverage_picture,
        settings_of,
    )
    from melodex.presentation.report.blocks import rights_lines
    from melodex.presentation.report.page import Facts, Section

    corpus = ask.corpus()
    found = audited(ask, corpus)
    whole = found.own.whole
    if ask.said("form"):
        return as_file(ask, found, f"audit of {whole.title}")
    name = found.own.tune_id if found.own.in_corpus else ask.said("tune")
    with open_doors(doors_of(name)):
        grid = Section("Bar by bar", (coverage_picture(found),))
    repeat = Section("To repeat it", (Facts(settings_of(found)),))
    return rendered_page(
        ask,
        "own.html",
        found.own.heading,
        found=found,
        at_hand=ask.bench.title_at_hand(ask.said("tune")),
        sets=set_names(corpus),
        lines=choices_of(ask, corpus, LINES),
        name=name,
        sentences=texts_of(audit_summary(found)),
        grid=Markup(sections_html([grid])),
        settings=Markup(sections_html([repeat])),
        cards=[card_of(each, opened=each.rank == 1) for each in found.findings],
        rights=rights_lines(whole, *(each.tune.whole for each in found.findings)),
    )


def card_of(found: Finding, *, opened: bool) -> Card:
    """A finding for the list."""
    from melodex.presentation.report.audit import facts_of

    evidence = evidence_of(found) if opened else None
    return Card(found, facts_of(found), strength_of(found.expected_by_chance), evidence)


def strength_of(expected: float | None) -> int:
    """How dark a finding is shaded, by what chance would bring."""
    if expected is None:
        return 0
    return sum(expected < 10.0**power for power in (0, -1, -2, -3))


def evidence_of(found: Finding) -> Markup:
    """The notes of a finding, drawn and playable."""
    from melodex.presentation.engraving.fragments import evidence_html
    from melodex.presentation.report.audit import finding_section

    return Markup(evidence_html(finding_section(found)))


def finding_place(finding: Finding) -> tuple[str, str]:
    """Tune and bars of a finding, as its page tells them."""
    return passage_place(finding.tune)


def finding(ask: Ask) -> Response:
    """The evidence of one finding: a page, or a part of one for a script."""
    found = audited(ask, ask.corpus())
    rank = ask.said("rank")
    chosen = shown_again(rank, found.findings, finding_place, "finding", PassageError)
    evidence = evidence_of(chosen)
    if ask.wants_data:
        return JSONResponse({"html": str(evidence)})
    title = f"{chosen.rank}. {chosen.own.label} and {chosen.tune.label}"
    return rendered_page(ask, "passage.html", title, passage=None, evidence=evidence)
