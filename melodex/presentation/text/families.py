"""Text for a terminal: tune families and what their tunes differ by; chance, tried.

Contents: families_text, calibration_text.
"""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from melodex.melody.tune_id import leading
from melodex.presentation.text.words import WIDEST_TITLE, clipped, many, shown, table

if TYPE_CHECKING:
    from collections.abc import Iterator

    from melodex.tasks.collection.calibration import Calibration, Tried
    from melodex.tasks.collection.families import Families, Family, Member

__all__ = ["calibration_text", "families_text"]

WIDTH, INDENT = 80, " " * 8
"""Characters of a line, and what stands before the rows under a name."""

FOREWORD = (
    "Phrases of tunes of this corpus, read backwards and looked for in all but those tunes",
    "and their kin. Of each so many matches are expected that chance brings so often or",
    "less; so many could be stated, since points are whole numbers; so many were seen.",
)


def families_text(found: Families) -> str:
    """Tune families: the tune that stands for each, its kin, and what they differ by."""
    lines = []
    for number, family in enumerate(found.families, start=1):
        lines += family_lines(number, family)
    return "".join(f"{line}\n" for line in [*lines, *closing(found)])


def family_lines(number: int, family: Family) -> list[str]:
    """One family, an empty line after it."""
    first = family.members[0].row
    lines = [f"{number}. {shown(first.name)}, {many(len(family.members), 'tune')}"]
    for member in family.members:
        lines += member_lines(member)
    return [*lines, ""]


def member_lines(member: Member) -> Iterator[str]:
    """One tune: how sure it is that it belongs here, what it is, and what differs."""
    row = member.row
    name = clipped(shown(row.name), WIDEST_TITLE)
    where = shown(f"{row.source} {row.number}".strip())
    yield f"  {member.sureness:4.0%}  {leading(row.tune_id)}  {name}  ({where})"
    if member.differences:
        told = shown("; ".join(member.differences))
        yield textwrap.fill(told, WIDTH, initial_indent=INDENT, subsequent_indent=INDENT)


def closing(found: Families) -> Iterator[str]:
    """How many there are in all, what was left out, and how to look at a claim."""
    count, hidden = found.families_in_all, found.families_in_all - len(found.families)
    families = f"{count:,} {'family' if count == 1 else 'families'}"
    tunes = f"{many(found.tunes_in_families, 'tune')} of {found.corpus_tunes:,}"
    rest = f"; {hidden:,} not shown" if hidden else ""
    yield f"{families} with {tunes}{rest}"
    if found.left_out:
        yield (
            f"{many(found.left_out, 'tune')} left out: too short, or too plain (a drone, a "
            "few steps), to be told from others"
        )


def calibration_text(found: Calibration) -> str:
    """What was seen for what was expected."""
    if not found.rows:
        return (
            "The corpus is too small, or its tunes too short, to say how many matches "
            "chance would bring.\n"
        )
    head = ("notes", "rhythm", "phrases", "expected", "could be", "seen", "95 %", "times")
    lines = [
        *FOREWORD,
        "",
        *table(head, [*map(cells, found.rows)], (0, 2, 3, 4, 5, 7)).splitlines(),
        "",
    ]
    if found.unsaid:
        lines.append(f"Of {many(found.unsaid, 'more phrase')} chance could not be said.")
    lines.append(f"Searched: {many(found.corpus_tunes, 'tune')}; seed {found.seed}.")
    return "".join(f"{line}\n" for line in lines)


def cells(row: Tried) -> tuple[str, ...]:
    """One row."""
    low, high = row.interval
    times = f"{row.seen / row.stateable:.2f}" if row.stateable else "-"
    return (
        str(row.notes),
        "with" if row.has_rhythm else "without",
        str(row.phrases),
        f"{row.expected:g}",
        f"{row.stateable:.3f}",
        f"{row.seen:.3f}",
        f"{low:.3f} to {high:.3f}",
        times,
    )
