"""MusicXML note by note against music21's own reading of its corpus.

Source: the corpus and the reader of the installed music21 package; nothing of it is
copied. The sample is seeded and of small sheets; benchmarks/reading/musicxml.py reads
them all.
"""

import random

import pytest

import tests.plain.sheet_by_music21 as witness
from melodex.melody import TICKS_PER_QUARTER
from melodex.reading import read_path

SAMPLE = 24
SMALL_BYTES = 15_000


def sampled():
    """Small sheets of the corpus, in an order that a seed settles."""
    sheets = [path for path in witness.corpus_sheets() if path.stat().st_size < SMALL_BYTES]
    return random.Random(20).sample(sheets, SAMPLE)


def test_the_corpus_is_there():
    assert len(witness.corpus_sheets()) > 500


@pytest.mark.parametrize("path", sampled(), ids=witness.name_of)
def test_every_note_is_the_one_that_music21_reads(path):
    difference = witness.compared(path)
    assert not difference or witness.name_of(path) in witness.EXPLAINED, difference


# Constructs that sheets of the corpus are known to show, so that no sample misses them.
SHOWN = {
    "schoenberg/opus19/movement2.mxl": "two staves and chords",
    "leadSheet/fosterBrownHair.mxl": "chord symbols and a pickup",
    "demos/two-voices.xml": "two voices",
    "demos/voices_with_chords.xml": "chords in voices",
    "demos/multiple-verses.xml": "verses",
    "demos/nested_tuplet_finale_test.xml": "tuplets in tuplets",
}


@pytest.mark.parametrize("name", SHOWN)
def test_sheets_that_show_a_construct_agree(name):
    path = witness.corpus_root() / name
    difference = witness.compared(path)
    assert not difference or name in witness.EXPLAINED, difference


@pytest.mark.parametrize(
    "name", ["leadSheet/fosterBrownHair.mxl", "leadSheet/berlinAlexandersRagtime.mxl"]
)
def test_chord_symbols_stand_where_music21_reads_them(name):
    path = witness.corpus_root() / name
    score = witness.parsed_by_music21(path)
    theirs = [
        (
            symbol.figure.replace("-", "b"),
            symbol.measureNumber,
            symbol.getOffsetInHierarchy(score),
        )
        for symbol in score.recurse().getElementsByClass("ChordSymbol")
    ]
    (tune,) = read_path(path).tunes
    ours = [
        (chord.text, chord.bar, chord.onset_ticks / TICKS_PER_QUARTER)
        for chord in tune.melody.chords
    ]
    assert ours == theirs
