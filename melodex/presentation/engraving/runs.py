"""Texts of the engraver's picture as runs: words, how far down, size, set back.

The engraver writes a text as nested runs, its musical signs in a private use area. Here
signs become Unicode, and the figures of a numeral are stacked as they are written by hand.

Contents: TEXT_SIZE, Run, text_runs, flat, stacked.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from xml.etree.ElementTree import Element

from melodex.presentation.engraving.marks import number

__all__ = ["TEXT_SIZE", "Run", "flat", "stacked", "text_runs"]

TEXT_SIZE = 405
"""Of words, in the picture's own units: two and a quarter staff spaces."""

PRIVATE_SIGNS = {
    0xE260: "♭",
    0xE261: "♮",
    0xE262: "♯",
    0xE263: "𝄪",
    0xE264: "𝄫",
    0xEA63: "𝄫",
    0xEA64: "♭",
    0xEA65: "♮",
    0xEA66: "♯",
    0xEA67: "𝄪",
}
"""SMuFL code points that the engraver puts into text -> Unicode."""

Run = tuple[str, str, float, float]

STACK = re.compile(r"(.*?)(65|64|43|42)")
STACK_RISE, STACK_DROP, DIGIT_WIDTH = 0.3, 0.78, 0.5
"""How much higher the upper of two figures stands, how far the lower hangs below it, and
how wide a figure is, in sizes of their type."""


def text_runs(element: Element, down: str) -> Iterator[tuple[str, str, float]]:
    """Runs of an engraver's text: words, how far down from the last run, size."""
    down = element.get("dy", down)
    words = (element.text or "").strip("\n")
    if words.strip() and len(element) == 0:
        size = float(element.get("font-size", "0").removesuffix("px") or 0)
        if any(0xE000 <= ord(c) <= 0xF8FF for c in words):
            # Signs come in the music font at its own size; in text they are text.
            size = size * TEXT_SIZE / 720
        yield words.translate(PRIVATE_SIGNS).strip("\u00a0"), down, size
    for child in element:
        yield from text_runs(child, down)
        # What is moved stays moved: only the first run of a group says so.
        down = ""


def flat(runs: Sequence[tuple[str, str, float]]) -> Iterator[Run]:
    """Runs of a text as they come, none of them set back."""
    for words, down, size in runs:
        yield words, down, size, 0.0


def stacked(runs: Sequence[tuple[str, str, float]]) -> Iterator[Run]:
    """Runs of a numeral with its figures over one another, as they are written by hand.

    Each run is words, how far down from the last, size, and how far it is set back.
    """
    owed = 0.0
    for words, down, size in runs:
        found = STACK.fullmatch(words)
        if found is None or not 0 < size < TEXT_SIZE:
            yield words, lowered(down, owed), size, 0.0
            owed = 0.0
            continue
        kind, upper, lower = found[1], found[2][0], found[2][1]
        if kind:
            yield kind, lowered(down, owed), size, 0.0
            down, owed = "", 0.0
        yield upper, lowered(down, owed - STACK_RISE * size), size, 0.0
        yield lower, lowered("", STACK_DROP * size), size, DIGIT_WIDTH * size
        owed = (STACK_RISE - STACK_DROP) * size


def lowered(down: str, more: float) -> str:
    """How far down a run stands, and so much more."""
    if not more:
        return down
    return number(float(down.removesuffix("px") or 0) + more)
