"""Humdrum with ``**kern`` spines: the rules of the notation, hostile files, music21.

Sources: the Humdrum user guide for what each sign means (from memory: the cases are ours);
the reader and the corpus of the installed music21 package, of which nothing is copied.
"""

import random
import sys
from fractions import Fraction

import pytest

import tests.plain.kern_by_music21 as witness
from melodex.corpus.writing.preparing import prepared
from melodex.melody import TICKS_PER_QUARTER as QUARTER
from melodex.reading import Choice, read_bytes, read_data
from melodex.reading.humdrum.reader import INSTRUMENTS
from melodex.reading.humdrum.tokens import notes_of

ALL = Choice(lines="all")
SAMPLE = 6
BY_PART_AND_HAND = ("bach/bwv277.krn", "chopin/mazurka06-2.krn", "bach/bwv281.krn")

SONG = """!!!OTL: The Tin Ferry
!!!COM: Quill, Anna
!!!ODT: 1921
!!!OCY: England
**kern\t**text\t**dynam
*ICvox\t*\t*
*I"Voice\t*\t*
*clefG2\t*\t*
*k[f#]\t*\t*
*G:\t*\t*
*M3/4\t*\t*
*MM96\t*\t*
{4d/\tThe\tp
=1\t=1\t=1
2g/\ttin\t.
4b\\\tfer-\t.
=2\t=2\t=2
[2a/\t-ry\t.
8a/L]\t.\t.
8gqq/\t.\t.
8f#/J}\tgoes\t.
=3:|!\t=3:|!\t=3:|!
*>B\t*>B\t*>B
{12g/L\tto\tf
12a/\t.\t.
12b/J\t.\t.
2g;}\tsea\t.
==\t==\t==
*-\t*-\t*-
"""

TWO_HANDS = """**kern\t**kern
*Ipiano\t*Ipiano
*clefF4\t*clefG2
*M4/4\t*M4/4
=1\t=1
*\t*^
1C 1G\t4cc\t2e
.\t4dd\t.
.\t4ee\t2f
.\t4ff\t.
*\t*v\t*v
=2\t=2
2D\t2gg
2E\t2ee
*-\t*-
"""


def tunes(text, choice=ALL):
    reading = read_bytes(text.encode(), "kern", "here.krn", choice)
    assert not reading.refusals, reading.refusals
    return reading.tunes


def test_a_song_has_its_notes_signs_and_words():
    (tune,) = tunes(SONG)
    melody = tune.melody
    assert melody.midi == (62, 67, 71, 69, 66, 67, 69, 71, 67)
    lengths = [1, 2, 1, 2.5, 0.5, 1 / 3, 1 / 3, 1 / 3, 2]
    assert melody.duration_ticks == tuple(round(q * QUARTER) for q in lengths)
    assert melody.bar == (0, 1, 1, 2, 2, 3, 3, 3, 3)
    assert [bar.repeat_times for bar in melody.bars] == [0, 0, 2, 0]
    assert melody.bars[-1].line == "final"
    assert str(melody.key) == "G major"
    assert (melody.keys[0].stated, melody.keys[0].signature_fifths) == (True, 1)
    assert str(melody.metre) == "3/4"
    assert melody.tempo_quarters_per_minute == 96
    assert melody.phrase == (0,) * 5 + (1,) * 4
    assert [(m.text, m.bar) for m in melody.marks] == [("B", 3)]
    assert [(g.note, g.midi) for g in melody.graces] == [(4, 67)]
    assert [(t.first, t.last, t.actual, t.normal) for t in melody.tuplets] == [(5, 7, 3, 2)]
    words = ["The", "tin", "fer-", "ry", "goes", "to", "sea"]
    assert [word.text for word in melody.lyrics] == words
    by = melody.credits
    assert (by.title, by.composer, by.year) == ("The Tin Ferry", "Anna Quill", 1921)
    assert (by.part, by.origin) == ("Voice", "England")
    assert [(d.sign, d.onset_ticks) for d in melody.dynamics] == [("p", 0), ("f", 70560)]
    (other,) = tunes(SONG.replace("**dynam", "**harm"))
    assert "**harm" in " ".join(w.text for w in other.warnings)


def test_letters_with_two_dots_of_older_files_are_themselves():
    (tune,) = tunes(SONG.replace("\tfer-", "\tf\\o3r-"))
    assert tune.melody.lyrics[2].text == "för-"


def test_spines_that_split_are_voices_and_the_right_is_on_top():
    found = {tune.line.name: tune.melody for tune in tunes(TWO_HANDS.replace("=2", "=2"))}
    assert list(found) == ["Piano, voice 1"]
    assert found["Piano, voice 1"].midi == (72, 74, 76, 77, 79, 76)
    # Two notes and three are no lines that anybody looks for, and are named.
    said = " ".join(w.text for t in tunes(TWO_HANDS) for w in t.warnings)
    assert "Piano, voice 2 (2 notes)" in said
    texture = tunes(TWO_HANDS)[0].texture
    assert sorted({note.midi for note in texture.notes if note.onset_ticks == 0}) == [
        48,
        55,
        64,
        72,
    ]


@pytest.mark.parametrize(
    ("token", "quarters", "midi"),
    [
        ("4c", 1, 60),
        ("4C", 1, 48),
        ("2.BB-", 3, 46),
        ("0ccc", 8, 84),
        ("00GG", 16, 43),
        ("3%2f##", 8 / 3, 67),
        ("8..dd-L", 0.875, 73),
        ("[24een]", 1 / 6, 76),
        ("2ryy", 2, -1),
    ],
)
def test_tokens_say_length_and_pitch(token, quarters, midi):
    (note,) = notes_of(token)
    assert (note.ticks, note.midi) == (round(quarters * QUARTER), midi)


def test_pieces_in_a_row_are_tunes_each():
    text = SONG + "\n" + SONG.replace("Tin", "Lead")
    found = tunes(text)
    assert [t.melody.credits.title for t in found] == ["The Tin Ferry", "The Lead Ferry"]
    assert [t.melody.credits.number for t in found] == ["1", "2"]
    again = [read_bytes(t.kept, "kern", "here.krn", ALL).tunes[0].melody for t in found]
    assert [m.midi for m in again] == [t.melody.midi for t in found]


def test_what_is_kern_is_known_by_its_first_bytes():
    assert read_data(SONG.encode(), "download.txt").tunes[0].kept_format == "kern"
    assert read_data(SONG.replace("\n", "\r\n").encode(), "x").tunes


BAD = {
    "a column too few": ("2g/\ttin\t.", "2g/\ttin", 10, "columns stand here"),
    "no pitch": ("2g/\ttin", "2\ttin", 11, "neither a note nor a rest"),
    "no length": ("2g/\ttin", "g/\ttin", 11, "without a length"),
    "too long": ("2g/\ttin", "1%99999g\ttin", 11, "length that no note has"),
    "a lone *x": ("*MM96\t*\t*", "*x\t*\t*", 12, "*x stands alone"),
    "too high": ("2g/\ttin", "2gggggggg/\ttin", 11, "range of MIDI"),
}


@pytest.mark.parametrize("name", BAD)
def test_a_line_that_makes_no_sense_is_refused_by_number(name):
    old, new, _, words = BAD[name]
    at = SONG.splitlines().index(next(x for x in SONG.splitlines() if x.startswith(old)))
    text = SONG.replace(old, new, 1) + SONG
    reading = read_bytes(text.encode(), "kern", "here.krn", ALL)
    (refusal,) = reading.refusals
    assert refusal.line == at + 1
    assert words in refusal.reason
    # The other piece of the file is read all the same.
    assert len(reading.tunes) == 1


HOSTILE = {
    "splits": "**kern\n" + "\n".join("\t".join(["*^"] * 2**n) for n in range(12)),
    "columns": "\t".join(["**kern"] * 5000) + "\n" + "\t".join(["4c"] * 5000),
    "chord": "**kern\n" + " ".join(["4c"] * 100_000),
    "bars": "**kern\n*M1/4\n" + "4c\n=\n" * 30_000,
    "keys": "**kern\n" + "*k[f#]\n4c\n*k[]\n4c\n" * 20_000,
    "numbers": "**kern\n" + "9" * 100_000 + "c\n*M999999999/1\n",
    "nothing": "**kern\n" + "\t" * 1_000_000,
    "bytes": "**kern\n" + "".join(map(chr, range(256))) * 100,
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_files_end_in_a_refusal(name):
    reading = read_bytes(HOSTILE[name].encode(), "kern", "here.krn", ALL)
    assert reading.refusals


def test_percussion_and_a_part_that_begins_late():
    text = (
        "**kern\t**kern\t**kern\n*clefX\t*clefF4\t*clefG2\n*M4/4\t*M4/4\t*M4/4\n"
        "=1\t=1\t=1\n4c\t1r\t4g\n4c\t.\t4a\n4c\t.\t4b\n4c\t.\t4cc\n"
        + "=2\t=2\t=2\n4c\t4C\t4g\n4c\t4D\t4a\n4c\t4E\t4b\n4c\t4F\t4cc\n" * 3
        + "*-\t*-\t*-\n"
    )
    found = tunes(text)
    assert [tune.line.name for tune in found] == ["part 1", "part 2"]
    assert found[1].melody.onset_ticks[0] == 4 * QUARTER
    said = " ".join(w.text for w in found[0].warnings)
    assert "percussion" in said


def test_codes_of_instruments_are_those_of_the_guide():
    """music21 lists the codes of the guide's second appendix."""
    from music21.humdrum.instruments import humdrumInstruments

    known = {*humdrumInstruments, "picco", "timpa", "clars", "bari"}
    assert set(INSTRUMENTS) <= known


def sampled():
    files = [path for path in witness.corpus_files() if path.stat().st_size < 4_000]
    drawn = random.Random(21).sample(files, SAMPLE)
    return [*drawn, *(witness.corpus_root() / name for name in BY_PART_AND_HAND)]


@pytest.mark.parametrize("path", sampled(), ids=lambda path: path.name)
def test_every_note_of_every_spine_is_the_one_that_music21_reads(path):
    ours = witness.rows_by_melodex(path)
    theirs = witness.rows_by_music21(witness.parsed_by_music21(path))
    assert len(ours) == len(theirs)
    for mine, other in zip(ours, theirs, strict=True):
        assert mine
        assert not witness.difference(mine, other)


BY_MUSIC21 = {
    "mei": """<?xml version="1.0" encoding="UTF-8"?>
<mei xmlns="http://www.music-encoding.org/ns/mei"><music><body><mdiv><score>
<scoreDef><staffGrp><staffDef n="1" lines="5" clef.shape="G" clef.line="2" key.sig="0"
meter.count="3" meter.unit="4"/></staffGrp></scoreDef><section>
<measure n="1"><staff n="1"><layer n="1"><note pname="c" oct="4" dur="4"/>
<note pname="d" oct="4" dur="4"/><note pname="e" oct="4" dur="4"/></layer></staff></measure>
</section></score></mdiv></body></music></mei>""",
    "volpiano": "1---c--d--e---4",
}


@pytest.mark.parametrize("form", BY_MUSIC21)
def test_open_notations_are_read_by_way_of_music21(form):
    (tune,) = read_data(BY_MUSIC21[form].encode(), f"here.{form}").tunes
    assert tune.melody.midi == (60, 62, 64)
    assert "by way of music21" in tune.warnings[0].text
    again = read_bytes(tune.kept, tune.kept_format, "here").tunes[0].melody
    assert again.midi == tune.melody.midi


def test_without_music21_the_reason_says_how_to_have_it(monkeypatch):
    monkeypatch.setitem(sys.modules, "music21", None)
    (refusal,) = read_data(BY_MUSIC21["mei"].encode(), "here.mei").refusals
    assert "not installed" in refusal.reason
    assert "melodex[music21]" in refusal.hint


@pytest.mark.parametrize("text", ["<mei>", "<mei/>", "<mei><music>" * 2000, "\x00<mei "])
def test_what_music21_cannot_read_is_refused_with_its_reason(text):
    (refusal,) = read_data(text.encode(), "here.mei").refusals
    assert "music21 cannot" in refusal.reason or "the sheet has no" in refusal.reason


def test_lengths_without_a_common_beat_are_put_on_ticks_and_told_of():
    # Eighty lengths of prime parts of a whole note: their sum has a denominator of
    # more than a hundred digits.
    primes = [n for n in range(3, 420) if all(n % m for m in range(2, n))]
    rows = ["**kern", *(f"{n}c" for n in primes), "4d", "*-"]
    (tune,) = read_bytes("\n".join(rows).encode(), "kern", "odd.krn").tunes
    exact = float(sum(Fraction(4 * QUARTER, n) for n in primes))
    assert abs(tune.melody.onset_ticks[-1] - exact) < len(primes) / 2
    assert any("no beat in common" in str(each) for each in tune.warnings)


def test_notes_shorter_than_half_a_tick_are_no_part_of_the_harmony():
    rows = ["**kern\t**kern", *["4c\t4e", "4d\t4f"] * 8, "99999999c\t99999999e", "*-\t*-"]
    reading = read_bytes("\n".join(rows).encode(), "kern", "short.krn")
    made = prepared(reading, "", Choice())
    assert len(made.tunes) + len(made.refusals) >= 1
    (tune,) = reading.tunes
    assert tune.texture is not None
    assert min(note.duration_ticks for note in tune.texture.notes) > 0
