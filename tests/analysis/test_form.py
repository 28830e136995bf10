"""Form: marks, hidden marks, phrases, figures and range, in planted and invented tunes."""

from __future__ import annotations

import json
import math
from itertools import combinations, pairwise
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from music21 import meter, pitch

import melodex
from melodex.analysis.form import compass, figures, metre_class, phrases, sections
from melodex.analysis.form.bars import FormBar, form_bars
from melodex.analysis.form.boundaries import BOUNDARY_FEATURES, boundary_features
from melodex.analysis.form.figures import scale_steps
from melodex.analysis.form.phrases import (
    ENDING_BIAS,
    LEAST_POINTS,
    LENGTH_WEIGHT,
    LONGEST_NOTES,
    PHRASE_FEATURES,
    best_ends,
    ending_features,
)
from melodex.analysis.form.weights import (
    BOUNDARY_WEIGHTS,
    PHRASE_LENGTH_LOGS,
    PHRASE_WEIGHTS,
)
from melodex.melody import Melody, Metre, MetreChange, octave_of
from melodex.reading import read_path
from melodex.reading.abc.reader import read_abc
from melodex.reading.result import Choice
from tests.plain.plain_boundaries import boundary_features as plain_boundary_features

DEMO = Path(melodex.__file__).parents[1] / "corpus_demo"
PLANTED = json.loads((DEMO / "PLANTED.json").read_text(encoding="utf-8"))["features"]


def abc(body: str, metre: str = "4/4", key: str = "C") -> Melody:
    text = f"X:1\nT:Invented\nM:{metre}\nL:1/4\nK:{key}\n{body}\n"
    return read_abc(text, "invented.abc", Choice()).tunes[0].melody


EIGHT = "CDEF|GAGF|EDCD|E2D2|CDEF|GAGF|EDEF|"
OTHER = "gecg|afca|gece|d2G2|gecg|afca|gfed|"


def lengths(melody: Melody, *, use_marks: bool = True) -> list[int]:
    return [section.bars for section in sections(melody, use_marks=use_marks)]


def test_repeat_signs_make_sections() -> None:
    found = sections(abc(f"|:{EIGHT}C4:|:{OTHER}c4:|"))
    assert [(s.label, s.first_bar, s.last_bar, s.bars) for s in found] == [
        ("A", 1, 8, 8),
        ("B", 9, 16, 8),
    ]
    assert [s.why for s in found] == ["start", "repeat sign"]
    assert not any(s.odd for s in found)


def test_a_pickup_belongs_to_the_section_it_leads_into() -> None:
    found = sections(abc("G|CDEF|GAGF|EDCD|C3:|:e|dcBA|GABc|dedB|c3:|"))
    assert [(s.bars, s.odd) for s in found] == [(4, False), (4, False)]


def test_a_bar_of_rests_and_a_pickup_before_a_repeat_belongs_to_it() -> None:
    found = sections(abc("z2 DE|:CDEF|GAGF|EDCD|C4:|e4|dcBA|GABc|c4|]"))
    assert [(s.first_bar, s.last_bar, s.bars) for s in found] == [(2, 5, 4), (6, 9, 4)]
    whole = sections(abc("C2 DE|:CDEF|GAGF|EDCD|C4:|e4|dcBA|GABc|c4|]"))
    assert [s.bars for s in whole] == [1, 4, 4]


def test_alternative_endings_count_once() -> None:
    found = sections(abc(f"|:{EIGHT}|1 C4:|2 C3c||{OTHER}c4|]"))
    assert [s.bars for s in found] == [8, 8]


def test_an_odd_length_is_pointed_out() -> None:
    found = sections(abc("CDEF|GAGF|EDCD|E2D2|C4||gecg|afca|gece|c4|]"))
    assert [(s.bars, s.odd) for s in found] == [(5, True), (4, False)]


def test_a_returning_section_has_its_letter_again_and_a_varied_one_a_prime() -> None:
    varied = "CDEF|GAGF|EDCD|E2D2|CDEF|GcBA|GFED|"
    found = sections(abc(f"{EIGHT}C4||{OTHER}c4||{EIGHT}C4||{varied}C4|]"))
    assert [s.label for s in found] == ["A", "B", "A", "A'"]


def test_sections_are_found_with_the_signs_hidden() -> None:
    assert lengths(abc(f"{EIGHT}C4|{OTHER}c4|]"), use_marks=False) == [8, 8]
    four = "CDEF|GAGF|EDCD|C4|"
    assert lengths(abc(f"{four}{OTHER}c4|]"), use_marks=False) == [4, 8]


def test_no_bars_no_sections_and_one_bar_is_one() -> None:
    assert sections(Melody()) == ()
    assert lengths(abc("CDEF|]")) == [1]
    assert lengths(abc("CDEF|]"), use_marks=False) == [1]


@pytest.mark.parametrize(
    "feature",
    [pytest.param(f, id=f["title"]) for f in PLANTED if f["kind"] == "section lengths"],
)
def test_planted_section_lengths_are_found(feature: dict[str, object]) -> None:
    tunes = read_path(DEMO / str(feature["source"])).tunes
    melody = next(t.melody for t in tunes if t.melody.title == feature["title"])
    assert lengths(melody) == feature["lengths"]


def test_every_feature_has_its_weight() -> None:
    melody = abc(f"{EIGHT}C4|{OTHER}c4|]")
    rows = boundary_features(form_bars(melody))
    assert len(rows) == 15
    assert {len(row) for row in rows} == {len(BOUNDARY_FEATURES)} == {len(BOUNDARY_WEIGHTS)}
    notes = ending_features(melody)
    assert len(notes) == len(melody) - 1
    assert {len(row) for row in notes} == {len(PHRASE_FEATURES)} == {len(PHRASE_WEIGHTS)}


BARS_OF_NOTES = st.lists(
    st.lists(st.tuples(st.integers(0, 3), st.integers(60, 63)), max_size=4),
    min_size=2,
    max_size=20,
)


def bars_of(contents: list[list[tuple[int, int]]]) -> list[FormBar]:
    """Bars of four ticks that hold notes of one or two ticks."""
    found = []
    for number, content in enumerate(contents):
        notes = [(offset, midi, 1 + midi % 2) for offset, midi in content]
        found.append(FormBar(number, 4 * number, notes, frozenset(content)))
    return found


@settings(deadline=None)
@given(BARS_OF_NOTES)
def test_what_is_asked_of_all_bar_lines_at_once_is_what_is_asked_of_each(
    contents: list[list[tuple[int, int]]],
) -> None:
    bars = bars_of(contents)
    rows = boundary_features(bars).tolist()
    for row, plain in zip(rows, plain_boundary_features(bars), strict=True):
        assert row == pytest.approx(plain)


def test_a_bar_crowded_with_notes_is_compared_like_any_other() -> None:
    crowd = [(offset, 60 + offset % 7) for offset in range(9000)]
    bars = bars_of([crowd, crowd[::2], [], crowd])
    for row, plain in zip(
        boundary_features(bars).tolist(), plain_boundary_features(bars), strict=True
    ):
        assert row == pytest.approx(plain)


def test_phrases_end_with_long_notes_and_rests() -> None:
    melody = abc("CDEF|G2G2|AGFE|D4|CDEF|G2G2|AGFD|C4|]")
    found = phrases(melody, use_marks=False)
    assert found[0].first_note == 0
    assert found[-1].last_note == len(melody) - 1
    assert 4 in {phrase.last_bar for phrase in found}
    for before, after in pairwise(found):
        assert after.first_note == before.last_note + 1


def test_few_notes_are_one_phrase_and_none_is_no_phrase() -> None:
    assert phrases(Melody()) == ()
    assert len(phrases(abc("CDE|]"), use_marks=False)) == 1


@settings(deadline=None)
@given(st.lists(st.floats(LEAST_POINTS + 0.01, 4.0), min_size=1, max_size=9))
def test_the_best_division_is_the_best_of_all(points: list[float]) -> None:
    """The slow way: every set of endings, its points summed."""
    count = len(points) + 1

    def total(ends: tuple[int, ...]) -> float:
        edges = [-1, *ends, count - 1]
        spans = [b - a for a, b in pairwise(edges)]
        assert max(spans) <= LONGEST_NOTES
        usual = sum(PHRASE_LENGTH_LOGS[min(n, len(PHRASE_LENGTH_LOGS) - 1)] for n in spans)
        return sum(points[e] + ENDING_BIAS for e in ends) + LENGTH_WEIGHT * usual

    best = max(
        total(ends)
        for size in range(len(points) + 1)
        for ends in combinations(range(len(points)), size)
    )
    assert math.isclose(total(tuple(best_ends(points, count))), best, abs_tol=1e-9)


# Common practice, no source: a figure moved by step inside the key is a sequence.
def test_a_sequence_is_found_with_its_step() -> None:
    found = figures(abc("CDEC|DEFD|EFGE|c4|]"))
    assert [(f.kind, f.steps, f.words) for f in found] == [
        ("sequence", (0, 1, 2), "stated 3 times in sequence, a step higher each time")
    ]
    assert found[0].bars == ((1, 1), (2, 2), (3, 3))


def test_a_two_bar_sequence_is_one_figure() -> None:
    found = [f for f in figures(abc("ceGe|c2B2|BdFd|B2A2|c4|c4|]")) if f.kind == "sequence"]
    assert [(f.bars, f.words) for f in found] == [
        (((1, 2), (3, 4)), "stated 2 times in sequence, a step lower")
    ]


def test_a_repetition_is_as_long_as_it_lasts() -> None:
    found = figures(abc("CDEF|GAGE|cBAG|F2E2|CDEF|GAGE|cGEC|]"))
    assert [(f.kind, f.bars) for f in found] == [("repetition", ((1, 2), (5, 6)))]


def test_an_inversion_turns_every_step_over() -> None:
    found = figures(abc("CEDC|G4|cABc|G4|]"))
    assert [(f.kind, f.bars) for f in found] == [("inversion", ((1, 1), (3, 3)))]


@given(st.integers(30, 90), st.integers(-7, 11))
def test_scale_steps_are_music21s_diatonic_note_numbers(midi: int, fifths: int) -> None:
    """music21 counts C0 as 1, so C4 is 29 there and 28 here."""
    midi += (7 * fifths - midi) % 12
    name = "FCGDAEB"[(fifths + 1) % 7]
    sign = "#" * ((fifths + 1) // 7) or "-" * -((fifths + 1) // 7)
    witness = pitch.Pitch(f"{name}{sign}{octave_of(midi, fifths)}")
    melody = Melody((midi,), (fifths,), (0,), (1,), (1,), (1.0,), (0,))
    assert witness.midi == midi
    assert scale_steps(melody) == [witness.diatonicNoteNum - 1]


def test_compass_says_range_tessitura_and_peak() -> None:
    found = compass(abc("C4|EGEG|EGc'G|E4|]"))
    assert found is not None
    assert (found.lowest, found.highest, found.range_semitones) == ("C4", "C6", 24)
    assert found.tessitura == ("C4", "G4")
    assert (found.peak_bar, found.peak_share) == (3, 0.625)
    assert compass(Melody()) is None


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2/4", "simple"),
        ("3/4", "simple"),
        ("4/4", "simple"),
        ("6/8", "compound"),
        ("9/8", "compound"),
        ("12/8", "compound"),
        ("5/4", "irregular"),
        ("7/8", "irregular"),
    ],
)
def test_metre_classes_agree_with_music21_where_it_names_them(
    text: str, expected: str
) -> None:
    """music21's classification names the division of the beat; irregular is ours."""
    numerator, denominator = map(int, text.split("/"))
    melody = Melody(metres=(MetreChange(0, Metre(numerator, denominator)),))
    assert metre_class(melody) == expected
    if expected != "irregular":
        witness = meter.TimeSignature(text).beatDivisionCountName
        assert witness.lower() == expected


def test_a_change_of_metre_is_mixed_and_a_change_of_sign_is_not() -> None:
    changing = Melody(metres=(MetreChange(0, Metre(3, 4)), MetreChange(9, Metre(4, 4))))
    assert metre_class(changing) == "mixed"
    sign = Melody(metres=(MetreChange(0, Metre(4, 4)), MetreChange(9, Metre(4, 4, "C"))))
    assert metre_class(sign) == "simple"
    assert metre_class(Melody(metres=(MetreChange(0, None),))) == "free"
    assert metre_class(Melody()) == "free"


def test_bars_that_come_again_in_the_parallel_mode_do_not_come_note_for_note() -> None:
    tune = (
        "X:1\nT:Turn\nL:1/4\nM:4/4\nK:C\ncedB|cGEC|dfed|gedc|[K:Cmin]cedB|cGEC|dfed|gedc|\n"
    )
    melody = read_abc(tune, "turn.abc", Choice()).tunes[0].melody
    (figure,) = [each for each in figures(melody) if each.kind == "repetition"]
    assert figure.words == "4 bars come again on the same letters, otherwise inflected"
    plain = read_abc(tune.replace("[K:Cmin]", ""), "turn.abc", Choice()).tunes[0].melody
    (figure,) = [each for each in figures(plain) if each.kind == "repetition"]
    assert figure.words == "4 bars come again note for note"
