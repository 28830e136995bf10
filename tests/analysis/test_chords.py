"""Chord symbols, against a list of spellings that was written apart from the grammar."""

import warnings
from pathlib import Path

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from melodex.analysis.harmony.chords import (
    FAMILIES,
    Chord,
    parse_chord,
    parse_chords,
    transposed_text,
)
from melodex.melody import degree_name, fifths_from_name, pitch_class_name

LIST = Path(__file__).with_name("chord_spellings.txt")


def listed() -> list[tuple[str, ...]]:
    """The rows of the list: text, root, bass, family, degrees."""
    rows = []
    for line in LIST.read_text(encoding="utf-8").splitlines():
        if line.strip() and not line.startswith("# ") and line != "#":
            rows.append(tuple(line.split("\t")[:5]))
    return rows


ROWS = listed()


def as_row(chord: Chord) -> tuple[str, ...]:
    """A chord in the columns of the list."""
    if not chord.understood:
        return (chord.text, "?", "-", "-", "-")
    if not chord.sounds:
        return (chord.text, "N", "-", "-", "-")
    bass = "-" if chord.bass_fifths is None else pitch_class_name(chord.bass_fifths)
    return (
        chord.text,
        pitch_class_name(chord.root_fifths),
        bass,
        chord.family,
        " ".join(chord.degree_names),
    )


def test_the_list_holds_at_least_150_spellings_and_none_twice():
    assert len(ROWS) >= 150
    assert len({row[0] for row in ROWS}) == len(ROWS)


@pytest.mark.parametrize("row", ROWS, ids=[row[0] for row in ROWS])
def test_every_listed_spelling_is_read_as_worked_by_hand(row):
    assert as_row(parse_chord(row[0])) == row


def test_a_share_of_98_percent_is_right_and_none_is_silently_wrong():
    read = [as_row(parse_chord(row[0])) for row in ROWS]
    right = sum(got == row for got, row in zip(read, ROWS, strict=True))
    silently_wrong = [
        (got, row)
        for got, row in zip(read, ROWS, strict=True)
        if got != row and got[1] != "?"
    ]
    assert right >= 0.98 * len(ROWS)
    assert silently_wrong == []


def test_what_is_not_understood_keeps_its_text_and_says_why():
    for row in ROWS:
        chord = parse_chord(row[0])
        assert chord.text == row[0]
        assert bool(chord.reason) == (not chord.understood)
        assert chord.sounds == (row[1] not in {"?", "N"})


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("c7", "small letter"),
        ("D/C7", "second chord"),
        ("Dm7 G7", "second chord"),
        ("C-5", "minor or a flat fifth"),
        ("H7", "German"),
        ("/E", "bass without a chord"),
        ("Bb/", "nothing follows the slash"),
        ("Ebb9", "two signs"),
        ("", "no text"),
        ("C" + "7" * 500, "too long"),
    ],
)
def test_the_reason_names_the_trouble(text, reason):
    assert reason in parse_chord(text).reason


def test_german_names_are_read_as_a_german_piece_means_them():
    # Common practice, no source: H is B natural, B is B flat, -is sharp, -es flat.
    read = [
        pitch_class_name(c.root_fifths)
        for c in parse_chords(["Hm7", "B", "Es7", "As", "Fis"])
    ]
    assert read == ["B", "Bb", "Eb", "Ab", "F#"]
    assert pitch_class_name(parse_chords(["Em", "B7"])[1].root_fifths) == "B"
    assert parse_chord("Asus4", german=True).family == "suspended"
    assert pitch_class_name(parse_chord("C/H", german=True).lowest_fifths) == "B"


def test_extensions_and_alterations_are_told_apart():
    chord = parse_chord("C13(b9,#11)")
    assert chord.extensions == ("b7", "13")
    assert chord.alterations == ("b9", "#11")
    assert parse_chord("Cm7b5").alterations == ()
    assert parse_chord("C7#5").alterations == ("#5",)


def test_note_names_of_minor_major_seventh_on_the_minor_fourth_of_f():
    # Common practice: minor iv in F is B flat minor, its major seventh is A.
    chord = parse_chord("Bbm(maj7)")
    assert [pitch_class_name(f) for f in chord.note_fifths] == ["Bb", "Db", "F", "A"]


NAMED = [row for row in ROWS if row[1] not in {"?", "N"} and row[0][:1] in "ABCDEFG"]


@given(st.sampled_from(NAMED), st.integers(-4, 4))
def test_transposing_a_symbol_moves_its_notes_and_nothing_else(row, fifths):
    chord = parse_chord(row[0])
    # A doubly flat root before a number is refused, as the reader's tests say.
    assume(-9 < chord.root_fifths + fifths < 13)
    moved = parse_chord(transposed_text(chord, fifths))
    assert moved.degree_names == chord.degree_names
    assert moved.root_fifths == chord.root_fifths + fifths
    assert moved.lowest_fifths == chord.lowest_fifths + fifths


@given(st.text(alphabet="ABCDEFGHabgm#♭°øΔ+-/()79163 5susdimajlt,.|", max_size=60))
def test_any_text_is_read_or_refused_with_a_reason(text):
    chord = parse_chord(text)
    assert chord.text == text
    assert chord.understood or chord.reason
    assert chord.family in {*FAMILIES, "none", ""}
    if chord.sounds:
        assert [degree_name(d) for d in chord.degrees] == [
            mod_octave(n) for n in chord.degree_names
        ]
        assert len(set(chord.degree_names)) == len(chord.degree_names)


def mod_octave(name: str) -> str:
    """A degree name with its number brought below 8."""
    number = int(name.lstrip("b#"))
    return name[: len(name) - len(str(number))] + str((number - 1) % 7 + 1)


def test_degrees_of_a_major_ninth_are_its_names_on_the_line_of_fifths():
    assert parse_chord("Cmaj9").degrees == (0, 4, 1, 5, 2)
    assert fifths_from_name("D") == 2


DASH = "music21 writes flats with a dash, lead sheets write minor with it"
FLAT = "music21 takes the letter alone for the root and leaves b to the quality"
STACK = "MusicXML lists every third of the stack; playing leaves out what clashes"
LOST = "music21 loses notes: the trade says which are there"
DIFFERENT_IN_MUSIC21 = {
    "C-": DASH,
    "C-6": DASH,
    "C-7": DASH,
    "Bb-7": FLAT,
    "C-9": DASH,
    "C-11": DASH,
    "C-maj7": DASH,
    "C-7b5": DASH,
    "Eb7": FLAT,
    "Db9": FLAT,
    "Eb7b9": FLAT,
    "C7/Bb": FLAT,
    "C11": STACK,
    "C13": STACK,
    "C13b9": STACK,
    "C13#9": STACK,
    "C13#11": STACK,
    "C69": LOST,
    "C4": LOST,
    "C2": LOST,
}
"""Spellings that music21 reads otherwise, and why lead-sheet practice is followed."""


def test_what_music21_reads_is_read_alike_but_for_listed_differences():
    agreed, different = 0, set()
    for row in NAMED:
        theirs = read_by_music21(row[0])
        if theirs is None:
            continue
        chord = parse_chord(row[0])
        notes = {chord.root_fifths + degree for degree in chord.degrees}
        if (
            chord.root_fifths,
            chord.lowest_fifths,
            notes | {chord.lowest_fifths},
        ) == theirs:
            agreed += 1
        else:
            different.add(row[0])
    assert agreed >= 100
    assert different == set(DIFFERENT_IN_MUSIC21)


def read_by_music21(text: str) -> tuple[int, int, set[int]] | None:
    """Root, bass and notes in fifths as music21 has them; None where it refuses."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from music21 import harmony

        try:
            symbol = harmony.ChordSymbol(text)
            root, bass = symbol.root(), symbol.bass()
            pitches = symbol.pitches
        except Exception:  # music21 raises many kinds, bare ValueError among them
            return None
    names = [pitch.name.replace("-", "b") for pitch in (root, bass, *pitches)]
    fifths = [fifths_from_name(name) for name in names]
    return fifths[0], fifths[1], set(fifths[1:])


@pytest.mark.parametrize(
    ("text", "same"),
    [("D/f+", "D/F#"), ("D/fis", "D/F#"), ("Cm/e-", "Cm/Eb"), ("Fm7/as", "Fm7/Ab")],
)
def test_a_small_bass_with_its_sign_in_another_manner_is_read(text: str, same: str) -> None:
    # D/f+ stands in the Nottingham collection, beside Am/c, Am/e and Am/g.
    found, plain = parse_chord(text), parse_chord(same)
    assert (found.text, found.bass_fifths) == (text, plain.bass_fifths)
    assert transposed_text(found, 2) == transposed_text(plain, 2)


@pytest.mark.parametrize(
    ("text", "write"), [("D/F+", "D/F#"), ("C/f+", "C/F#"), ("C/e-", "C/Eb")]
)
def test_a_bass_that_may_be_a_second_chord_says_what_to_write(
    text: str, write: str
) -> None:
    found = parse_chord(text)
    assert not found.understood
    assert found.reason.endswith(f"write {write}")
    assert parse_chord(write).bass_fifths is not None
