"""Played notes as ABC: what two other readers make of it is what was played."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from music21 import converter
from music21.note import Note

from melodex.errors import PhraseError
from melodex.melody import MODES
from melodex.presentation.notation.played import played_abc
from melodex.reading.phrase.reader import read_phrase

TONICS = ("", "C", "G", "D", "A", "E", "B", "F#", "F", "Bb", "Eb", "Ab", "Db", "Gb")
PITCHES = st.lists(st.integers(24, 108), min_size=3, max_size=24)


@given(PITCHES, st.sampled_from(TONICS), st.sampled_from(["major", "minor", "dorian"]))
def test_what_is_written_is_read_as_what_was_played(midi, tonic, mode) -> None:
    try:
        text = played_abc(midi, tonic=tonic, mode=mode)
    except PhraseError:
        # Keys such as D flat minor have no signature.
        assert mode != "major"
        return
    phrase = read_phrase(text, notation="abc")
    assert list(phrase.melody.midi) == midi
    assert phrase.has_tonic == bool(tonic)
    assert not phrase.has_rhythm


@pytest.mark.parametrize("tonic", TONICS)
def test_music21_reads_the_same_pitches(tonic) -> None:
    midi = [60, 61, 61, 60, 66, 65, 70, 71, 73, 61, 49, 84, 85, 58]
    text = played_abc(midi, tonic=tonic)
    key, notes = text.split(" ", 1)
    tune = f"X:1\nM:none\nL:1/8\n{key}\n{notes}\n"
    read = converter.parse(tune, format="abc").flatten().getElementsByClass(Note)
    assert [note.pitch.midi for note in read] == midi


def test_accidentals_stand_where_the_key_does_not_give_them() -> None:
    """Worked by hand: F major has B flat; common practice, no source."""
    assert played_abc([65, 70, 72], tonic="F") == "K:F F B c"
    assert played_abc([65, 71, 70, 59], tonic="F") == "K:F F =B _B =B,"
    assert played_abc([62, 66, 69], tonic="D") == "K:D D F A"
    assert played_abc([69, 68, 69], tonic="A", mode="minor") == "K:Am A ^G A"


@pytest.mark.parametrize(
    ("midi", "tonic", "mode", "said"),
    [
        ([128], "", "major", "outside of the keyboard"),
        ([60], "H", "major", "no tonic"),
        ([60], "C", "sad", "no mode"),
        ([60], "G#", "major", "no key signature"),
    ],
)
def test_what_cannot_be_played_is_said(midi, tonic, mode, said) -> None:
    assert mode == "sad" or mode in MODES
    with pytest.raises(PhraseError, match=said):
        played_abc(midi, tonic=tonic, mode=mode)
