"""chance tried on a corpus: are as many matches seen as are expected?

Conventions: of phrases that have no relatives in a corpus, as many tunes should match with
an expected number of t or less as t says. Such phrases are cut from tunes of the corpus and
read backwards, which keeps what is usual in it; each is looked for in all but its own tune
and the kin of that, since parts of tunes run alike both ways. Kin are tunes that share
:data:`KIN_FIGURES` rare figures of nine notes with it, and a tune goes with its piece. Each
phrase is asked with its rhythm and without. Which tunes are cut, and where, depends on
their ids and on a seed alone.

Points are whole numbers, so not every number can be stated: what could be is counted
beside, as the mean over phrases of the largest number that is no larger than t and that
some match could have. Matches of one phrase come in clumps, since tunes resemble each
other: intervals are of samples of phrases drawn anew, with replacement (Efron 1979, Annals
of Statistics 7, 1-26).

Contents: LEVELS, Calibration, Tried, calibrate_chance, seen_of, mean, interval.
"""

from __future__ import annotations

import hashlib
from bisect import bisect_left
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from random import Random

from melodex import __version__
from melodex.corpus.chunks import UNKNOWN_LENGTH
from melodex.corpus.reader import Corpus
from melodex.corpus.tunes.tune_rows import lined_pieces
from melodex.matching.asking import Notes, Question
from melodex.matching.chance.fit import expected_by_chance, fit_points
from melodex.matching.chance.sample import OWN_BEST
from melodex.matching.dealing.dealer import Kept, unreadable
from melodex.matching.dealing.exchange import Exchange, shared_figures_by
from melodex.matching.dealing.held import whole_of, with_whole
from melodex.matching.engine.choice import engine
from melodex.matching.engine.passes import batched
from melodex.matching.query import EncodedQuery
from melodex.settings import AlignmentCosts
from melodex.tasks.audit.audit import digest_of
from melodex.tasks.collection.duplicates import steps_by_tune

__all__ = [
    "LEVELS",
    "Calibration",
    "Tried",
    "calibrate_chance",
    "interval",
    "mean",
    "seen_of",
]

LEVELS = (1.0, 0.1, 0.01)
"""Expected numbers at which matches are counted."""

LENGTHS = (8, 12, 24)
"""Notes of the phrases."""

LIMIT = 40
"""Matches of a phrase that are looked at, at most."""

KIN_FIGURES = 3
SEED = 2026
COSTS = AlignmentCosts()

PHRASES_AT_ONCE = 5
"""Asked by whoever works in one piece: over a million tunes some ten seconds."""

DRAWN_ANEW = 2_000
"""Samples of phrases for an interval."""

Progress = Callable[[int, int], None]

Seen = tuple[list[int], list[float]]
"""At each level the matches of a phrase, and what could be stated of it."""

Asked = tuple[bytes, bytes, list[str]]
"""Pitches and length classes of a phrase, and the ids of the lines that are left out."""


@dataclass(frozen=True, slots=True)
class Tried:
    """What was seen of phrases of one length, at one level.

    Parameters
    ----------
    notes : int
        Of each phrase.
    has_rhythm : bool
        Whether they were asked with their rhythm.
    phrases : int
        How many.
    expected : float
        The level: matches that a phrase is expected to have by chance.
    seen, stateable : float
        Matches of a phrase that were seen, and that could be stated; the means.
    interval : tuple of float
        In which the mean of those seen is with 95 %.
    """

    notes: int
    has_rhythm: bool
    phrases: int
    expected: float
    seen: float
    stateable: float
    interval: tuple[float, float]


@dataclass(frozen=True, slots=True)
class Calibration:
    """Whether as many matches are seen in a corpus as are expected by chance.

    Parameters
    ----------
    rows : tuple of Tried
        By length, with rhythm before without, and by level; none where the corpus has too
        few tunes to say what chance would bring.
    unsaid : int
        Phrases of which chance could not be said.
    corpus_tunes, corpus_notes : int
        What was searched.
    corpus_digest : str
        The same for the same tunes; see :func:`melodex.tasks.audit.audit.digest_of`.
    seed : int
        By which phrases were drawn.
    """

    rows: tuple[Tried, ...]
    unsaid: int
    corpus_tunes: int
    corpus_notes: int
    corpus_digest: str
    seed: int

    def __repr__(self) -> str:
        return f"<Calibration over {self.corpus_tunes} tunes: {len(self.rows)} rows>"


def calibrate_chance(
    corpus: Corpus,
    *,
    phrases: int = 100,
    seed: int = SEED,
    progress: Progress | None = None,
    exchange: Exchange | None = None,
) -> Calibration:
    """Try whether as many matches are seen in a corpus as are expected by chance.

    Parameters
    ----------
    corpus : Corpus
        Opened for reading.
    phrases : int
        How many of each length; fewer where fewer tunes are long enough.
    seed : int
        By which they are drawn.
    progress : callable, optional
        Called with what is done and all there is to do, in each round anew.
    exchange : Exchange, optional
        Others who work, and where; this process alone where it is not given.

    Returns
    -------
    Calibration
        The same to the last digit for the same tunes, whoever works on them.
    """
    notes = Notes.of(corpus)
    kin = kin_of_tunes(corpus, exchange, progress)
    asked: list[Asked] = []
    of_row: list[tuple[int, bool]] = []
    for length in LENGTHS:
        for pitch, classes, tune_id in cut(notes, length, phrases, seed):
            for has_rhythm in (True, False):
                known = classes if has_rhythm else bytes([UNKNOWN_LENGTH & 0xFF]) * length
                asked.append((pitch, known, kin(tune_id)))
                of_row.append((length, has_rhythm))
    found = dealt(corpus, notes, asked, exchange, progress)
    rows: dict[tuple[int, bool], list[Seen]] = {}
    for key, seen in zip(of_row, found, strict=True):
        rows.setdefault(key, []).extend([seen] if seen else [])
    return Calibration(
        tuple(row for key, seen in rows.items() if seen for row in rows_of(*key, seen)),
        sum(seen is None for seen in found),
        corpus.tune_count,
        corpus.note_count,
        digest_of(corpus),
        seed,
    )


def kin_of_tunes(
    corpus: Corpus, exchange: Exchange | None, progress: Progress | None
) -> Callable[[str], list[str]]:
    """For the id of a tune, the ids of all lines of its piece and of its kin."""
    tunes, pieces = steps_by_tune(corpus), lined_pieces(corpus)
    ids = sorted(tunes)
    lines: dict[str, list[str]] = {}
    for tune_id in ids:
        lines.setdefault(pieces.get(tune_id, tune_id), []).append(tune_id)
    steps = [tunes[tune_id] for tune_id in ids]
    others: dict[str, set[str]] = {}
    for pair in shared_figures_by(exchange, steps, fewest=KIN_FIGURES, progress=progress):
        one, other = (pieces.get(ids[at], ids[at]) for at in (pair.first, pair.second))
        others.setdefault(one, set()).add(other)
        others.setdefault(other, set()).add(one)

    def kin(tune_id: str) -> list[str]:
        own = pieces.get(tune_id, tune_id)
        return sorted(line for each in {own, *others.get(own, ())} for line in lines[each])

    return kin


def cut(
    notes: Notes, length: int, count: int, seed: int
) -> Iterator[tuple[bytes, bytes, str]]:
    """Phrases of the first lines of tunes, turned round, with the ids of the tunes."""
    # Some are too short to be cut from, a tune more or less is one in place of another.
    drawn = notes.drawn(seed + length, max(2 * count, count + 100))
    long_enough = [entry for entry in drawn if len(entry[1][0][0]) >= length]
    dice = Random(f"{seed} {length}")
    for tune_id, lines in dice.sample(long_enough, min(count, len(long_enough))):
        pitch, classes = lines[0]
        first = Random(f"{seed} {tune_id.hex()}").randrange(len(pitch) - length + 1)
        part = slice(first, first + length)
        yield pitch[part][::-1], classes[part][::-1], tune_id.hex()


def dealt(
    corpus: Corpus,
    notes: Notes,
    asked: Sequence[Asked],
    exchange: Exchange | None,
    progress: Progress | None,
) -> list[Seen | None]:
    """What is seen of each phrase, by whoever works; what was seen before is kept."""
    parts = [*batched(asked, PHRASES_AT_ONCE)]
    if exchange is None:
        found: list[Seen | None] = []
        for part in parts:
            corpus.pause()
            found += seen_of_each(corpus, notes, part)
            if progress:
                progress(len(found), len(asked))
        return found
    told = repr((__version__, digest_of(corpus), LEVELS, LIMIT, asked))
    name = hashlib.sha256(told.encode("utf-8")).hexdigest()[:16]
    dealer = Kept(exchange.dealer, exchange.folder, f"chance-{name}")
    whole = whole_of(corpus)
    jobs = [(whole, seen_in, part) for part in parts]
    try:
        return [
            None if seen is None else (list(seen[0]), list(seen[1]))
            for part in dealer.deal(with_whole, jobs, progress)
            for seen in part
        ]
    except (TypeError, IndexError) as error:
        raise unreadable(exchange.folder) from error


def seen_in(corpus: Corpus, asked: Sequence[Asked]) -> list[Seen | None]:
    """What is seen of each of some phrases in a corpus that is held."""
    return seen_of_each(corpus, Notes.of(corpus), asked)


def seen_of_each(corpus: Corpus, notes: Notes, asked: Sequence[Asked]) -> list[Seen | None]:
    """What is seen of each of some phrases."""
    size = corpus.tune_count, corpus.note_count
    return [
        seen_of(notes, EncodedQuery(pitch, classes), frozenset(left_out), *size)
        for pitch, classes, left_out in asked
    ]


def seen_of(
    notes: Notes,
    query: EncodedQuery,
    left_out: frozenset[str],
    corpus_tunes: int,
    corpus_notes: int,
) -> Seen | None:
    """How many matches of a phrase are seen at each level, and what could be stated.

    Parameters
    ----------
    notes : Notes
        Of the corpus.
    query : EncodedQuery
        A phrase that has no relatives there but for those that are left out.
    left_out : frozenset of str
        Ids of tunes.
    corpus_tunes, corpus_notes : int
        What is searched.

    Returns
    -------
    seen, stateable : list
        A number for each of :data:`LEVELS`; None where chance cannot be said.
    """
    (answer,) = notes.answers([Question(query, OWN_BEST, COSTS, left_out)])
    fit = fit_points(answer.null) if answer.null else None
    if fit is None:
        return None
    expected = partial(
        expected_by_chance, fit, corpus_tunes=corpus_tunes, corpus_notes=corpus_notes
    )
    told = [expected(hit.points) for hit in answer.hits[:LIMIT]]
    ((most, _),) = engine().best([(query.pitch, query.length_class)], query, COSTS)
    stateable = []
    for level in LEVELS:
        least = bisect_left(range(most + 1), -level, key=lambda s: -expected(s))
        stateable.append(expected(least) if least <= most else 0.0)
    return [sum(number <= level for number in told) for level in LEVELS], stateable


def rows_of(notes: int, has_rhythm: bool, seen: Sequence[Seen]) -> Iterator[Tried]:
    """What was seen of phrases of one kind, a row for each level."""
    for place, level in enumerate(LEVELS):
        counts = [counts[place] for counts, _ in seen]
        yield Tried(
            notes,
            has_rhythm,
            len(seen),
            level,
            mean(counts),
            mean([stateable[place] for _, stateable in seen]),
            interval(counts),
        )


def mean(values: Sequence[float]) -> float:
    """The mean, 0 of nothing."""
    return sum(values) / max(len(values), 1)


def interval(counts: Sequence[int]) -> tuple[float, float]:
    """95 % of the means of phrases drawn anew, with replacement."""
    dice = Random(SEED)
    means = sorted(mean(dice.choices(counts, k=len(counts))) for _ in range(DRAWN_ANEW))
    return means[DRAWN_ANEW // 40], means[-DRAWN_ANEW // 40 - 1]
