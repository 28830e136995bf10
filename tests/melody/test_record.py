"""Melody: what an excerpt keeps, what a transposition moves, what an id depends on."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from melodex.errors import PassageError
from melodex.melody import (
    TICKS_PER_QUARTER,
    Bar,
    ChordSymbol,
    Credits,
    Grace,
    Key,
    KeyChange,
    Lyric,
    Melody,
    Metre,
    MetreChange,
    SectionMark,
    Tuplet,
)
from melodex.melody.cutting import notes_of_bars
from melodex.melody.moving import transposed

QUARTER = TICKS_PER_QUARTER


def scale(title: str = "Scale") -> Melody:
    """Eight quarters of D dorian in two bars of four, with one of everything."""
    return Melody(
        midi=(62, 64, 65, 67, 69, 71, 72, 74),
        fifths=(2, 4, -1, 1, 3, 5, 0, 2),
        onset_ticks=tuple(i * QUARTER for i in range(8)),
        duration_ticks=(QUARTER,) * 8,
        bar=(1, 1, 1, 1, 2, 2, 2, 2),
        beat_strength=(1.0, 0.25, 0.5, 0.25) * 2,
        phrase=(0,) * 8,
        bars=(Bar(1, 0, 4 * QUARTER), Bar(2, 4 * QUARTER, 4 * QUARTER, repeat_times=2)),
        keys=(KeyChange(0, Key(2, "dorian"), 0),),
        metres=(MetreChange(0, Metre(4, 4)),),
        chords=(ChordSymbol("Dm", 1, 0), ChordSymbol("G7", 2, 6 * QUARTER)),
        marks=(SectionMark("A", 1, 0),),
        graces=(Grace(5, 72, 0),),
        tuplets=(Tuplet(4, 6, 3, 2, 4 * QUARTER, 3 * QUARTER),),
        lyrics=(Lyric(4, "la"),),
        credits=Credits(title=title, source="a.abc", number="3"),
    )


def test_degrees_are_counted_from_the_printed_tonic() -> None:
    assert scale().degrees() == (0, 2, -3, -1, 1, 3, -2, 0)


def test_a_melody_survives_json() -> None:
    assert Melody.from_dict(json.loads(json.dumps(scale().to_dict()))) == scale()


def test_the_id_depends_on_music_and_title_but_not_on_the_place_it_was_read_from() -> None:
    tune = scale()
    moved = tune.with_credits(source="b.abc", number="9", collection="Other")
    assert moved.content_id() == tune.content_id()
    assert tune.with_credits(title="Ladder").content_id() != tune.content_id()
    assert transposed(tune, 2, 2).content_id() != tune.content_id()


def test_an_excerpt_keeps_the_numbers_and_the_chord_that_already_sounds() -> None:
    part = scale().excerpt(4, 7)
    assert part.bar == (2, 2, 2, 2)
    assert [bar.number for bar in part.bars] == [2]
    assert [chord.text for chord in part.chords] == ["Dm", "G7"]
    assert part.graces == (Grace(1, 72, 0),)
    assert part.lyrics == (Lyric(0, "la"),)
    assert part.tuplets[0].first == 0
    assert part.key == Key(2, "dorian")


@pytest.mark.parametrize(("first", "last"), [(0, 1), (2, 3), (2, 1)])
def test_bars_outside_the_tune_are_refused_with_the_bars_it_has(
    first: int, last: int
) -> None:
    with pytest.raises(PassageError, match=r"Scale: bars .* \(it has bars 1 to 2\)"):
        notes_of_bars(scale(), first, last)


def test_notes_outside_the_tune_are_refused_with_the_notes_it_has() -> None:
    with pytest.raises(PassageError, match=r"notes 8-9 .* \(it has notes 1 to 8"):
        scale().excerpt(7, 8)


def test_columns_of_different_length_are_refused() -> None:
    with pytest.raises(ValueError, match="differ in length"):
        Melody(midi=(60,))


def test_an_interval_that_is_not_its_spelling_is_refused() -> None:
    with pytest.raises(ValueError, match="1 semitones are not 1 fifths"):
        transposed(scale(), 1, 1)


@given(st.integers(-12, 12))
def test_transposing_changes_neither_degrees_nor_steps(fifths: int) -> None:
    tune = scale()
    moved = transposed(tune, (7 * fifths) % 12, fifths)
    assert moved.degrees() == tune.degrees()
    assert moved.interval_semitones == tune.interval_semitones
    assert transposed(moved, -((7 * fifths) % 12), -fifths) == tune


@given(st.integers(0, 7), st.integers(0, 7))
def test_an_excerpt_of_the_whole_is_the_whole_and_any_is_of_its_length(
    a: int, b: int
) -> None:
    first, last = sorted((a, b))
    tune = scale()
    assert len(tune.excerpt(first, last)) == last - first + 1
    assert tune.excerpt(0, 7) == tune
