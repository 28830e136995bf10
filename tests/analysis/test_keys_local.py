"""The model of local keys against a sum over every path, and common practice."""

from __future__ import annotations

from itertools import pairwise, product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from music21 import chord as music21_chord

from benchmarks.analysis.harmony.guessed import guess_chord
from melodex.analysis.harmony.chords import parse_chord
from melodex.analysis.keys.local import (
    CHORD_KINDS,
    CHORDS,
    VOICES,
    changes,
    chord_kind,
    forward_backward,
    local_keys_from_weights,
)
from melodex.analysis.keys.reading import in_parts, is_through_composed
from melodex.melody import fifths_from_name, pitch_class_name

KIND_NAMES = {
    "major": "major triad",
    "dominant seventh": "dominant seventh chord",
    "major seventh": "major seventh chord",
    "minor": "minor triad",
    "minor seventh": "minor seventh chord",
    "diminished": "diminished triad",
    "half-diminished": "half-diminished seventh chord",
    "diminished seventh": "diminished seventh chord",
}


CADENCES = "C F G C C F G C D G A D D G A D"


def triad(root: str, third: int = 4) -> dict[int, float]:
    tonic = fifths_from_name(root)
    return {tonic: 2.0, tonic + third: 1.0, tonic + 1: 1.0}


@settings(deadline=None)
@given(st.integers(0, 2**32 - 1), st.integers(2, 5))
def test_forward_and_backward_give_the_sum_over_all_paths(seed: int, cells: int) -> None:
    """The slow way: every run of three states, its probability, and its share."""
    draw = np.random.default_rng(seed)
    logs = draw.normal(size=(cells, 3))
    ways = draw.uniform(0.1, 1.0, size=(cells, 3, 3))
    ways /= ways.sum(2, keepdims=True)
    total = np.zeros((cells, 3))
    for path in product(range(3), repeat=cells):
        chance = np.exp(logs[range(cells), path].sum())
        for cell, (a, b) in enumerate(pairwise(path), start=1):
            chance *= ways[cell, a, b]
        total[range(cells), path] += chance
    expected = total / total.sum(1, keepdims=True)
    assert forward_backward(logs, list(ways)) == pytest.approx(expected)


def test_changes_are_probabilities_and_near_keys_are_nearer() -> None:
    table = changes(VOICES.stay, VOICES.step)
    assert table.sum(1) == pytest.approx(np.ones(len(table)))
    middle = 2 * 7
    assert table[middle, middle] > table[middle, middle + 2] > table[middle, middle + 4]


# Common practice, no source: I IV V I, then the same a whole tone higher.
def test_a_cadence_in_each_key_is_heard_in_its_key() -> None:
    cells = [triad(r) for r in CADENCES.split()]
    found = local_keys_from_weights(cells)
    assert {(k.tonic_fifths, k.mode) for k in found[:7]} == {(0, "major")}
    assert {(k.tonic_fifths, k.mode) for k in found[9:]} == {(2, "major")}
    assert all(0 < k.certainty <= 1 for k in found)


def test_spelling_tells_keys_that_a_keyboard_cannot() -> None:
    """D sharp leads to E minor; E flat belongs to C minor."""
    sharp = [triad("B"), triad("E", -3)] * 4
    flat = [triad("Ab"), triad("C", -3)] * 4
    assert {(k.tonic_fifths, k.mode) for k in local_keys_from_weights(sharp)} == {
        (4, "minor")
    }
    assert {k.tonic_fifths for k in local_keys_from_weights(flat)} <= {0, -3, -4}


@settings(deadline=None)
@given(st.integers(-9, 9))
def test_transposing_every_cell_moves_every_key(step: int) -> None:
    cells = [triad(r) for r in CADENCES.split()]
    moved = [{f + step: w for f, w in cell.items()} for cell in cells]
    one, other = local_keys_from_weights(cells), local_keys_from_weights(moved)
    for before, after in zip(one, other, strict=True):
        assert (before.tonic_fifths + step, before.mode) == (after.tonic_fifths, after.mode)
        assert before.certainty == pytest.approx(after.certainty)


def test_nothing_sounding_gives_no_keys() -> None:
    assert local_keys_from_weights([]) == []
    assert local_keys_from_weights([{}, {}]) == []
    assert guess_chord({}) is None


def test_a_cell_without_a_chord_is_judged_by_its_notes() -> None:
    cells = [triad("C"), triad("G"), triad("C")]
    found = local_keys_from_weights(cells, chords=[(0, 0), None, (0, 0)], setting=CHORDS)
    assert [k.tonic_fifths for k in found] == [0, 0, 0]


@pytest.mark.parametrize("kind", range(len(CHORD_KINDS)))
@pytest.mark.parametrize("root", ["C", "F#", "Bb"])
def test_a_sounding_chord_is_guessed_as_music21_names_it(kind: int, root: str) -> None:
    """music21's Chord.commonName and root() name the same chord."""
    suffix = ("", "7", "maj7", "m", "m7", "dim", "m7b5", "dim7")[kind]
    chord = parse_chord(root + suffix)
    notes = chord.note_fifths
    found = guess_chord(dict.fromkeys(notes, 1.0), notes[0])
    assert found == (fifths_from_name(root), kind)
    assert chord_kind(chord.degrees, chord.family) == kind
    witness = music21_chord.Chord([pitch_class_name(f).replace("b", "-") for f in notes])
    assert witness.commonName == KIND_NAMES[CHORD_KINDS[kind]]
    assert witness.root().name.replace("-", "b") == root


# Common practice, no source: a song comes round again, a madrigal does not.
@pytest.mark.parametrize(
    ("texts", "through_composed"),
    [
        (["Dm", "A", "F", "C", "Gm", "D", "Bb"] * 9, False),
        (["C", "Am", "Dm", "G"] * 6 + ["Am", "F", "C", "G"] * 6, False),
        ([f"{root}7" for root in "CFADGEB"] + [f"{root}m" for root in "CFADGEB"], False),
        (
            [
                f"{'CDEFGAB'[(place * place + place // 5) % 7]}{'m' * (place % 3 == 0)}"
                for place in range(60)
            ],
            True,
        ),
    ],
)
def test_triads_that_never_come_round_are_music_in_parts(
    texts: list[str], through_composed: bool
) -> None:
    chords = [parse_chord(text) for text in texts]
    assert is_through_composed(chords) == through_composed
    placed = [(2520 * 8 * place, chord) for place, chord in enumerate(chords)]
    assert in_parts(placed) == through_composed
