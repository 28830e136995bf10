"""Notes beside their chords in inner lines and the bass, and single suspensions.

What each is called is common practice, no source.
"""

from __future__ import annotations

import pytest

from benchmarks.analysis.harmony.voices import Q
from melodex.analysis.piece import analyse
from melodex.analysis.texture import line_finds
from melodex.analysis.texture.foreign import foreign_notes
from melodex.analysis.texture.words import line_sentence
from melodex.melody import ChordSymbol, Melody, note_name
from melodex.melody.texture import Texture
from tests.analysis.test_texture import piece

SOPRANO = "C5 C5 C5 C5 B4 B4 B4 B4 C5 C5 C5:2"
TENOR = "G3 G3 G3 G3 G3 G3 G3 G3 G3 G3 G3:2"
BASS = "C3 C3 C3 C3 G2 G2 G2 G2 C3 C3 C3:2"


def over(chords: str, **lines: str) -> tuple[Texture, Melody]:
    """A piece over a chord a bar."""
    texture, melody = piece(**lines)
    symbols = [
        ChordSymbol(text, bar, (bar - 1) * 4 * Q)
        for bar, text in enumerate(chords.split(), 1)
    ]
    return texture, melody.with_worked_chords(tuple(symbols))


def named(chords: str, **lines: str) -> list[tuple[str, str, str]]:
    """Line, note and name of each note that its chord does not have."""
    texture, melody = over(chords, **lines)
    placed = analyse(melody).harmony.chords
    found = foreign_notes(texture, melody, placed, line_finds(texture, melody))
    return [(note.line, note_name(note.midi, note.fifths), note.figure) for note in found]


@pytest.mark.parametrize(
    ("alto", "note", "figure"),
    [
        ("E4 F4 G4 E4 D4:4 E4 E4 E4:2", "F4", "passing note"),
        ("E4 F4 E4:2 D4:4 E4 E4 E4:2", "F4", "neighbour note"),
        ("G4 G4 E4:1.5 D4:.5 D4:4 E4:4", "D4", "anticipation"),
        ("E4 E4 G4 G4 D4:3 E4:1 C4 C4 C4:2", "E4", "escape note"),
        ("E4 E4 E4:2 E4:2 D4:2 E4 E4 E4:2", "E4", "suspension"),
        ("G4 G4 G4:2 D4 A4 D4:2 E4 E4 E4:2", "A4", ""),
        ("G4 G4 G4:2 C4:2 D4:2 E4 E4 E4:2", "C4", "appoggiatura"),
        ("G4 G4 G4:2 E4:2 D4:2 E4 E4 E4:2", "E4", "appoggiatura"),
    ],
)
def test_a_note_of_an_inner_line_has_its_name(alto: str, note: str, figure: str) -> None:
    found = named("C G C", soprano=SOPRANO, alto=alto, tenor=TENOR, bass=BASS)
    assert [each for each in found if each[0] == "alto"] == [("alto", note, figure)]


def test_chord_notes_are_left_out() -> None:
    alto = "E4 E4 E4 E4 D4 D4 D4 D4 E4 E4 E4:2"
    assert not named("C G C", soprano=SOPRANO, alto=alto, tenor=TENOR, bass=BASS)


def test_what_stays_under_chords_that_lack_it_is_a_pedal() -> None:
    bass = "C3 C3 C3 C3 C3 C3 C3 C3 C3 C3 C3:2"
    alto = "E4 E4 E4 E4 D4 D4 D4 D4 E4 E4 E4:2"
    found = named("C G C", soprano=SOPRANO, alto=alto, tenor=TENOR, bass=bass)
    assert set(found) == {("bass", "C3", "pedal")}


FOUR_THREE = "A4 A4 A4:2 D5:4 C5:4", "C4:6 B3:2 C4 C4 C4:2", "F3 F3 F3:2 G3:4 C3:4"
SEVEN_SIX = "A4 A4 A4:2 G4:4 F4:4", "D4:6 C#4:2 D4 D4:3", "F3 F3 F3:2 E3:4 D3:4"
NINE_EIGHT = "C5 C5 C5:2 A4:4 G4:4", "G4:6 F4:2 E4 E4:3", "E3 E3 E3:2 F3:4 C3:4"


@pytest.mark.parametrize(
    ("chords", "lines", "figure"),
    [
        ("F G C", FOUR_THREE, "4-3"),
        ("Dm A D", SEVEN_SIX, "7-6"),
        ("C F C", NINE_EIGHT, "9-8"),
    ],
)
def test_a_suspension_has_its_figure(
    chords: str, lines: tuple[str, str, str], figure: str
) -> None:
    texture, melody = over(chords, soprano=lines[0], alto=lines[1], bass=lines[2])
    (find,) = (f for f in line_finds(texture, melody) if f.kind == "suspension")
    assert line_sentence(find, melody).endswith(f"({figure})")


def test_a_common_note_that_goes_down_later_is_no_suspension() -> None:
    texture, melody = over(
        "C F G",
        soprano="E5 E5 E5 E5 C5 C5 C5 C5 B4:4",
        alto="C5:8 B4:2 B4 B4",
        bass="C3:4 F3:4 G3:2 G3:2",
    )
    assert not [f for f in line_finds(texture, melody) if f.kind == "suspension"]
