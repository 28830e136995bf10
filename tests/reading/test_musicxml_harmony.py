"""Chord symbols of MusicXML: the text, and that it names the notes that are meant.

Outside witness: music21's own reading of the same element gives the pitch classes; the
text must mean them to our chord grammar. Eleventh and thirteenth chords are compared
without the notes that players leave out (common practice, no source).
"""

import warnings
from xml.etree.ElementTree import fromstring

import pytest
from music21.musicxml.xmlToM21 import MeasureParser

from melodex.analysis.harmony.chords import parse_chord
from melodex.reading.musicxml.harmony import KIND_SIGNS, chord_text


def harmony(kind, *degrees, root="C", alter=0, bass="", printed=""):
    text = f' text="{printed}"' if printed else ""
    lowest = f"<bass><bass-step>{bass}</bass-step></bass>" if bass else ""
    parts = "".join(
        f"<degree><degree-value>{number}</degree-value><degree-alter>{by}</degree-alter>"
        f"<degree-type>{how}</degree-type></degree>"
        for how, number, by in degrees
    )
    return fromstring(
        f"<harmony><root><root-step>{root}</root-step><root-alter>{alter}</root-alter></root>"
        f"<kind{text}>{kind}</kind>{lowest}{parts}</harmony>"
    )


def classes_by_music21(element):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        symbol = MeasureParser().xmlToChordSymbol(element)
    return {pitch.pitchClass for pitch in symbol.pitches}


FULL_KINDS = [kind for kind in KIND_SIGNS if not kind.endswith(("11th", "13th"))]


@pytest.mark.parametrize("kind", FULL_KINDS)
@pytest.mark.parametrize(("root", "alter"), [("C", 0), ("B", -1), ("F", 1)])
def test_every_kind_means_the_notes_that_music21_reads(kind, root, alter):
    element = harmony(kind, root=root, alter=alter)
    meant = set(parse_chord(chord_text(element)).pitch_classes)
    assert meant == classes_by_music21(element)


@pytest.mark.parametrize("kind", sorted(set(KIND_SIGNS) - set(FULL_KINDS)))
def test_tall_chords_mean_their_notes_less_those_that_are_left_out(kind):
    element = harmony(kind)
    meant = set(parse_chord(chord_text(element)).pitch_classes)
    assert len(meant) >= 5
    assert meant <= classes_by_music21(element)


DEGREES = [
    ("major", ("add", 9, 0)),
    ("minor", ("add", 9, 0)),
    ("major", ("add", 9, -1)),
    ("major", ("add", 6, 0)),
    ("dominant", ("add", 9, -1)),
    ("dominant", ("add", 9, 1)),
    ("dominant", ("add", 13, 0)),
    ("dominant", ("add", 11, 1)),
    ("dominant", ("alter", 5, -1)),
    ("dominant", ("alter", 5, 1)),
    ("major-seventh", ("alter", 5, 1)),
    ("minor-seventh", ("alter", 5, -1)),
    ("dominant", ("subtract", 3, 0)),
    ("major", ("subtract", 5, 0)),
    ("suspended-fourth", ("add", 9, 0)),
]


@pytest.mark.parametrize(("kind", "degree"), DEGREES)
def test_degrees_mean_the_notes_that_music21_reads(kind, degree):
    element = harmony(kind, degree)
    meant = set(parse_chord(chord_text(element)).pitch_classes)
    assert meant == classes_by_music21(element)


# MusicXML 4.0, degree-alter: an added degree counts from a dominant chord, so the seventh
# is the minor one. music21 adds the major seventh here, and is no witness.
WRITTEN = [
    (harmony("suspended-fourth", ("add", 7, 0)), "C7sus4"),
    (harmony("suspended-fourth", ("add", 7, 0), ("add", 9, 0)), "C9sus4"),
    (harmony("major", ("add", 7, 0)), "C7"),
    (harmony("minor", ("add", 7, 1)), "Cm(maj7)"),
    (harmony("dominant", ("add", 9, -1), ("add", 11, 1)), "C7b9#11"),
    (harmony("dominant", bass="E"), "C7/E"),
    (harmony("none"), "N.C."),
    (harmony("other", printed="7alt"), "C7alt"),
    (harmony("minor-seventh", printed="mi7"), "Cmi7"),
    (harmony("dominant", ("add", 9, -1), printed="7b9"), "C7b9"),
    (fromstring("<harmony><function>V</function><kind>major</kind></harmony>"), None),
    (fromstring("<harmony><root><root-step>H</root-step></root></harmony>"), None),
]


@pytest.mark.parametrize(("element", "text"), WRITTEN)
def test_chords_are_written_as_musicians_do(element, text):
    assert chord_text(element) == text


def test_a_printed_kind_that_is_not_plain_is_not_kept():
    element = harmony("dominant")
    element.find("kind").set("text", "\u202e<b>")
    assert chord_text(element) == "C7"


def test_a_chord_for_a_transposing_instrument_sounds_lower():
    assert chord_text(harmony("minor-seventh", root="D", bass="C"), -2) == "Cm7/Bb"
