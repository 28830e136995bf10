"""Where the other lines of a piece answer a passage, as text.

Contents: answers_text.
"""

from __future__ import annotations

from melodex.presentation.text.style import Style, paragraphs
from melodex.presentation.text.words import shown
from melodex.tasks.describe.echoes import Answers

__all__ = ["answers_text"]


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
