"""ABC from strangers: whatever a file holds, reading ends soon and never raises.

Bounds are those of the reader's named constants. Properties: any text is read or
refused; what was kept reads as the same melody again; the columns of a melody fit.
"""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from melodex.reading import read_bytes
from melodex.reading.abc.fields import parse_key, parse_metre, parse_tempo, parse_unit
from melodex.reading.abc.reader import MAX_TUNE_CHARACTERS, read_abc
from melodex.reading.abc.voice.music import MAX_NOTES
from melodex.reading.decoding import decode
from melodex.reading.result import Choice

MUSIC = st.text(
    alphabet="ABCDEFGabcdefgzxZy0123456789/,'^_=|:[]()<>-{}\"!+~.HTuv&\\ \n%KMLVPQwr",
    max_size=120,
)
PIECES = st.lists(
    st.sampled_from(
        [
            *("A", "^c2", "_B,/", "=e'3/2", "z2", "x", "Z2", "y", "[CEG]2", "(3", "(5:4:3"),
            *("|", "||", "|:", ":|", "::", "|1", "[2", "|]", ">", "<<", "-", "(", ")", "&"),
            *('"Am"', '"^x"', "!trill!", "+CEG+", "{/g}", "{ab}", "~", "[K:D]", "[M:3/4]"),
            *(
                "[L:1/16]",
                "[P:A]",
                "[V:2]",
                "\n",
                "\\\n",
                "\nw:a-b c\n",
                "\nV:1\n",
                "\nK:Fm\n",
            ),
            *("^/F", "\n+:more\n", "%x\n", "[r:x]", ":", "`"),
        ]
    ),
    max_size=60,
).map(" ".join)


def read_again(reading, choice=None):
    for tune in reading.tunes:
        (again,) = read_bytes(tune.kept, tune.kept_format, "again").tunes
        assert again.melody.content_id() == tune.melody.content_id()
        assert again.melody == tune.melody.with_credits(source="again")


def check_columns(melody):
    assert list(melody.onset_ticks) == sorted(melody.onset_ticks)
    assert all(ticks > 0 for ticks in melody.duration_ticks)
    assert all(0 <= midi <= 127 for midi in melody.midi)
    assert all(
        (7 * f - m) % 12 == 0 for m, f in zip(melody.midi, melody.fifths, strict=True)
    )
    assert all(0 < strength <= 1 for strength in melody.beat_strength)
    ends = [bar.onset_ticks + bar.duration_ticks for bar in melody.bars]
    assert ends[:-1] == [bar.onset_ticks for bar in melody.bars[1:]]
    # A sheet of chords has bars and no notes.
    sounding = zip(melody.onset_ticks, melody.duration_ticks, strict=True)
    assert all(ends[-1] >= onset + ticks for onset, ticks in sounding)
    assert {bar.number for bar in melody.bars} >= set(melody.bar)
    assert all(word.note < len(melody) for word in melody.lyrics)
    assert all(grace.note < len(melody) for grace in melody.graces)
    assert all(0 <= t.first <= t.last < len(melody) for t in melody.tuplets)


@given(st.binary(max_size=400))
def test_any_bytes_are_read_or_refused(data):
    reading = read_abc(decode(data), "noise")
    assert reading.tunes or reading.refusals


@given(st.text(max_size=300))
def test_any_text_after_a_key_is_read_or_refused(text):
    reading = read_abc("X:1\nT:t\nK:C\n" + text, "noise")
    assert reading.tunes or reading.refusals


@given(MUSIC)
def test_any_run_of_music_signs_gives_whole_melodies(text):
    reading = read_abc("X:1\nM:3/4\nL:1/8\nK:G\n" + text, "noise")
    for tune in reading.tunes:
        check_columns(tune.melody)
    read_again(reading)


@settings(max_examples=300)
@given(PIECES)
def test_any_order_of_constructs_gives_whole_melodies(text):
    reading = read_abc("M:C\n\nX:1\nT:t\nV:1\nV:2 octave=1\nL:1/8\nK:G\n" + text, "pieces")
    for tune in reading.tunes:
        check_columns(tune.melody)
    read_again(reading)


@given(st.text(max_size=60))
def test_any_value_of_a_field_is_taken_or_left(text):
    parse_key(text)
    parse_metre(text)
    parse_unit(text)
    parse_tempo(text, Fraction(1))


def test_what_was_chosen_is_kept_with_the_tune():
    text = "X:1\nV:1\nV:2\nK:C\nV:1\nc\nV:2\n[CE]\n"
    reading = read_abc(text, "a", Choice(voice="2", chord_note="bottom"))
    assert reading.tunes[0].melody.midi == (60,)
    read_again(reading)


@pytest.mark.parametrize(
    ("music", "reason"),
    [
        ("C99999999999999999999999", "too long"),
        ("C" + "9" * 12, "too long"),
        ("C/0", "nothing or endless"),
        ("C0", "nothing or endless"),
        ("C" + "'" * 50, "out of range"),
        ("C,,,,,,,,", "out of range"),
        ("Z999999999 C", "a rest of"),
        ("CD " * (MAX_NOTES // 2 + 1), f"more than {MAX_NOTES} notes"),
        ("C " * (MAX_TUNE_CHARACTERS // 2 + 1), "characters in one tune"),
        ("C" + "\u2603" * 5000, "faults"),
        ("{" + "a" * (MAX_NOTES + 1) + "}C", "grace notes"),
    ],
)
def test_what_no_music_needs_is_refused_by_name(music, reason):
    reading = read_abc("X:3\nM:4/4\nK:C\n" + music, "bad.abc")
    assert reason in reading.refusals[0].reason
    assert reading.refusals[0].number == "3"


@pytest.mark.parametrize(
    "unit",
    [
        *(
            "(",
            "[",
            "{",
            '"',
            "!",
            ":",
            "|",
            "[C",
            "(3",
            "&",
            "\\",
            "%",
            "[A:",
            "[V:",
            "!a",
        ),
        *('["a', "{a", "^", "[!a", "\\ ", "+a", '"Cb1b1b1b1b1b1b1b1b1b1b1b1b1b1b1b1b1b1x"'),
    ],
)
def test_long_runs_of_one_sign_end_soon(unit):
    text = unit * (600_000 // len(unit))
    reading = read_abc(f"X:1\nM:4/4\nK:C\nC{text}\n", "run")
    assert reading.tunes or reading.refusals


@pytest.mark.parametrize(
    "head",
    [
        "M:1000000/4",
        "M:0/4",
        "M:4/0",
        "L:1/0",
        "L:9999/1",
        "Q:1/0=9",
        "Q:" + "1/1111" * 50,
        "K:" + "#" * 999,
    ],
)
def test_wild_fields_are_warned_about_and_bound_nothing(head):
    (tune,) = read_abc(f"X:1\n{head}\nK:C\nCDE|\n", "wild").tunes
    assert len(tune.melody) == 3
    if not head.startswith("K:"):
        assert tune.warnings


@pytest.mark.parametrize(
    ("body", "said"),
    [
        ("".join(f"V:{n}\nC|\n" for n in range(1001)), "more than 1000 voices"),
        (
            "L:1/8\n" * 400 + "".join(f"V:{n}\nC|\n" for n in range(300)),
            "400 fields before",
        ),
    ],
)
def test_voices_beyond_number_are_refused(body, said):
    reading = read_bytes(f"X:1\nT:Crowd\nK:C\n{body}".encode(), "abc", "crowd.abc")
    assert not reading.tunes
    assert said in str(reading.refusals[0])


def test_as_many_voices_as_a_tune_may_have_are_read():
    voices = "".join(f"V:{n}\n{'CDEF' * (n % 3 + 1)}|\n" for n in range(1000))
    reading = read_bytes(f"X:1\nT:Crowd\nK:C\n{voices}".encode(), "abc", "crowd.abc")
    assert reading.tunes
    assert not reading.refusals
