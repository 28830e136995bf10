"""audit of a whole corpus: tunes that stand in it twice, and passages that two share.

Conventions: near-duplicates are those of
:mod:`melodex.tasks.collection.duplicates`. A close pair is two tunes that are no
near-duplicates and share a long run of steps, in any key; it is ordered by what that run
tells in bits under a model of the corpus, so that scales
and repeated notes come last. Rhythm plays no part.

Contents: ClosePair, WholeAudit, audit_whole.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from heapq import nsmallest

from melodex import __version__
from melodex.corpus.reader import Corpus
from melodex.corpus.tunes.tune_rows import lined_pieces, with_their_lines
from melodex.matching.chance.sample import sample_tunes
from melodex.matching.dealing.exchange import Exchange, shared_figures_by
from melodex.matching.evidence.commonness import IntervalModel
from melodex.matching.evidence.kinship import (
    Progress,
    SharedFigures,
    longest_run,
)
from melodex.melody import Melody
from melodex.tasks.audit.audit import CAUTIONS, MODEL_SEED, digest_of
from melodex.tasks.collection.duplicates import Duplicates, duplicates_among, steps_by_tune
from melodex.tasks.passage import Passage

__all__ = ["ClosePair", "WholeAudit", "audit_whole"]

SHARED_FIGURES = 3
"""Rare figures that a close pair shares: a run of eleven notes, or several shorter."""

LOOKED_AT = 5
"""Pairs that share most are looked at in full, so many for each that is wanted."""


@dataclass(frozen=True, slots=True)
class ClosePair:
    """Two tunes that share a passage, though neither is nearly the other.

    Parameters
    ----------
    one, other : Passage
        The longest run of notes that both have.
    transposition_semitones : int
        From the one to the other.
    bits : float
        What the run tells under a model of the corpus.
    shared_figures : int
        Rare figures of nine notes that both have, in the run or elsewhere.
    """

    one: Passage
    other: Passage
    transposition_semitones: int
    bits: float
    shared_figures: int

    @property
    def notes(self) -> int:
        """Length of the run."""
        return len(self.one.melody)

    def __repr__(self) -> str:
        return f"<ClosePair: {self.one.label} and {self.other.label}, {self.notes} notes>"


@dataclass(frozen=True, slots=True)
class WholeAudit:
    """What stands in a corpus twice, whole or in part.

    Parameters
    ----------
    duplicates : Duplicates
        Groups of tunes that are nearly the same.
    pairs : tuple of ClosePair
        The most telling first.
    groups_in_all : int
        Groups of near-duplicates; of these the ``duplicates`` hold the first.
    pairs_in_all : int
        Pairs that share enough figures; of these the ``pairs`` are the first.
    corpus_tunes, corpus_notes : int
        What was compared.
    corpus_digest : str
        The same for the same tunes; see :func:`melodex.tasks.audit.audit.digest_of`.
    excluded : tuple of str
        Ids of tunes left out.
    version : str
        Of melodex.
    cautions : tuple of str
        What has to be said with every audit.
    """

    duplicates: Duplicates
    groups_in_all: int
    pairs: tuple[ClosePair, ...]
    pairs_in_all: int
    corpus_tunes: int
    corpus_notes: int
    corpus_digest: str
    excluded: tuple[str, ...]
    version: str
    cautions: tuple[str, ...] = CAUTIONS

    def __repr__(self) -> str:
        return f"<WholeAudit of {self.corpus_tunes} tunes: {self.pairs_in_all} pairs>"


def audit_whole(
    corpus: Corpus,
    *,
    least: float = 0.6,
    limit: int = 20,
    exclude: Sequence[str] = (),
    outside: frozenset[str] = frozenset(),
    sides: tuple[frozenset[str], frozenset[str]] | None = None,
    progress: Progress | None = None,
    exchange: Exchange | None = None,
) -> WholeAudit:
    """Find near-duplicates and close pairs inside a corpus, or between two parts of it.

    Parameters
    ----------
    corpus : Corpus
        Opened for reading.
    least : float
        Share of figures from which two tunes count as near-duplicates.
    limit : int
        At most so many groups of near-duplicates and close pairs together.
    exclude : sequence of str
        Ids of tunes to leave out, each with its whole piece.
    outside : frozenset of str
        Ids of the lines that are no part of what is compared.
    sides : tuple of frozenset of str, optional
        Ids of the lines of two parts of the corpus, such as two books: only what a tune
        of the first has in common with one of the second is looked for.
    progress : callable, optional
        Called with the number of tunes done and of all.
    exchange : Exchange, optional
        Others who work, and where; this process alone where it is not given.

    Returns
    -------
    WholeAudit
        The same for the same corpus, whatever the order in which tunes were added.
    """
    tunes = steps_by_tune(corpus)
    pieces = lined_pieces(corpus)
    for tune_id in with_their_lines(corpus, exclude) | outside:
        tunes.pop(tune_id, None)
    if sides:
        tunes = {name: tunes[name] for name in sides[0] | sides[1] if name in tunes}
    ids = sorted(tunes)
    shared = shared_figures_by(
        exchange,
        [tunes[tune_id] for tune_id in ids],
        fewest=SHARED_FIGURES,
        progress=progress,
    )
    if sides:
        shared = [
            pair for pair in shared if across(sides, ids[pair.first], ids[pair.second])
        ]
    if pieces:
        shared = best_of_two_pieces(shared, [pieces.get(each, each) for each in ids])
    duplicates = duplicates_among(corpus, tunes, least, shared, exchange)
    if sides:
        groups = tuple(
            group
            for group in duplicates.groups
            if all(any(row.tune_id in side for row in group.tunes) for side in sides)
        )
        duplicates = replace(duplicates, groups=groups)
    group = {
        row.tune_id: number
        for number, found in enumerate(duplicates.groups)
        for row in found.tunes
    }
    # Of a group of near-duplicates the first stands for all.
    standing = {found.tunes[0].tune_id for found in duplicates.groups}
    stands = [tune_id in standing or tune_id not in group for tune_id in ids]
    apart = [
        pair
        for pair in shared
        if pair.count >= SHARED_FIGURES and stands[pair.first] and stands[pair.second]
    ]
    room = max(limit - len(duplicates.groups), 0)
    return WholeAudit(
        duplicates=replace(duplicates, groups=duplicates.groups[:limit]),
        groups_in_all=len(duplicates.groups),
        pairs=close_pairs(corpus, ids, tunes, apart, room) if room else (),
        pairs_in_all=len(apart),
        corpus_tunes=len({pieces.get(each, each) for each in ids}),
        corpus_notes=sum(len(steps) + 1 for steps in tunes.values()),
        corpus_digest=digest_of(corpus),
        excluded=tuple(sorted(set(exclude))),
        version=__version__,
    )


def best_of_two_pieces(
    shared: Sequence[SharedFigures], pieces: Sequence[str]
) -> list[SharedFigures]:
    """Of the lines of two pieces the two that share most; none of one piece alone.

    Parameters
    ----------
    shared : sequence of SharedFigures
        Pairs of lines, by place.
    pieces : sequence of str
        Of the line at each place.
    """
    best: dict[tuple[str, str], SharedFigures] = {}
    for pair in shared:
        one, other = sorted((pieces[pair.first], pieces[pair.second]))
        held = best.get((one, other))
        if one != other and (held is None or held.count < pair.count):
            best[one, other] = pair
    return sorted(best.values(), key=lambda pair: (pair.first, pair.second))


def across(sides: tuple[frozenset[str], frozenset[str]], one: str, other: str) -> bool:
    """Whether two tunes stand on the two sides, in whichever order."""
    first, second = sides
    return (one in first and other in second) or (other in first and one in second)


def close_pairs(
    corpus: Corpus,
    ids: Sequence[str],
    tunes: dict[str, bytes],
    shared: Sequence[SharedFigures],
    limit: int,
) -> tuple[ClosePair, ...]:
    """The pairs whose longest run tells most, of those that share most figures."""
    most = nsmallest(
        LOOKED_AT * limit, shared, lambda pair: (-pair.count, pair.first, pair.second)
    )
    model = IntervalModel.learned(
        pitch for pitch, _ in sample_tunes(list(corpus.chunks()), MODEL_SEED)
    )
    # A tune that cannot be read stands in no pair; 'check' names it.
    melodies = corpus.melodies(
        {ids[p] for pair in most for p in (pair.first, pair.second)},
        on_damage=lambda damage: None,
    )
    found = []
    for pair in most:
        one, other = ids[pair.first], ids[pair.second]
        if one not in melodies or other not in melodies:
            continue
        first, second, steps = longest_run(tunes[one], tunes[other])
        mine = passage_from(melodies[one], one, first, steps + 1)
        theirs = passage_from(melodies[other], other, second, steps + 1)
        moved = theirs.melody.midi[0] - mine.melody.midi[0]
        bits = model.bits(bytes(mine.melody.midi))
        found.append(ClosePair(mine, theirs, moved, bits, pair.count))
    found.sort(key=lambda pair: (-pair.bits, pair.one.tune_id, pair.other.tune_id))
    return tuple(found[:limit])


def passage_from(melody: Melody, tune_id: str, first: int, notes: int) -> Passage:
    """So many notes of a tune of the corpus."""
    return Passage(melody.excerpt(first, first + notes - 1), melody, first, tune_id, True)
