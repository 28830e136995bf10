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
        ("Db", "bII", "Neapolitan", ""),
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
        "IV over 5",
        "Imaj65",
        "I over b7",
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


# Common practice, no source: what the trade calls these chords, in C major or C minor.
NAMED = [
    # A tritone substitute is a lowered degree however its symbol is spelled.
    ("C#7 C", "major", 0, "bII7", "tritone substitute"),
    ("Dm7 C#7 Cmaj7", "major", 1, "bII7", "tritone substitute"),
    ("G#7 G7", "major", 0, "bVI7", "tritone substitute"),
    ("D#7 Dm7", "major", 0, "bIII7", "tritone substitute"),
    # The Neapolitan goes to V; bII that falls straight on I is the phrygian one.
    ("Db/F G7 Cm", "minor", 0, "bII6", "Neapolitan"),
    ("Db G", "major", 0, "bII", "Neapolitan"),
    ("Db C", "major", 0, "bII", "borrowed"),
    # Augmented sixths go to V or to its six-four.
    ("Ab7 C/G G7 C", "major", 0, "Ger6", "augmented sixth"),
    ("Ab7 Cm/G G Cm", "minor", 0, "Ger6", "augmented sixth"),
    ("Ab7 G Cm", "minor", 0, "Ger6", "augmented sixth"),
    ("Ab7b5 G", "minor", 0, "Fr6", "augmented sixth"),
    ("Ab7(no5) G", "minor", 0, "It6", "augmented sixth"),
    ("Ab7 G7 C", "major", 0, "bVI7", "tritone substitute"),
    # The tonic of minor has any sixth and seventh; a line over it is no borrowing.
    ("Cm6 Fm", "minor", 0, "i(add6)", "diatonic"),
    ("Cm CmM7 Cm7 F7", "minor", 3, "IV7", "line"),
    ("Cm Cm/B Cm/Bb F/A Ab", "minor", 3, "IV6", "line"),
    ("Cm F Cm F", "minor", 1, "IV", "borrowed"),
    ("Cm G7 C", "minor", 2, "I", "Picardy third"),
    ("C7 Fm", "minor", 0, "V7/iv", "secondary dominant"),
    ("C Fm", "minor", 0, "V/iv", "secondary dominant"),
    # Diminished chords: to the root above, round the root itself, down to the next.
    ("Abdim7 Am", "major", 0, "vii°7/vi", "secondary leading tone"),
    ("Cdim7 C", "major", 0, "i°7", "common-tone diminished"),
    ("D#dim7 C/E", "major", 0, "#ii°7", "common-tone diminished"),
    ("F#dim7 C/G", "major", 0, "vii°7/V", "secondary leading tone"),
    ("Ebdim7 Dm7", "major", 0, "biii°7", "passing diminished"),
    # Two and five of another degree, and before a substitute.
    ("Bm7b5 E7 Am", "major", 0, "iiø7/vi", "related ii"),
    ("Em7b5 A7 Dm7", "major", 0, "iiø7/ii", "related ii"),
    ("Abm7 Db7 Cmaj7", "major", 0, "bvi7", "related ii"),
    ("Fm7 Bb7 C", "major", 0, "iv7", "borrowed"),
    ("Fm7 Bb7 C", "major", 1, "bVII7", "borrowed"),
    # I7 IV7 is the blues; I7 before IV is the dominant of it.
    ("C7 F7 C7 G7", "major", 0, "I7", "blues seventh"),
    ("C7 F", "major", 0, "V7/IV", "secondary dominant"),
    ("Gm7 C7 F7 G7", "major", 1, "V7/IV", "secondary dominant"),
    ("Emaj7 G7 C", "major", 0, "IIImaj7", "chromatic"),
    ("D Gm C", "major", 0, "V/V", "secondary dominant"),
    # What becomes minor on its own root has not gone where it led.
    ("A7#11 Am7 D7 G7", "major", 0, "V7(#11)/ii", "secondary dominant"),
]


@pytest.mark.parametrize(("texts", "mode", "place", "expected", "role"), NAMED)
@pytest.mark.parametrize("fifths", range(-5, 7))
def test_chords_are_named_by_what_they_do(texts, mode, place, expected, role, fifths):
    from melodex.analysis.harmony.chords import transposed_text

    chords = parse_chords(transposed_text(c, fifths) for c in parse_chords(texts.split()))
    found = numerals(chords, [Key(fifths, mode)] * len(chords))[place]
    assert (found.text, found.role) == (expected, role)


def test_the_augmented_sixth_in_the_melody_tells_a_german_sixth_from_a_substitute():
    chords = parse_chords(["Ab7", "G7", "C"])
    found = numerals(chords, [C_MAJOR] * 3, frozenset({0}))[0]
    assert (found.text, found.plain_text) == ("Ger6", "bVI7")


@pytest.mark.parametrize(
    ("texts", "key", "expected"),
    [
        # A chain of dominants is named by the degrees of the key that it goes through.
        ("C B7 E7 A7 D7 G7 C", C_MAJOR, "I V7/iii V7/vi V7/ii V7/V V7 I"),
        ("C Bm7b5 E7 A7 D7 G7 C", C_MAJOR, "I iiø7/vi V7/vi V7/ii V7/V V7 I"),
        ("C A D G C", C_MAJOR, "I V/ii V/V V I"),
        ("Cm G7 C7 F7 Bb7 Eb Cm", C_MINOR, "i V7 V7/iv V7/bVII V7/bIII bIII i"),
        # A major chord that rests is named as it sounds.
        ("C B7 Emaj7 C", C_MAJOR, "I V7/III IIImaj7 I"),
        ("C7 F7 C7 G7", C_MAJOR, "I7 IV7 I7 V7"),
        # IV7 bVII7 I is the backdoor, and no dominant of the flat seventh.
        ("C7 F7 Bb7 Cmaj7", C_MAJOR, "I7 IV7 bVII7 Imaj7"),
        ("C F7 Bb F C", C_MAJOR, "I V7/bVII bVII IV I"),
        # ii subV I.
        ("C Gm7 Gb7 Fmaj7", C_MAJOR, "I ii7/IV bV7 IVmaj7"),
        ("C Bm7 Bb7 Am7", C_MAJOR, "I ii7/vi bVII7 vi7"),
        ("C Ebm7 D7 G", C_MAJOR, "I biii7 V7/V V"),
    ],
)
def test_chains_are_named_as_players_count_them(texts, key, expected):
    assert " ".join(named(texts, key)) == expected


def test_a_dominant_that_turns_minor_on_its_root_does_not_go_there():
    chords = parse_chords(["A7#11", "Am7", "D7", "G7"])
    assert not numerals(chords, [C_MAJOR] * 4)[0].resolves
    assert named("Gsus4 G7 C")[0] == "Vsus4"


# A slash tells the chord that is tonicised, and nothing else does.
@pytest.mark.parametrize("text", ["D7/C", "D7/E", "D9/F#", "G7/C", "F/G", "Am7/D"])
def test_a_bass_is_never_written_as_an_applied_chord(text):
    for key in (C_MAJOR, C_MINOR, Key(1, "major")):
        found = one(text, key)
        parts = found.text.split("/")
        assert len(parts) <= 2
        assert len(parts) == 1 or parts[1].strip("b#").split(" over ")[0].upper() in ROMANS


ROMANS = {"I", "II", "III", "IV", "V", "VI", "VII"}


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
