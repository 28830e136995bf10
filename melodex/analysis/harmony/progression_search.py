"""Find a progression in the chords of pieces, in every key.

Conventions: points, higher is better. A chord of the progression meets a chord of
the piece at the same place of a transposition; what may stand for it (the seventh
added, the fifth lowered, a tritone substitute, the relative) earns less and is
named. Chords may lie between, or be missing, at a cost. The best stretch is found
by local alignment; of stretches that overlap the better one is kept. A
progression in numerals must stand on the tonic that holds on the way to its last
chord, unless no tonic is known or ``in_local_key`` is False.

References
----------
Smith and Waterman (1981), J. Mol. Biol. 147, 195-197: the local alignment. The
points of gaps are our own choice; those of pairs stand in ``chord_relations``.

Contents: ProgressionMatch, MatchedChord, find_in_row,
chord_bytes, sift, points_in_a_row, PARTING.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

from melodex.analysis.harmony.chords import FAMILIES
from melodex.analysis.harmony.progressions import ChordToken, Progression
from melodex.analysis.harmony.relations import (
    OTHER_BASS,
    OTHER_SPELLING,
    SAME,
    most_points,
    relation,
)
from melodex.melody import pitch_class

if TYPE_CHECKING:
    from numpy import ndarray

__all__ = [
    "PARTING",
    "MatchedChord",
    "ProgressionMatch",
    "chord_bytes",
    "find_in_row",
    "points_in_a_row",
    "sift",
]

ADDED_CHORD = -1.0
"""A chord of the piece that the progression does not have."""
MISSING_CHORD = -2.0
LEAST_SHARE = 0.7
"""Share of the points of an exact match that a find must earn."""


@dataclass(frozen=True, slots=True)
class MatchedChord:
    """One pair of an alignment; None where a chord has no partner.

    ``wanted`` is an index into the progression, ``found`` into the tokens of the
    piece; ``relation`` says what the found chord is to the wanted one.
    """

    wanted: int | None
    found: int | None
    relation: str


@dataclass(frozen=True, slots=True)
class ProgressionMatch:
    """Where a piece has a progression.

    Parameters
    ----------
    name : str
        Of the piece, as given.
    points, share : float
        Points, and their share of the points of an exact match.
    transposition_fifths : int
        From the progression to the piece; the tonic for a progression in numerals.
    first, last : int
        Indexes of the placed chords, both included.
    pairs : tuple of MatchedChord
    """

    name: str
    points: float
    share: float
    transposition_fifths: int
    first: int
    last: int
    pairs: tuple[MatchedChord, ...]

    @property
    def exact(self) -> bool:
        """Whether every chord is the same chord."""
        return all(pair.relation == "same chord" for pair in self.pairs)


def find_in_row(
    progression: Progression,
    tokens: Sequence[ChordToken],
    *,
    name: str = "",
    exact: bool = False,
    in_local_key: bool = True,
    least_share: float = LEAST_SHARE,
) -> list[ProgressionMatch]:
    """Find a progression in one piece.

    Parameters
    ----------
    progression : Progression
    tokens : sequence of ChordToken
        The chords of the piece.
    name : str
        Name of the piece, for the matches.
    exact : bool
        Take only the same chords in a row, whatever their bass.
    in_local_key : bool
        Hold a progression in numerals to the tonic on the way to its last chord.
    least_share : float
        Share of the points of an exact match that a find must earn.

    Examples
    --------
    >>> from melodex.analysis.harmony.chords import parse_chord
    >>> from melodex.analysis.harmony.progressions import read_progression, token_of
    >>> row = [token_of(parse_chord(t)) for t in ("Fm7", "E7", "Ebmaj7")]
    >>> [p.relation for p in find_in_row(read_progression("ii V I"), row)[0].pairs]
    ['with seventh', 'tritone substitute', 'with seventh']
    """
    full = SAME * len(progression.tokens)
    least = least_share * full
    if exact:
        least = full + (OTHER_BASS + OTHER_SPELLING) * len(progression.tokens)
    held = in_local_key and progression.notation == "numerals"
    candidates: list[ProgressionMatch] = []
    plain = [
        token._replace(text="", tonic_fifths=None, first=0, last=0) for token in tokens
    ]
    for transposition in transpositions(progression, tokens, least):
        for pairs, points in alignments(progression.tokens, plain, transposition, least):
            if exact and not all(is_same(pair) for pair in pairs):
                continue
            match = match_of(name, pairs, points, full, transposition, tokens)
            if not held or stands_on_tonic(pairs, tokens, transposition):
                candidates.append(match)
    return apart(candidates)


def is_same(pair: MatchedChord) -> bool:
    """Whether a pair is the same chord, whatever its bass."""
    return pair.relation.removesuffix(", over another bass") == "same chord"


def stands_on_tonic(
    pairs: tuple[MatchedChord, ...], tokens: Sequence[ChordToken], tonic_fifths: int
) -> bool:
    """Whether a tonic holds, or none is known, at most chords before the last.

    The last chord is left out: where it is a goal, the next key often starts on it.
    """
    places = [pair.found for pair in pairs if pair.found is not None]
    before = places[:-1] or places
    tonics = [tokens[place].tonic_fifths for place in before]
    # A chord may be spelled for another name of the same tonic.
    agreeing = sum(t is None or (t - tonic_fifths) % 12 == 0 for t in tonics)
    return 2 * agreeing > len(before)


def match_of(
    name: str,
    pairs: tuple[MatchedChord, ...],
    points: float,
    full: float,
    transposition: int,
    tokens: Sequence[ChordToken],
) -> ProgressionMatch:
    """The match of an alignment."""
    places = [pair.found for pair in pairs if pair.found is not None]
    return ProgressionMatch(
        name,
        round(points, 3),
        round(points / full, 4),
        transposition,
        tokens[places[0]].first,
        tokens[places[-1]].last,
        pairs,
    )


def apart(candidates: list[ProgressionMatch]) -> list[ProgressionMatch]:
    """The best of matches that overlap, in the order of their points."""
    kept: list[ProgressionMatch] = []
    order = sorted(candidates, key=lambda m: (-m.points, m.first, m.transposition_fifths))
    for match in order:
        if all(match.last < other.first or match.first > other.last for other in kept):
            kept.append(match)
    return kept


def transpositions(
    progression: Progression, tokens: Sequence[ChordToken], least: float
) -> list[int]:
    """Transpositions in which a root agrees and enough points can be had at all."""
    wanted = progression.tokens
    there = {(pitch_class(token.root_fifths), token.family) for token in tokens}
    bounds = [0.0] * 12
    for chord in wanted:
        root = pitch_class(chord.root_fifths)
        rows = (
            points_by_key(chord.family, family, (pc - root) % 12) for pc, family in there
        )
        for key, points in enumerate(map(max, ZEROS, ZEROS, *rows)):
            bounds[key] += points
    hopeful = [key for key, bound in enumerate(bounds) if bound >= least - 1e-9]
    roots = {token.root_fifths for token in tokens}
    shifts = {found - chord.root_fifths for found in roots for chord in wanted}
    return sorted(shift for shift in shifts if pitch_class(shift) in hopeful)


ZEROS = (0.0,) * 12
"""No points in any of the twelve keys."""


@cache
def points_by_key(wanted: str, found: str, semitones: int) -> tuple[float, ...]:
    """The most points of two families in each key, given how far apart they are in C."""
    return tuple(most_points(wanted, found, (semitones - key) % 12) for key in range(12))


# The alignment.

Pairs = tuple[MatchedChord, ...]
FROM_NOTHING, FROM_PAIR, FROM_ADDED, FROM_MISSING = range(4)


def alignments(
    wanted: Sequence[ChordToken],
    found: Sequence[ChordToken],
    transposition_fifths: int,
    least: float,
) -> Iterator[tuple[Pairs, float]]:
    """Local alignments with enough points, the best one for each last chord."""
    table, came = filled(wanted, found, transposition_fifths)
    for place in range(1, len(found) + 1):
        column = [row[place] for row in table]
        points = max(column)
        row = column.index(points)
        if points >= least - 1e-9 and came[row][place] == FROM_PAIR:
            yield traced(wanted, found, transposition_fifths, came, row, place), points


def filled(
    wanted: Sequence[ChordToken], found: Sequence[ChordToken], transposition_fifths: int
) -> tuple[list[list[float]], list[list[int]]]:
    """Best points of alignments that end at each pair, and where they come from."""
    width = len(found) + 1
    table = [[0.0] * width for _ in range(len(wanted) + 1)]
    came = [[FROM_NOTHING] * width for _ in range(len(wanted) + 1)]
    for i, chord in enumerate(wanted, start=1):
        above, here, steps = table[i - 1], table[i], came[i]
        for j in range(1, width):
            best, step = 0.0, FROM_NOTHING
            pair = above[j - 1] + relation(chord, found[j - 1], transposition_fifths)[0]
            if pair > best:
                best, step = pair, FROM_PAIR
            if here[j - 1] + ADDED_CHORD > best:
                best, step = here[j - 1] + ADDED_CHORD, FROM_ADDED
            if above[j] + MISSING_CHORD > best:
                best, step = above[j] + MISSING_CHORD, FROM_MISSING
            here[j], steps[j] = best, step
    return table, came


def traced(
    wanted: Sequence[ChordToken],
    found: Sequence[ChordToken],
    transposition_fifths: int,
    came: list[list[int]],
    i: int,
    j: int,
) -> Pairs:
    """The pairs of the alignment that ends at a cell."""
    pairs: list[MatchedChord] = []
    while came[i][j] != FROM_NOTHING:
        step = came[i][j]
        if step == FROM_PAIR:
            name = relation(wanted[i - 1], found[j - 1], transposition_fifths)[1]
            pairs.append(MatchedChord(i - 1, j - 1, name))
            i, j = i - 1, j - 1
        elif step == FROM_ADDED:
            pairs.append(MatchedChord(None, j - 1, "added"))
            j -= 1
        else:
            pairs.append(MatchedChord(i - 1, None, "missing"))
            i -= 1
    return tuple(reversed(pairs))


# A byte for each chord, so that a corpus can be sifted before it is aligned.

FAMILY_CODE = {family: code for code, family in enumerate(FAMILIES)}
FAMILY_COUNT = len(FAMILIES)
PARTING = 255
"""The byte between two pieces."""
ALL_KEYS = 0xFFF
"""Twelve bits, one a transposition."""


def chord_bytes(tokens: Iterable[ChordToken]) -> bytes:
    """Write one byte for each chord: pitch class of the root and family.

    Parameters
    ----------
    tokens : iterable of ChordToken, of shape (n,)
        With absolute roots.

    Returns
    -------
    bytes, of length n
        Each below 96; :data:`PARTING` stands between pieces.

    Examples
    --------
    >>> from melodex.analysis.harmony.chords import parse_chord
    >>> from melodex.analysis.harmony.progressions import token_of
    >>> list(chord_bytes([token_of(parse_chord("C")), token_of(parse_chord("G7"))]))
    [0, 58]
    """
    return bytes(code_of(token.root_fifths, token.family) for token in tokens)


def code_of(root_fifths: int, family: str) -> int:
    """The byte of a root and a family."""
    return pitch_class(root_fifths) * FAMILY_COUNT + FAMILY_CODE[family]


def sift(progression: Progression, data: bytes, *, exact: bool = False) -> ndarray:
    """Find where a progression may start in the bytes of many pieces.

    A place is kept if in one of twelve keys every chord of the progression, or what
    may stand for it, follows in order with at most one chord put between two of
    them (none if ``exact``). Alignments that leave a chord out or put more between
    two chords are not promised. All keys are tried at once, a bit for each.

    Parameters
    ----------
    progression : Progression
    data : bytes, of shape (n,)
        From :func:`chord_bytes`, pieces parted by :data:`PARTING`.
    exact : bool
        Let nothing stand for a chord and nothing come between.

    Returns
    -------
    ndarray of int, of shape (k,)
        Places in ``data``, rising.

    Examples
    --------
    >>> from melodex.analysis.harmony.progressions import read_progression
    >>> sift(read_progression("V7 I"), bytes([58, 0, 255, 58, 8]), exact=True).tolist()
    [0]
    """
    import numpy as np

    codes = np.frombuffer(data, dtype=np.uint8)
    inside = codes != PARTING
    reached = np.full(len(codes) + 2, ALL_KEYS, dtype=np.uint16)
    for token in reversed(progression.tokens):
        onward = reached[1:-1].copy()
        if token is progression.tokens[-1]:
            onward[:] = ALL_KEYS
        elif not exact:
            onward[:-1] |= np.where(inside[1:], reached[2:-1], 0)
        reached = np.zeros(len(codes) + 2, dtype=np.uint16)
        reached[:-2] = np.array(keys_by_byte(token, exact), dtype=np.uint16)[codes] & onward
    places: ndarray = np.flatnonzero(reached[:-2])
    return places


def points_in_a_row(
    progression: Progression, data: bytes, places: Sequence[int] | ndarray
) -> ndarray:
    """Return what the chords that follow from some places can earn, none put between.

    Which extensions, alterations and basses the chords have is not asked, nor which
    tonic holds: an alignment with nothing added or missing earns at most this.

    Parameters
    ----------
    progression : Progression
    data : bytes, of shape (n,)
        From :func:`chord_bytes`, pieces parted by :data:`PARTING`.
    places : sequence of int, of shape (k,)
        Where the first chord stands.

    Returns
    -------
    ndarray of float, of shape (k,)
        Points in the best of twelve keys.

    Examples
    --------
    >>> from melodex.analysis.harmony.progressions import read_progression
    >>> row = bytes([58, 0, 255, 58, 8])
    >>> points_in_a_row(read_progression("V7 I"), row, [0, 3]).tolist()
    [6.0, 3.0]
    """
    import numpy as np

    tokens = progression.tokens
    codes = np.frombuffer(data + bytes([PARTING]) * len(tokens), dtype=np.uint8)
    starts = np.asarray(places, dtype=np.int64)
    best = np.zeros(len(starts), dtype=np.float32)
    tables = [points_by_byte(token) for token in tokens]
    for key in range(12):
        earned = np.zeros(len(starts), dtype=np.float32)
        for step, table in enumerate(tables):
            earned += np.array(table[key], dtype=np.float32)[codes[starts + step]]
        np.maximum(best, earned, out=best)
    return best


def points_by_byte(wanted: ChordToken) -> list[list[float]]:
    """For each key and byte, the most points that the chord can earn there."""
    table = [[0.0] * 256 for _ in range(12)]
    root = pitch_class(wanted.root_fifths)
    for family, code in FAMILY_CODE.items():
        for found in range(12):
            row = points_by_key(wanted.family, family, (found - root) % 12)
            for key, points in enumerate(row):
                table[key][found * FAMILY_COUNT + code] = points
    return table


def keys_by_byte(wanted: ChordToken, exact: bool) -> list[int]:
    """For each byte, the keys (as bits) in which it may stand for a chord."""
    table = [0] * 256
    for root, family in standing_for(wanted, exact):
        for key in range(12):
            table[(root + key) % 12 * FAMILY_COUNT + family] |= 1 << key
    return table


def standing_for(wanted: ChordToken, exact: bool) -> list[tuple[int, int]]:
    """Pitch class and family of every chord that may stand for one."""
    if exact:
        return [(pitch_class(wanted.root_fifths), FAMILY_CODE[wanted.family])]
    return [
        (pitch_class(wanted.root_fifths + distance), code)
        for distance in range(-11, 12)
        for family, code in FAMILY_CODE.items()
        if relation(wanted, ChordToken("", wanted.root_fifths + distance, family), 0)[0] > 0
    ]
