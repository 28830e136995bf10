"""Modal passages inside a tonal piece, and the note that gives each away.

Conventions: the tonic stays and the scale changes: a natural 6 in minor (dorian), a
flat 7 in major (mixolydian). Each note speaks for the modes that hold it; a note that
only leads by semitone between its neighbours speaks for none, nor does a sharp 4
that rises to 5 (the leading note of the dominant) or, in minor, a natural 6 that
rises to a natural 7 (melodic minor). The likeliest run of modes is found by dynamic
programming; a passage is told where its telling note sounds at least twice, and the
third of its mode where home has the other: a sharp 4 in minor is no lydian without a
natural 3. The scales are common practice, no source; costs were chosen on the tuning
half of the printed major tunes, for few false alarms.

References
----------
Viterbi (1967), IEEE Transactions on Information Theory 13, 260-269: the likeliest
run of states.

Contents: ModalPassage, modal_passages.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import groupby

from melodex.analysis.keys.reading import read_keys
from melodex.analysis.keys.spans import KeySpan
from melodex.melody import MODES, Melody, degree_name

__all__ = ["ModalPassage", "modal_passages"]

COLOURS = ("major", "minor", "dorian", "phrygian", "lydian", "mixolydian")
OUTSIDE_COST = 1.5
CHANGE_COST = 2.0
"""In nats: leaving a mode and coming back costs three foreign notes."""
FEWEST_TELLING = 2
CHROMATIC = 7
"""A half step up to a note of the same letter, in fifths."""
SCALES = {mode: frozenset(range(-1 - MODES[mode], 6 - MODES[mode])) for mode in COLOURS}
THIRDS = frozenset({4, -3})
"""Degrees of the major and the minor third, in fifths above the tonic."""
TELLING = {
    "dorian": 3,
    "phrygian": -5,
    "lydian": 6,
    "mixolydian": -2,
    "minor": -3,
    "major": 4,
}
"""The degree that sets a mode apart from the scale with the same third."""


@dataclass(frozen=True, slots=True)
class ModalPassage:
    """Bars that a mode colours.

    Parameters
    ----------
    first_bar, last_bar : int
        As printed, from the first telling note to the last.
    tonic_fifths : int
        The tonic, which stays.
    mode : str
        The mode of the passage.
    home_mode : str
        The mode of the key around it.
    telling_degree : str
        The note that gives it away, such as ``6`` or ``b7``.
    notes : tuple of int
        Indexes of the telling notes.
    """

    first_bar: int
    last_bar: int
    tonic_fifths: int
    mode: str
    home_mode: str
    telling_degree: str
    notes: tuple[int, ...]

    def __str__(self) -> str:
        sign = self.telling_degree
        named = f"natural {sign}" if sign.isdigit() else sign
        bars = f"bars {self.first_bar}-{self.last_bar}"
        return f"{bars}: {self.mode} colour, told by the {named}"


def modal_passages(
    melody: Melody,
    *,
    spans: Sequence[KeySpan] | None = None,
    explained: Collection[int] = frozenset(),
    under: Sequence[tuple[int, Collection[int]]] = (),
) -> tuple[ModalPassage, ...]:
    """Say where a mode colours a passage without a change of tonic.

    Parameters
    ----------
    melody : Melody
        Its notes are read in their order.
    spans : sequence of KeySpan, optional
        As from :func:`read_keys`; worked out if not given.
    explained : collection of int, optional
        Indexes of notes that a chord beside the key accounts for, such as the third of a
        dominant of V; they speak for no mode.
    under : sequence of (int, collection of int), optional
        Onsets and notes of chords. A passage ends before one that has the degree which
        its telling note replaces.

    Returns
    -------
    tuple of ModalPassage
        Empty where there is none or no key.
    """
    found: list[ModalPassage] = []
    for span in read_keys(melody).spans if spans is None else spans:
        first = bisect_left(melody.onset_ticks, span.onset_ticks)
        stop = bisect_left(melody.onset_ticks, span.end_ticks)
        inside = range(first, stop)
        degrees = [fifths - span.tonic_fifths for fifths in melody.fifths[first:stop]]
        home = {"ionian": "major", "aeolian": "minor"}.get(span.mode, span.mode)
        if home in SCALES and not SCALES[home].issuperset(degrees):
            passages = passages_in(
                melody, span.tonic_fifths, home, inside, degrees, explained
            )
            found += (each for whole in passages for each in parted(melody, whole, under))
    return tuple(found)


def parted(
    melody: Melody, passage: ModalPassage, under: Sequence[tuple[int, Collection[int]]]
) -> Iterator[ModalPassage]:
    """A passage without the chords that contradict it: what lies between them."""
    told = melody.fifths[passage.notes[0]]
    home = told + CHROMATIC if told < passage.tonic_fifths else told - CHROMATIC
    against = [onset for onset, notes in under if home in notes]
    if not against:
        yield passage
        return
    for _, run in groupby(
        passage.notes, lambda note: bisect_right(against, melody.onset_ticks[note])
    ):
        notes = tuple(run)
        if len(notes) >= FEWEST_TELLING:
            first, last = melody.bar[notes[0]], melody.bar[notes[-1]]
            yield replace(passage, first_bar=first, last_bar=last, notes=notes)


def passages_in(
    melody: Melody,
    tonic: int,
    home: str,
    inside: range,
    degrees: list[int],
    explained: Collection[int],
) -> list[ModalPassage]:
    """Passages of one key span."""
    speaking = [
        inside[k] not in explained and speaks(melody, home, inside, degrees, k)
        for k in range(len(inside))
    ]
    if all(d in SCALES[home] for d, said in zip(degrees, speaking, strict=True) if said):
        return []
    modes = likeliest(home, degrees, speaking)
    found = []
    start = 0
    for k in range(1, len(modes) + 1):
        if k == len(modes) or modes[k] != modes[start]:
            if modes[start] != home:
                found += told(
                    melody, tonic, home, modes[start], inside, degrees, speaking, start, k
                )
            start = k
    return found


def told(
    melody: Melody,
    tonic: int,
    home: str,
    mode: str,
    inside: range,
    degrees: list[int],
    speaking: list[bool],
    start: int,
    stop: int,
) -> list[ModalPassage]:
    """The passage of notes ``start`` to ``stop`` if its telling note sounds enough."""
    new = SCALES[mode] - SCALES[home]
    degree = TELLING[mode] if TELLING[mode] in new else next(iter(sorted(new)))
    notes = tuple(
        inside[k] for k in range(start, stop) if degrees[k] == degree and speaking[k]
    )
    if len(notes) < FEWEST_TELLING:
        return []
    third = THIRDS & new
    if third and not any(degrees[k] in third and speaking[k] for k in range(start, stop)):
        return []
    every = [inside[k] for k in range(start, stop) if degrees[k] in new and speaking[k]]
    return [
        ModalPassage(
            melody.bar[every[0]],
            melody.bar[every[-1]],
            tonic,
            mode,
            home,
            degree_name(degree),
            notes,
        )
    ]


def speaks(melody: Melody, home: str, inside: range, degrees: list[int], k: int) -> bool:
    """Whether a note says something about the mode, or only leads to its neighbours."""
    degree = degrees[k]
    if degree in SCALES[home]:
        return True
    after = degrees[k + 1] if k + 1 < len(degrees) else None
    before = degrees[k - 1] if k else None
    if degree == 6 and after == 1:
        return False
    # The leading note of minor is no major mode, and a 6 on its way to it no dorian.
    if home == "minor" and (degree == 5 or (degree == 3 and 5 in {before, after})):
        return False
    if before is None or after is None:
        return True
    here, left, right = (melody.midi[inside[j]] for j in (k, k - 1, k + 1))
    return not (abs(here - left) == 1 and abs(here - right) == 1)


def likeliest(home: str, degrees: list[int], speaking: list[bool]) -> list[str]:
    """The cheapest run of modes, one for each note; it starts from the home mode."""
    # A mode no note of which sounds can never be cheaper than home: leave it out.
    states = [
        home,
        *(m for m in COLOURS if m != home and (SCALES[m] - SCALES[home]) & set(degrees)),
    ]
    costs = [0.0] + [CHANGE_COST] * (len(states) - 1)
    at_home = [0.0] * len(states)
    foreign = {
        degree: [foreign_cost(mode, degree) for mode in states] for degree in degrees
    }
    back: list[list[int]] = []
    for degree, said in zip(degrees, speaking, strict=True):
        least = costs.index(min(costs))
        changed = costs[least] + CHANGE_COST
        back.append([state if c <= changed else least for state, c in enumerate(costs)])
        added = foreign[degree] if said else at_home
        costs = [min(c, changed) + more for c, more in zip(costs, added, strict=True)]
    run = [costs.index(min(costs))]
    for row in reversed(back[1:]):
        run.append(row[run[-1]])
    return [states[state] for state in reversed(run)]


def foreign_cost(mode: str, degree: int) -> float:
    """What a note costs in a mode; the raised 7th is at home in minor."""
    at_home = degree in SCALES[mode] or (mode == "minor" and degree == 5)
    return 0.0 if at_home else OUTSIDE_COST
