"""Phrases as musicians write them: each with the reading that was meant beside it.

The names of notes, of octaves and of syllables are common practice, no source; octave 4
starts on middle C, so that the A of ISO 16:1975 (440 Hz) is A4.
"""

from __future__ import annotations

import pytest

from melodex.errors import AmbiguousPhraseError, PhraseError
from melodex.melody import Melody, note_name
from melodex.reading.phrase.reader import NOTATIONS, read_phrase


def names(melody: Melody) -> str:
    return " ".join(
        note_name(*pair) for pair in zip(melody.midi, melody.fifths, strict=True)
    )


MEANT = """
G A Bb C D                  | names       | G4 A4 Bb4 C5 D5
G A B♭ C D                  | names       | G4 A4 Bb4 C5 D5
C4 E4 G4 C5                 | names       | C4 E4 G4 C5
E4 D4 C4 B3 C4              | names       | E4 D4 C4 B3 C4
C♯5 E5 C♯5 A4 C♯5           | names       | C#5 E5 C#5 A4 C#5
F# A C# B                   | names       | F#4 A4 C#5 B4
F# A C#5                    | names       | F#4 A4 C#5
C E G C                     | names       | C4 E4 G4 C5
G A B | C D                 | names       | G4 A4 B4 C5 D5
Gb Ab Bb Gb                 | names       | Gb4 Ab4 Bb4 Gb4
Cb Db Eb Fb                 | names       | Cb4 Db4 Eb4 Fb4
Fx G# A#                    | names       | F##4 G#4 A#4
Ebb Db C                    | names       | Ebb4 Db4 C4
B flat C D E flat           | names       | Bb4 C5 D5 Eb5
F sharp, A, C sharp, B      | names       | F#4 A4 C#5 B4
G-C#-D-Eb                   | names       | G4 C#5 D5 Eb5
G, C#, D, Eb                | names       | G4 C#5 D5 Eb5
C#4*2 D#4 E4                | names       | C#4 D#4 E4
c#4 d4 e4                   | names       | C#4 D4 E4
f# g# a                     | names       | F#4 G#4 A4
60 62 64 65                 | names       | C4 D4 E4 F4
phrase  E4 G4  E4 C4        | names       | E4 G4 E4 C4
tune   C♯5 E5 C♯5 A4        | names       | C#5 E5 C#5 A4
Fis A Cis H                 | german      | F#4 A4 C#5 B4
A H C                       | german      | A4 B4 C5
B A C H                     | german      | Bb4 A4 C5 B4
As Es B                     | german      | Ab4 Eb4 Bb3
Des Ges As                  | german      | Db4 Gb4 Ab4
Eses Des C                  | german      | Ebb4 Db4 C4
do re mi                    | solfa       | C4 D4 E4
do re mi fa sol             | solfa       | C4 D4 E4 F4 G4
sol do re mi                | solfa       | G4 C5 D5 E5
do re me fa sol             | solfa       | C4 D4 Eb4 F4 G4
so fi so la ti do           | solfa       | G4 F#4 G4 A4 B4 C5
ti, do re                   | solfa       | B3 C4 D4
do' ti la sol               | solfa       | C5 B4 A4 G4
do*2 re mi                  | solfa       | C4 D4 E4
do ra do te,                | solfa       | C4 Db4 C4 Bb3
doh ray me fah soh          | tonic-solfa | C4 D4 E4 F4 G4
soh lah te doh              | tonic-solfa | G4 A4 B4 C5
do re mi fa sol la si do    | fixed-do    | C4 D4 E4 F4 G4 A4 B4 C5
do re mi fa# sol            | fixed-do    | C4 D4 E4 F#4 G4
sol la sib do               | fixed-do    | G4 A4 Bb4 C5
mib fa sol                  | fixed-do    | Eb4 F4 G4
5 1' 7 b6                   | degrees     | G4 C5 B4 Ab4
^5 ^1 ^2 ^b3                | degrees     | G4 C4 D4 Eb4
♭3 2 1 7,                   | degrees     | Eb4 D4 C4 B3
51235                       | degrees     | G4 C4 D4 E4 G4
5b321                       | degrees     | G4 Eb4 D4 C4
cde                         | abc         | C5 D5 E5
c d e f                     | abc         | C5 D5 E5 F5
G A B c d                   | abc         | G4 A4 B4 C5 D5
C, E, G, C                  | abc         | C3 E3 G3 C4
C4 D4 E2 F4                 | abc         | C4 D4 E4 F4
G2 A B c2                   | abc         | G4 A4 B4 C5
K:F c3 d | f2 e2            | abc         | C5 D5 F5 E5
^F A ^c                     | abc         | F#4 A4 C#5
"""


@pytest.mark.parametrize("row", MEANT.strip().splitlines())
def test_what_is_written_is_read_as_it_is_meant(row: str) -> None:
    # The bar line of a phrase is the same sign that parts the columns here.
    text, notation, notes = (cell.strip() for cell in row.rsplit("|", 2))
    phrase = read_phrase(text)
    if notation == "fixed-do":
        assert phrase.melody.key.mode == "none"
    assert (phrase.notation, names(phrase.melody)) == (notation, notes)


CONTOURS = [
    ("u u d s u", (1, 1, -1, 0, 1)),
    ("uudsu", (1, 1, -1, 0, 1)),
    ("U U D R", (1, 1, -1, 0)),
    ("*uudr", (1, 1, -1, 0)),  # the star of the first note: Parsons (1975), from memory
    ("up up down same", (1, 1, -1, 0)),
    ("++-0+", (1, 1, -1, 0, 1)),
    ("+ + - 0 +", (1, 1, -1, 0, 1)),
    ("↑ ↑ ↓ →", (1, 1, -1, 0)),
    ("d d u", (-1, -1, 1)),
]


@pytest.mark.parametrize(("text", "signs"), CONTOURS)
def test_a_contour_is_read_in_signs_letters_and_words(text, signs):
    phrase = read_phrase(text)
    assert (phrase.notation, phrase.contour) == ("contour", signs)


ASKED_BACK = [
    ("bb a g", {"abc", "names"}),
    ("ab bb c", {"abc", "names"}),
    ("D F A D5", {"abc", "names"}),
    ("d d d", {"abc", "contour"}),
    ("b3 b2 b3", {"abc", "degrees"}),
    ("mi so si la", {"solfa", "fixed-do"}),
    ("0 0 0", {"steps", "contour"}),
]


@pytest.mark.parametrize(("text", "readings"), ASKED_BACK)
def test_what_can_be_meant_in_two_ways_is_asked_back(text, readings):
    with pytest.raises(AmbiguousPhraseError) as caught:
        read_phrase(text)
    assert {name for name in NOTATIONS if f"as {name}:" in str(caught.value)} == readings
    for name in readings:
        assert read_phrase(text, notation=name).notation == name


def test_the_reading_that_was_not_taken_is_kept_beside_the_one_that_was():
    assert read_phrase("G A Bb C D").other_notations == ("abc",)
    assert read_phrase("G C# D Eb").other_notations == ()


def test_no_note_is_dropped_in_silence():
    # In ABC the H would be a decoration of the C.
    assert len(read_phrase("B A H C").melody) == 4
    with pytest.raises(PhraseError, match="'R' is no"):
        read_phrase("C D R E F#")


def test_names_have_no_tonic_to_be_moved_to():
    with pytest.raises(PhraseError, match="pitches of their own"):
        read_phrase("F# A C#", tonic="G")


def test_syllables_move_with_the_tonic_and_fixed_ones_do_not():
    assert names(read_phrase("do re mi", tonic="F").melody) == "F4 G4 A4"
    assert names(read_phrase("do re mi", notation="fixed-do").melody) == "C4 D4 E4"


def test_a_name_without_octave_is_nearest_to_its_neighbour_and_a_tritone_goes_up():
    assert names(read_phrase("B C# F").melody) == "B4 C#5 F5"
    assert names(read_phrase("C F# C").melody) == "C4 F#4 C5"
    assert names(read_phrase("G E C# A5").melody) == "G6 E6 C#6 A5"
    assert names(read_phrase("C4 G F#").melody) == "C4 G3 F#3"


@pytest.mark.parametrize(
    "text",
    ["C#99 D E", "do'''''''''''' re mi", "C#-9 D E", "F#4 A4 C#400", "x" * 10_000],
)
def test_what_cannot_be_heard_is_refused_in_a_sentence(text):
    with pytest.raises(PhraseError):
        read_phrase(text)
