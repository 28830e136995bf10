"""Accidentals in words in italics.

The fonts of a page have no accidental in italics. A typesetter that looks for one shapes
all that stands between two given places in another font, and its letters stand upright
too; so each accidental gets a place of its own, behind the letters before it.

Conventions: lengths in units of the picture. Widths are those of Libertinus Serif, italic
for all but accidentals, in thousandths of its size, as typst measures them; letters that
are not named have the width of most.

Contents: ACCIDENTALS, Run, placed_runs.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

__all__ = ["ACCIDENTALS", "Run", "placed_runs"]

Run = tuple[str, str, float]
"""Words, how far down from the last run, and their size."""

ACCIDENTALS = "♭♮♯𝄪𝄫"
USUAL = 490
WIDTHS = {
    **dict.fromkeys("ijl .,°", 260),
    **dict.fromkeys("f/()t-IT", 310),
    **dict.fromkeys("crse", 375),
    **dict.fromkeys("♭♯♮", 400),
    **dict.fromkeys("0123456789zo", 444),
    **dict.fromkeys("BRVYZ", 560),
    **dict.fromkeys("CUJEL", 600),
    **dict.fromkeys("ADGHKNOQX", 665),
    **dict.fromkeys("mMwW", 790),
    "E": 526,
    "F": 457,
    "L": 519,
    "J": 414,
    "T": 544,
}
"""Thousandths of the size of the type, of signs in italics, and of all others."""


def placed_runs(
    runs: Sequence[Run], x: float, anchor: str, size: float
) -> list[tuple[Run, float]]:
    """Runs with each accidental by itself, and where each begins.

    Parameters
    ----------
    runs : sequence of (str, str, float)
        One after another; a size of 0 is the usual one.
    x : float
        Where the whole begins, has its middle or ends, as ``anchor`` says.
    anchor : str
        ``start``, ``middle`` or ``end``, as in SVG.
    size : float
        Usual size.
    """
    parts = [part for run in runs for part in signs_apart(run)]
    widths = [width_of(words, each or size) for words, _, each in parts]
    at = x - {"middle": 0.5, "end": 1.0}.get(anchor, 0.0) * sum(widths)
    placed = []
    for (words, down, each), width in zip(parts, widths, strict=True):
        # Space before a word that has a place of its own is not drawn.
        space = width_of(words[: len(words) - len(words.lstrip())], each or size)
        placed.append(((words.strip(), down, each), at + space))
        at += width
    return placed


def signs_apart(run: Run) -> list[Run]:
    """A run cut before and behind accidentals; only its first part says how far down."""
    words, down, size = run
    parts = [part for part in re.split(f"([{ACCIDENTALS}]+)", words) if part]
    return [(part, down if place == 0 else "", size) for place, part in enumerate(parts)]


def width_of(words: str, size: float) -> float:
    """About how wide words in italics are."""
    return sum(WIDTHS.get(sign, USUAL) for sign in words) * size / 1000
