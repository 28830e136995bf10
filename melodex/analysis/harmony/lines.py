"""Lines through chords: a bass that stays, voices that move by half step.

Conventions: chords come without mere repeats, in order. Two chords always share
or neighbour some notes, so a chain of half steps is told only from a length at
which it is heard as a line: :data:`LINE_CHORDS` chords, or
:data:`STATIC_LINE_CHORDS` over one root. Both, and the three chords of a pedal,
are common practice; no source.

Contents: Line, pedals, bass_lines, inner_lines, LINE_CHORDS, STATIC_LINE_CHORDS,
PEDAL_CHORDS.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

from melodex.analysis.harmony.chords import Chord
from melodex.melody import pitch_class, pitch_class_name

__all__ = [
    "LINE_CHORDS",
    "PEDAL_CHORDS",
    "STATIC_LINE_CHORDS",
    "Line",
    "bass_lines",
    "inner_lines",
    "pedals",
]

LINE_CHORDS = 4
"""Chords over which a moving voice is heard as a line; our choice, as are the next two."""
STATIC_LINE_CHORDS = 3
"""The same where the root stays, as in the minor line cliché."""
PEDAL_CHORDS = 3
"""Chords over one bass, with other roots, that make a pedal."""


@dataclass(frozen=True, slots=True)
class Line:
    """A voice through the chords ``first`` to ``last``, one note in each.

    ``one_root`` says that at least three of the chords in a row share their root.
    """

    first: int
    last: int
    notes: tuple[int, ...]
    one_root: bool = False

    @property
    def names(self) -> str:
        """The notes by name, parted by spaces."""
        return " ".join(pitch_class_name(note) for note in self.notes)


def pedals(chords: Sequence[Chord]) -> Iterator[tuple[int, int, int]]:
    """Find one bass under moving chords.

    Parameters
    ----------
    chords : sequence of Chord, of shape (n,)

    Yields
    ------
    first, last, bass_fifths : int
        Three chords or more over one bass note, of at least two roots.
    """
    first = 0
    for place in range(1, len(chords) + 1):
        bass = chords[first].lowest_fifths
        if place < len(chords) and chords[place].lowest_fifths == bass:
            continue
        roots = {chord.root_fifths for chord in chords[first:place]}
        if place - first >= PEDAL_CHORDS and len(roots) > 1:
            yield first, place - 1, bass
        first = place


def bass_lines(chords: Sequence[Chord]) -> Iterator[Line]:
    """Find basses that move by half step in one direction through four chords.

    Parameters
    ----------
    chords : sequence of Chord, of shape (n,)
    """
    lowest = [chord.lowest_fifths for chord in chords]
    for direction in (-1, 1):
        first = 0
        for place in range(1, len(lowest) + 1):
            moved = place < len(lowest) and half_step(lowest[place - 1], lowest[place])
            if moved == direction:
                continue
            if place - first >= LINE_CHORDS:
                yield Line(first, place - 1, tuple(lowest[first:place]))
            first = place


def half_step(before: int, after: int) -> int:
    """1 or -1 for a half step up or down, however it is spelled; else 0."""
    step = (7 * (after - before)) % 12
    return 1 if step == 1 else -1 if step == 11 else 0


def inner_lines(chords: Sequence[Chord]) -> list[Line]:
    """Find voices inside the chords that move by half step in one direction.

    Parameters
    ----------
    chords : sequence of Chord, of shape (n,)

    Returns
    -------
    list of Line
        The longest ones, of two lines that start and end together the one that
        is not the bass; in the order of their first chord.

    Examples
    --------
    >>> from melodex.analysis.harmony.chords import parse_chords
    >>> [line.names for line in inner_lines(parse_chords(["Cm", "CmM7", "Cm7", "Cm6"]))]
    ['C B Bb A']
    """
    found: list[Line] = []
    masks = [mask_of(chord) for chord in chords]
    for direction in (-1, 1):
        found += chains(chords, masks, direction)
    return sorted(found, key=lambda line: (line.first, line.last, line.notes))


@lru_cache(maxsize=4096)
def mask_of(chord: Chord) -> int:
    """Pitch classes of a chord as bits, its foreign bass left out."""
    mask = 0
    for degree in chord.degrees:
        mask |= 1 << pitch_class(chord.root_fifths + degree)
    return mask


def moved(mask: int, direction: int) -> int:
    """Every pitch class a half step lower (-1) or higher (1)."""
    if direction < 0:
        return (mask >> 1) | ((mask & 1) << 11)
    return ((mask << 1) & 0xFFF) | (mask >> 11)


def chains(chords: Sequence[Chord], masks: Sequence[int], direction: int) -> Iterator[Line]:
    """Chains in one direction that cannot be made longer."""
    for first, mask in enumerate(masks):
        # What could still be reached from the chord before is the tail of a chain.
        reached = mask & ~moved(masks[first - 1], direction) if first else mask
        last = first
        while last + 1 < len(masks):
            onward = moved(reached, direction) & masks[last + 1]
            if not onward:
                break
            reached, last = onward, last + 1
        if last - first + 1 >= STATIC_LINE_CHORDS and reached:
            line = line_of(chords[first : last + 1], first, reached, direction)
            if line is not None:
                yield line


def line_of(
    stretch: Sequence[Chord], first: int, reached: int, direction: int
) -> Line | None:
    """The chain that ends on the highest bit reached, if it is long enough for a line."""
    one_root = stays_on_a_root([chord.root_fifths for chord in stretch])
    if not one_root and len(stretch) < LINE_CHORDS:
        return None
    start = reached.bit_length() - 1 - direction * (len(stretch) - 1)
    classes = [(start + direction * i) % 12 for i in range(len(stretch))]
    in_bass = (pitch_class(chord.lowest_fifths) for chord in stretch)
    if not one_root and (list(in_bass) == classes or is_plain_voice_leading(stretch)):
        return None
    notes = spelled_line(stretch, classes)
    return Line(first, first + len(stretch) - 1, notes, one_root)


def stays_on_a_root(roots: list[int]) -> bool:
    """Whether enough chords in a row share their root for a line over it."""
    span = STATIC_LINE_CHORDS
    return any(len(set(roots[i : i + span])) == 1 for i in range(len(roots) - span + 1))


def is_plain_voice_leading(stretch: Sequence[Chord]) -> bool:
    """Whether a chain of sevenths or of falling fifths makes its voices creep.

    Thirds and sevenths then go by half steps by themselves, as everything does where
    one chord is pushed along: neither is heard as a line.
    """
    moves = [
        (7 * (after.root_fifths - here.root_fifths)) % 12 in {5, 11, 1}
        for here, after in pairwise(stretch)
    ]
    rich = sum(bool(SEVENTHS & set(chord.degree_names)) for chord in stretch)
    return sum(moves) > len(moves) / 2 or rich >= len(stretch) - 1


SEVENTHS = frozenset({"7", "b7", "bb7", "6"})
SIMPLE_NAMES = range(-8, 13)
"""From F flat to B sharp: a line is not written with double signs."""


def spelled_line(stretch: Sequence[Chord], classes: Sequence[int]) -> tuple[int, ...]:
    """Names for the notes of a line: as its chords spell them where it stays readable.

    The cheapest way through the names of each note: one that its chord does not use
    costs 1, two neighbours that are no kind of second or prime 3.
    """
    ways: dict[int, tuple[float, tuple[int, ...]]] = {}
    for chord, wanted in zip(stretch, classes, strict=True):
        names = [n for n in SIMPLE_NAMES if pitch_class(n) == wanted]
        ways = {
            name: min(
                (
                    cost + steps_cost(line, name) + (name not in chord.note_fifths),
                    (*line, name),
                )
                for cost, line in (ways.values() or [(0.0, ())])
            )
            for name in names
        }
    return min(ways.values())[1]


def steps_cost(line: tuple[int, ...], name: int) -> float:
    """What it costs to go on to a name: nothing for a half step as it is written."""
    if not line:
        return 0.0
    return 0.0 if abs(name - line[-1]) in {5, 7} else 3.0
