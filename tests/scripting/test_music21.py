"""The bridge to music21, there and back, over sheets of music21's own corpus.

Source: the corpus and the readers of the installed music21 package; nothing of it is
copied. The sample is seeded and of small sheets.
"""

from __future__ import annotations

import random
import sys
from fractions import Fraction
from pathlib import Path

import music21
import pytest

import melodex
from melodex.errors import PresentationError, ReadingError
from melodex.melody import TICKS_PER_QUARTER, Melody
from tests.plain import sheet_by_music21 as witness

SAMPLE = 12
SMALL_BYTES = 12_000
CHOSEN = (
    "leadSheet/fosterBrownHair.mxl",
    "demos/multiple-verses.xml",
    "demos/nested_tuplet_finale_test.xml",
    "schoenberg/opus19/movement2.mxl",
)
"""Chord symbols and a pickup; words; tuplets; two staves and chords."""

BREVE_REST = {"monteverdi"}
"""music21 takes a rest that is alone in a bar for a bar of the metre in force, also
where the bar is twice as long: such sheets lose time there and are left out."""


def sampled() -> list[Path]:
    sheets = [
        path
        for path in witness.corpus_sheets()
        if path.stat().st_size < SMALL_BYTES and path.parent.name not in BREVE_REST
    ]
    drawn = random.Random(7).sample(sheets, SAMPLE)
    return [*drawn, *(witness.corpus_root() / name for name in CHOSEN)]


def music_of(melody: Melody) -> dict[str, object]:
    """What has to come back, by name."""
    return {
        "midi": melody.midi,
        "fifths": melody.fifths,
        "onset_ticks": melody.onset_ticks,
        "duration_ticks": melody.duration_ticks,
        "bar": melody.bar,
        "chords": [(chord.onset_ticks, chord.text) for chord in melody.printed_chords],
        "metres": [str(change.metre) for change in melody.metres],
        # MusicXML has no way to say that no signature is printed.
        "keys": [change.signature_fifths for change in melody.keys] or [0],
        "graces": [(grace.note, grace.midi) for grace in melody.graces],
        "lyrics": [(lyric.note, lyric.text) for lyric in melody.lyrics],
    }


@pytest.mark.parametrize("path", sampled(), ids=witness.name_of)
def test_a_tune_comes_back_from_music21_as_it_went(path):
    (tune,) = melodex.read(path)
    back = melodex.from_music21(tune.to_music21())
    assert music_of(back.melody) == music_of(tune.melody)
    assert back.composer == tune.composer


@pytest.mark.parametrize("path", sampled(), ids=witness.name_of)
def test_what_music21_read_is_what_we_read(path):
    (tune,) = melodex.read(path)
    theirs = melodex.from_music21(witness.parsed_by_music21(path))
    assert music_of(theirs.melody) == music_of(tune.melody)


def test_music21_sees_the_notes_of_a_demo_tune(corpus):
    tune = corpus.tune("The Eel Trap")
    score = tune.to_music21()
    seen = [
        (note.pitch.midi, Fraction(note.duration.quarterLength))
        for note in score.flatten().notes
        if isinstance(note, music21.note.Note)
    ]
    lengths = [Fraction(t, TICKS_PER_QUARTER) for t in tune.melody.duration_ticks]
    assert seen == list(zip(tune.melody.midi, lengths, strict=True))
    chords = score.flatten().getElementsByClass(music21.harmony.ChordSymbol)
    assert len(chords) == len(tune.melody.chords)
    assert score.metadata.title == "The Eel Trap"
    assert score.metadata.composer == "Jory Saltwhistle"
    assert score.analyze("key").tonicPitchNameWithCase == "d"


def test_a_stream_that_was_typed_is_a_phrase_to_look_for(corpus):
    stream = music21.converter.parse(
        "tinynotation: 4/4 c'#4 e'8 c'# a4 c'#8 a d'4 f'#8 d' c'#4 a"
    )
    tune = melodex.from_music21(stream, title="Sung on the way")
    assert tune.title == "Sung on the way"
    assert tune.composer == ""
    best = corpus.resemble(tune, limit=1)[0]
    assert best.passage.label == "Marl Pit Hornpipe, bars 1-2"


def test_a_part_of_a_score_is_chosen_by_name():
    score = music21.corpus.parse("bach/bwv66.6")
    bass = melodex.from_music21(score, part="Bass")
    assert bass.melody.midi[0] == score.parts["#Bass"].flatten().notes[0].pitch.midi
    assert bass.melody.midi != melodex.from_music21(score).melody.midi
    with pytest.raises(ReadingError, match="Kazoo"):
        melodex.from_music21(score, part="Kazoo")


def test_what_music21_cannot_write_or_holds_no_note_is_refused():
    with pytest.raises(ReadingError):
        melodex.from_music21(music21.stream.Stream())
    with pytest.raises(ReadingError, match="music21 cannot write"):
        melodex.from_music21(object())  # type: ignore[arg-type]


def test_without_music21_it_is_said_how_to_get_it(corpus, monkeypatch):
    monkeypatch.setitem(sys.modules, "music21", None)
    with pytest.raises(PresentationError, match=r"melodex\[music21\]"):
        corpus.tune("The Eel Trap").to_music21()
