"""How thick a piece is through its sections, in sentences, and what goes with that.

Conventions: bars go by their printed numbers. Nothing is said of one line alone.

Contents: Thickness, thickness_of, texture_sentences, link_sentence.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from melodex.analysis.piece import Analysis
from melodex.analysis.texture import LineFind
from melodex.analysis.texture.bars import (
    BarTexture,
    Joint,
    SectionTexture,
    bar_textures,
    joints,
    section_texture,
)
from melodex.analysis.texture.linked import Link, links
from melodex.melody import Melody
from melodex.melody.texture import Texture

__all__ = [
    "Thickness",
    "link_sentence",
    "texture_sentences",
    "thickness_of",
]

MOST_SECTIONS = 8
"""Sections that are told one by one; of more, the whole is told."""
MOST_STRETCHES = 4
"""Stretches of bars that a sentence names; the rest is counted."""
ALIKE, APART = 0.75, 0.4
"""From which share lines move together, and up to which each in its own rhythm."""


@dataclass(frozen=True, slots=True)
class Thickness:
    """Bar by bar, by section, and what goes together.

    Parameters
    ----------
    bars : tuple of BarTexture
    sections : tuple of (str, SectionTexture)
        Each with the label of the section; one without a label where there are none.
    joints : tuple of Joint
    links : tuple of Link
    """

    bars: tuple[BarTexture, ...] = ()
    sections: tuple[tuple[str, SectionTexture], ...] = ()
    joints: tuple[Joint, ...] = ()
    links: tuple[Link, ...] = ()


def thickness_of(
    texture: Texture,
    melody: Melody,
    found: Analysis,
    finds: Sequence[LineFind],
    levels: Sequence[float | None] = (),
) -> Thickness:
    """How thick a piece is.

    Parameters
    ----------
    texture : Texture
        All its notes.
    melody : Melody
        The tune among them.
    found : Analysis
        For the sections.
    finds : sequence of LineFind
        For the doublings.
    levels : sequence of float or None
        Printed loudness of each bar.
    """
    bars = bar_textures(texture, melody, finds)
    return Thickness(
        bars,
        tuple(section_rows(bars, found)),
        joints(bars, texture, melody),
        links(bars, levels),
    )


def section_rows(
    bars: Sequence[BarTexture], found: Analysis
) -> Iterator[tuple[str, SectionTexture]]:
    """The averages of each section, or of the whole."""
    parts = [
        (part.label, [bar for bar in bars if part.first_bar <= bar.number <= part.last_bar])
        for part in found.sections
    ]
    if not 1 < len(parts) <= MOST_SECTIONS:
        parts = [("", list(bars))]
    for label, inside in parts:
        averages = section_texture(inside)
        if averages is not None:
            yield label, averages


def texture_sentences(thickness: Thickness) -> Iterator[str]:
    """One sentence for each section."""
    told = [(label, section_words(row)) for label, row in thickness.sections]
    if not told:
        return
    if len(told) == 1:
        yield f"Texture: {told[0][1]}."
        return
    yield f"Texture by section: {'; '.join(f'{name}, {words}' for name, words in told)}."


def section_words(row: SectionTexture) -> str:
    """Voices, spacing, rhythm and doublings of a stretch."""
    if row.alone_bars == row.bars:
        return "the tune alone"
    parts = [f"{row.voices:.1f} notes at once over {row.span:.0f} semitones on average"]
    if row.together is not None:
        if row.together >= ALIKE:
            parts.append("the lines in one rhythm")
        elif row.together <= APART:
            parts.append("each line in its own rhythm")
    if row.doubled_bars:
        parts.append(f"the tune doubled in {row.doubled_bars} of {row.bars} bars")
    if row.alone_bars:
        parts.append(f"alone in {row.alone_bars}")
    return ", ".join(parts)


WHATS = {
    "doubled": "the tune is doubled",
    "alone": "the tune is alone",
    "together": "all lines move in one rhythm",
    "full": "most notes sound at once",
}


def link_sentence(link: Link) -> str:
    """Two things that go together, with their figures."""
    bars = stretches_words(link.bars)
    where = f"{WHATS[link.what]} in {bars}"
    more = link.here > link.elsewhere
    if link.measure == "rich":
        return (
            f"{where}; there the chords are {'richer' if more else 'plainer'} (of four "
            f"notes or more for {link.here:.0%} of the time, elsewhere "
            f"{link.elsewhere:.0%})"
        )
    if link.measure == "chords":
        return (
            f"{where}; there the chords change {'faster' if more else 'more slowly'} "
            f"({link.here:.1f} a bar, elsewhere {link.elsewhere:.1f})"
        )
    return (
        f"{where}; there it is printed {'louder' if more else 'softer'} "
        f"({abs(link.here - link.elsewhere):.1f} levels on average)"
    )


def stretches_words(bars: Sequence[tuple[int, int]]) -> str:
    """Stretches of bars in words; of many the first, and how many more."""
    said = [str(a) if a == b else f"{a}-{b}" for a, b in bars[:MOST_STRETCHES]]
    more = len(bars) - len(said)
    word = "bar" if len(bars) == 1 and bars[0][0] == bars[0][1] else "bars"
    if more:
        return f"{word} {', '.join(said)} and {more} more places"
    return f"{word} {' and '.join(filter(None, (', '.join(said[:-1]), said[-1])))}"
