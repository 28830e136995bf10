"""Scores: two staves of one, symbols that its notes speak against, how sure chords are."""

from pathlib import Path
from typing import Any

import music21

from melodex.analysis.harmony.heard.differences import differences
from melodex.analysis.harmony.heard.sounding import sounding_chords
from melodex.melody import TICKS_PER_QUARTER, Melody
from melodex.melody.texture import Texture
from melodex.presentation.pages import rendered
from melodex.reading.abc.reader import read_abc
from melodex.reading.result import Choice
from melodex.tasks.describe.describe import described
from melodex.tasks.describe.reduction import reduced

HYMN = (
    "X:1\nT:Small hymn\nL:1/4\nM:4/4\nK:C\nV:1 name=Treble\nV:2 name=Alto\n"
    "V:3 name=Tenor\nV:4 name=Bass clef=bass\n"
    "[V:1] {a}e4|f4|d4|e4|\n[V:2] c4|c4|B4|c4|\n[V:3] G4|A4|G4|G4|\n"
    "[V:4] C,4|F,,4|G,,2F,,2|E,,4|\n"
)
Q = TICKS_PER_QUARTER


def read(text: str) -> tuple[Melody, Texture]:
    """The tune and all notes of an ABC text."""
    tune = read_abc(text, "hymn.abc", Choice()).tunes[0]
    assert tune.texture is not None
    return tune.melody, tune.texture


def described_file(folder: Path, text: str) -> Path:
    """A text as a file."""
    path = folder / "hymn.abc"
    path.write_text(text)
    return path


def test_a_reduction_has_the_tune_and_the_bass_as_it_is_played(tmp_path: Path) -> None:
    # I IV V V42 I6 in four voices; common practice, no source.
    path = described_file(tmp_path, HYMN)
    found = reduced(str(path), tmp_path / "none.melodex")
    assert [text for _, text in found.numerals] == ["I", "IV", "V", "V42", "I6"]
    assert found.bass.midi == (48, 41, 43, 41, 40)
    assert [ticks // Q for ticks in found.bass.duration_ticks] == [4, 4, 2, 2, 4]
    assert found.worked_out
    text = rendered(found, "musicxml")
    # music21 is a reader that is not ours.
    score: Any = music21.converter.parse(str(text), format="musicxml")
    treble, bass = score.parts
    assert [n.pitch.midi for n in treble.flatten().notes if n.quarterLength] == [
        76,
        77,
        74,
        76,
    ]
    assert [n.pitch.midi for n in bass.flatten().notes] == [48, 41, 43, 41, 40]
    said = [w.content for w in bass.flatten().getElementsByClass("TextExpression")]
    assert said == ["I", "IV", "V", "V42", "I6"]


def test_symbols_win_and_the_notes_that_speak_against_them_are_told(tmp_path: Path) -> None:
    named = HYMN.replace("{a}e4|f4|d4|e4|", '"C"e4|"F"f4|"Em"d4|"C"e4|')
    melody, texture = read(named)
    assert texture.named
    assert [chord.text for chord in melody.chords] == ["C", "F", "Em", "C"]
    found = described(str(described_file(tmp_path, named)), tmp_path / "none.melodex")
    assert not found.passage.melody.chords_worked_out
    assert [(each.bar, each.printed) for each in found.differences] == [(3, "Em")]
    assert found.differences[0].sounding.startswith("G")
    told = [find for find in found.finds if find.kind == "symbol and notes"]
    assert told
    assert told[0].sentence.startswith("Em is printed; the notes make G")


def test_the_same_chord_by_another_name_is_no_difference() -> None:
    # C6 has the notes of Am7, and a triad lies in its seventh chord.
    for symbol in ("C6", "Am7", "Cmaj7", "C"):
        named = HYMN.replace("{a}e4|f4|d4|e4|", f'"{symbol}"e4|"F"f4|"G7"d4|"C"e4|')
        melody, texture = read(named)
        assert not differences(texture, melody)


def test_a_chord_is_surer_the_more_of_it_sounds() -> None:
    melody, texture = read(HYMN)
    plain = sounding_chords(texture, melody)
    assert min(chord.certainty for chord in plain) > 0.6
    # A bare fifth and sixth: two triads hold it.
    bare = HYMN.replace("c4|c4|B4|c4|", "z4|z4|z4|z4|").replace("G4|A4|", "e4|A4|")
    melody, texture = read(bare)
    unsure = sounding_chords(texture, melody)
    assert unsure[0].certainty < plain[0].certainty
    assert unsure[0].other


def test_of_a_unison_no_chord_is_claimed_for_sure() -> None:
    unison = (
        "X:1\nT:All in one\nL:1/4\nM:4/4\nK:C\nV:1\nV:2 clef=bass\n"
        "[V:1] CDEF|GFED|[EC]4|[FD]4|[EC]4|[FD]4|\n"
        "[V:2] C,D,E,F,|G,F,E,D,|G,4|B,4|G,4|B,4|\n"
    )
    melody, texture = read(unison)
    for chord in sounding_chords(texture, melody):
        if chord.end_ticks <= 8 * Q:
            assert chord.certainty < 0.5
