"""Text of a gathering: passages with their reasons, grouped by tune.

Contents: gathering_text.
"""

from __future__ import annotations

from itertools import groupby

from melodex.melody.tune_id import leading
from melodex.presentation.text.style import Style, paragraphs
from melodex.presentation.text.words import shown
from melodex.tasks.gather.gather import Example, Gathering

__all__ = ["gathering_text"]


def gathering_text(found: Gathering, style: Style) -> str:
    """Write what was gathered as text.

    Parameters
    ----------
    found : Gathering
        Of the gather task.
    style : Style
        What the terminal can show.
    """
    asked = "; ".join(found.wish.told())
    least = "at least " if found.unsure else ""
    heading = f"{asked}: {least}{found.tunes:,} of {found.corpus_tunes:,} tunes"
    lines = [style.strong(line) for line in paragraphs([shown(heading)], style)]
    lines.append("")
    for _, group in groupby(found.examples, key=lambda example: example.tune_id):
        lines += tune_lines(list(group), style)
    lines += paragraphs(found.remarks, style)
    return "\n".join(lines).rstrip() + "\n"


def tune_lines(examples: list[Example], style: Style) -> list[str]:
    """One tune and its passages."""
    first = examples[0]
    maker = f", {first.composer}" if first.composer else ""
    year = f", {first.year}" if first.year else ""
    place = f" ({first.collection})" if first.collection else ""
    title = f"{first.name}{maker}{year}{place}  {leading(first.tune_id)}"
    lines = [style.strong(shown(title))]
    for example in examples:
        bars = f"{example.first_bar}-{example.last_bar}"
        if example.first_bar == example.last_bar:
            bars = str(example.first_bar)
        reasons = "; ".join(example.reasons) or "the whole tune"
        text = f"bar{'s' if '-' in bars else ''} {bars}: {reasons}"
        lines += [
            f"  {line}" for line in paragraphs([shown(style.spelled_key(text))], style)
        ]
    return lines
