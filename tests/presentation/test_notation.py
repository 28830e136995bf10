"""Writing out: bars are full, ties join, beams and values follow the metre."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from melodex.errors import PresentationError
from melodex.melody import TICKS_PER_QUARTER as Q
from melodex.melody import Bar, Melody, Metre, MetreChange, Tuplet, pitch_class
from melodex.presentation.notation.pitch import Inflections, clef_for, signature_alterations
from melodex.presentation.notation.values import DOTTED
from melodex.presentation.notation.writing import WrittenBar, ending_ends, write_out

TICKS = {value: ticks for ticks, value in DOTTED.items()}


def line(
    lengths: list[int], metre: Metre | None, gaps: dict[int, int] | None = None
) -> Melody:
    """Middle C with some lengths; gaps stand before the notes that they name."""
    onsets, place = [], 0
    for index, length in enumerate(lengths):
        place += (gaps or {}).get(index, 0)
        onsets.append(place)
        place += length
    count = len(lengths)
    metres = (MetreChange(0, metre),)
    return Melody(
        (60,) * count,
        (0,) * count,
        tuple(onsets),
        tuple(lengths),
        (1,) * count,
        (1.0,) * count,
        (0,) * count,
        metres=metres,
    )


def shown(bar: WrittenBar) -> list[str]:
    """Events of a bar as text: ``4.`` a dotted quarter, ``r`` a rest, ``-`` a tie."""
    return [
        ("r" if event.note is None else "")
        + str(event.value)
        + "." * event.dots
        + ("-" if event.tied_to else "")
        for event in bar.events
    ]


def beams(bar: WrittenBar) -> list[int]:
    """How many notes each beam joins."""
    joined = [event.beam for event in bar.events if event.beam is not None]
    return [joined.count(beam) for beam in dict.fromkeys(joined)]


METRES = [
    Metre(4, 4),
    Metre(3, 4),
    Metre(6, 8),
    Metre(2, 2),
    Metre(7, 8),
    Metre(9, 8),
    None,
]


@given(
    st.lists(st.integers(1, 96), min_size=1, max_size=14),
    st.dictionaries(st.integers(0, 13), st.integers(0, 40), max_size=4),
    st.sampled_from(METRES),
)
def test_bars_are_full_and_notes_keep_their_length(lengths, gaps, metre):
    """Every tick is written once; the values written add up to what sounds."""
    unit = Q // 8
    melody = line(
        [n * unit for n in lengths], metre, {i: n * unit for i, n in gaps.items()}
    )
    bars = write_out(melody)
    written = [0] * len(melody)
    for bar in bars:
        place = bar.bar.onset_ticks
        for event in bar.events:
            assert event.onset_ticks == place
            assert event.duration_ticks == TICKS[event.value, event.dots]
            place += event.duration_ticks
            if event.note is not None:
                written[event.note] += event.duration_ticks
        assert place == bar.bar.onset_ticks + bar.bar.duration_ticks
    assert tuple(written) == melody.duration_ticks


@given(st.lists(st.integers(1, 96), min_size=1, max_size=14), st.sampled_from(METRES))
def test_ties_join_all_pieces_of_a_note_and_nothing_else(lengths, metre):
    """A piece is tied on exactly if another piece of its note follows."""
    events = [
        e
        for bar in write_out(line([n * Q // 8 for n in lengths], metre))
        for e in bar.events
    ]
    for before, after in pairwise(events):
        assert before.tied_to == (before.note is not None and before.note == after.note)
        assert after.tied_from == before.tied_to


@pytest.mark.parametrize(
    ("metre", "lengths", "wanted"),
    [
        # Common practice, no source: the beats of the metre stay readable.
        (Metre(4, 4), [3 * Q, 3 * Q, 2 * Q], [["2.", "4-"], ["2", "2"]]),
        (Metre(4, 4), [Q // 2, Q, Q // 2, 2 * Q], [["8", "4", "8", "2"]]),
        (Metre(4, 4), [Q * 3 // 2, Q // 2, 2 * Q], [["4.", "8", "2"]]),
        (Metre(4, 4), [Q, 2 * Q, Q], [["4", "2", "4"]]),
        (Metre(6, 8), [Q, Q, Q], [["4", "8-", "8", "4"]]),
        (Metre(6, 8), [3 * Q], [["2."]]),
        (Metre(9, 8), [9 * Q // 2], [["2.-", "4."]]),
        (Metre(3, 4), [3 * Q], [["2."]]),
        (Metre(4, 4), [5 * Q // 2, Q * 3 // 2], [["2-", "8", "4."]]),
    ],
)
def test_values_show_the_beats(metre, lengths, wanted):
    """Lengths that hide a beat are split at it."""
    assert [shown(bar) for bar in write_out(line(lengths, metre))] == wanted


@pytest.mark.parametrize(
    ("metre", "eighths", "wanted"),
    [
        # Common practice, no source.
        (Metre(4, 4), 8, [4, 4]),
        (Metre(2, 4), 4, [4]),
        (Metre(3, 4), 6, [2, 2, 2]),
        (Metre(6, 8), 6, [3, 3]),
        (Metre(9, 8), 9, [3, 3, 3]),
        (Metre(12, 8), 12, [3, 3, 3, 3]),
        (Metre(7, 8), 7, [2, 2, 3]),
        (Metre(7, 8, groups=(3, 2, 2)), 7, [3, 2, 2]),
        (Metre(2, 2), 8, [4, 4]),
    ],
)
def test_beams_follow_the_metre(metre, eighths, wanted):
    """Eighths are joined by beat or by the stated groups."""
    (bar,) = write_out(line([Q // 2] * eighths, metre))
    assert beams(bar) == wanted


def test_sixteenths_are_beamed_by_the_beat_where_eighths_share_a_half_bar():
    (bar,) = write_out(line([Q // 4] * 4 + [Q // 2] * 6, Metre(4, 4)))
    assert beams(bar) == [4, 2, 4]


def test_a_pickup_counts_its_beats_from_the_end(read_tune):
    """An eighth before 6/8 does not shift the beams of its bar."""
    bars = write_out(read_tune("X:1\nT:t\nM:6/8\nL:1/8\nK:C\ncd | efg agf |"))
    assert [bar.bar.number for bar in bars] == [0, 1]
    assert beams(bars[0]) == [2]
    assert beams(bars[1]) == [3, 3]


def test_a_stated_seventeen_fills_its_time(read_tune):
    """Seventeen in the time of sixteen: lengths rounded to ticks are still written."""
    onsets = [round(i * 2 * Q / 17) for i in range(18)]
    lengths = [b - a for a, b in pairwise(onsets)]
    melody = line(lengths, Metre(2, 4))
    stated = Tuplet(0, 16, 17, 16, 0, 2 * Q)
    for each in (replace(melody, tuplets=(stated,)), melody):
        (bar,) = write_out(each)
        assert [(e.value, e.tuplet) for e in bar.events] == [(32, 0)] * 17
        assert (bar.tuplets[0].actual, bar.tuplets[0].normal) == (17, 16)


def test_triplets_without_a_mark_are_found():
    (bar,) = write_out(
        line([Q // 3] * 3 + [Q * 2 // 3, Q // 3] + [Q * 2 // 3] * 3, Metre(4, 4))
    )
    assert [(t.actual, t.normal) for t in bar.tuplets] == [(3, 2)] * 3
    assert shown(bar) == ["8", "8", "8", "4", "8", "4", "4", "4"]


GRID, THIRD = Q // 8, Q // 6


@given(
    st.lists(
        st.one_of(st.integers(1, 12).map(lambda n: [n * GRID]), st.just([THIRD] * 3)),
        min_size=1,
        max_size=16,
    ),
    st.sampled_from(METRES[:-1]),
)
@example([[3 * GRID], [3 * GRID], [3 * GRID], [THIRD] * 3, [16 * GRID]], Metre(9, 8))
def test_triplets_that_begin_off_the_beat_are_written_once(groups, metre):
    lengths = [length for group in groups for length in group]
    pieces = [0] * len(lengths)
    for bar in write_out(line(lengths, metre)):
        end = bar.bar.onset_ticks
        for event in bar.events:
            assert event.onset_ticks == end
            end += event.duration_ticks
            if event.note is not None:
                pieces[event.note] += event.duration_ticks
        assert end == bar.bar.onset_ticks + bar.bar.duration_ticks
    assert pieces == lengths


def test_an_excerpt_leaves_blank_what_it_does_not_know(read_tune):
    melody = read_tune("X:1\nT:t\nM:4/4\nL:1/4\nK:C\nCDEF | G z A B |").excerpt(2, 5)
    first, second = write_out(melody, excerpt=True)
    assert [(e.note, e.blank) for e in first.events] == [
        (None, True),
        (0, False),
        (1, False),
    ]
    assert [(e.note, e.blank) for e in second.events][1] == (None, False)


@pytest.mark.parametrize(
    ("midi", "fifths", "message"),
    [
        ((60.5,), (0,), "bar 1 has a pitch that cannot be written"),
        ((61,), (0,), "bar 1 has a pitch that cannot be written"),
    ],
)
def test_what_no_stave_can_show_is_refused_with_its_bar(midi, fifths, message):
    melody = Melody(midi, fifths, (0,), (Q,), (1,), (1.0,), (0,))
    with pytest.raises(PresentationError, match=message):
        write_out(melody)


def test_a_note_altered_more_than_three_times_costs_its_own_bar_alone():
    (bar,) = write_out(Melody((68,), (28 + 4,), (0,), (Q,), (1,), (1.0,), (0,)))
    assert "altered more than three times" in bar.fault


def test_endings_end_where_the_source_says_else_at_the_next_line_that_closes_them():
    """abc 2.1, 4.9: repeats, double and final lines, and the next ending close one."""

    def ends(*bars: dict[str, Any]) -> list[str]:
        made = [Bar(n, n * 4 * Q, 4 * Q, **bar) for n, bar in enumerate(bars, 1)]
        return list(ending_ends(made))

    first: dict[str, Any] = {"ending": "1", "repeat_times": 2}
    plain: dict[str, Any] = {}
    assert ends(first, {"ending": "2"}, plain, {"line": "double"}) == [
        *("closed", "", "", "closed"),
    ]
    assert ends(first, {"ending": "2"}, plain, plain, plain) == [
        *("closed", "open", "", "", ""),
    ]
    said: dict[str, Any] = {"ending": "2", "ending_end": "open"}
    assert ends(first, said, {"line": "double"}) == ["closed", "open", ""]
    assert ends(first, {"ending": "2"}) == ["closed", "closed"]


def test_no_notes_are_refused():
    with pytest.raises(PresentationError, match="no notes"):
        write_out(Melody())


def test_a_length_that_is_no_note_value_costs_its_own_bar_alone():
    bars = write_out(line([Q, Q, Q + 11, Q - 11, Q, Q], Metre(2, 4)))
    assert [bool(bar.fault) for bar in bars] == [False, True, False]
    assert [e.value for bar in bars for e in bar.events] == [4, 4, -1, -1, 4, 4]


@given(st.lists(st.tuples(st.integers(-8, 12), st.integers(3, 5)), max_size=20))
def test_printed_accidentals_always_lead_to_the_right_pitch(notes):
    """A reader who follows the rules plays what was meant."""
    signature = 2
    printer = Inflections(signature)
    reads = signature_alterations(signature)
    held: dict[tuple[str, int], int] = {}
    for fifths, octave in notes:
        letter = "FCGDAEB"[(fifths + 1) % 7]
        alteration = (fifths + 1) // 7
        midi = 12 * (octave + 1) + "C D EF G A B".index(letter) + alteration
        assert midi % 12 == pitch_class(fifths)
        sign = printer.printed(midi, fifths)
        if sign is not None:
            held[letter, octave] = sign
        assert held.get((letter, octave), reads.get(letter, 0)) == alteration


@pytest.mark.parametrize(
    ("pitches", "wanted"),
    [
        # Middle lines of the clefs: B4 and D3 (common practice, no source).
        ((71, 74, 67), ("G", 2, 0)),
        ((43, 48, 50), ("F", 4, 0)),
        ((50, 59, 67), ("G", 2, -1)),
        ((96, 100, 103), ("G", 2, 1)),
        ((28, 31, 33), ("F", 4, -1)),
    ],
)
def test_the_clef_follows_the_range(pitches, wanted):
    naturals = {0: 0, 2: 2, 4: 4, 5: -1, 7: 1, 9: 3, 11: 5}
    count = len(pitches)
    melody = Melody(
        pitches,
        tuple(naturals[p % 12] for p in pitches),
        tuple(i * Q for i in range(count)),
        (Q,) * count,
        (1,) * count,
        (1.0,) * count,
        (0,) * count,
    )
    assert clef_for(melody) == wanted


def test_real_tunes_are_written_whole(real_tunes: list[Melody]):
    """Of 300 real tunes every note is written, and every bar is full."""
    for melody in real_tunes:
        pieces = [0] * len(melody)
        for bar in write_out(melody):
            end = bar.bar.onset_ticks
            for event in bar.events:
                assert event.onset_ticks == end, melody.title
                end += event.duration_ticks
                if event.note is not None:
                    pieces[event.note] += event.duration_ticks
            assert end == bar.bar.onset_ticks + bar.bar.duration_ticks, melody.title
        assert tuple(pieces) == melody.duration_ticks, melody.title
