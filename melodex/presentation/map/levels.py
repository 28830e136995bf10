"""What of a piece goes up and down, laid out in time: voices, rich chords, loudness.

Conventions: heights go from 0 to 1. A curve is steps, one for each bar, or runs straight
from corner to corner.

Contents: Curve, curves_of.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from melodex.melody.loudness import LEVELS, level_points
from melodex.tasks.describe.describe import Description

if TYPE_CHECKING:
    from melodex.analysis.texture.bars import BarTexture

__all__ = ["Curve", "curves_of"]

MARKS = {level: sign for sign, level in reversed(LEVELS.items()) if len(set(sign)) == 1}
MARKS |= {4.0: "mp", 5.0: "mf"}
"""What a level is called."""


@dataclass(frozen=True, slots=True)
class Curve:
    """A lane laid out in time.

    Parameters
    ----------
    name : str
        What stands left of it.
    points : tuple of (int, float, str)
        Place, height from 0 to 1, and what it says there; height and words hold up to the
        next place, or run straight to it where ``is_line``. An empty word is a gap.
    top, ground : str
        What 1 and 0 stand for.
    is_line : bool
        Whether it runs straight from corner to corner.
    """

    name: str
    points: tuple[tuple[int, float, str], ...]
    top: str
    ground: str
    is_line: bool = False


def curves_of(found: Description) -> tuple[Curve, ...]:
    """The lanes that a description has figures for."""
    made = (voices(found), richness(found), printed(found), recorded(found))
    return tuple(curve for curve in made if curve is not None)


def voices(found: Description) -> Curve | None:
    """Notes at once, bar by bar."""
    bars = found.thickness.bars
    most = max((bar.voices for bar in bars), default=0)
    if most <= 1:
        return None
    points = [
        (bar.onset_ticks, bar.voices / most, f"{bar.voices:.1f} notes at once")
        for bar in bars
    ]
    return Curve("Voices", ended(points, bars), f"{most:.0f}", "0")


def richness(found: Description) -> Curve | None:
    """Share of the time over chords of four notes or more."""
    bars = found.thickness.bars
    if not any(bar.rich for bar in bars):
        return None
    points = [
        (
            bar.onset_ticks,
            bar.rich or 0.0,
            "" if bar.rich is None else f"four notes or more: {bar.rich:.0%}",
        )
        for bar in bars
    ]
    return Curve("Rich chords", ended(points, bars), "100%", "0")


def ended(
    points: list[tuple[int, float, str]], bars: tuple[BarTexture, ...]
) -> tuple[tuple[int, float, str], ...]:
    """Steps, and where the last of them ends."""
    return (*points, (bars[-1].end_ticks, 0.0, ""))


def printed(found: Description) -> Curve | None:
    """Loudness as the marks and hairpins say."""
    melody = found.passage.whole
    corners = level_points(melody.dynamics, melody.end_ticks)
    if len(corners) < 2:
        return None
    levels = [level for _, level in corners]
    low, high = min(levels), max(levels)
    room = max(high - low, 1.0)
    points = tuple(
        # The softest still stands above the ground, where nothing is said.
        (place, 0.2 + 0.8 * (level - low) / room, sign_of(level))
        for place, level in corners
    )
    return Curve("Loudness", points, sign_of(low + room), sign_of(low), is_line=True)


def sign_of(level: float) -> str:
    """The mark nearest to a level."""
    return MARKS[min(MARKS, key=lambda each: abs(each - level))]


def recorded(found: Description) -> Curve | None:
    """Loudness of a recording, bar by bar."""
    if found.recorded is None:
        return None
    bars = [bar for bar in found.recorded.bars if bar.loudness is not None]
    if not bars:
        return None
    loud = [bar.loudness for bar in bars if bar.loudness is not None]
    low, high = min(loud), max(loud)
    room = max(high - low, 1.0)
    points: list[tuple[int, float, str]] = []
    for bar in found.recorded.bars:
        if bar.loudness is None:
            points.append((bar.onset_ticks, 0.0, ""))
        else:
            height = 0.15 + 0.85 * (bar.loudness - low) / room
            points.append((bar.onset_ticks, height, f"{bar.loudness:.1f} LUFS"))
    points.append((found.recorded.bars[-1].end_ticks, 0.0, ""))
    return Curve("Recording", tuple(points), f"{high:.0f} LUFS", f"{low:.0f}")
