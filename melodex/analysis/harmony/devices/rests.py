"""Where the music comes to rest: ends of phrases and of sections, on which chord.

Conventions: a phrase rests on its last note; a section end that no phrase end is near
rests on its last note too. Without a melody, sections and the eights that they are counted
in rest on their last chord, or on the I before it in its bar, and so does the piece; a
chord that stands clearly longer than usual is a rest as well. So it is after a melody that
ends bars before the piece does. That a cadence stands where a phrase or a section ends is
common practice, no source.

Contents: Rest, PhraseEnd, SectionEnd, rests, are_phrases, firsts_of_roots, LONG_REST_RATIO.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, pairwise
from statistics import median
from typing import Protocol

from melodex.analysis.eights import eights_inside
from melodex.analysis.harmony.placed import PlacedChord
from melodex.analysis.harmony.roles import LOWERED_THIRD, goes_on
from melodex.melody import Melody

__all__ = [
    "LONG_REST_RATIO",
    "PhraseEnd",
    "Rest",
    "SectionEnd",
    "are_phrases",
    "firsts_of_roots",
    "rests",
]

LONG_REST_RATIO = 1.9
"""A note or chord this many times the median length is a place of rest."""

BARS_OF_REST = 2
"""Bars of one chord after which chords alone have come to rest. Our choice."""
SECOND = 2
"""From the tonic up to the second, in fifths."""

FEWEST_FIGURES = 8
"""Fewer phrases than this are believed however short they are. Our choice."""


class PhraseEnd(Protocol):
    """Whatever says with which note a phrase ends, such as a phrase span."""

    @property
    def last_note(self) -> int:
        """Index of its last note."""

    @property
    def how(self) -> str:
        """``marked`` where the source marks it."""


class SectionEnd(Protocol):
    """Whatever says in which bar a section ends."""

    @property
    def last_bar(self) -> int:
        """As printed."""


@dataclass(frozen=True, slots=True)
class Rest:
    """A phrase and where it rests.

    Parameters
    ----------
    start_ticks : int
        Where the phrase starts.
    onset_ticks, end_ticks : int
        Of its last note; without a melody, of its last chord.
    sure : bool
        Whether the melody stands still there, or something printed says so.
    closes : bool
        Whether a section ends there, and not the piece.
    marked : bool
        Whether something printed says that a phrase ends there.
    """

    start_ticks: int
    onset_ticks: int
    end_ticks: int
    sure: bool
    closes: bool = False
    marked: bool = False


def rests(
    melody: Melody,
    placed: Sequence[PlacedChord],
    phrases: Sequence[PhraseEnd] | None,
    sections: Sequence[SectionEnd],
) -> tuple[Rest, ...]:
    """Return the resting places of a piece in order.

    Parameters
    ----------
    melody : Melody
    placed : sequence of PlacedChord, of shape (n_chords,)
    phrases : sequence of PhraseEnd or None
        None for those that the melody itself is numbered by.
    sections : sequence of SectionEnd
    """
    if not placed:
        return ()
    closes = section_ends(melody, sections)
    bar_ticks = melody.bars[0].duration_ticks if melody.bars else 0
    if not len(melody):
        counted = [*closes, *eight_ends(melody, closes)]
        return tuple(rests_of_chords(placed, counted, bar_ticks))
    found = list(rests_of_melody(melody, phrases, closes))
    sung = melody.onset_ticks[-1] + melody.duration_ticks[-1]
    after = [here for here in placed if here.onset_ticks >= sung + bar_ticks]
    if after and bar_ticks:
        found[-1] = replace(found[-1], end_ticks=after[0].onset_ticks)
        found += rests_of_chords(after, closes, bar_ticks)
    return tuple(found)


def section_ends(melody: Melody, sections: Sequence[SectionEnd]) -> list[tuple[int, int]]:
    """Ticks at which sections end, but for the last, each with the length of its bar."""
    ends: list[tuple[int, int]] = []
    place = 0
    for section in sections[:-1]:
        # Bars come in order, also where their numbers come again.
        for bar in melody.bars[place:]:
            place += 1
            following = melody.bars[place] if place < len(melody.bars) else None
            if bar.number == section.last_bar != getattr(following, "number", None):
                ends.append((bar.onset_ticks + bar.duration_ticks, bar.duration_ticks))
                break
    return ends


def eight_ends(
    melody: Melody, closes: Sequence[tuple[int, int]]
) -> Iterator[tuple[int, int]]:
    """Ticks at which the eights of longer sections end, each with the length of a bar."""
    onsets = [bar.onset_ticks for bar in melody.bars]
    starts = (bisect_left(onsets, close) for close, _ in closes)
    for bar in eights_inside(starts, len(onsets)):
        yield onsets[bar], melody.bars[bar - 1].duration_ticks


def rests_of_melody(
    melody: Melody, phrases: Sequence[PhraseEnd] | None, closes: Sequence[tuple[int, int]]
) -> Iterator[Rest]:
    """The last note of each phrase, and of each section that no phrase ends near."""
    lasts = dict.fromkeys(numbered_ends(melody), False)
    if phrases is not None:
        lasts = {phrase.last_note: phrase.how == "marked" for phrase in phrases}
        lasts = lasts if are_phrases(melody, lasts) else {len(melody) - 1: False}
    marked = {note for note, printed in lasts.items() if printed}
    ends = sorted(end_of(melody, note) for note in lasts)
    for close, bar_ticks in closes:
        note = bisect_left(melody.onset_ticks, close) - 1
        near = bisect_right(ends, close - bar_ticks)
        if note >= 0 and (near == len(ends) or ends[near] >= close + bar_ticks):
            lasts[note] = True
    usual = median(melody.duration_ticks)
    edges = [close for close, _ in closes]
    slack = min((bar_ticks for _, bar_ticks in closes), default=0) // 4
    start = 0
    for note in sorted(lasts):
        end = end_of(melody, note)
        onset = melody.onset_ticks[note]
        still = note + 1 == len(melody) or end - onset >= LONG_REST_RATIO * usual
        closing = bisect_left(edges, onset) < bisect_right(edges, end + slack)
        begun = melody.onset_ticks[start]
        yield Rest(begun, onset, end, lasts[note] or still, closing, note in marked)
        start = note + 1


def are_phrases(melody: Melody, lasts: Mapping[int, bool]) -> bool:
    """Whether phrases that nothing marks last a bar or more, as figures do not."""
    if any(lasts.values()) or len(lasts) < FEWEST_FIGURES or not melody.bars:
        return True
    starts = [melody.onset_ticks[0], *(end_of(melody, note) for note in sorted(lasts))]
    usual = median(stop - start for start, stop in pairwise(starts))
    return usual >= median(bar.duration_ticks for bar in melody.bars)


def numbered_ends(melody: Melody) -> list[int]:
    """Notes with which the phrases end that the melody is numbered by."""
    last = len(melody) - 1
    return [i for i in range(last) if melody.phrase[i] != melody.phrase[i + 1]] + [last]


def end_of(melody: Melody, note: int) -> int:
    """Where a note and the rest after it end."""
    if note + 1 < len(melody):
        return melody.onset_ticks[note + 1]
    return melody.end_ticks


def rests_of_chords(
    placed: Sequence[PlacedChord], closes: Sequence[tuple[int, int]], bar_ticks: int
) -> Iterator[Rest]:
    """The last chord of each section, and chords that stand clearly longer than usual.

    One that is long beside its neighbours alone, in the middle of a section, is no sure
    rest unless it holds for two bars and does not go home at once. At the end of a section
    a V that fills a bar is one, but not with its ii before it, which only turns around.
    """
    runs = [list(run) for _, run in groupby(placed, key=lambda here: here.chord.text)]
    runs = [run for run in runs if run[0].chord.sounds]
    lengths = [run[-1].end_ticks - run[0].onset_ticks for run in runs]
    usual = median(lengths) if lengths else 0
    edges = sorted(close for close, _ in closes)
    firsts = [run[0] for run in runs]
    roots = firsts_of_roots(firsts)
    start = 0
    for place, run in enumerate(runs):
        onset, end = run[0].onset_ticks, run[-1].end_ticks
        long = lengths[place] >= LONG_REST_RATIO * usual
        closing = bisect_right(edges, onset) < bisect_right(edges, end)
        is_last = place + 1 == len(runs)
        before = runs[place - 1][-1] if place else run[0]
        home = not is_last and firsts[place + 1].numeral.degree == 0
        on_root = end - firsts[roots[place]].onset_ticks if closing else 0
        if closing and on_root < min(usual, bar_ticks):
            closing = False
            if place and before.numeral.degree == 0 and before.bar == run[0].bar:
                yield Rest(start, before.onset_ticks, onset, sure=False, closes=True)
                start = end
            elif place and (home_at := before_turn(runs, place, bar_ticks)):
                closed = runs[home_at - 1]
                at, stop = closed[0].onset_ticks, closed[-1].end_ticks
                yield Rest(start, at, stop, sure=False, closes=True)
                start = end
        if not (closing or long or is_last):
            continue
        if closing and not is_last:
            turns = home and is_two(before)
            sure = long or (on_root >= bar_ticks and not turns)
        else:
            two_bars = lengths[place] >= BARS_OF_REST * bar_ticks
            sure = long and (is_last or (two_bars and not home))
        yield Rest(start, onset, end, sure, closing)
        # A long chord may yet move on; after a section a new phrase begins.
        start = end if closing else onset


def before_turn(runs: Sequence[Sequence[PlacedChord]], place: int, bar_ticks: int) -> int:
    """The first of the chords that turn around in the bar after I; 0 where they do not.

    I fills the bar before, and they lead away from it to the last of them, a dominant.
    """
    bar = runs[place][0].bar
    first = place
    while first and runs[first - 1][0].bar == bar:
        first -= 1
    if first == place or not first or runs[place][0].chord.family != "dominant":
        return 0
    home = runs[first - 1]
    fills = home[-1].end_ticks - home[0].onset_ticks >= bar_ticks
    return first if fills and home[0].numeral.degree == 0 else 0


def firsts_of_roots(row: Sequence[PlacedChord]) -> list[int]:
    """For each place the first of the chords on one root that lead up to it, as V4 to V."""
    found: list[int] = []
    for place, here in enumerate(row):
        holds = place and goes_on(row[place - 1].chord, here.chord)
        found.append(found[-1] if holds else place)
    return found


def is_two(here: PlacedChord) -> bool:
    """Whether a chord is the ii of its key."""
    return here.numeral.degree == SECOND and here.chord.family in LOWERED_THIRD
