"""Likeness: what each note of a passage is to its partner in another.

Conventions: A is the first passage and B the second; note indexes count from 0
within each passage; a missing partner is None. A transposition carries A to B.
Each note is a degree of the key that holds at its own place. Where two notes of a pair
are not the same degree, and the transposition does not carry the tonic that holds at one
to that at the other, they are compared as they would stand after the move, and may be of
the same shape.

Contents: RELATIONS, Pair, Likeness, likeness, and likeness_of_contour, likeness_of_rhythm
and likeness_of_known where not all is known.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from math import gcd

from melodex.analysis.degrees import (
    DIFFERENT_DEGREE,
    INFLECTED_SHAPE,
    OTHER_INFLECTION,
    OTHER_SHAPE,
    SAME_DEGREE,
    SAME_SHAPE,
    moved_relation,
    relation,
    rhythm_agreement,
)
from melodex.matching.engine.alignment import Alignment
from melodex.melody import Melody, Phrase
from melodex.records import dataclass

__all__ = [
    "RELATIONS",
    "Likeness",
    "Pair",
    "likeness",
    "likeness_of_contour",
    "likeness_of_known",
    "likeness_of_rhythm",
]

SAME = SAME_DEGREE
SAME_IN_TIME = "same degree and time"
OTHER_RHYTHM = "same degree, other rhythm"
INFLECTED = OTHER_INFLECTION
DIFFERENT = DIFFERENT_DEGREE
SHAPE_IN_TIME = "same shape and length"
SHAPE_OTHER_RHYTHM = "same shape, other length"
ALONE = "no partner"
SAME_WAY, OTHER_WAY = "same direction", "other direction"
SAME_LENGTH, OTHER_LENGTH = "same length", "other length"
AS_ASKED, NOT_ASKED = "as asked", "not asked"
RELATIONS = (
    *(SAME_IN_TIME, OTHER_RHYTHM, INFLECTED, DIFFERENT),
    *(SHAPE_IN_TIME, SHAPE_OTHER_RHYTHM, INFLECTED_SHAPE, OTHER_SHAPE),
    *(ALONE, SAME, SAME_SHAPE),
    *(SAME_WAY, OTHER_WAY),
    *(SAME_LENGTH, OTHER_LENGTH, AS_ASKED, NOT_ASKED),
)
"""What two notes may be to each other: by degree; by shape, where tonic does not lie on
tonic; ``same degree`` and ``same shape`` alone where no rhythm is known,
and directions, in which they are reached, where nothing but a contour is; lengths, where
nothing but a rhythm is; what was asked of a note, where some are not known."""

SAME_DEGREES = (SAME, SAME_IN_TIME, OTHER_RHYTHM)
SAME_SHAPES = (SAME_SHAPE, SHAPE_IN_TIME, SHAPE_OTHER_RHYTHM)
BY_DEGREE = (*SAME_DEGREES, INFLECTED, DIFFERENT)
AGREEING = (*SAME_DEGREES, *SAME_SHAPES, SAME_WAY, SAME_LENGTH, AS_ASKED)
WITH_RHYTHM = {
    SAME: (SAME_IN_TIME, OTHER_RHYTHM),
    SAME_SHAPE: (SHAPE_IN_TIME, SHAPE_OTHER_RHYTHM),
}

Links = Sequence[tuple[int | None, int | None]]


@dataclass(frozen=True, slots=True)
class Pair:
    """A note of A, a note of B, and what they are to each other."""

    query: int | None
    tune: int | None
    relation: str


@dataclass(frozen=True, slots=True)
class Likeness:
    """How the notes of two passages lie over each other.

    Parameters
    ----------
    pairs : tuple of Pair
        In the order of time.
    points : int
        Alignment points, higher is better.
    transposition_semitones : int
        From A to B, octaves included.
    spelled_shift : int
        The same transposition on the line of fifths.
    augmentation : float
        Length of B's notes over length of A's, 1 where they agree; the median.
    exact_run : tuple of int
        First note of A, first note of B, and number of notes, of the longest
        stretch without any difference of pitch.
    """

    pairs: tuple[Pair, ...]
    points: int
    transposition_semitones: int
    spelled_shift: int
    augmentation: float
    exact_run: tuple[int, int, int]

    def count(self, *relations: str) -> int:
        """How many pairs stand in one of some relations."""
        return sum(pair.relation in relations for pair in self.pairs)

    @property
    def agreeing(self) -> int:
        """Pairs of the same degree, or of the same shape, in time or not."""
        return self.count(*AGREEING)

    @property
    def on_degree(self) -> int:
        """Pairs of the same degree, in time or not, inflected otherwise or not."""
        return self.count(*SAME_DEGREES, INFLECTED)

    @property
    def paired(self) -> int:
        """Pairs in which neither note is missing."""
        return len(self.pairs) - self.count(ALONE)

    @property
    def in_time(self) -> int:
        """Pairs that agree in rhythm too."""
        return self.count(SAME_IN_TIME, SHAPE_IN_TIME)

    @property
    def by_degree(self) -> int:
        """Paired notes that can be compared as degrees: tonic lies on tonic there."""
        return self.count(*BY_DEGREE)

    @property
    def same_function(self) -> bool:
        """Whether tonic lies on tonic at every pair of notes."""
        return 0 < self.by_degree == self.paired

    def __repr__(self) -> str:
        return f"<Likeness: {self.agreeing} of {self.paired} paired notes agree>"


def likeness(
    a: Melody,
    b: Melody,
    alignment: Alignment,
    *,
    has_rhythm: bool = True,
    has_tonic: bool = True,
    whole_b: bool = False,
) -> Likeness:
    """Say what each aligned note of A is to its partner in B.

    Parameters
    ----------
    a, b : Melody
        The melodies that were aligned.
    alignment : Alignment
        Index pairs into them.
    has_rhythm, has_tonic : bool
        What is known of A.
    whole_b : bool
        Whether the notes of B before and after the aligned stretch are listed too,
        as notes without a partner; those of A always are.
    """
    shift = spelled_shift(a, b, alignment.pairs, alignment.transposition_semitones)
    core: Links = alignment.pairs
    if whole_b:
        core = reaching_out(a, b, core, shift)
    links = with_ends(core, len(a), len(b) if whole_b else None)
    degrees = a.degrees() if has_tonic else (None,) * len(a), b.degrees()
    stretch = augmentation(a, b, links) if has_rhythm else 1.0

    def relation_at(place: int) -> str:
        i, j = links[place]
        if i is None or j is None:
            return ALONE
        apart = b.fifths[j] - a.fifths[i] - shift
        found = moved_relation(degrees[0][i], degrees[1][j], apart)
        if not has_rhythm or found not in WITH_RHYTHM:
            return found
        return WITH_RHYTHM[found][not in_time(a, b, links, place, stretch)]

    pairs = tuple(Pair(i, j, relation_at(place)) for place, (i, j) in enumerate(links))
    return Likeness(
        pairs=pairs,
        points=alignment.points,
        transposition_semitones=alignment.transposition_semitones,
        spelled_shift=shift,
        augmentation=stretch,
        exact_run=longest_run(pairs),
    )


def likeness_of_contour(
    signs: Sequence[int], tune: Melody, alignment: Alignment
) -> Likeness:
    """Say whether each note of a tune is reached in the direction of a contour.

    Parameters
    ----------
    signs : sequence of int, of shape (k,)
        1, 0 or -1 for each step.
    tune : Melody
        Of n notes.
    alignment : Alignment
        Index pairs of the k + 1 notes of the contour and the n of the tune.
    """

    # Only a contour needs it.
    from melodex.matching.contour import signs_of

    reached = (0, *signs_of(tune.midi))

    def relation_at(i: int | None, j: int | None) -> str:
        if i is None or j is None:
            return ALONE
        # Whatever leads to it, the first step starts from there.
        if (i, j) == alignment.pairs[0] or reached[j] == signs[i - 1]:
            return SAME_WAY
        return OTHER_WAY

    return without_pitch(alignment, len(signs) + 1, relation_at)


def likeness_of_rhythm(rhythm: Melody, tune: Melody, alignment: Alignment) -> Likeness:
    """Say whether each note of a tune is as long as a rhythm wants, to the tick.

    Parameters
    ----------
    rhythm : Melody
        Its lengths are looked at, its pitches are not.
    tune : Melody
        Of n notes.
    alignment : Alignment
        Index pairs of the notes of both.
    """
    lengths = rhythm.duration_ticks, tune.duration_ticks
    paired = [(lengths[0][i], lengths[1][j]) for i, j in both_of(alignment.pairs)]
    # Ratios as whole numbers, in lowest terms: what most notes are stretched by.
    ratios = Counter((b // gcd(a, b), a // gcd(a, b)) for a, b in paired)
    (stretch, of), _ = ratios.most_common(1)[0]

    def relation_at(i: int | None, j: int | None) -> str:
        if i is None or j is None:
            return ALONE
        same = lengths[0][i] * stretch == lengths[1][j] * of
        return SAME_LENGTH if same else OTHER_LENGTH

    return without_pitch(alignment, len(rhythm), relation_at, stretch / of)


def likeness_of_known(phrase: Phrase, tune: Melody, alignment: Alignment) -> Likeness:
    """Say which notes of a tune were asked for, where some were not known.

    Parameters
    ----------
    phrase : Phrase
        Of which some notes are not known.
    tune : Melody
        A tune that holds it.
    alignment : Alignment
        Index pairs of the notes of both.
    """
    known = [a or b for a, b in zip(phrase.has_pitch, phrase.has_length, strict=True)]

    def relation_at(i: int | None, j: int | None) -> str:
        return AS_ASKED if i is not None and known[i] else NOT_ASKED

    return without_pitch(alignment, len(phrase.melody), relation_at)


def both_of(links: Links) -> list[tuple[int, int]]:
    """The links that have two ends."""
    return [(i, j) for i, j in links if i is not None and j is not None]


def without_pitch(
    alignment: Alignment,
    count: int,
    relation_at: Callable[[int | None, int | None], str],
    augmentation: float = 1.0,
) -> Likeness:
    """The likeness of a phrase of so many notes whose key says nothing."""
    links = with_ends(alignment.pairs, count, None)
    pairs = tuple(Pair(i, j, relation_at(i, j)) for i, j in links)
    return Likeness(
        pairs=pairs,
        points=alignment.points,
        transposition_semitones=0,
        spelled_shift=0,
        augmentation=augmentation,
        exact_run=longest_run(pairs),
    )


def reaching_out(a: Melody, b: Melody, links: Links, shift: int) -> Links:
    """The links, and before and after them neighbours that differ by inflection at most.

    A local alignment leaves out an inflected note at its end, since it only costs.
    """

    def near(i: int, j: int) -> bool:
        inside = 0 <= i < len(a) and 0 <= j < len(b)
        return inside and relation(a.fifths[i] + shift, b.fifths[j]) != DIFFERENT

    (i, j), (k, n) = links[0], links[-1]
    before: list[tuple[int | None, int | None]] = []
    while i is not None and j is not None and near(i - 1, j - 1):
        i, j = i - 1, j - 1
        before.insert(0, (i, j))
    after: list[tuple[int | None, int | None]] = []
    while k is not None and n is not None and near(k + 1, n + 1):
        k, n = k + 1, n + 1
        after.append((k, n))
    return [*before, *links, *after]


def with_ends(links: Links, a_length: int, b_length: int | None) -> Links:
    """The links of a local alignment, and before and after it the notes left over."""
    of_a = [i for i, _ in links if i is not None]
    of_b = [j for _, j in links if j is not None]
    before = [(i, None) for i in range(of_a[0])]
    after = [(i, None) for i in range(of_a[-1] + 1, a_length)]
    if b_length is None:
        return [*before, *links, *after]
    before_b = [(None, j) for j in range(of_b[0])]
    after_b = [(None, j) for j in range(of_b[-1] + 1, b_length)]
    return [*before, *before_b, *links, *after, *after_b]


def spelled_shift(a: Melody, b: Melody, links: Links, semitones: int) -> int:
    """The transposition on the line of fifths: what most agreeing pairs say."""
    wanted = semitones % 12
    votes = Counter(
        b.fifths[j] - a.fifths[i]
        for i, j in links
        if i is not None and j is not None and (b.midi[j] - a.midi[i] - wanted) % 12 == 0
    )
    if not votes:
        # The twelve places nearest to no change, as for spelling in a key.
        return (7 * wanted + 5) % 12 - 5
    return min(votes, key=lambda fifths: (-votes[fifths], abs(fifths), fifths))


def augmentation(a: Melody, b: Melody, links: Links) -> float:
    """The usual ratio of length, B to A, of paired notes; 1 where most differ."""
    paired = [(i, j) for i, j in links if i is not None and j is not None]
    lengths_a = [a.duration_ticks[i] for i, _ in paired]
    lengths_b = [b.duration_ticks[j] for _, j in paired]
    return float(rhythm_agreement(lengths_a, lengths_b).ratio)


def in_time(a: Melody, b: Melody, links: Links, place: int, stretch: float) -> bool:
    """Whether a pair starts as long after the pair before it, and holds as long."""
    i, j = links[place]
    assert i is not None
    assert j is not None
    if not close(b.duration_ticks[j], a.duration_ticks[i] * stretch):
        return False
    for h, k in reversed(links[:place]):
        if h is not None and k is not None:
            waited_a = (a.onset_ticks[i] - a.onset_ticks[h]) * stretch
            return close(b.onset_ticks[j] - b.onset_ticks[k], waited_a)
    return True


def close(left: float, right: float) -> bool:
    """Whether two lengths agree to within a fiftieth, as rounded tuplets do."""
    return abs(left - right) * 50 <= max(left, right)


def longest_run(pairs: Sequence[Pair]) -> tuple[int, int, int]:
    """First note of A, first of B, and length, of the longest run that agrees."""
    best, start = (0, 0, 0), 0
    for place, pair in enumerate(pairs):
        if pair.relation not in AGREEING:
            start = place + 1
            continue
        first = pairs[start]
        if (
            place - start + 1 > best[2]
            and first.query is not None
            and first.tune is not None
        ):
            best = (first.query, first.tune, place - start + 1)
    return best
