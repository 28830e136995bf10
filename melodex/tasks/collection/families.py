"""Tune families: tunes of a corpus that are one tune by their music, whatever their names.

Conventions: pairs that share at least :data:`SHARED_TO_ALIGN` rare figures of nine notes
are aligned whole, exactly and under every transposition. Their likeness is the points of
that alignment over what the shorter of them could reach at most. Two tunes are kin where
the likeness is high enough and so many points are not to be expected by chance: chance is
that of pairs drawn from the same corpus, after Karlin and Altschul (1990), Proc. Natl.
Acad. Sci. 87, 2264-2268, with lambda and K from mean and variance.

A family is a tune with all its kin that are in no earlier family, the tune with the most
kin first: so each member is kin to the tune that stands for the family, and the claim can
be looked at by comparing the two. That a tune of many kin stands for a family is ours;
"tune family" is the word of the trade (Bayard 1950, J. American Folklore 63, 247-249; the
place is from memory).

Tunes of too few notes, or of too few different figures (a drone, a scale), are kin to
anything or to nothing: they are left out, and counted.

Contents: LEAST, Member, Family, Families, find_families.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from random import Random
from statistics import mean, stdev

from melodex.corpus.chunks import TuneNotes, unpack
from melodex.corpus.reader import Corpus
from melodex.corpus.tune_rows import TuneRow, lined_pieces
from melodex.matching.engine.choice import engine
from melodex.matching.evidence.kinship import shared_figures
from melodex.matching.query import EncodedQuery
from melodex.settings import MAX_QUERY_NOTES, AlignmentCosts
from melodex.tasks.collection.variants import differences

__all__ = ["LEAST", "Families", "Family", "Member", "find_families"]

LEAST = 0.4
"""Likeness from which tunes are kin, if chance does not explain it. Set with the pairs of
both halves in view that were read note for note (benchmarks/retrieval/readings.json): about
half of the kin pass this and the next level, and none that are no kin."""

FEWEST_NOTES, FEWEST_FIGURES, FIGURE_STEPS = 12, 8, 3
"""Of a tune that can be told from others: notes, and different figures of four notes."""

SHARED_TO_ALIGN = 2
"""Rare figures that two tunes must share before they are aligned."""

DRAWN_PAIRS, SEED = 1500, 1
"""Pairs that chance is measured on."""

FEWEST_TO_MEASURE = 40
USUAL_DECAY, USUAL_LOG_SIZE = 0.25, -2.0
"""Lambda and ln K where the corpus has too few tunes to measure them (our choice, near
what 12,647 real tunes give)."""

MOST_EXPECTED = 1e-4
"""Pairs so good that chance may bring to the whole corpus, for each tune of it."""

EULER = 0.5772156649
Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Member:
    """A tune of a family, and what it is to the tune that stands for the family.

    Parameters
    ----------
    row : TuneRow
        The tune.
    likeness : float
        1 for the same notes.
    expected_by_chance : float
        Pairs as good that the whole corpus would hold by chance.
    differences : tuple of str
        What differs, in words; nothing for the tune that stands for the family.
    """

    row: TuneRow
    likeness: float
    expected_by_chance: float
    differences: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Family:
    """Kin; the first stands for the family, the others follow by falling likeness."""

    members: tuple[Member, ...]

    @property
    def likeness(self) -> float:
        """Of the member that is least like the first."""
        return min(member.likeness for member in self.members)


@dataclass(frozen=True, slots=True)
class Families:
    """The families of a corpus, the largest first.

    ``left_out`` tunes have too few notes or figures; ``families_in_all`` and
    ``tunes_in_families`` count also those that are not shown.
    """

    families: tuple[Family, ...]
    families_in_all: int
    tunes_in_families: int
    left_out: int
    corpus_tunes: int
    least: float


@dataclass(frozen=True, slots=True)
class Link:
    """Two tunes that are kin, by their places, and how much."""

    one: int
    other: int
    likeness: float
    expected: float
    transposition: int


@dataclass(frozen=True, slots=True)
class Chance:
    """Lambda and ln K of whole tunes of a corpus, and how many tunes it holds."""

    decay: float
    log_size: float
    tunes: int

    @property
    def pairs(self) -> float:
        """How many pairs the corpus holds."""
        return self.tunes * (self.tunes - 1) / 2

    def explains(self, expected: float) -> bool:
        """Whether chance may be all there is to pairs of which so many are expected."""
        return expected > MOST_EXPECTED * self.tunes

    def expected(self, points: int, one: int, other: int) -> float:
        """Pairs with so many points, of tunes of so many notes, in the whole corpus."""
        exponent = self.log_size + math.log(max(one * other, 1)) - self.decay * points
        return self.pairs * -math.expm1(-math.exp(min(exponent, 30.0)))


def find_families(
    corpus: Corpus,
    *,
    least: float = LEAST,
    limit: int | None = None,
    progress: Progress | None = None,
) -> Families:
    """Find the tune families of a corpus.

    Parameters
    ----------
    corpus : Corpus
        An open corpus.
    least : float
        Likeness from which two tunes may be kin, above 0, at most 1.
    limit : int, optional
        At most so many families; the others are counted.
    progress : callable, optional
        Called with the number of tunes done and of all.

    Returns
    -------
    Families
        The largest first, then the most alike, then by tune id.
    """
    pieces = lined_pieces(corpus)
    tunes = sorted(
        (
            tune
            for chunk in corpus.chunks()
            for tune in unpack(chunk)
            # A piece of several lines is compared by its main line.
            if pieces.get(tune.tune_id, tune.tune_id) == tune.tune_id
        ),
        key=lambda tune: tune.tune_id,
    )
    told = [tune for tune in tunes if can_be_told(tune)]
    copies = same_music(told)
    leaders = [group[0] for group in copies.values()]
    links = links_among(leaders, least, len(tunes), progress)
    groups = with_copies(starred(links, len(leaders)), leaders, copies)
    groups.sort(key=lambda group: (-len(group), -group[-1][1], group[0][0].tune_id))
    shown = groups if limit is None else groups[:limit]
    return Families(
        tuple(family_of(corpus, group) for group in shown),
        len(groups),
        sum(len(group) for group in groups),
        len(tunes) - len(told),
        len(tunes),
        least,
    )


def can_be_told(tune: TuneNotes) -> bool:
    """Whether a tune has enough in it to be known again."""
    steps = steps_of(tune)
    figures = {steps[at : at + FIGURE_STEPS] for at in range(len(steps) - FIGURE_STEPS + 1)}
    return len(tune.pitch) >= FEWEST_NOTES and len(figures) >= FEWEST_FIGURES


def steps_of(tune: TuneNotes) -> bytes:
    """Steps in semitones, downward ones wrapped."""
    return bytes((b - a) & 0xFF for a, b in pairwise(tune.pitch))


def same_music(tunes: Sequence[TuneNotes]) -> dict[tuple[bytes, bytes], list[TuneNotes]]:
    """Tunes by steps and lengths: one tune may stand in a corpus many times."""
    found: dict[tuple[bytes, bytes], list[TuneNotes]] = defaultdict(list)
    for tune in tunes:
        found[steps_of(tune), tune.length_class].append(tune)
    return found


def links_among(
    tunes: Sequence[TuneNotes], least: float, all_tunes: int, progress: Progress | None
) -> list[Link]:
    """Pairs that are kin."""
    chance = measured(tunes, all_tunes)
    partners: dict[int, list[int]] = defaultdict(list)
    for pair in shared_figures([steps_of(t) for t in tunes], fewest=SHARED_TO_ALIGN):
        partners[pair.first].append(pair.second)
    found: list[Link] = []
    for done, (place, others) in enumerate(partners.items()):
        if progress is not None and done % 500 == 0:
            progress(done, len(partners))
        found += links_of(tunes, place, others, least, chance)
    return found


def links_of(
    tunes: Sequence[TuneNotes],
    place: int,
    others: Sequence[int],
    least: float,
    chance: Chance,
) -> Iterator[Link]:
    """The kin of one tune among some others."""
    one, top = tunes[place], AlignmentCosts().best_pair
    notes = len(one.pitch)
    # Fewer points would be too few against any of them.
    shortest = min(len(tunes[other].pitch) for other in others)
    floor = max(int(least * top * min(notes, shortest)), 1)
    for other, (points, move) in zip(
        others, aligned(one, [tunes[other] for other in others], floor), strict=True
    ):
        size = len(tunes[other].pitch)
        likeness = points / (top * min(notes, size))
        expected = chance.expected(points, notes, size)
        if likeness >= least and not chance.explains(expected):
            yield Link(place, other, likeness, expected, move)


def aligned(
    one: TuneNotes, others: Sequence[TuneNotes], floor: int
) -> list[tuple[int, int]]:
    """Points and transposition of a tune with each of some others."""
    size = min(len(one.pitch), MAX_QUERY_NOTES)
    query = EncodedQuery(one.pitch[:size], one.length_class[:size])
    rows = [(tune.pitch, tune.length_class) for tune in others]
    return engine().best(rows, query, AlignmentCosts(), floor)


def measured(tunes: Sequence[TuneNotes], all_tunes: int) -> Chance:
    """Chance from pairs drawn at random, by moments of an extreme value distribution."""
    if len(tunes) < FEWEST_TO_MEASURE:
        return Chance(USUAL_DECAY, USUAL_LOG_SIZE, all_tunes)
    dice = Random(SEED)
    found = []
    for _ in range(DRAWN_PAIRS):
        one, other = (tunes[place] for place in dice.sample(range(len(tunes)), 2))
        ((points, _),) = aligned(one, [other], 0)
        found.append((points, math.log(len(one.pitch) * len(other.pitch))))
    decay = USUAL_DECAY
    for _ in range(20):
        rest = [points - room / decay for points, room in found]
        decay = math.pi / math.sqrt(6) / max(stdev(rest), 1e-6)
    return Chance(decay, decay * mean(rest) - EULER, all_tunes)


Held = tuple[int, float, float, int]
"""Place of a member, likeness and expected number of its link, and transposition."""


def starred(links: Sequence[Link], count: int) -> list[list[Held]]:
    """Families by places: a tune and its kin that are in none yet, most kin first."""
    kin: list[list[Held]] = [[] for _ in range(count)]
    for link in links:
        kin[link.one].append((link.other, link.likeness, link.expected, link.transposition))
        kin[link.other].append(
            (link.one, link.likeness, link.expected, -link.transposition)
        )
    free = [True] * count
    found = []
    order = sorted(
        range(count), key=lambda n: (-len(kin[n]), -sum(k[1] for k in kin[n]), n)
    )
    for place in order:
        if not free[place]:
            continue
        free[place] = False
        members = sorted((k for k in kin[place] if free[k[0]]), key=lambda k: (-k[1], k[0]))
        for member in members:
            free[member[0]] = False
        found.append([(place, 1.0, 0.0, 0), *members])
    return found


Placed = tuple[TuneNotes, float, float]


def with_copies(
    groups: Sequence[Sequence[Held]],
    leaders: Sequence[TuneNotes],
    copies: Mapping[tuple[bytes, bytes], Sequence[TuneNotes]],
) -> list[list[Placed]]:
    """The families of two tunes or more, tunes of the same music beside each other."""
    found = []
    for group in groups:
        members = [
            (tune, likeness, expected)
            for place, likeness, expected, _ in group
            for tune in copies[steps_of(leaders[place]), leaders[place].length_class]
        ]
        if len(members) > 1:
            found.append(members)
    return found


def family_of(corpus: Corpus, group: Sequence[Placed]) -> Family:
    """A family with what its members differ by."""
    first = group[0][0]
    standing = corpus.tune(first.tune_id)
    members = []
    for tune, likeness, expected in group:
        row = corpus.tune(tune.tune_id)
        differs = () if tune is first else differences(first, tune, standing, row)
        members.append(Member(row, likeness, expected, differs))
    return Family(tuple(members))
