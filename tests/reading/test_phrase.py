"""Typed phrases: every notation, what is recognised, and what is said when it is not."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from melodex.errors import AmbiguousPhraseError, MelodexError, PhraseError
from melodex.melody import TICKS_PER_QUARTER, degree_name, note_name
from melodex.reading.phrase.reader import MOST_NOTES, read_phrase


def names(phrase):
    melody = phrase.melody
    return [note_name(*pair) for pair in zip(melody.midi, melody.fifths, strict=True)]


# Common practice, no source: the major scale and its usual chromatic degrees.
SCALES = [
    ("1 2 3 4 5 6 7 1'", "C", "C4 D4 E4 F4 G4 A4 B4 C5"),
    ("1 2 b3 4 5 b6 b7 1'", "A", "A3 B3 C4 D4 E4 F4 G4 A4"),
    ("1 2 3 #4 5 6 7", "Bb", "Bb3 C4 D4 E4 F4 G4 A4"),
    ("1 b2 b3 4 b5 b6 b7", "E", "E4 F4 G4 A4 Bb4 C5 D5"),
    ("5, 7, 1 5 3'", "F#", "C#4 E#4 F#4 C#5 A#5"),
]


@pytest.mark.parametrize(("text", "tonic", "expected"), SCALES)
def test_degrees_become_the_notes_of_textbook_scales(text, tonic, expected):
    assert names(read_phrase(text, tonic=tonic)) == expected.split()


def test_unmarked_degrees_lie_in_the_octave_that_rises_from_the_tonic():
    assert names(read_phrase("7 1 7, 1 1' 5")) == ["B4", "C4", "B3", "C4", "C5", "G4"]


def test_lengths_after_a_star_are_beats_and_others_are_one():
    phrase = read_phrase("5*2 1 | 2*1/2 3*1.5 1*3/2")
    assert [*map(float, phrase.melody.duration_quarters)] == [2, 1, 0.5, 1.5, 1.5]
    assert [*map(float, phrase.melody.onset_quarters)] == [0, 2, 3, 3.5, 5]
    assert phrase.has_rhythm


def test_degrees_without_lengths_have_no_rhythm_but_a_tonic():
    phrase = read_phrase("5 1 2 b3 2 1")
    assert (phrase.notation, phrase.has_rhythm, phrase.has_tonic) == (
        "degrees",
        False,
        True,
    )
    assert set(phrase.melody.duration_quarters) == {1}


@pytest.mark.parametrize(
    ("text", "mode"), [("1 b3 5", "minor"), ("1 3 5", "major"), ("1 b3 3", "major")]
)
def test_the_mode_of_degrees_is_heard_from_the_third(text, mode):
    change = read_phrase(text).melody.keys[0]
    assert (change.key.mode, change.stated) == (mode, False)


def test_a_stated_tonic_and_mode_are_kept():
    change = read_phrase("1 2 3 4", tonic="D", mode="mixolydian").melody.keys[0]
    assert (str(change.key), change.signature_fifths, change.stated) == (
        "D mixolydian",
        1,
        True,
    )


def test_steps_are_semitones_and_have_neither_tonic_nor_rhythm():
    phrase = read_phrase("+2 +2 -4 0")
    assert phrase.melody.interval_semitones == (2, 2, -4, 0)
    assert (phrase.notation, phrase.has_rhythm, phrase.has_tonic) == ("steps", False, False)


def test_typographers_signs_are_read_as_plain_ones():
    assert read_phrase("−4 –3 +7").melody.interval_semitones == (-4, -3, 7)
    assert names(read_phrase("1’ ♭3 ♯4")) == ["C5", "Eb4", "F#4"]


def test_a_contour_keeps_its_signs():
    phrase = read_phrase("+ + - 0 +")
    assert (phrase.notation, phrase.contour) == ("contour", (1, 1, -1, 0, 1))


def test_bar_lines_are_ignored_with_and_without_spaces():
    plain = read_phrase("5 1 2 3").melody
    assert read_phrase("|5|1 2||3|").melody == plain
    assert read_phrase("+ | + - |").contour == (1, 1, -1)


ABC = [
    ("K:F c3 d | f2 e2", "C5 D5 F5 E5", "F major"),
    ("[K:Dm] d2 f2 =B2", "D5 F5 B4", "D minor"),
    ("K:F minor c d e", "C5 Db5 Eb5", "F minor"),
    ("K:A\nL:1/4\nM:3/4\nc d e", "C#5 D5 E5", "A major"),
    ("X:3\nT:Name\nM:4/4\nL:1/8\nK:G\nG2 F2 [gb]2|", "G4 F#4 B5", "G major"),
    ("cde", "C5 D5 E5", "no key"),
]


@pytest.mark.parametrize(("text", "expected", "tonality"), ABC)
def test_abc_is_read_with_and_without_a_header(text, expected, tonality):
    phrase = read_phrase(text)
    assert phrase.notation == "abc"
    assert names(phrase) == expected.split()
    assert str(phrase.melody.key) == tonality
    assert phrase.has_tonic == (tonality != "no key")


def test_abc_lengths_are_those_of_the_standard():
    phrase = read_phrase("K:F c3 d | f2 e/2 d")
    assert [*map(float, phrase.melody.duration_quarters)] == [1.5, 0.5, 1, 0.25, 0.5]
    assert phrase.has_rhythm


def test_abc_without_any_length_has_no_rhythm():
    phrase = read_phrase("K:F c d f e")
    assert not phrase.has_rhythm
    assert set(phrase.melody.duration_ticks) == {TICKS_PER_QUARTER}


def test_a_tonic_gives_abc_without_header_its_key():
    phrase = read_phrase("c d e f", tonic="F", mode="minor")
    assert names(phrase) == ["C5", "Db5", "Eb5", "F5"]
    assert phrase.has_tonic


def test_two_possible_readings_are_both_shown_with_the_option_that_settles_it():
    with pytest.raises(
        AmbiguousPhraseError, match=r"(?s)as degrees: +Eb4 Db4 Eb4.*as abc: +B"
    ):
        read_phrase("b3 b2 b3")
    with pytest.raises(AmbiguousPhraseError, match=r"(?s)as contour: +same same"):
        read_phrase("0 0 0")


def test_the_option_settles_an_ambiguous_phrase():
    assert names(read_phrase("b3 b2 b3", notation="degrees")) == ["Eb4", "Db4", "Eb4"]
    assert read_phrase("b3 b2 b3", notation="abc").melody.midi == (83, 83, 83)
    assert read_phrase("0 0 0", notation="contour").contour == (0, 0, 0)
    assert read_phrase("0 0 0", notation="steps").notation == "steps"


FAULTS = [
    ("12 3 4", 1, "'12' is no scale degree"),
    ("1 2 3*1/\u0660", 6, "is no length"),
    ("5 1 10 2", 5, "'10' is no scale degree"),
    ("5 1 bbb3 2", 5, "'bbb' is no accidental"),
    ("5 1 2',", 6, "is no octave mark"),
    ("5 1 2*x 3", 6, r"'\*x' is no length"),
    ("5 1*1/0 3", 4, "is no length"),
    ("5 1*0 3", 4, "is no length"),
    ("5 1 H 3", 5, "'H' is no scale degree"),
    ("F# A C? B", 6, r"'C\?' is no note name"),
    ("Fis A Hx C", 7, "'Hx' is no note name"),
    ("F#4 A4 C12 D5", 8, "'C12' is no note name"),
    ("+2 4 -1", 4, r"write \+4"),
    ("K:F c d ? e", 9, r"'\?' is not understood in ABC"),
    ("5 1", 4, "3 notes or more, this has only 2"),
    ("c", 2, "3 notes or more, this has one"),
    ("+2", 3, "3 notes or more, this has only 2"),
]


@pytest.mark.parametrize(("text", "column", "reason"), FAULTS)
def test_a_fault_is_named_and_pointed_out(text, column, reason):
    with pytest.raises(PhraseError, match=reason) as caught:
        read_phrase(text)
    assert caught.value.where == f"phrase, column {column}"
    _, shown, pointer = str(caught.value).splitlines()
    assert shown == "    " + text
    assert pointer == " " * (4 + column - 1) + "^"


def test_a_fault_far_along_is_shown_within_its_surroundings():
    text = "1 2 3 " * 40 + "0 " + "1 2 3 " * 10
    with pytest.raises(PhraseError) as caught:
        read_phrase(text)
    _, shown, pointer = str(caught.value).splitlines()
    assert caught.value.where == "phrase, column 241"
    assert shown[pointer.index("^")] == "0"
    assert len(shown) < 80


@pytest.mark.parametrize("text", ["hello world", "§ 3$ !", "\x00\x07", "5183", "é è"])
def test_a_phrase_in_no_known_notation_is_told_the_notations(text):
    with pytest.raises(PhraseError, match="degree"):
        read_phrase(text)


@pytest.mark.parametrize("text", ["", "   ", "\n"])
def test_an_empty_phrase_is_refused(text):
    with pytest.raises(PhraseError, match="empty"):
        read_phrase(text)


def test_a_phrase_as_long_as_a_piece_is_refused():
    with pytest.raises(PhraseError, match=f"more than {MOST_NOTES} notes"):
        read_phrase("1 " * (MOST_NOTES + 1))
    with pytest.raises(PhraseError, match="too long"):
        read_phrase("1 " * 20_000)


def test_unknown_names_of_notation_tonic_and_mode_are_refused():
    with pytest.raises(PhraseError, match="no notation is called 'neumes'"):
        read_phrase("1 2 3", notation="neumes")
    with pytest.raises(PhraseError, match="'H' is no tonic"):
        read_phrase("1 2 3", tonic="H")
    with pytest.raises(PhraseError, match="no mode is called 'blues'"):
        read_phrase("1 2 3", mode="blues")


def test_a_tonic_beside_a_notation_without_one_is_refused():
    with pytest.raises(PhraseError, match="have no tonic"):
        read_phrase("+2 +2 -4", tonic="F")
    with pytest.raises(PhraseError, match="key of its own"):
        read_phrase("K:F c d e", tonic="F")


def test_steps_beyond_the_range_of_hearing_are_refused():
    with pytest.raises(PhraseError, match="four octaves"):
        read_phrase("+100 +100")
    with pytest.raises(PhraseError, match="ten octaves"):
        read_phrase("+48 +48 +48")


degrees = st.tuples(
    st.sampled_from(["", "b", "#"]),
    st.integers(1, 7),
    st.sampled_from(["", "'", ",", "''"]),
    st.sampled_from(["", "*2", "*1/2", "*3/2"]),
)
tonics = st.sampled_from(["C", "G", "D", "A", "E", "B", "F#", "F", "Bb", "Eb", "Ab", "Db"])


@given(st.lists(degrees, min_size=3, max_size=20), tonics)
def test_degrees_typed_are_the_degrees_read(typed, tonic):
    text = " ".join(
        f"{sign}{number}{octave}{length}" for sign, number, octave, length in typed
    )
    phrase = read_phrase(text, tonic=tonic, notation="degrees")
    read = [degree_name(degree) for degree in phrase.melody.degrees() if degree is not None]
    assert read == [f"{sign}{number}" for sign, number, _, _ in typed]


@given(st.lists(degrees, min_size=3, max_size=20), tonics)
def test_degrees_have_the_same_steps_on_every_tonic(typed, tonic):
    text = " ".join(f"{sign}{number}{octave}" for sign, number, octave, _ in typed)
    on_c = read_phrase(text, notation="degrees").melody
    elsewhere = read_phrase(text, notation="degrees", tonic=tonic).melody
    assert on_c.interval_semitones == elsewhere.interval_semitones
    assert on_c.degrees() == elsewhere.degrees()


@given(st.lists(st.integers(-12, 12), min_size=2, max_size=10))
def test_steps_typed_are_the_steps_read(steps):
    text = " ".join(f"{step:+d}" if step else "0" for step in steps)
    melody = read_phrase(text, notation="steps").melody
    assert melody.interval_semitones == tuple(steps)
    assert all(0 <= midi <= 127 for midi in melody.midi)


@given(
    st.text(max_size=60) | st.text("b#1234567'*,/+-0 |ABCdefgK:z()[]{}\"!\n", max_size=60)
)
def test_any_text_is_a_phrase_or_one_of_our_errors(text):
    try:
        phrase = read_phrase(text)
    except MelodexError as error:
        message = str(error)
    else:
        message = ""
        assert len(phrase.melody) >= 3
    # A message shows on a terminal as it is.
    assert message.replace("\n", "").isprintable()
