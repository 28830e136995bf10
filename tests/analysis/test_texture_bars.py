"""Texture bar by bar, lines that join, and two things that go together."""

from dataclasses import replace

import pytest

from melodex.analysis.texture.bars import (
    BarTexture,
    bar_textures,
    joints,
    section_texture,
)
from melodex.analysis.texture.linked import links
from melodex.melody import Melody
from melodex.reading.abc.reader import read_abc
from melodex.reading.result import Choice
from melodex.tasks.describe.thickness import link_sentence

DUET = (
    "X:1\nT:Duet\nL:1/4\nM:4/4\nK:C\nV:1 name=Flute\nV:2 name=Viola\n"
    "[V:1] cdef|gfed|c2e2|g4|cegc'|c4|\n"
    "[V:2] z4|z4|A,2C2|E4|A,4|E4|\n"
)


def bars_of(text: str) -> tuple[tuple[BarTexture, ...], Melody]:
    """The bars of an ABC text with two voices."""
    read = read_abc(text, "duet.abc", Choice()).tunes[0]
    assert read.texture is not None
    return bar_textures(read.texture, read.melody), read.melody


def test_voices_spacing_and_rhythm_are_counted_by_hand() -> None:
    bars, _ = bars_of(DUET)
    assert [bar.voices for bar in bars] == [1, 1, 2, 2, 2, 2]
    assert [bar.span for bar in bars[:3]] == [0, 0, 15.5]
    assert [bar.alone for bar in bars] == [True, True, False, False, False, False]
    assert [bar.together for bar in bars] == [None, None, 1, 1, 0.25, 1]
    # A3 under C5 E5 G5 C6: 15, 19, 22 and 27 semitones.
    assert bars[4].span == (15 + 19 + 22 + 27) / 4


def test_a_second_voice_joins_in_its_bar() -> None:
    read = read_abc(DUET, "duet.abc", Choice()).tunes[0]
    assert read.texture is not None
    bars = bar_textures(read.texture, read.melody)
    found = joints(bars, read.texture, read.melody)
    assert [(joint.bar, joint.line) for joint in found] == [(3, "Viola")]


def test_averages_of_a_section() -> None:
    bars, _ = bars_of(DUET)
    row = section_texture(bars)
    assert row is not None
    assert (row.voices, row.alone_bars, row.bars) == (10 / 6, 2, 6)
    assert section_texture([replace(bars[0], voices=0.0)]) is None


def planted(doubled: list[bool], rich: list[float]) -> tuple[BarTexture, ...]:
    """Bars in which the tune is doubled and chords are rich as told."""
    return tuple(
        BarTexture(i + 1, i, i + 1, 3.0, 20.0, 3, 0.5, ("third",) if d else (), False, r, 1)
        for i, (d, r) in enumerate(zip(doubled, rich, strict=True))
    )


def test_what_goes_together_is_told_with_its_figures() -> None:
    has = [17 <= n < 26 or 33 <= n < 41 for n in range(48)]
    bars = planted(has, [0.7 if each else 0.2 for each in has])
    (link,) = links(bars)
    assert (link.what, link.measure, link.bars) == ("doubled", "rich", ((18, 26), (34, 41)))
    assert link_sentence(link) == (
        "the tune is doubled in bars 18-26 and 34-41; there the chords are richer (of "
        "four notes or more for 70% of the time, elsewhere 20%)"
    )


@pytest.mark.parametrize(
    "rich",
    [
        [0.4] * 48,
        # As rich elsewhere: shifted, the doubled bars meet rich ones as often.
        [0.7 if n % 2 else 0.2 for n in range(48)],
        # Too little apart.
        [0.4 if 17 <= n < 26 else 0.3 for n in range(48)],
    ],
)
def test_what_does_not_go_together_is_not_told(rich: list[float]) -> None:
    assert not links(planted([17 <= n < 26 for n in range(48)], rich))


def test_of_few_bars_nothing_is_told() -> None:
    assert not links(planted([True] * 5 + [False] * 5, [1.0] * 5 + [0.0] * 5))
