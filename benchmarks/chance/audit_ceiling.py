"""What chance allows in the audit benchmark, by how its tunes are made.

:mod:`benchmarks.chance.audit` plants borrowings by a known draw, so Bayes' rule says what
the notes tell. Let the own tune have N notes, the corpus T tunes of 30 notes or more. A
stretch of n notes (8 to 16, one chance in 9 each) from note i (one in N - n - 1)
is drawn from tune t (one in T), from its note j (one in len(t) - n + 1), with k notes
changed (one in K + 1, K = floor(n / 5); which, one in C(n, k); to what, one in 8 each). So
a passage of tune t that agrees with the stretch, in some key, but for k notes that differ
by at most four semitones, has the weight

    w = 1 / 9 / (N - n - 1) / T / (len(t) - n + 1) / (K + 1) / C(n, k) / 8^k

and anything else none. The rhythm is another tune's, the place in the source and the notes
around the stretch are drawn without regard to it: they say nothing of the source.

*Source.* Where the stretch is known, a tune is the source with the chance W(t) / sum W,
W(t) being the sum of its passages. Whoever names one tune is right with max W / sum W at
most, on average over tunes: no order can name the source first more often, even one that
is told where the borrowing is. *With rhythm*: the same among the passages alone that have
the lengths of the source's (one in proportion to the other), as if a borrower had kept
them. Beside it: mean of 1 / (1 + others), others being the tunes with no more notes
changed than the source has, and the share that have no such others.

*Borrowing.* Where the stretch is to be found, each stretch is weighed by the sum of its w
against the probability that the Markov model gives its n - 1 steps (order 2, backed off:
p = (count + 5 p of the lower order) / (all + 5), 49 steps equally likely below order 0).
*By the notes that agree*, the steps to and from changed notes count as likely either way
(times 8^k and the model's probability of these steps): what a likeness can tell. *By the
notes*, that such steps are odd speaks for a borrowing too, which is so of notes changed
blindly, not of what a musician changes. *With its
ends* also by how the stretch is joined on: the first step one of eight, as planted; the
step back, and two after it, by chance in place of the model. The best answer is the stretch
of 8 to 16 notes for which the stretches that it covers half of weigh most. Told are the
share in which that is right and its own mean expectation; where both agree the model holds.
The weighings know what no audit of a real tune knows: how the tune was made. They do not
use that pairs of step and length at the ends of a stretch stand in no real tune: a trace of
the making, not of a borrowing.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np

from melodex.corpus.chunks import TuneNotes

SHORTEST, LONGEST = 8, 16
LENGTHS = range(SHORTEST, LONGEST + 1)
LEAST_SOURCE = 30
MOST_CHANGE = 4
"""Semitones by which a note is changed."""

ENTRIES = frozenset({-4, -2, -1, 0, 1, 2, 3, 5})
"""Steps by which a planted stretch goes on from the note before it."""

BACKED_OFF = 5.0
"""Weight of the lower order, in notes seen."""

CLASSES = ((8, 16), (8, 11), (8, 9), (10, 11), (12, 13), (14, 15), (16, 16))
"""Lengths of borrowings that are told together."""

WEIGHINGS = ("by_agreeing", "by_notes", "with_ends")
FOUND_AND_EXPECTED = [f"{name}{told}" for name in WEIGHINGS for told in ("", "_expected")]

STEPS = 49
OCTAVES = 24
"""Semitones within which a step back is, about evenly, from a stretch in
another key: the model's tunes keep to two octaves or so."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """One place where something may have been planted, and what it weighs.

    What it weighs is given as natural logarithms.
    """

    first: int
    notes: int
    by_agreeing: float
    by_notes: float
    with_ends: float


@dataclass(frozen=True, slots=True)
class Passages:
    """Places in a :class:`Line`, the notes changed in each, and how odd these are.

    ``odd`` is the natural logarithm of the probability that the model gives the steps to
    and from the notes that were changed.
    """

    places: np.ndarray
    changed: np.ndarray
    odd: np.ndarray


class Line:
    """All tunes of a corpus one after the other, to be compared with a stretch at once."""

    def __init__(self, tunes: Sequence[TuneNotes]) -> None:
        sources = [tune for tune in tunes if len(tune.pitch) >= LEAST_SOURCE]
        self.ids = [tune.tune_id for tune in sources]
        lengths = np.asarray([len(tune.pitch) for tune in sources])
        pad = bytes(LONGEST)
        self.pitch = np.frombuffer(
            b"".join(tune.pitch for tune in sources) + pad, np.uint8
        ).astype(np.int8)
        classes = b"".join(tune.length_class for tune in sources) + pad
        self.classes = np.frombuffer(classes, np.int8).astype(np.int64)
        self.count = int(lengths.sum())
        self.tune = np.repeat(np.arange(len(sources)), lengths)
        ends = np.cumsum(lengths)
        self.rest = ends[self.tune] - np.arange(self.count)
        self.length = lengths[self.tune]

    def passages(
        self, pitch: np.ndarray, first: int, likely: Sequence[float] = ()
    ) -> dict[int, Passages]:
        """For each length the passages that could be the source of a stretch."""
        own = pitch[first : first + LONGEST].astype(np.int8)
        place, move = self.begun(own[:SHORTEST])
        changed = np.zeros(len(place), np.int64)
        odd = np.zeros(len(place))
        before = np.zeros(len(place), bool)
        found = {}
        for note, value in enumerate(own):
            off = value - self.pitch[place + note].astype(np.int64) - move
            here = off != 0
            changed += here
            if note and len(likely):
                odd += (here | before) * likely[first + note - 1]
            inside = (np.abs(off) <= MOST_CHANGE) & (changed <= changes(LONGEST))
            inside &= self.rest[place] > note
            place, move, before = place[inside], move[inside], here[inside]
            changed, odd = changed[inside], odd[inside]
            notes = note + 1
            if notes >= SHORTEST:
                kept = changed <= changes(notes)
                found[notes] = Passages(place[kept], changed[kept], odd[kept])
        return found

    def begun(self, own: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Where passages may begin, and how far the stretch is moved from them.

        Of the first eight notes at most as many are changed as of sixteen; so one of the
        first four is not, and tells the key.
        """
        apart = [note - self.pitch[at : at + self.count] for at, note in enumerate(own)]
        same, agrees = np.empty(self.count, np.int8), np.empty(self.count, bool)
        both = []
        for anchor in apart[: changes(LONGEST) + 1]:
            same.fill(0)
            for other in apart:
                np.equal(other, anchor, out=agrees)
                np.add(same, agrees.view(np.int8), out=same)
            here = np.flatnonzero(same >= SHORTEST - changes(LONGEST))
            both.append(here * 256 + anchor[here].astype(np.int64) + 128)
        each = np.unique(np.concatenate(both))
        return each // 256, each % 256 - 128

    def in_rhythm(self, places: np.ndarray, other: int, notes: int) -> np.ndarray:
        """Which passages have the lengths of another, one in proportion to the other."""
        beat = places[:, None] + np.arange(notes)
        off = self.classes[beat] - self.classes[other : other + notes]
        same: np.ndarray = (off == off[:, :1]).all(axis=1)
        return same


def changes(notes: int) -> int:
    """The most notes that are changed in a stretch."""
    return int(0.2 * notes)


def weights(
    line: Line, places: np.ndarray, changed: np.ndarray, notes: int, own_notes: int
) -> np.ndarray:
    """The weight w of each passage."""
    most = changes(notes)
    each = np.asarray([1 / math.comb(notes, k) / 8**k for k in range(most + 1)])
    scale = len(LENGTHS) * (own_notes - notes - 1) * len(line.ids) * (most + 1)
    weight: np.ndarray = each[changed] / scale / (line.length[places] - notes + 1)
    return weight


class Steps:
    """Probabilities of steps between notes, of order 2 backed off."""

    def __init__(self, tunes: Sequence[bytes]) -> None:
        self.seen: Counter[tuple[int, ...]] = Counter()
        self.before: Counter[tuple[int, ...]] = Counter()
        for pitch in tunes:
            steps = steps_of(pitch)
            for at in range(len(steps)):
                for order in range(min(at, 2) + 1):
                    self.seen[tuple(steps[at - order : at + 1])] += 1
                    self.before[tuple(steps[at - order : at])] += 1

    def log(self, steps: Sequence[int], at: int, order: int = 2) -> float:
        """Logarithm of the probability of one step after those before it."""
        share = 1 / STEPS
        for length in range(min(at, order) + 1):
            full = tuple(steps[at - length : at + 1])
            share = (self.seen[full] + BACKED_OFF * share) / (
                self.before[full[:-1]] + BACKED_OFF
            )
        return math.log(share)


def steps_of(pitch: bytes) -> list[int]:
    """Semitones from each note to the next."""
    return [after - before for before, after in pairwise(pitch)]


def stretches(line: Line, model: Steps, pitch: bytes) -> list[Stretch]:
    """All stretches that could have been planted, weighed."""
    own = np.frombuffer(pitch, np.uint8)
    steps = steps_of(pitch)
    likely = [model.log(steps, at) for at in range(len(steps))]
    found = []
    for first in range(1, len(pitch) - SHORTEST):
        for notes, held in line.passages(own, first, likely).items():
            if first >= len(pitch) - notes or not len(held.places):
                continue
            weight = weights(line, held.places, held.changed, notes, len(pitch))
            made = sum(likely[first : first + notes - 1])
            agreeing = np.log((weight * 8.0**held.changed * np.exp(held.odd)).sum()) - made
            by_notes = math.log(weight.sum()) - made
            ends = ends_of(model, steps, likely, first, notes)
            found.append(Stretch(first, notes, agreeing, by_notes, by_notes + ends))
    return found


def ends_of(
    model: Steps, steps: Sequence[int], likely: Sequence[float], first: int, notes: int
) -> float:
    """What the joints of a stretch say for it: logarithm of planted against made."""
    if steps[first - 1] not in ENTRIES:
        return -math.inf
    said = -math.log(len(ENTRIES)) - likely[first - 1]
    back = first + notes - 1
    for order, at in enumerate(range(back, min(back + 3, len(steps)))):
        planted = model.log(steps, at, order - 1) if order else -math.log(OCTAVES)
        said += planted - likely[at]
    return said


def best_stretch(
    found: Sequence[Stretch], said: Sequence[float], own_notes: int
) -> tuple[int, int, float]:
    """First note, notes and chance of the stretch that most likely touches the planted."""
    high = max(said)
    mass = np.exp(np.asarray(said) - high)
    mass /= mass.sum()
    first = np.asarray([stretch.first for stretch in found])
    notes = np.asarray([stretch.notes for stretch in found])
    best = (0, 0, -1.0)
    for count in LENGTHS:
        for at in range(1, own_notes - count):
            shared = np.minimum(first + notes, at + count) - np.maximum(first, at)
            chance = float(mass[2 * shared >= notes].sum())
            if chance > best[2]:
                best = (at, count, chance)
    return best


@dataclass(frozen=True, slots=True)
class Planting:
    """What the ceiling of one own tune depends on."""

    pitch: bytes
    source: str
    first: int
    notes: int
    changed: int


_shared: dict[str, Any] = {}


def begin(tunes: Sequence[TuneNotes], model: Sequence[bytes]) -> None:
    """What every worker needs, once."""
    _shared["line"], _shared["steps"] = Line(tunes), Steps(model)


def one_ceiling(own: Planting) -> dict[str, Any]:
    """What is to be had of one own tune."""
    line, model = _shared["line"], _shared["steps"]
    pitch = np.frombuffer(own.pitch, np.uint8)
    held = line.passages(pitch, own.first)[own.notes]
    places, changed = held.places, held.changed
    weight = weights(line, places, changed, own.notes, len(pitch))
    by_tune = np.bincount(line.tune[places], weight)
    source = line.ids.index(own.source)
    theirs = np.flatnonzero(line.tune[places] == source)
    heaviest = places[theirs[weight[theirs].argmax()]]
    kept = weight * line.in_rhythm(places, heaviest, own.notes)
    with_rhythm = np.bincount(line.tune[places], kept)
    rivals = set(line.tune[places[changed <= own.changed]].tolist()) - {source}
    row: dict[str, Any] = {
        "borrowed": own.notes,
        "others": len(rivals),
        "source_at_most": float(by_tune.max() / by_tune.sum()),
        "source_with_rhythm": float(with_rhythm.max() / with_rhythm.sum()),
        "source_named": bool(by_tune.argmax() == source),
    }
    found = stretches(line, model, own.pitch)
    for name in WEIGHINGS:
        first, notes, chance = best_stretch(
            found, [getattr(stretch, name) for stretch in found], len(pitch)
        )
        shared = min(first + notes, own.first + own.notes) - max(first, own.first)
        row[name] = 2 * shared >= own.notes
        row[f"{name}_expected"] = chance
    return row


def ceilings(
    tunes: Sequence[TuneNotes],
    model: Sequence[bytes],
    planted: Sequence[Planting],
    workers: int,
) -> list[dict[str, Any]]:
    """The ceiling of each own tune, dealt out among processes."""
    with ProcessPoolExecutor(workers, initializer=begin, initargs=(tunes, model)) as pool:
        return list(pool.map(one_ceiling, planted, chunksize=4))


def ceiling_table(rows: Sequence[dict[str, Any]]) -> list[str]:
    """The ceilings as lines, by the length of the borrowing."""
    lines = [
        "",
        "What chance allows, in shares of 100, by the draw of the borrowings: S is a",
        "limit to any order; A, B and E are what three weighings reach (formulas in",
        "benchmarks/chance/audit_ceiling.py):",
        "  S  in its source, told where the borrowing is: at most",
        "  R  the same, had the borrower kept the rhythm",
        "  I  mean of 1 / (1 + other tunes with the stretch no more changed)",
        "  O  borrowings with no such other tune",
        "  A  the borrowing first, weighed by the notes that agree: found, and expected",
        "  B  the same, with how odd the changed notes are: found, expected",
        "  E  the same, with the ends of the stretch: found, expected",
        "  notes   tunes     S     R     I     O     A  exp.     B  exp.     E  exp.",
    ]
    for first, last in CLASSES:
        here = [row for row in rows if first <= row["borrowed"] <= last]
        if not here:
            continue
        shares = [
            sum(float(row["source_at_most"]) for row in here),
            sum(float(row["source_with_rhythm"]) for row in here),
            sum(1 / (1 + row["others"]) for row in here),
            sum(not row["others"] for row in here),
            *(sum(float(row[name]) for row in here) for name in FOUND_AND_EXPECTED),
        ]
        told = "".join(f"{100 * share / len(here):6.1f}" for share in shares)
        lines.append(f"  {first:2}-{last:2}   {len(here):5}{told}")
    return lines
