"""Text for a terminal: tune families, and what their tunes differ by.

Contents: families_text.
"""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from melodex.melody.tune_id import leading
from melodex.presentation.text.words import WIDEST_TITLE, clipped, many, shown

if TYPE_CHECKING:
    from collections.abc import Iterator

    from melodex.tasks.collection.families import Families, Family, Member

__all__ = ["families_text"]

WIDTH, INDENT = 80, " " * 8
"""Characters of a line, and what stands before the rows under a name."""


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
