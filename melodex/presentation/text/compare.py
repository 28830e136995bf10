"""Text of a comparison: two passages side by side; and of the answers to one passage.

Contents: comparison_text, answers_text.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from melodex.melody import bars_text
from melodex.presentation.text.staves import aligned_lines, legend
from melodex.presentation.text.style import Style, paragraphs
from melodex.presentation.text.words import shown
from melodex.tasks.compare.compare import Comparison
from melodex.tasks.compare.shared_passages import shared_passages

if TYPE_CHECKING:
    from melodex.tasks.describe.echoes import Answers

__all__ = ["answers_text", "comparison_text"]


def comparison_text(found: Comparison, style: Style) -> str:
    """Lay two passages side by side as text.

    Parameters
    ----------
    found : Comparison
        Of the compare task.
    style : Style
        What the terminal can show.
    """
    lines = [
        style.strong(shown(f"A  {found.a.label}")),
        style.strong(shown(f"B  {found.b.label}")),
        "",
        *paragraphs(found.summary, style),
        "",
    ]
    shared = shared_passages(found)
    for each in shared:
        lines += [style.strong(places_text(each)), *laid_lines(each, style), ""]
    if shared:
        lines += [FOLDED, ""]
    else:
        lines += [*laid_lines(found, style), ""]
    relations = [p.relation for each in shared or (found,) for p in each.likeness.pairs]
    lines += legend(relations, style)
    return "\n".join(lines) + "\n"


FOLDED = "The rest does not match and is left out."


def places_text(found: Comparison) -> str:
    """Which bars of both match."""
    return f"A, {bars_text(*found.a.bars)}; B, {bars_text(*found.b.bars)}"


def laid_lines(found: Comparison, style: Style) -> list[str]:
    """Note against note."""
    return aligned_lines(found.a.melody, found.b.melody, found.likeness, ("A", "B"), style)


def answers_text(found: Answers, style: Style) -> str:
    """Write the answers to a passage, one a line.

    Parameters
    ----------
    found : Answers
        Of the task.
    style : Style
        What the terminal can show.
    """
    head = f"{found.passage.label}, {found.line}: {len(found.passage.melody)} notes"
    others = f"the other {found.lines - 1} lines" if found.lines > 2 else "the other line"
    count = len(found.answers)
    said = f"Answered {count} time{'' if count == 1 else 's'} in {others} of the piece."
    if not count:
        said = (
            f"Nothing in {others} of the piece answers it, as it is, upside down, or in "
            "doubled or halved lengths."
        )
    rows = [f"{at}  {answer.words}" for at, answer in enumerate(found.answers, 1)]
    lines = [style.strong(shown(head)), *paragraphs([said], style), ""]
    return "\n".join([*lines, *map(shown, rows)]).rstrip() + "\n"
