"""Spelled pitch, against tables of common practice and music21's own arithmetic."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from melodex.melody import pitch

# Common practice, no source: the degrees of the modes on the line of fifths.
TEXTBOOK_SCALES = {
    "major": "C D E F G A B",
    "dorian": "D E F G A B C",
    "phrygian": "E F G A B C D",
    "lydian": "F G A B C D E",
    "mixolydian": "G A B C D E F",
    "aeolian": "A B C D E F G",
    "locrian": "B C D E F G A",
}
TEXTBOOK_DEGREES = {
    "major": "1 2 3 4 5 6 7",
    "dorian": "1 2 b3 4 5 6 b7",
    "phrygian": "1 b2 b3 4 5 b6 b7",
    "lydian": "1 2 3 #4 5 6 7",
    "mixolydian": "1 2 3 4 5 6 b7",
    "aeolian": "1 2 b3 4 5 b6 b7",
    "locrian": "1 b2 b3 4 b5 b6 b7",
}


@pytest.mark.parametrize("mode", TEXTBOOK_SCALES)
def test_the_white_keys_give_the_degrees_of_each_mode(mode: str) -> None:
    tonic = pitch.MODES[mode]
    scale = [pitch.fifths_from_name(name) for name in TEXTBOOK_SCALES[mode].split()]
    assert scale[0] == tonic
    names = [pitch.degree_name(fifths - tonic) for fifths in scale]
    assert names == TEXTBOOK_DEGREES[mode].split()


@given(st.integers(-21, 21), st.integers(0, 8))
def test_names_and_octaves_agree_with_music21(fifths: int, octave: int) -> None:
    from music21 import pitch as reference

    name = pitch.pitch_class_name(fifths)
    other = reference.Pitch(name.replace("b", "-") + str(octave))
    assert pitch.midi_of(fifths, octave) == other.ps
    assert pitch.octave_of(int(other.ps), fifths) == octave


@given(st.integers(-30, 30))
def test_a_name_reads_back_as_the_same_fifths(fifths: int) -> None:
    assert pitch.fifths_from_name(pitch.pitch_class_name(fifths)) == fifths


@given(st.integers(1, 7), st.integers(-3, 3))
def test_a_degree_reads_back_as_the_same_number(number: int, alteration: int) -> None:
    name = pitch.degree_name(pitch.degree_fifths(number, alteration))
    assert name == ("#" * alteration or "b" * -alteration) + str(number)


@given(st.integers(0, 127), st.integers(-7, 7))
def test_spelling_keeps_the_pitch_class_and_stays_near_the_tonic(
    midi: int, tonic: int
) -> None:
    fifths = pitch.spell(midi, tonic)
    assert pitch.pitch_class(fifths) == midi % 12
    assert -5 <= fifths - tonic <= 6


@pytest.mark.parametrize("text", ["H", "", "B#b", "Cx", "c4"])
def test_a_text_that_is_no_note_name_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="no note name"):
        pitch.fifths_from_name(text)
