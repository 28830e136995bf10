"""Degrees and the relations of aligned notes, held to the scales of common practice."""

from __future__ import annotations

from fractions import Fraction
from types import SimpleNamespace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from music21 import pitch, scale

from melodex.analysis.degrees import (
    DIFFERENT_DEGREE,
    INFLECTED_SHAPE,
    OTHER_INFLECTION,
    OTHER_SHAPE,
    SAME_DEGREE,
    SAME_SHAPE,
    UNKNOWN_RELATION,
    degree_names,
    degrees,
    moved_relation,
    relation,
    rhythm_agreement,
    tonic_at,
)
from melodex.melody import Key, KeyChange, Melody, fifths_from_name

SPELLED = st.integers(-14, 18)


def tune(names: str, *keys: KeyChange) -> Melody:
    fifths = tuple(map(fifths_from_name, names.split()))
    n = len(fifths)
    return Melody(
        midi=tuple(60 + 7 * f % 12 for f in fifths),
        fifths=fifths,
        onset_ticks=tuple(range(n)),
        duration_ticks=(1,) * n,
        bar=(1,) * n,
        beat_strength=(1.0,) * n,
        phrase=(0,) * n,
        keys=keys,
    )


# Degrees of the modes against the major scale: common practice, no source.
@pytest.mark.parametrize(
    ("mode", "names", "expected"),
    [
        ("major", "C D E F G A B", "1 2 3 4 5 6 7"),
        ("dorian", "D E F G A B C", "1 2 b3 4 5 6 b7"),
        ("phrygian", "E F G A B C D", "1 b2 b3 4 5 b6 b7"),
        ("lydian", "F G A B C D E", "1 2 3 #4 5 6 7"),
        ("mixolydian", "G A B C D E F", "1 2 3 4 5 6 b7"),
        ("minor", "A B C D E F G", "1 2 b3 4 5 b6 b7"),
        ("locrian", "B C D E F G A", "1 b2 b3 4 b5 b6 b7"),
    ],
)
def test_each_mode_on_the_white_keys_has_its_degrees(
    mode: str, names: str, expected: str
) -> None:
    tonic = fifths_from_name(names.split()[0])
    melody = tune(names, KeyChange(0, Key(tonic, mode), 0))
    assert " ".join(degree_names(degrees(melody))) == expected


@given(tonic=st.integers(-6, 6), note=st.integers(-8, 12))
def test_degree_numbers_agree_with_music21(tonic: int, note: int) -> None:
    """music21's MajorScale.getScaleDegreeAndAccidentalFromPitch is the second opinion."""
    names = [
        "FCGDAEB"[(f + 1) % 7] + ("#" * ((f + 1) // 7) or "-" * -((f + 1) // 7))
        for f in (tonic, note)
    ]
    number, accidental = scale.MajorScale(names[0]).getScaleDegreeAndAccidentalFromPitch(
        pitch.Pitch(names[1])
    )
    sign = "" if accidental is None else accidental.modifier.replace("-", "b")
    assert degree_names([note - tonic]) == (f"{sign}{number}",)


def test_given_spans_replace_the_printed_key() -> None:
    melody = tune("C E G C", KeyChange(0, Key(0, "major"), 0))
    spans = [
        SimpleNamespace(onset_ticks=0, tonic_fifths=0),
        SimpleNamespace(onset_ticks=2, tonic_fifths=-1),
        SimpleNamespace(onset_ticks=3, tonic_fifths=None),
    ]
    assert degree_names(degrees(melody, spans)) == ("1", "3", "2", "")
    assert degrees(melody, []) == (None,) * 4
    assert tonic_at(spans, -5) == 0


def test_without_a_key_there_is_no_degree() -> None:
    assert degrees(tune("C E")) == (None, None)
    assert relation(None, 0) == UNKNOWN_RELATION


@given(SPELLED, SPELLED)
def test_a_relation_reads_the_same_both_ways(one: int, other: int) -> None:
    assert relation(one, other) == relation(other, one)
    assert (relation(one, other) == SAME_DEGREE) == (one == other)


# Common practice, no source: major and minor third are one step, two inflections.
@pytest.mark.parametrize(
    ("one", "other", "expected"),
    [
        (4, -3, OTHER_INFLECTION),
        (-1, 6, OTHER_INFLECTION),
        (5, -2, OTHER_INFLECTION),
        (6, -6, DIFFERENT_DEGREE),
        (-4, 8, DIFFERENT_DEGREE),
        (0, 1, DIFFERENT_DEGREE),
    ],
)
def test_inflections_share_a_step_and_enharmonics_do_not(
    one: int, other: int, expected: str
) -> None:
    assert relation(one, other) == expected


@given(SPELLED, SPELLED, SPELLED)
def test_where_tonic_lies_on_tonic_degrees_alone_decide(
    one: int, other: int, move: int
) -> None:
    assert moved_relation(one, other, other - one) == relation(one, other)
    # Elsewhere too, two notes are called the same degree exactly where they are.
    assert (moved_relation(one, other, move) == SAME_DEGREE) == (one == other)


def test_notes_of_one_shape_are_no_longer_the_same_degree_after_a_change_of_key() -> None:
    # A pivot: the note A is 6 in C and 2 in G (common practice, no source).
    assert moved_relation(3, 2, 0) == SAME_SHAPE
    assert moved_relation(3, 2, -7) == INFLECTED_SHAPE
    assert moved_relation(3, 2, 2) == OTHER_SHAPE
    assert moved_relation(None, 2, 0) == SAME_SHAPE


@given(st.lists(st.integers(1, 48), min_size=1), st.sampled_from([1, 2, 4]))
def test_a_rhythm_agrees_wholly_with_itself_in_other_note_values(
    ticks: list[int], factor: int
) -> None:
    agreement = rhythm_agreement(ticks, [factor * t for t in ticks])
    assert agreement.share == 1
    assert agreement.ratio == Fraction(factor)


def test_a_ratio_that_few_pairs_have_is_no_augmentation() -> None:
    agreement = rhythm_agreement([1, 1, 1, 1], [2, 1, 3, 2])
    assert (agreement.same, agreement.compared, agreement.ratio) == (1, 4, Fraction(1))
    assert str(rhythm_agreement([], [])) == "no lengths to compare"


def test_lists_of_other_length_are_refused() -> None:
    with pytest.raises(ValueError, match="zip"):
        rhythm_agreement([1], [1, 2])
