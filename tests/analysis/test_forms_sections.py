"""Sections of standard forms with nothing printed: with a melody, with chords, with both.

The strains are invented; the forms are those of textbooks (common practice, no source).
Forms are read in several dresses and must come out the same, letters and lengths.
"""

from __future__ import annotations

from itertools import pairwise
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from melodex.analysis.form import sections
from melodex.analysis.form.bars import FormBar
from melodex.analysis.form.content import melody_points, with_returns
from melodex.analysis.form.segments import (
    LENGTH_WEIGHT,
    START_BONUS,
    best_segments,
    start_points,
    trees,
)
from melodex.analysis.form.songs import (
    LINE_FEATURES,
    WINDOW_BARS,
    line_features,
    windows,
)
from melodex.analysis.piece import analyse
from melodex.melody import Melody
from melodex.reading.abc.reader import read_abc
from melodex.reading.result import Choice

STRAINS = {
    "A": (
        "C2EG|A2GE|F2AG|E2D2|C2EG|A2GE|FEDG|C4",
        "C|Am|Dm|G7|C|Am|Dm G7|C",
    ),
    "B": (
        "BcBA|G2B2|cdcB|A4|AdcA|^F2A2|BAGF|G3z",
        "E7|E7|Am|Am|D7|D7|G7|G7",
    ),
    "C": (
        "e2fg|a2a2|g2fe|f4|e2fg|a2c'2|b2ag|c'4",
        "F|F|C|C|F|Fm|G7|C",
    ),
    "V": (
        "EEEF|GGGE|DDDE|FFFD|EEEF|GGAB|c2BA|G4|G2z2",
        "C|G|Am|F|C|G|F|G|G",
    ),
    "R": (
        "c2ce|g3e|f2fa|g3z|c2ce|g2a2|b2ag|f2ed|c4|c2z2",
        "F|G|C|Am|F|G|Am|F|C|C",
    ),
}
FORMS = ("AABA", "ABA", "ABACA", "ABAC", "AABBACC")
ODD_FORMS = ("VRVRCR", "RVRCR")


def tune(form: str, dress: str) -> Melody:
    """A form written out, with its melody, its chords or both, and no signs."""
    bars = []
    for letter in form:
        notes, chords = STRAINS[letter]
        for bar, symbols in zip(notes.split("|"), chords.split("|"), strict=True):
            bars.append(dressed(bar, symbols.split(), dress))
    if dress == "chords":
        bars[0] = bars[0].replace("z", "C", 1)
    text = "X:1\nT:Invented\nM:4/4\nL:1/4\nK:C\n" + "|".join(bars) + "|\n"
    return read_abc(text, "invented.abc", Choice()).tunes[0].melody


def dressed(bar: str, symbols: list[str], dress: str) -> str:
    """A bar as ABC."""
    if dress == "melody":
        return bar
    if dress == "chords":
        return "".join(f'"{symbol}"z{4 // len(symbols)}' for symbol in symbols)
    first, *second = symbols
    middle = bar.index("D") if second else 0
    half = f'{bar[:middle]}"{second[0]}"{bar[middle:]}' if second else bar
    return f'"{first}"{half}'


def said(melody: Melody) -> list[tuple[str, int]]:
    return [(section.label, section.bars) for section in sections(melody)]


def expected(form: str) -> list[tuple[str, int]]:
    """The letters that a musician gives, in the order in which strains come."""
    names = dict(zip(dict.fromkeys(form), "ABCDEF", strict=False))
    return [(names[letter], len(STRAINS[letter][0].split("|"))) for letter in form]


@pytest.mark.parametrize("dress", ["melody", "both"])
@pytest.mark.parametrize("form", FORMS)
def test_a_standard_form_is_read_without_marks(form: str, dress: str) -> None:
    assert said(tune(form, dress)) == expected(form)


@pytest.mark.parametrize("form", FORMS[:4])
def test_a_standard_form_is_read_from_its_chords_alone(form: str) -> None:
    assert said(tune(form, "chords")) == expected(form)


@pytest.mark.parametrize("form", ODD_FORMS)
def test_verse_and_chorus_of_odd_lengths_are_read_without_marks(form: str) -> None:
    assert said(tune(form, "both")) == expected(form)


def test_a_return_at_the_end_of_a_long_section_stands_by_itself() -> None:
    """Printed A and A, then sixteen bars of which the last eight are A."""
    a, b = STRAINS["A"][0], STRAINS["B"][0]
    body = f"{a}||{a}||{b}|{a}|]"
    text = f"X:1\nT:Invented\nM:4/4\nL:1/4\nK:C\n{body}\n"
    found = sections(read_abc(text, "invented.abc", Choice()).tunes[0].melody)
    assert [(s.label, s.bars) for s in found] == [("A", 8), ("A", 8), ("B", 8), ("A", 8)]
    assert found[-1].why == "return"


def test_a_chorus_between_repeat_signs_is_divided_inside() -> None:
    a, b = STRAINS["A"][0], STRAINS["B"][0]
    text = f"X:1\nT:Invented\nM:4/4\nL:1/4\nK:C\n|:{a}|{a}|{b}|{a}:|\n"
    found = sections(read_abc(text, "invented.abc", Choice()).tunes[0].melody)
    assert [(s.label, s.bars) for s in found] == [("A", 8), ("A", 8), ("B", 8), ("A", 8)]


def chords_only(roots: list[int]) -> list[FormBar]:
    """Bars of one major chord each."""
    return [
        FormBar(k + 1, 4 * k, chords=frozenset([(0, root, "major")]), ticks=4)
        for k, root in enumerate(roots)
    ]


BARS = st.lists(st.integers(-1, 4), min_size=1, max_size=40).map(chords_only)


@settings(deadline=None, max_examples=50)
@given(BARS)
def test_every_line_has_all_features_and_a_number(bars: list[FormBar]) -> None:
    table = line_features(bars)
    assert table.shape == (len(bars), len(LINE_FEATURES))
    assert all(map(float.__eq__, start_points(table), start_points(table)))
    assert melody_points(bars).tolist() == [0.0] * len(bars)


@settings(deadline=None, max_examples=50)
@given(BARS, st.integers(0, 11))
def test_another_key_changes_nothing(bars: list[FormBar], step: int) -> None:
    """But for two roots that sound equally long, of which the lower is the tonic."""
    moved = [
        FormBar(
            bar.number,
            bar.onset_ticks,
            chords=frozenset(
                (o, (r + step) % 12 if r >= 0 else r, f) for o, r, f in bar.chords
            ),
            ticks=bar.ticks,
        )
        for bar in bars
    ]
    blind = [k for k, name in enumerate(LINE_FEATURES) if "tonic" not in name]
    assert line_features(bars)[:, blind].tolist() == line_features(moved)[:, blind].tolist()


def plain_best(points: list[float], lengths: list[float]) -> float:
    """The slow way: the sum of the best of all divisions."""
    count = len(points)

    def total(edges: list[int]) -> float:
        usual = sum(lengths[b - a] for a, b in pairwise([0, *edges, count]))
        return sum(points[k] + START_BONUS for k in edges) + LENGTH_WEIGHT * usual

    subsets = [[k for k in range(1, count) if pick >> k & 1] for pick in range(1 << count)]
    return max(map(total, subsets))


@settings(deadline=None)
@given(st.lists(st.floats(-4, 4), min_size=1, max_size=9), st.randoms())
def test_the_best_segments_are_the_best_of_all(points: list[float], random: Random) -> None:
    lengths = [-random.random() * 5 for _ in range(65)]
    found = best_segments(points, lengths)
    usual = sum(lengths[b - a] for a, b in pairwise([0, *found, len(points)]))
    value = sum(points[k] + START_BONUS for k in found) + LENGTH_WEIGHT * usual
    assert value == pytest.approx(plain_best(points, lengths))


def plain_answer(tree: list[tuple[int, float, int]], row: list[float]) -> float:
    """One line asked down one tree."""
    place = 0
    while tree[place][0] >= 0:
        feature, threshold, away = tree[place]
        place += 1 if row[feature] <= threshold else away
    return tree[place][1]


def test_lines_asked_together_are_answered_as_each_alone() -> None:
    from melodex.analysis.form.song_weights import BASE

    random = Random(7)
    table = line_features(chords_only([random.randrange(5) for _ in range(60)]))
    each = [
        BASE / 1000 + sum(plain_answer(tree, row) for tree in trees())
        for row in table.tolist()
    ]
    assert start_points(table).tolist() == pytest.approx(each)


@pytest.mark.parametrize("count", [1, WINDOW_BARS, WINDOW_BARS + 1, 3000])
def test_windows_cover_every_bar_once(count: int) -> None:
    said_by = [k for a, skip, b in windows(count) for k in range(a + skip, b)]
    last = {k: place for place, k in enumerate(said_by)}
    assert sorted(last) == list(range(count))
    assert all(b - a <= WINDOW_BARS for a, _, b in windows(count))


def test_a_part_is_cut_once_for_each_return() -> None:
    tune_bars = chords_only([0, 5, 7, 0, 2, 4, 5, 7])
    other = chords_only([9, 2, 9, 2, 4, 4, 7, 7])
    bars = tune_bars + other + tune_bars + tune_bars
    assert with_returns(bars, [8]) == [8, 16, 24]


STOLLEN = "C2EG|A2GE|F2AG|E2D2|FEDE|C4|"
ABGESANG = "BcBA|G2B2|cdcB|A4|AdcA|^F2A2|BAGF|G4|"
OPENING, ANSWER = "C2EG|c4|B2GE|D4|", "F2AF|G2EC|D2GF|E2C2|"


@pytest.mark.parametrize(
    ("strains", "lengths"),
    [
        # A bar form has its first strain twice, then another.
        (STOLLEN * 2 + ABGESANG, [("A", 6), ("A", 6), ("B", 8)]),
        # A strain that comes again whole is one strain the first time too.
        ((OPENING + ANSWER) * 2 + ABGESANG, [("A", 8), ("A", 8), ("B", 8)]),
    ],
)
def test_a_strain_that_comes_again_right_after_is_counted_once_more(strains, lengths):
    text = f"X:1\nT:Invented\nM:4/4\nL:1/4\nK:C\n{strains}\n"
    assert said(read_abc(text, "invented.abc", Choice()).tunes[0].melody) == lengths


@pytest.mark.parametrize(("lead", "bars"), [("z2G2|", 8), ("C2G2|", 9)])
def test_a_whole_first_bar_of_rests_and_a_pickup_is_not_counted(lead, bars):
    text = f"X:1\nT:Invented\nM:4/4\nL:1/4\nK:C\n{lead}{STRAINS['A'][0]}|\n"
    found = said(read_abc(text, "invented.abc", Choice()).tunes[0].melody)
    assert sum(length for _, length in found) == bars


@pytest.mark.parametrize(
    ("symbols", "kinds"),
    [
        ('"C"|"F"|"G7"|"C"|', {"authentic cadence"}),
        # V over its own seventh goes on to I6, and so does V6 to I6: they close nothing.
        ('"C"|"F"|"G7/F"|"C/E"|', set()),
        ('"C"|"F"|"G/B"|"C/E"|', set()),
        # A V in a loop leads home each time; an inverted one rests nowhere.
        ('"C"|"F"|"G7"|"G7"|' * 4, set()),
        ('"C"|"Am"|"F"|"C"|"F"|"Dm"|"G/D"|"G/D"|', set()),
        ('"C"|"Am"|"F"|"C"|"F"|"Dm"|"G"|"G"|', {"half cadence"}),
    ],
)
def test_what_only_passes_is_no_cadence(symbols, kinds):
    text = f"X:1\nT:Invented\nM:4/4\nL:1/4\nK:C\n{symbols}\n"
    melody = read_abc(text, "invented.abc", Choice()).tunes[0].melody
    found = {d.kind for d in analyse(melody).harmony.devices if "cadence" in d.kind}
    assert found == kinds
