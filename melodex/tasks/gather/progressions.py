"""Progressions in a whole corpus: sifted all at once, then aligned tune by tune.

Conventions: a byte for each chord (kept in ``tune_facet``) tells in one pass which
tunes may hold a progression, and what they can earn by it. Only then chords are read
and aligned, those of the likeliest tunes first. Where there are more tunes than may be
looked at closely, the rest are counted as unsure and nothing is claimed of them.

Contents: FoundProgressions, MOST_ALIGNED, progressions_in, likeliest,
progression_from_piece.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from typing import TYPE_CHECKING, Any

from melodex.analysis.harmony.chords import parse_chord, parse_chords
from melodex.analysis.harmony.progression_search import (
    PARTING,
    ProgressionMatch,
    find_in_row,
    points_in_a_row,
    sift,
)
from melodex.analysis.harmony.progressions import (
    ChordToken,
    Progression,
    read_progression,
    token_of,
)
from melodex.corpus.shards.merging import in_order
from melodex.errors import AnalysisError

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = [
    "MOST_ALIGNED",
    "FoundProgressions",
    "likeliest",
    "progression_from_piece",
    "progressions_in",
]

MOST_ALIGNED = 200
"""Tunes looked at closely where only the best are shown: about a tenth of a second; see
the benchmark of gathering."""


@dataclass(slots=True)
class FoundProgressions:
    """Bars and reasons by tune, the best points of each, and who was not looked at."""

    places: dict[int, list[tuple[int, int, str]]] = field(default_factory=dict)
    points: dict[int, float] = field(default_factory=dict)
    unsure: int = 0


def progressions_in(
    corpus: Corpus,
    text: str,
    kept: set[int] | None,
    *,
    exact: bool = False,
    most_aligned: int | None = None,
) -> FoundProgressions:
    """Find a typed progression in some tunes, in every key.

    Parameters
    ----------
    corpus : Corpus
        Opened for reading.
    text : str
        Roman numerals or chord symbols.
    kept : set of int or None
        Row numbers of the tunes to look in; None for all.
    exact : bool
        Whether nothing may stand for a chord.
    most_aligned : int, optional
        At most so many tunes are looked at closely.

    Raises
    ------
    AnalysisError
        If the progression is not understood.
    """
    progression = read_progression(text)
    candidates = sifted(corpus, progression, kept, exact)
    looked_at = candidates[:most_aligned]
    found = FoundProgressions(unsure=len(candidates) - len(looked_at))
    for tune, tokens, bars in chords_of(corpus, [tune for *_, tune in looked_at]):
        matches = find_in_row(progression, tokens, exact=exact)
        if matches:
            found.points[tune] = max(match.points for match in matches)
            found.places[tune] = [place_of(match, tokens, bars) for match in matches]
    return found


def likeliest(
    corpus: Corpus, text: str, kept: set[int] | None, exact: bool
) -> list[tuple[float, str]]:
    """How likely the tunes that may hold a progression do, the likeliest first: the points
    in a row, below zero, and the tune id."""
    found = sifted(corpus, read_progression(text), kept, exact)
    return [(points, tune_id) for points, tune_id, _ in found]


def sifted(
    corpus: Corpus, progression: Progression, kept: set[int] | None, exact: bool
) -> list[tuple[float, str, int]]:
    """Tunes that may hold a progression, the most points in a row first, equals by id."""
    import numpy as np

    rows = corpus.query(
        "SELECT tune, chord_row, tune_id FROM tune CROSS JOIN tune_facet "
        "ON tune_facet.tune = tune.id WHERE chord_row NOT NULL ORDER BY tune_id",
        merge=in_order(2),
    )
    if kept is not None:
        rows = [row for row in rows if row[0] in kept]
    if not rows:
        return []
    tunes, chords, ids = zip(*rows, strict=True)
    data = bytes([PARTING]).join(chords)
    places = sift(progression, data, exact=exact)
    if not len(places):
        return []
    ends = np.cumsum(np.fromiter(map(len, chords), dtype=np.int64) + 1)
    inside = np.searchsorted(ends, places, side="right")
    # Places rise, so those of one tune are neighbours.
    first = np.flatnonzero(np.diff(inside, prepend=-1))
    points = points_in_a_row(progression, data, places)
    best = -np.maximum.reduceat(points, first)
    order = np.argsort(best, kind="stable")
    places = inside[first][order].tolist()
    return [
        (points, ids[place], tunes[place])
        for points, place in zip(best[order].tolist(), places, strict=True)
    ]


def chords_of(
    corpus: Corpus, tunes: Sequence[int]
) -> Iterator[tuple[int, list[ChordToken], list[int]]]:
    """Chords of some tunes as tokens, and the bar of each chord."""
    rows = corpus.query(
        "SELECT tune, bar, text, root_fifths, degree_fifths FROM json_each(?) AS wanted "
        "CROSS JOIN chord ON tune = wanted.value ORDER BY tune, place",
        [json.dumps(sorted(tunes))],
    )
    by_tune: dict[int, list[tuple[Any, ...]]] = defaultdict(list)
    for row in rows:
        by_tune[row[0]].append(row[1:])
    for tune, chords in by_tune.items():
        yield tune, tokens_of_rows(chords), [bar for bar, *_ in chords]


def tokens_of_rows(chords: Iterable[tuple[Any, ...]]) -> list[ChordToken]:
    """Tokens of (bar, text, root, degree), mere repetitions put together."""
    tokens: list[ChordToken] = []
    for place, (_, text, root, degree) in enumerate(chords):
        if root is None:
            continue
        tonic = None if degree is None else root - degree
        if tokens and (tokens[-1].text, tokens[-1].tonic_fifths) == (text, tonic):
            tokens[-1] = tokens[-1]._replace(last=place)
            continue
        token = token_of(parse_chord(text))
        tokens.append(token._replace(tonic_fifths=tonic, first=place, last=place))
    return tokens


def place_of(
    match: ProgressionMatch, tokens: Sequence[ChordToken], bars: Sequence[int]
) -> tuple[int, int, str]:
    """Bars of a match, the chords that were found, and what stands for what."""
    found = [(tokens[p.found].text, p) for p in match.pairs if p.found is not None]
    others = [f"{text} {p.relation}" for text, p in found if p.relation != "same chord"]
    missing = sum(p.found is None for p in match.pairs)
    if missing:
        others.append(f"{missing} missing")
    tail = f" ({'; '.join(dict.fromkeys(others))})" if others else ""
    words = f"progression {' '.join(text for text, _ in found)}{tail}"
    return bars[match.first], bars[match.last], f"{words}, {match.share:.0%}"


def progression_from_piece(corpus: Corpus, name: str, bars: str | None) -> str:
    """Return the chords of some bars of a piece as a typed progression.

    Parameters
    ----------
    corpus : Corpus
        In which the tune may stand.
    name : str
        A file, a tune id or a title.
    bars : str or None
        Such as ``5-8``; None for the whole piece.

    Raises
    ------
    UnknownTuneError, ReadingError, PassageError
        If there is no such tune, or no such bars in it.
    AnalysisError
        If no chord sounds there.
    """
    from melodex.tasks.passage import find_passage, read_span

    span = read_span(bars) if bars else None
    passage = find_passage(name, corpus, bars=span, fewest=1)
    chords = parse_chords(symbol.text for symbol in passage.melody.chords)
    texts = [text for text, _ in groupby(chord.text for chord in chords if chord.sounds)]
    if not texts:
        raise AnalysisError(
            f"{passage.label} has no chords", hint="name other bars, or type a progression"
        )
    return " ".join(texts)
