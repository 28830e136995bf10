"""Text of an audit: what comes close, the strip of bars, and the words of caution.

Contents: NO_TUNES, audit_text, each_text, many_audits_text, left_out_text, often_text,
title_lines.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

from melodex.melody import bars_text
from melodex.melody.tune_id import leading
from melodex.presentation.text.resemble import expected_text
from melodex.presentation.text.staves import aligned_lines, columns, legend
from melodex.presentation.text.style import Style, paragraphs, wrapped
from melodex.presentation.text.words import many, shown
from melodex.tasks.audit.audit import Audit
from melodex.tasks.audit.findings import BarCover, Finding
from melodex.tasks.compare.sentences import function_text, interval_text

if TYPE_CHECKING:
    from melodex.tasks.audit.many import ManyAudits

__all__ = [
    "NO_TUNES",
    "audit_text",
    "each_text",
    "left_out_text",
    "many_audits_text",
    "often_text",
    "title_lines",
]

NO_TUNES = "There are no tunes to compare it with."
STRENGTHS = ((1e-6, "█", "#"), (0.01, "▓", "*"), (1.0, "░", "."))
"""Shades of a bar by the least number expected by chance of what touches it."""


def audit_text(found: Audit, style: Style) -> str:
    """Write an audit as text.

    Parameters
    ----------
    found : Audit
        Of the audit task.
    style : Style
        What the terminal can show.
    """
    lines = [*title_lines(shown(heading(found)), style), ""]
    lines += paragraphs([summary(found)], style)
    lines.append("")
    if found.findings:
        lines += [*strip(found, style), ""]
    for finding in found.findings:
        lines += [*finding_lines(finding, style), ""]
    if found.findings:
        used = [p.relation for f in found.findings for p in f.likeness.pairs]
        lines += [*legend(used, style), ""]
    lines += paragraphs([*found.remarks, compared_with(found), *found.cautions], style)
    return "\n".join(lines) + "\n"


def heading(found: Audit) -> str:
    """What was audited and against how much."""
    tunes = f"{found.corpus_tunes:,} tune{'s' if found.corpus_tunes != 1 else ''}"
    return f"{found.own.heading}: {len(found.own.melody)} notes against {tunes}"


def summary(found: Audit) -> str:
    """The answer in a sentence."""
    if not found.corpus_tunes:
        return NO_TUNES
    if not found.findings:
        return "Nothing in this corpus is closer than chance would bring."
    striking = [
        finding
        for finding in found.findings
        if finding.expected_by_chance is not None and finding.expected_by_chance <= 0.01
    ]
    left = found.findings_in_all - len(found.findings)
    more = f" {left:,} more are not shown." if left else ""
    if not striking:
        said = "passage comes" if len(found.findings) == 1 else "passages come"
        return (
            f"{len(found.findings)} {said} close, none closer than chance may well bring "
            f"about.{more}"
        )
    bars = list(dict.fromkeys(bars_of(finding) for finding in striking))
    return (
        f"{share_of(len(striking), len(found.findings), bool(left))} can hardly be "
        f"chance: {', '.join(bars[:4])}{' ...' if len(bars) > 4 else ''}.{more}"
    )


def share_of(striking: int, listed: int, more: bool) -> str:
    """How many of the passages listed, which may not be all."""
    if listed == 1:
        return "The passage shown" if more else "The one passage that comes close"
    if more:
        return f"Of the {listed} passages shown, {striking}"
    return f"{counted(striking, 'passage')} of {listed}"


def counted(number: int, noun: str) -> str:
    """A number and its noun."""
    return f"{number} {noun}{'' if number == 1 else 's'}"


def bars_of(finding: Finding) -> str:
    """The bars of the own tune that a finding touches."""
    return bars_text(finding.own.melody.bar[0], finding.own.melody.bar[-1])


def strip(found: Audit, style: Style) -> list[str]:
    """Which bars are touched, and how strongly."""
    shades = [shade(cover, style) for cover in found.coverage]
    ranks = [str(cover.findings[0]) if cover.findings else "" for cover in found.coverage]
    numbers = [str(cover.bar) for cover in found.coverage]
    return columns(["bar", "touched", "by"], [numbers, shades, ranks], style)


def shade(cover: BarCover, style: Style) -> str:
    """The sign of a bar."""
    if not cover.findings:
        return "·" if style.signs else "-"
    expected = cover.expected_by_chance
    for limit, sign, plain in STRENGTHS:
        if expected is not None and expected <= limit:
            return sign if style.signs else plain
    return STRENGTHS[-1][1] if style.signs else STRENGTHS[-1][2]


def finding_lines(finding: Finding, style: Style) -> list[str]:
    """One finding: where, what it tells, and the notes."""
    whose = finding.tune.whole.credits
    maker = f", {whose.composer}" if whose.composer else ""
    year = f", {whose.year}" if whose.year else ""
    title = shown(f"{finding.rank}  {bars_of(finding)}: {finding.tune.label}{maker}{year}")
    lines = [*title_lines(title, style), *wrapped(facts(finding), style)]
    lines += aligned_lines(
        finding.own.melody, finding.tune.melody, finding.likeness, ("own", "tune"), style
    )
    return lines


def title_lines(title: str, style: Style) -> list[str]:
    """A title, broken where the terminal is too narrow for it."""
    lines = textwrap.wrap(title, style.width, subsequent_indent="   ")
    return [style.strong(line) for line in lines]


def facts(finding: Finding) -> list[str]:
    """What a finding tells."""
    found = finding.likeness
    told = []
    if finding.expected_by_chance is not None:
        told.append(f"{expected_text(finding.expected_by_chance)} expected by chance")
    told.append(finding.commonness.beside(finding.expected_by_chance))
    told.append(f"{finding.bits:.0f} bits")
    move = interval_text(found.transposition_semitones, found.spelled_shift)
    told.append(f"{move}, {function_text(found)}")
    rhythm = found.in_time
    told.append(f"{rhythm} of {found.paired} notes in the same rhythm")
    if finding.earlier is not None:
        told.append("dated earlier" if finding.earlier else "not dated earlier")
    if finding.also:
        told.append(shown(f"also in {finding.also_words}"))
    told.append(f"tune {leading(finding.tune.tune_id)}")
    return told


def often_text(times: float) -> str:
    """How often, in words: ``once`` or so many times."""
    return "once" if times == 1 else f"{times:g} times"


def compared_with(found: Audit) -> str:
    """What has to be known to repeat the audit."""
    return (
        f"Compared with {found.corpus_tunes:,} tunes of {found.corpus_notes:,} notes "
        f"(digest {found.corpus_digest}) in "
        f"{found.windows} windows, findings expected up to {often_text(found.threshold)}, "
        f"melodex {found.version}{left_out_text(found.excluded)}."
    )


def left_out_text(excluded: Sequence[str]) -> str:
    """Which tunes were left out, behind what else has to be known; nothing of none."""
    return f", left out: {', '.join(map(leading, excluded))}" if excluded else ""


def each_text(name: str, found: Audit) -> str:
    """One of many audits in a line: how much was found, and the first of it."""
    if not found.findings:
        return f"{shown(name)}: nothing comes close\n"
    first = found.findings[0]
    what = many(found.findings_in_all, "finding")
    return f"{shown(name)}: {what}, the first in {shown(first.tune.label)}\n"


def many_audits_text(found: ManyAudits) -> str:
    """Many audits, a line each, then what was not audited and why."""
    lines = map(each_text, found.names, found.audits)
    refused = (
        f"{shown(each.name)}: not audited: {shown(each.reason)}\n"
        for each in found.refusals
    )
    return "".join([*lines, *refused])
