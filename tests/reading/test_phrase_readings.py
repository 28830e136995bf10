"""Phrases in all the ways that musicians write them: none is misread in silence."""

from __future__ import annotations

import pytest

from benchmarks.reading.phrase_readings import AS_MEANT, WRONG, judged, meanings, same
from benchmarks.reading.phrases import WRITTEN
from benchmarks.reading.phrases_fifth import FIFTH
from benchmarks.reading.phrases_fourth import FOURTH
from benchmarks.reading.phrases_held_out import HELD_OUT
from benchmarks.reading.phrases_third import THIRD
from melodex.errors import AmbiguousPhraseError, PhraseError
from melodex.reading.phrase.reader import read_phrase

ALL = [*WRITTEN, *HELD_OUT, *THIRD, *FOURTH, *FIFTH]
KINDS = sorted({written.kind for written in ALL})


@pytest.mark.parametrize("kind", KINDS)
def test_no_phrase_is_misread_in_silence(kind: str) -> None:
    of_kind = [written for written in ALL if written.kind == kind]
    found = {written.phrase[:60]: judged(written) for written in of_kind}
    assert not {phrase: said for phrase, (how, said) in found.items() if how == WRONG}
    assert sum(how == AS_MEANT for how, _ in found.values()) > 0.9 * len(found)


def test_the_judge_tells_other_music_and_other_lengths_apart() -> None:
    (meant,) = meanings("C4*1 D4*1 E4*2")
    assert same(next(meanings("G4*2 A4*2 B4*4")), meant)
    for other in ("C4*1 D4*1 Eb4*2", "C4*1 D4*1 E4*1", "C4 D4 E4", "^ ^"):
        assert not same(next(meanings(other)), meant)


def test_lengths_are_read_by_letters_words_parts_and_signs() -> None:
    for text in ("q. e h", "dotted crotchet quaver minim", "3/8 1/8 1/2", "♩. ♪ *2"):
        phrase = read_phrase(text)
        assert phrase.notation == "rhythm"
        assert phrase.melody.duration_ticks == (15120, 5040, 20160)
        assert not any(phrase.has_pitch)
        assert not phrase.has_notes


def test_syllables_that_are_clapped_are_lengths() -> None:
    # Common practice, no source: ta a quarter, ti an eighth, tika two sixteenths.
    phrase = read_phrase("ta ti-ti tika-ti ta-a")
    assert phrase.notation == "rhythm"
    quarter = 10080
    parts = (1, 1 / 2, 1 / 2, 1 / 4, 1 / 4, 1 / 2, 2)
    assert phrase.melody.duration_ticks == tuple(int(part * quarter) for part in parts)


def test_a_gap_of_dots_is_asked_about_and_dots_at_the_end_are_not() -> None:
    with pytest.raises(PhraseError) as asked:
        read_phrase("C4 D4 ... G4 A4")
    assert asked.value.column == 7
    assert len(read_phrase("C4 D4 F4 A4 ...").melody) == 4


def test_degrees_run_together_in_groups_and_numbers_of_keys_stay_keys() -> None:
    assert read_phrase("123 1 123 1").melody.midi == (60, 62, 64, 60) * 2
    assert read_phrase("67 65 64").notation == "names"


def test_what_is_not_known_stays_unknown() -> None:
    phrase = read_phrase("5*1 ? 1'*2 ?*1/2")
    assert phrase.has_pitch == (True, False, True, False)
    assert phrase.has_length == (True, False, True, True)
    assert not phrase.has_notes
    assert read_phrase("5 6 7").has_pitch == ()


def test_commas_part_degrees_or_lower_them_by_what_leaps_less() -> None:
    assert read_phrase("1, 2, 3, 5").melody.interval_semitones == (2, 2, 3)
    with pytest.raises(AmbiguousPhraseError) as asked:
        read_phrase("5, 6, 7, 1")
    assert {name for name, _ in asked.value.readings} == {"degrees", "degree-list"}


def test_syllables_from_do_lie_above_it_and_the_nearest_is_offered() -> None:
    phrase = read_phrase("do do sol sol la la sol")
    assert phrase.melody.interval_semitones == (0, 7, 0, 2, 0, -2)
    assert phrase.other_notations == ("solfa",)
    assert read_phrase("do ti do").melody.interval_semitones == (-1, 1)


def test_a_ninth_is_the_second_above_and_labels_are_not_taken_for_notes() -> None:
    assert read_phrase("1 3 5 b7 9").melody.midi == (60, 64, 67, 70, 74)
    assert read_phrase("contour: + + - 0").contour == (1, 1, -1, 0)
    for text in ("G7: G B D F", "c, f a c'", "C: C E G"):
        with pytest.raises(PhraseError):
            read_phrase(text)
    # Where a field says that it is ABC, these are octaves.
    assert read_phrase("K:C c, d e").melody.midi == (60, 74, 76)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("Am F C G", r"'Am F C G' are chords.*progression"),
        ("I-IV-V-I", r"are chords"),
        ("C#m7 D E", r"are chords"),
        ("Mary had a little lamb", r"are words.*titles"),
        ("e|--0--2--3--|\nB|-----------|", r"tablature"),
        ("C E [Am] A C", r"column 5: '\[Am\]' is a chord among notes"),
        ("5 1 rest 5", r"column 5: .*leave the rest out"),
        ("5_ 5_ 6 5", r"write 5\*1/2"),
        ("5-6-5-3-1 (twice)", r"column 11: .*'\(twice\)'"),
        ("C4 q D4 e E4", r"a length stands behind its note"),
    ],
)
def test_what_is_no_phrase_is_told_where_it_belongs(text: str, told: str) -> None:
    with pytest.raises(PhraseError, match=f"(?s){told}"):
        read_phrase(text)


def test_a_comma_behind_some_letters_is_an_octave_and_another_reading_offered() -> None:
    phrase = read_phrase("C E G, F A C")
    assert (phrase.notation, phrase.other_notations) == ("abc", ("names",))
    assert read_phrase("C E G, F A C", notation="names").melody.midi[2] == 67


def test_one_dash_that_is_neither_held_nor_between_all_is_asked_about() -> None:
    with pytest.raises(PhraseError, match=r"column 7: .*5\*2"):
        read_phrase("1 2 3 - 5")
    assert not read_phrase("1 - 2 - 3").has_rhythm
    assert read_phrase("1 - - 2 3 -").melody.duration_ticks == (30240, 10080, 20160)
