"""Roman numerals, against common practice and, for diatonic chords, music21."""

import warnings

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from melodex.analysis.harmony.chords import parse_chord, parse_chords
from melodex.analysis.harmony.numerals import (
    ROLES,
    is_minor_mode,
    numeral,
    numerals,
    roman,
    scale_of_mode,
)
from melodex.melody import MODES, Key, fifths_from_name

C_MAJOR = Key(0, "major")
C_MINOR = Key(0, "minor")


def named(texts: str, key: Key = C_MAJOR) -> list[str]:
    """The numerals of a row of chord symbols."""
    chords = parse_chords(texts.split())
    return [n.text for n in numerals(chords, [key] * len(chords))]


def one(text: str, key: Key = C_MAJOR, following: str = ""):
    """The numeral of one chord."""
    later = parse_chord(following) if following else None
    return numeral(parse_chord(text), key.tonic_fifths, key.mode, later)


@pytest.mark.parametrize(
    ("text", "expected", "role", "from_mode"),
    [
        # Common practice in C major, no source.
        ("Fm", "iv", "borrowed", "minor"),
        ("Bb", "bVII", "borrowed", "minor"),
        ("Ab", "bVI", "borrowed", "minor"),
        ("Eb", "bIII", "borrowed", "minor"),
        ("Dm7b5", "iiø7", "borrowed", "minor"),
        ("Db", "bII", "borrowed", "phrygian"),
        ("D7", "V7/V", "secondary dominant", ""),
        ("E7", "V7/vi", "secondary dominant", ""),
        ("D/F#", "V6/V", "secondary dominant", ""),
        ("Db7", "bII7", "tritone substitute", ""),
        ("F#dim7", "vii°7/V", "secondary leading tone", ""),
        ("Gm", "v", "borrowed", "minor"),
        ("G7", "V7", "diatonic", ""),
        ("Caug", "I+", "altered", ""),
    ],
)
def test_chords_of_c_major_are_named_as_in_common_practice(text, expected, role, from_mode):
    found = one(text)
    assert (found.text, found.role, found.from_mode) == (expected, role, from_mode)


def test_minor_iv_of_f_is_b_flat_minor():
    assert one("Bbm", Key(fifths_from_name("F"), "major")).text == "iv"


@pytest.mark.parametrize(
    ("text", "expected", "role"),
    [
        # Common practice in C minor: signs counted from the major scale.
        ("Ab", "bVI", "diatonic"),
        ("Dm7b5", "iiø7", "diatonic"),
        ("G7", "V7", "diatonic"),
        ("Bdim7", "vii°7", "diatonic"),
        ("Cm(maj7)", "i(maj7)", "diatonic"),
        ("F", "IV", "borrowed"),
        ("C", "I", "borrowed"),
    ],
)
def test_chords_of_c_minor_are_named_as_in_common_practice(text, expected, role):
    found = one(text, C_MINOR)
    assert (found.text, found.role) == (expected, role)


def test_applied_chords_are_always_labelled_and_say_whether_they_resolve():
    assert one("D7", following="G7").resolves
    assert not one("D7", following="F").resolves
    assert one("D7", following="F").text == "V7/V"
    assert named("C#dim7 Dm") == ["vii°7/ii", "ii"]
    assert named("Gm7 C7 F") == ["ii7/IV", "V7/IV", "IV"]


def test_tritone_substitute_names_what_it_leads_to():
    found = one("Ab7", following="G7")
    assert (found.role, found.goal, found.resolves) == ("tritone substitute", "V", True)


def test_seventh_on_one_is_a_dominant_only_where_it_goes_on():
    assert one("C7", following="F").text == "V7/IV"
    assert one("C7", following="G7").role == "blues seventh"


def test_basses_are_figures_where_they_are_chord_tones():
    assert named("C/E C/G G7/B G7/D G7/F F/G Cmaj7/E C/Bb") == [
        "I6",
        "I64",
        "V65",
        "V43",
        "V42",
        "IV/5",
        "Imaj7/3",
        "I/b7",
    ]


def test_extensions_alterations_and_suspensions_are_written_out():
    assert named("G9 G13 G7b9 G7alt Gsus4 C6 Fmaj7#11 Am11") == [
        "V9",
        "V13",
        "V7(b9)",
        "V7alt",
        "Vsus4",
        "I(add6)",
        "IVmaj7(#11)",
        "vi11",
    ]


def test_what_is_no_chord_or_has_no_key_gets_no_numeral():
    assert one("N.C.").text == "N.C."
    assert one("what?").text == "?"
    assert one("C", Key(0, "none")).text == "?"


def test_a_repeated_chord_resolves_when_the_run_does():
    assert [
        n.resolves for n in numerals(parse_chords(["D7", "D7", "G"]), [C_MAJOR] * 3)
    ] == [
        True,
        True,
        False,
    ]


def test_scales_of_modes_hold_their_characteristic_degrees():
    # Common practice: dorian has a natural 6, lydian a sharp 4, mixolydian a flat 7.
    assert 3 in scale_of_mode("dorian")
    assert 6 in scale_of_mode("lydian")
    assert -2 in scale_of_mode("mixolydian")
    assert [m for m in MODES if is_minor_mode(m)] == [
        "dorian",
        "minor",
        "aeolian",
        "phrygian",
        "locrian",
    ]


SEVENTHS = {
    "major": "Imaj7 ii7 iii7 IVmaj7 V7 vi7 viiø7",
    "minor": "i7 iiø7 bIIImaj7 iv7 bVImaj7",
}


@pytest.mark.parametrize("mode", ["major", "minor"])
@pytest.mark.parametrize("tonic", ["C", "Eb", "F#", "A"])
def test_diatonic_sevenths_are_the_chords_that_music21_builds(mode, tonic):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        from music21 import key
        from music21 import roman as roman21

        there = key.Key(tonic.replace("b", "-"), mode)
        for text in SEVENTHS[mode].split():
            # music21 counts signs from the key's own scale and writes plain sevenths.
            figure = text.replace("maj", "").replace("b", "").replace("ø7", "ø7")
            built = roman21.RomanNumeral(figure, there)
            notes = [fifths_from_name(p.name.replace("-", "b")) for p in built.pitches]
            found = numeral(chord_of(notes), fifths_from_name(tonic), mode)
            assert (found.text, found.role) == (text, "diatonic")


def chord_of(notes: list[int]):
    """The chord symbol of four stacked notes, found by trying qualities."""
    from melodex.melody import pitch_class_name

    for quality in ("maj7", "m7", "7", "m7b5"):
        chord = parse_chord(pitch_class_name(notes[0]) + quality)
        if list(chord.note_fifths) == notes:
            return chord
    raise AssertionError(f"no seventh chord has {notes}")


TEXTS = [
    "C",
    "Am7",
    "Fm6",
    "D7",
    "Db7",
    "Gsus4",
    "F/G",
    "Bdim7",
    "E7#9",
    "Ab",
    "C5",
    "F#m7b5",
    "N.C.",
]


# Silence has no root, not even that of C.
@example(["D7", "N.C.", "Db7"], -2, "aeolian")
@given(
    st.lists(st.sampled_from(TEXTS), max_size=8),
    st.integers(-5, 6),
    st.sampled_from(sorted(MODES)),
)
def test_transposing_chords_and_key_together_changes_no_numeral(texts, fifths, mode):
    from melodex.analysis.harmony.chords import transposed_text

    chords = parse_chords(texts)
    moved = parse_chords([transposed_text(chord, fifths) for chord in chords])
    here = numerals(chords, [Key(0, mode)] * len(chords))
    there = numerals(moved, [Key(fifths, mode)] * len(chords))
    assert here == there
    assert all(n.role in {*ROLES, ""} for n in here)


def test_roman_writes_signs_before_large_and_small_numerals():
    assert [roman(d) for d in (0, -2, 6)] == ["I", "bVII", "#IV"]
    assert roman(2, small=True) == "ii"
