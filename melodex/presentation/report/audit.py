"""The page of an audit: what comes close, bar by bar, and the words of caution.

Contents: audit_page, audit_summary, coverage_picture, finding_section,
finding_picture, facts_of, settings_of.
"""

from __future__ import annotations

from melodex.melody.tune_id import leading
from melodex.presentation.report.blocks import (
    Laid,
    common_key_words,
    expected_text,
    laid_out,
    midi_link,
    pairs_table,
    picture_of,
    player_of,
    rights_lines,
)
from melodex.presentation.report.charts import BarCell, bar_grid
from melodex.presentation.report.page import (
    Caution,
    Facts,
    Fold,
    Legend,
    Page,
    Picture,
    Section,
    Text,
)
from melodex.presentation.text.audit import NO_TUNES, often_text
from melodex.tasks.audit.audit import Audit
from melodex.tasks.audit.findings import Finding
from melodex.tasks.compare.sentences import interval_text, summarise

__all__ = [
    "audit_page",
    "audit_summary",
    "coverage_picture",
    "facts_of",
    "finding_picture",
    "finding_section",
    "settings_of",
]

DATED = {
    None: "a year is missing",
    True: "the tune is earlier",
    False: "the tune is not earlier",
}


def audit_page(found: Audit) -> Page:
    """Where a tune comes close to the corpus, as a page."""
    own = found.own.whole
    sections = [Section("What this does not say", (Caution(found.cautions),))]
    sections.append(Section("Bar by bar", (coverage_picture(found),)))
    sections += [finding_section(finding) for finding in found.findings]
    sections.append(Section("To repeat it", (Facts(settings_of(found)),)))
    return Page(
        f"What {own.title} comes close to",
        "audit",
        audit_summary(found),
        tuple(sections),
        rights_lines(own, *(finding.tune.whole for finding in found.findings)),
    )


def audit_summary(found: Audit) -> tuple[str, ...]:
    """What was found, in sentences."""
    own = found.own.whole
    count = len(found.findings)
    in_all = found.findings_in_all
    places = f"{in_all:,} place{'' if in_all == 1 else 's'}"
    said = f"{own.title} comes close in {places} to what {found.corpus_tunes:,} tunes hold."
    if not found.corpus_tunes:
        said = NO_TUNES
    elif not count:
        said = (
            f"No place of {own.title} comes close to any of {found.corpus_tunes:,} tunes."
        )
    limit = (
        f"Listed is what chance would bring at most {often_text(found.threshold)} to the "
        f"whole tune; "
        f"{found.windows} stretches were looked for."
    )
    left = found.findings_in_all - count
    if left:
        limit += f" {left:,} more are not shown."
    return (said, limit, *found.remarks)


def coverage_picture(found: Audit) -> Picture:
    """Every bar of the tune with the findings that touch it."""
    marks = {mark.bar: mark.text for mark in found.own.whole.marks}
    cells = []
    for cover in found.coverage:
        # A split bar stands twice in the list; its section is shown once.
        section = marks.pop(cover.bar, "")
        text = ", ".join(map(str, cover.findings))
        cells.append(BarCell(cover.bar, section, text, shaded=bool(cover.findings)))
    return Picture(
        bar_grid(cells, prefix="bars"),
        "Bars of the tune and what comes close to them",
        "Shaded bars come close to something; the numbers are those of the findings.",
    )


def finding_section(finding: Finding) -> Section:
    """One finding: words, facts, picture, sound."""
    own, tune = finding.own, finding.tune
    laid = laid_finding(finding)
    name = f"f{finding.rank}"
    label = f"{own.label} and {tune.label}"
    return Section(
        f"{finding.rank}. {label}",
        (
            Text(summarise(own.melody, tune.melody, finding.likeness)),
            Facts(facts_of(finding)),
            Legend(laid.relations),
            finding_picture(finding),
            player_of(laid, f"l{finding.rank}", (name,), label),
            Fold("Note against note", (pairs_table(laid),), on_paper=False),
            midi_link(tune, f"finding-{finding.rank}.mid"),
        ),
        note=f"tune {leading(tune.tune_id)}",
    )


def laid_finding(finding: Finding) -> Laid:
    """Both stretches of a finding, in the key of the own tune where it has one."""
    own, tune = finding.own.melody, finding.tune.melody
    onto = "b" if own.key.mode == "none" else "a"
    return laid_out(own, tune, finding.likeness, onto=onto)


def finding_picture(finding: Finding) -> Picture:
    """Both stretches of a finding over one another."""
    laid = laid_finding(finding)
    label = f"{finding.own.label} and {finding.tune.label}"
    return picture_of(laid, f"f{finding.rank}", "time", label, common_key_words(laid))


def facts_of(finding: Finding) -> tuple[tuple[str, str], ...]:
    """Numbers of a finding."""
    likeness = finding.likeness
    move = interval_text(likeness.transposition_semitones, likeness.spelled_shift)
    rows = [
        ("Points", str(likeness.points)),
        ("Surprise of the run", f"{finding.bits:.0f} bits"),
        ("From own to tune", move),
    ]
    if finding.expected_by_chance is not None:
        rows.insert(0, ("As good by chance", expected_text(finding.expected_by_chance)))
    common = finding.commonness.beside(finding.expected_by_chance)
    rows.append(("The shared figure", common))
    rows.append(("Dates", DATED[finding.earlier]))
    if finding.also:
        rows.append(("In other lines", finding.also_words))
    return tuple(rows)


def settings_of(found: Audit) -> tuple[tuple[str, str], ...]:
    """What has to be known to repeat the audit."""
    rows = [
        ("Corpus", f"{found.corpus_tunes:,} tunes, {found.corpus_notes:,} notes"),
        ("Digest of the corpus", found.corpus_digest),
        ("Stretches looked for", str(found.windows)),
        ("Threshold", f"{found.threshold:g}"),
        ("melodex", found.version),
    ]
    if found.excluded:
        rows.append(("Left out", ", ".join(map(leading, found.excluded))))
    return tuple(rows)
