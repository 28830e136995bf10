"""Text of a comparison: two passages side by side.

Contents: comparison_text.
"""

from __future__ import annotations

from melodex.presentation.text.staves import aligned_lines, legend
from melodex.presentation.text.style import Style, paragraphs
from melodex.presentation.text.words import shown
from melodex.tasks.compare import (
    Comparison,
)

__all__ = ["comparison_text"]


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
        *aligned_lines(found.a.melody, found.b.melody, found.likeness, ("A", "B"), style),
        "",
        *legend((pair.relation for pair in found.likeness.pairs), style),
    ]
    return "\n".join(lines) + "\n"
