"""Suspensions in a chain, exchanged notes and ostinatos, planted by hand.

What they are is common practice, no source; the chorale BWV 1.6 is read from its score in
music21's corpus, where the second horn is held over four times.
"""

from __future__ import annotations

from benchmarks.analysis.harmony.voices import Q
from melodex.analysis.harmony.heard.sounding import over_worked_chords
from melodex.analysis.texture import LineFind, line_finds
from melodex.analysis.texture.words import line_sentence
from melodex.reading import read_path
from tests.analysis.test_texture import CORPUS, piece


def woven(kind: str, **lines: str) -> list[LineFind]:
    """What of one kind is found over the chords that the lines make."""
    texture, melody = piece(**lines)
    chorded = over_worked_chords(texture, melody)
    return [find for find in line_finds(texture, chorded) if find.kind == kind]


def test_a_voice_that_steps_down_with_its_chords_is_in_no_chain() -> None:
    assert (
        woven(
            "chained suspensions",
            soprano="E5:4 D5:4 C5:4 B4:4 C5:4",
            alto="C5:4 B4:4 A4:4 G4:4 G4:4",
            bass="C3:4 G3:4 A3:4 E3:4 C3:4",
        )
        == []
    )


def test_the_horn_of_a_chorale_is_held_over_four_times() -> None:
    read = read_path(CORPUS / "bach/bwv1.6.mxl").tunes[0]
    assert read.texture is not None
    melody = over_worked_chords(read.texture, read.melody)
    (find,) = (
        find
        for find in line_finds(read.texture, melody)
        if find.kind == "chained suspensions"
    )
    told = line_sentence(find, melody)
    assert told == "Horn 2 has 4 suspensions in a chain, down by step: C Bb A G F"


def test_sevenths_that_go_down_to_sixths_are_a_chain() -> None:
    (find,) = woven(
        "chained suspensions",
        soprano="A4:2 G4:2 F4:2 E4:2 E4:4",
        alto="D4:3 C4:2 B3:2 A3:1 A3:4",
        bass="F3:2 E3:2 D3:2 C3:2 A2:4",
    )
    assert (find.line, find.count) == ("alto", 3)


def test_sevenths_whose_bass_falls_a_fifth_are_no_suspensions() -> None:
    assert (
        woven(
            "chained suspensions",
            soprano="C5:2 B4:2 B4:2 A4:2 G4:4",
            alto="F4:4 E4:4 D4:4",
            bass="D3:2 G3:2 C3:2 F3:2 G3:4",
        )
        == []
    )


def test_two_voices_exchange_the_third_and_the_root() -> None:
    (find,) = woven(
        "voice exchange",
        soprano="E5:2 D5:1 C5:3 B4:2 C5:4",
        alto="G4:2 G4:1 G4:3 G4:2 G4:4",
        bass="C3:2 D3:1 E3:3 G3:2 C3:4",
    )
    assert (find.line, find.other, find.notes) == ("soprano", "bass", (4, 0))


def test_voices_in_parallel_exchange_nothing() -> None:
    lines = {"soprano": "E5:2 F5:1 G5:1 E5:4", "alto": "C5:2 D5:1 E5:1 C5:4"}
    assert woven("voice exchange", **lines, bass="C3:4 C3:4") == []


def test_a_ground_is_an_ostinato() -> None:
    (find,) = woven(
        "ostinato",
        tune="C5:4 D5:4 E5:4 C5:4 D5:2 E5:2 F5:4 E5:4 D5:4",
        bass="C3 E3 G3 E3 " * 6 + "C3:4 G2:4",
    )
    assert (find.line, find.count, find.onset_ticks, find.after_ticks) == (
        "bass",
        6,
        0,
        4 * Q,
    )


def test_a_ground_of_two_bars_is_told_as_one() -> None:
    texture, melody = piece(
        tune="C5:4 D5:4 E5:4 C5:4 D5:2 E5:2 F5:4 E5:4 D5:4",
        bass="C3:2 G3:2 A2:2 G3:2 " * 4,
    )
    (find,) = (f for f in line_finds(texture, melody) if f.kind == "ostinato")
    assert line_sentence(find, melody) == "bass plays its figure of 2 bars 4 times"


def test_one_note_again_and_again_and_three_times_are_none() -> None:
    tune = "C5:4 D5:4 E5:4 C5:4 D5:4"
    assert woven("ostinato", tune=tune, bass="C3 C3 C3 C3 " * 5) == []
    assert woven("ostinato", tune=tune, bass="C3 E3 G3 E3 " * 3 + "F3:4 G3:4") == []
