"""A piece cut into bars: chords held over, notes, and places in the form.

Conventions: bars as printed, except that one much longer than a bar can be (a sheet
without bar lines) is cut every four quarters. A section begins at a printed mark; where
there is none, at a double line, at a repeat, or at a printed change of key. Everything is
linear in notes, chords and bars.

Contents: Layout, layout_of.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from melodex.analysis.keys.song.points import NO_ROOT, SongBar, kind_of
from melodex.melody import TICKS_PER_QUARTER, KeyChange, Melody, pitch_class

if TYPE_CHECKING:
    from melodex.analysis.harmony.chords import Chord

__all__ = ["Layout", "layout_of"]

LONGEST_BAR_TICKS = 13 * TICKS_PER_QUARTER
PLAIN_BAR_TICKS = 4 * TICKS_PER_QUARTER
MOST_TURNS = 400
SHORTEST_SHARE = 0.02
"""A chord that holds less of a bar than this is a slip of rounding."""


@dataclass(frozen=True, slots=True)
class Layout:
    """Bars with what stands in them.

    Parameters
    ----------
    edges : tuple of int, of shape (n + 1,)
        Onsets of the bars in ticks, and the end of the last one.
    bars : tuple of SongBar, of shape (n,)
    starts : frozenset of int
        Bars that begin a section.
    marked : bool
        Whether those are printed marks.
    printed : dict of int to KeyChange
        Bars in which another key is printed, the first among them.
    first : int
        The bar that bars are counted from: 1 after a pickup, else 0.
    """

    edges: tuple[int, ...]
    bars: tuple[SongBar, ...]
    starts: frozenset[int]
    marked: bool
    printed: dict[int, KeyChange]
    first: int = 0

    def bar_at(self, onset_ticks: int) -> int:
        """The bar that a place lies in."""
        return place_in(self.edges, onset_ticks)


def layout_of(melody: Melody, placed: Sequence[tuple[int, Chord]]) -> Layout:
    """Cut a piece into bars.

    Parameters
    ----------
    melody : Melody
        With or without notes, bars and keys.
    placed : sequence of (int, Chord)
        Onsets and chords in order; one that does not sound is a silence.
    """
    edges = edges_of(melody, placed)
    count = len(edges) - 1
    printed = {place_in(edges, change.onset_ticks): change for change in turns_of(melody)}
    starts, marked = starts_of(melody, edges, printed)
    chords, notes = chords_by_bar(edges, placed), notes_by_bar(melody, edges)
    first = 0 if full(edges, 0) else 1
    bars, since = [], first
    for number in range(count):
        begins = number in starts
        since = number if begins else since
        place = places_after(number - since, begins and marked)
        closes = marked and (number + 1 == count or number + 1 in starts)
        bars.append(SongBar(chords[number], notes[number], place, closes))
    return Layout(tuple(edges), tuple(bars), frozenset(starts), marked, printed, first)


def places_after(bars: int, section: bool) -> str:
    """The name of a place so many bars after the last start."""
    if section:
        return "section"
    return "odd" if bars % 2 else "two" if bars % 4 else "four"


def place_in(edges: Sequence[int], onset_ticks: int) -> int:
    """The cell that a place lies in."""
    return min(max(bisect_right(edges, onset_ticks) - 1, 0), len(edges) - 2)


def start_in(edges: Sequence[int], onset_ticks: int) -> int:
    """The first whole bar of a section that is marked somewhere.

    What stands before a pickup, or inside a bar before the notes that lead on, is about
    the bar that they lead to.
    """
    bar = place_in(edges, onset_ticks)
    inside = onset_ticks > edges[bar] or not full(edges, bar)
    return min(bar + inside, len(edges) - 2)


def edges_of(melody: Melody, placed: Sequence[tuple[int, Chord]]) -> list[int]:
    """Where bars begin, and where the last one ends."""
    end = max(melody.end_ticks, placed[-1][0] + 1 if placed else 1)
    edges: list[int] = []
    onsets = [bar.onset_ticks for bar in melody.bars] or [0]
    for start, stop in zip(onsets, [*onsets[1:], end], strict=True):
        if edges and start <= edges[-1]:
            continue
        too_long = stop - start > LONGEST_BAR_TICKS
        edges += range(start, stop, PLAIN_BAR_TICKS) if too_long else [start]
    if edges[0] > 0:
        edges.insert(0, 0)
    return [*edges, max(end, edges[-1] + 1)]


def full(edges: Sequence[int], bar: int) -> bool:
    """Whether a bar is no pickup: at least as long as the one after it."""
    if bar + 2 >= len(edges):
        return True
    return edges[bar + 1] - edges[bar] >= edges[bar + 2] - edges[bar + 1]


def turns_of(melody: Melody) -> list[KeyChange]:
    """The first printed key, and each that differs from the one before it.

    Of more changes than anybody prints nothing is believed but the first key.
    """
    turns: list[KeyChange] = []
    for change in melody.keys:
        if not turns or (change.key, change.signature_fifths) != (
            turns[-1].key,
            turns[-1].signature_fifths,
        ):
            turns.append(change)
    return turns if len(turns) <= MOST_TURNS else turns[:1]


def starts_of(
    melody: Melody, edges: Sequence[int], printed: dict[int, KeyChange]
) -> tuple[set[int], bool]:
    """Bars that begin a section, and whether marks say so."""
    first = start_in(edges, edges[0])
    marks = {start_in(edges, mark.onset_ticks) for mark in melody.marks}
    if marks - {first}:
        return marks | {first}, True
    starts = {first, *(start_in(edges, edges[bar]) for bar in printed)}
    for bar in melody.bars:
        if bar.repeat_start:
            starts.add(start_in(edges, bar.onset_ticks))
        if bar.line in {"double", "final"} or bar.repeat_times:
            after = bar.onset_ticks + bar.duration_ticks
            if after < edges[-1]:
                starts.add(start_in(edges, after))
    return starts, False


def chords_by_bar(
    edges: Sequence[int], placed: Sequence[tuple[int, Chord]]
) -> list[tuple[tuple[int, int, float], ...]]:
    """The chords of each bar with their shares; one holds until the next."""
    found: list[list[tuple[int, int, float]]] = [[] for _ in edges[1:]]
    for place, (onset, chord) in enumerate(placed):
        stop = placed[place + 1][0] if place + 1 < len(placed) else edges[-1]
        token = (pitch_class(chord.root_fifths), kind_of(chord)) if chord.sounds else None
        at = place_in(edges, onset)
        while at < len(found) and edges[at] < max(stop, onset + 1):
            held = min(stop, edges[at + 1]) - max(onset, edges[at])
            share = held / (edges[at + 1] - edges[at])
            if share >= SHORTEST_SHARE:
                add_chord(found[at], token or (NO_ROOT, 0), share)
            at += 1
    return [tuple(bar) for bar in found]


def add_chord(
    bar: list[tuple[int, int, float]], token: tuple[int, int], share: float
) -> None:
    """One more chord in a bar, or the one before it held on."""
    if bar and bar[-1][:2] == token:
        share += bar.pop()[2]
    bar.append((*token, share))


def notes_by_bar(
    melody: Melody, edges: Sequence[int]
) -> list[tuple[tuple[int, float], ...]]:
    """Pitch class and length in bars of the notes that start in each bar."""
    found: list[list[tuple[int, float]]] = [[] for _ in edges[1:]]
    at = 0
    for midi, onset, ticks in zip(
        melody.midi, melody.onset_ticks, melody.duration_ticks, strict=True
    ):
        while at + 1 < len(found) and edges[at + 1] <= onset:
            at += 1
        found[at].append((midi % 12, ticks / (edges[at + 1] - edges[at])))
    return [tuple(bar) for bar in found]
