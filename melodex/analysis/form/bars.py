"""Bars as the form sees them: whole, counted once, with what sounds in each.

Conventions: a musician counts bars, not bar lines. A pickup belongs to the section that
it leads into and is not counted, at the start of a piece and after a repeat sign or a
double line alike; two parts that make one bar are one bar, and a bar that holds two is
two. Of alternative endings the last is the one that counts; the others add no length.
How such things are told from their lengths alone is common practice, no source.

Contents: FormBar, form_bars, likeness.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections import Counter
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from melodex.analysis.form.endings import closing_reasons, earlier_endings, late_endings
from melodex.analysis.form.words import section_names
from melodex.analysis.harmony.chords import parse_chords
from melodex.melody import Bar, Melody, pitch_class

__all__ = ["FormBar", "form_bars", "likeness"]

MORE_THAN_ONE = 0.4
"""A bar of 1.6 bars has lost a line and a pickup; one of 1.5 may be meant."""
LATE = 0.5
"""Share of a whole first bar that passes before the first note of what is a pickup."""
NAMED = "part name "
"""How the reason of a section starts that a name begins."""


@dataclass(slots=True)
class FormBar:
    """One whole bar.

    Parameters
    ----------
    number : int
        As printed.
    onset_ticks : int
        Where its first half starts.
    notes : list of (int, int, int)
        Offset in the bar in ticks, midi and length of each note that starts in it.
    content : frozenset of (int, int)
        Offsets and pitches, for comparing.
    starts : str
        Why a section starts at this bar, or with a pickup before it; empty if none.
    share : float
        How much of a whole bar is printed; less than 1 in a part of a bar.
    chords : frozenset of (int, int, str)
        Offset in ticks, root as a pitch class and family of each chord, the one that
        is held into the bar included.
    ticks : int
        How much a whole bar holds here.
    """

    number: int
    onset_ticks: int
    notes: list[tuple[int, int, int]] = field(default_factory=list)
    content: frozenset[tuple[int, int]] = frozenset()
    starts: str = ""
    share: float = 1.0
    chords: frozenset[tuple[int, int, str]] = frozenset()
    ticks: int = 0


def form_bars(melody: Melody) -> list[FormBar]:
    """Return the whole bars of one pass through a melody, pickups left out.

    Where a repeat sign, a double line or a part name divides a bar, the section
    starts with the bar after it.
    """
    count = Counting(melody)
    for place, bar in enumerate(melody.bars):
        count.take(place, bar)
    return count.finished()


class Counting:
    """Counts the bars of a piece, stretch by stretch between two signs."""

    def __init__(self, melody: Melody) -> None:
        self.melody = melody
        self.full = whole_lengths(melody)
        self.skipped = earlier_endings(melody.bars)
        self.late = late_endings(melody.bars)
        self.closings = closing_reasons(melody.bars, self.skipped)
        self.names = section_names(melody)
        self.found: list[FormBar] = []
        self.stretch: list[FormBar] = []
        self.edges: list[tuple[int, FormBar | None]] = []
        self.waiting = ""
        self.lead, self.led_in = 0.0, False

    def take(self, place: int, bar: Bar) -> None:
        """Count one printed bar."""
        reason = f"{NAMED}{self.names[place]}" if place in self.names else ""
        reason = first_of(reason, self.waiting, "repeat sign" * bar.repeat_start)
        self.waiting = first_of(self.closings[place], reason * (place in self.late))
        if place in self.skipped or place in self.late:
            self.edges.append((bar.onset_ticks, None))
            return
        share = bar.duration_ticks / (self.full[place] or bar.duration_ticks or 1)
        rest = self.completes(place, share)
        if (reason and not rest) or not self.edges:
            self.end_stretch()
        if rest or (not self.stretch and self.leads_in(place, share)):
            self.edges.append((bar.onset_ticks, self.last if rest else None))
            self.waiting = first_of(reason, self.waiting)
            if reason or not rest:
                self.lead, self.led_in = share + self.lead * self.led_in, True
            return
        if not self.led_in and not self.stretch:
            self.lead = 0.0
        full = self.full[place] or bar.duration_ticks
        self.add(bar, share, reason if self.found else "", full)

    @property
    def last(self) -> FormBar:
        """The bar counted last."""
        return (self.stretch or self.found)[-1]

    def completes(self, place: int, share: float) -> bool:
        """Whether a bar is the rest of the one before it."""
        bars = self.melody.bars
        if not (self.stretch or self.found) or share >= 1:
            return False
        if self.last.number == bars[place].number:
            return True
        part = self.last.share
        whole = part + share
        ends = len(self.stretch) > 1 and alike(whole + self.lead, 1.0)
        return part < 1 and bool(self.stretch) and (alike(whole, 1.0) or ends)

    def leads_in(self, place: int, share: float) -> bool:
        """Whether a bar at the start of a stretch is a pickup."""
        bars = self.melody.bars
        if self.lead + share <= 0.5 and (place or len(bars) > 1):
            return True
        if place or len(bars) < 2:
            return False
        if bars[0].number == 0:
            return True
        onsets = self.melody.onset_ticks
        starts_late = bool(onsets) and onsets[0] > bars[0].onset_ticks
        return starts_late and bars[1].repeat_start

    def add(self, bar: Bar, share: float, reason: str, full: int) -> None:
        """Add a bar, or the several that one without its lines holds."""
        self.led_in = False
        count = max(1, int(share + MORE_THAN_ONE))
        length = bar.duration_ticks // count
        for k in range(count):
            onset = bar.onset_ticks + k * length
            one = FormBar(bar.number, onset, starts="" if k else reason)
            one.share = 1.0 if count > 1 else share
            one.ticks = full
            self.stretch.append(one)
            self.edges.append((onset, one))

    def end_stretch(self) -> None:
        """Keep the stretch that ends here, with or without what may be a long pickup."""
        part = self.stretch
        if part and not self.found and len(part) % 4 == 3 and part[-1].share >= 1:
            part = self.with_first(part)
        if part and not self.found and len(part) % 4 == 1 and self.only_leads_in(part):
            self.edges = [(at, None if b is part[0] else b) for at, b in self.edges]
            part = part[1:]
        if len(part) > 2 and part[0].share < 1 and part[0].number:
            rests = alike(part[0].share + part[-1].share, 1.0)
            if rests or (len(part) % 4 == 1 and part[-1].share >= 1):
                part[1].starts = part[0].starts
                self.edges = [(at, None if b is part[0] else b) for at, b in self.edges]
                part = part[1:]
        self.found += part
        self.stretch = []

    def only_leads_in(self, part: list[FormBar]) -> bool:
        """Whether a whole first bar holds rests and a pickup, under no printed chord."""
        melody, bar = self.melody, self.melody.bars[0]
        if len(part) < 4 or not melody.onset_ticks or part[0].ticks != bar.duration_ticks:
            return False
        start, printed = melody.onset_ticks[0], not melody.chords_worked_out
        late = start - bar.onset_ticks >= LATE * bar.duration_ticks
        named = printed and any(chord.onset_ticks < start for chord in melody.chords)
        return late and not named and start < bar.onset_ticks + bar.duration_ticks

    def with_first(self, part: list[FormBar]) -> list[FormBar]:
        """A stretch with the bar before it, which is too long for a pickup."""
        bar, full = self.melody.bars[0], self.full[0]
        opened = any(b.repeat_start for b in self.melody.bars[:2])
        if bar.number or opened or not full < 2 * bar.duration_ticks < 2 * full:
            return part
        first = FormBar(bar.number, bar.onset_ticks, ticks=full)
        self.edges[0] = (bar.onset_ticks, first)
        return [first, *part]

    def finished(self) -> list[FormBar]:
        """All bars, each with its notes."""
        self.end_stretch()
        if not self.found and self.melody.bars:
            bar = self.melody.bars[0]
            self.found = [FormBar(bar.number, bar.onset_ticks, ticks=bar.duration_ticks)]
            self.edges[0] = (bar.onset_ticks, self.found[0])
        fill(self.melody, self.edges)
        fill_chords(self.melody, self.found)
        return self.found


def first_of(*reasons: str) -> str:
    """The reason that counts: a name before all, else the first there is."""
    named = [reason for reason in reasons if reason.startswith(NAMED)]
    return (named or [reason for reason in reasons if reason] or [""])[0]


def alike(share: float, whole: float) -> bool:
    """Whether two lengths are one, but for rounding."""
    return abs(share - whole) < 0.02


def whole_lengths(melody: Melody) -> list[int]:
    """Ticks of a whole bar at each place; 0 in free metre.

    Where most bars under a metre are as long as another whole number of its bars, or
    half as long, the printed lines count and not the signature.
    """
    found: list[int] = []
    metres = melody.metres
    place = 0
    for bar in melody.bars:
        while place + 1 < len(metres) and metres[place + 1].onset_ticks <= bar.onset_ticks:
            place += 1
        metre = metres[place].metre if metres else None
        found.append(metre.bar_ticks if metre else 0)
    lengths: dict[int, Counter[int]] = {}
    for full, bar in zip(found, melody.bars, strict=True):
        lengths.setdefault(full, Counter())[bar.duration_ticks] += 1
    usual = {full: usual_length(full, counts) for full, counts in lengths.items()}
    return [usual[full] for full in found]


def usual_length(full: int, counts: Counter[int]) -> int:
    """What most bars hold, if that is a multiple or the half of the metre's bar."""
    length, times = counts.most_common(1)[0]
    simple = full and length and (length % full == 0 or 2 * length == full)
    return length if simple and 2 * times > counts.total() else full


def fill(melody: Melody, edges: list[tuple[int, FormBar | None]]) -> None:
    """Put every note into the bar it starts in."""
    onsets = melody.onset_ticks
    cuts = [bisect_left(onsets, onset) for onset, _ in edges]
    for (first, stop), (_, bar) in zip(pairwise([*cuts, len(onsets)]), edges, strict=True):
        if bar is None:
            continue
        start, inside = bar.onset_ticks, slice(first, stop)
        bar.notes += [
            (onset - start, midi, ticks)
            for onset, midi, ticks in zip(
                onsets[inside],
                melody.midi[inside],
                melody.duration_ticks[inside],
                strict=True,
            )
        ]
    for _, bar in edges:
        if bar is not None and not bar.content:
            bar.content = frozenset([(offset, midi) for offset, midi, _ in bar.notes])


def fill_chords(melody: Melody, found: list[FormBar]) -> None:
    """Give every bar its chords, the one that is held into it too."""
    parsed = parse_chords(symbol.text for symbol in melody.chords)
    heard = [
        (symbol.onset_ticks, pitch_class(chord.root_fifths), chord.family)
        if chord.sounds
        else (symbol.onset_ticks, -1, "")
        for symbol, chord in zip(melody.chords, parsed, strict=True)
        if chord.sounds or chord.understood
    ]
    onsets = [onset for onset, _, _ in heard]
    stops = [bisect_left(onsets, bar.onset_ticks) for bar in found]
    for bar, stop in zip(found, [*stops[1:], len(onsets)], strict=False):
        first = bisect_right(onsets, bar.onset_ticks)
        inside = {
            (onset - bar.onset_ticks, root, family)
            for onset, root, family in heard[first : max(first, stop)]
        }
        held = {(0, *heard[first - 1][1:])} if first else set()
        bar.chords = frozenset(held | inside)


def likeness(one: FormBar, other: FormBar) -> float:
    """Return how much two bars are alike, 0 to 1: in melody, and in chords where they are.

    Of notes and of chords the share that both have, at one place in the bar; where both
    bars have both, the mean.
    """
    tunes = shared(one.content, other.content)
    if not (one.chords and other.chords):
        return tunes
    chords = shared(one.chords, other.chords)
    return (tunes + chords) / 2 if one.content or other.content else chords


def shared(one: frozenset[Any], other: frozenset[Any]) -> float:
    """The share of what two bars hold that they have in common."""
    if not one or not other:
        return 0.0
    return len(one & other) / max(len(one), len(other))
