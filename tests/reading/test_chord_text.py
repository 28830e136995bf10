"""Chord symbols are told from other words, in every format alike.

The spellings are those of ``tests/analysis/chord_spellings.txt``, whose sources stand in
it. Words of performance are common practice, no source.
"""

import io
from pathlib import Path
from xml.etree.ElementTree import fromstring

import mido
import pytest

from melodex.analysis.harmony.chords import parse_chord
from melodex.reading.abc.reader import read_abc
from melodex.reading.common.chord_text import is_signpost, may_be_chord
from melodex.reading.midi.reader import read_midi
from melodex.reading.musicxml.harmony import chord_text
from melodex.reading.result import Choice

LIST = Path(__file__).parents[1] / "analysis" / "chord_spellings.txt"


def spellings() -> list[str]:
    """The listed texts that are understood."""
    lines = [
        line.split("\t")
        for line in LIST.read_text(encoding="utf-8").splitlines()
        if line.strip() and not line.startswith("# ") and line != "#"
    ]
    return [row[0] for row in lines if row[1] != "?"]


USUAL = ["Dmin7", "DMaj7", "DMAJ7", "D mi7", "DMi7", "Dmin(maj7)", "D7alt.", "Ddom7"]


@pytest.mark.parametrize("text", [*spellings(), *USUAL])
def test_every_spelling_that_is_understood_is_read_from_abc(text: str) -> None:
    tune = read_abc(f'X:1\nT:x\nL:1/4\nM:4/4\nK:C\n"{text}"CDEF|C4|]\n').tunes[0]
    assert [chord.text for chord in tune.melody.chords] == [text]


def midi_with(texts: list[str]) -> bytes:
    """A file, by another library, with a text over each of some notes."""
    track = mido.MidiTrack()
    for text in texts:
        track.append(mido.MetaMessage("text", text=text))
        track.append(mido.Message("note_on", note=60, velocity=64))
        track.append(mido.Message("note_off", note=60, time=480))
    file = mido.MidiFile(ticks_per_beat=480, charset="utf-8")
    file.tracks.append(track)
    target = io.BytesIO()
    file.save(file=target)
    return target.getvalue()


def chords_of_midi(texts: list[str]) -> list[str]:
    melody = read_midi(midi_with(texts), "x.mid", Choice()).tunes[0].melody
    return [chord.text for chord in melody.chords]


def test_every_spelling_that_is_understood_is_read_from_texts_of_midi() -> None:
    texts = [*spellings(), *USUAL]
    assert chords_of_midi(texts) == texts


def test_words_among_texts_of_midi_are_no_chords() -> None:
    assert chords_of_midi(["Dm7", "piano solo", "Fine", "G7", "D.C."]) == ["Dm7", "G7"]
    # One letter alone may be the letter of a section.
    assert chords_of_midi(["A", "played softly"]) == []


@pytest.mark.parametrize("printed", ["min7", "Maj7", "MI7", "m7(b5)", "\u22067", "7alt."])
def test_what_musicxml_prints_for_a_kind_is_kept_where_it_is_a_chord(printed: str) -> None:
    root = "<root><root-step>D</root-step></root>"
    text = chord_text(
        fromstring(f'<harmony>{root}<kind text="{printed}">other</kind></harmony>')
    )
    assert text == f"D{printed}"
    assert parse_chord(text).sounds


WORDS = ["Fine", "FINE", "DC", "D.C.", "D.C. al Fine", "DC al Coda", "D.S.", "DS", "Segue"]
WORDS += ["To Coda", "Da Capo", "Dal Segno al Coda", "Coda", "Segno"]


@pytest.mark.parametrize("text", WORDS)
def test_words_of_performance_are_no_chords(text: str) -> None:
    assert is_signpost(text)
    assert not may_be_chord(text)
    tune = read_abc(f'X:1\nT:x\nL:1/4\nM:4/4\nK:C\n"C"CDEF|"{text}"C4|]\n').tunes[0]
    assert [chord.text for chord in tune.melody.chords] == ["C"]


@pytest.mark.parametrize(
    "text", ["Allegro", "Bridge", "Dim.", "Chorus", "Emphasis", "Bass"]
)
def test_other_words_are_no_chords(text: str) -> None:
    assert not may_be_chord(text)
