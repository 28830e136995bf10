"""The corpus of the retrieval benchmark: tunes, packed notes, families, queries.

Conventions: a tune is named by its place in the list of tunes; its id in the packed
chunks is that place in hexadecimal digits. With ``MELODEX_BENCHMARK_CACHE`` set to a
folder, what was read is kept there; delete it when a reader changes.

Contents: packed, Family, Query, judged_corpus, families, phrase_queries, whole_queries,
said_as.
"""

from __future__ import annotations

import json
import os
import pickle
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random
from typing import Any

from benchmarks.retrieval.judged.labels import JUDGEMENTS, JudgedTune, judged_tunes
from melodex.corpus.chunks import (
    TUNES_PER_CHUNK,
    PackedChunk,
    TuneNotes,
    encode_notes,
)
from melodex.corpus.packing import pack
from melodex.melody import Phrase, beat_strength
from melodex.melody.tune_id import leading

__all__ = [
    "LENGTHS",
    "POSITIONS",
    "SAYS",
    "Family",
    "Query",
    "families",
    "judged_corpus",
    "packed",
    "phrase_queries",
    "place_of",
    "said_as",
    "tune_id",
    "whole_queries",
]

LENGTHS = (8, 12, 20)
POSITIONS = ("start", "middle", "end")
SEED = 7
SAYS = ("passage", "lengths", "degrees")
"""How a phrase is said: from a tune, or typed in degrees with lengths or without."""

CACHE_VARIABLE = "MELODEX_BENCHMARK_CACHE"


@dataclass(frozen=True, slots=True)
class Family:
    """Tunes that are kin, and the others of their label, of which nobody knows."""

    number: int
    half: str
    kind: str
    members: tuple[int, ...]
    doubtful: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Query:
    """A phrase of a tune, and which tunes are right answers."""

    family: int
    tune: int
    position: str
    phrase: Phrase
    relevant: frozenset[int]
    doubtful: frozenset[int]


def place_of(tune_id: str) -> int:
    """Which tune of a list an id of :func:`tune_id` names."""
    return int(leading(tune_id), 16)


def tune_id(place: int) -> str:
    """The id in packed chunks of the tune at a place."""
    return f"{place:012x}0000"


def packed(tunes: list[JudgedTune]) -> list[PackedChunk]:
    """All tunes, packed as in a corpus."""
    notes = [TuneNotes(tune_id(n), *encode_notes(t.melody)) for n, t in enumerate(tunes)]
    return [
        pack(notes[start : start + TUNES_PER_CHUNK])
        for start in range(0, len(notes), TUNES_PER_CHUNK)
    ]


def judged_corpus() -> tuple[list[JudgedTune], list[PackedChunk]]:
    """Tunes and chunks, from the cache where there is one."""
    folder = os.environ.get(CACHE_VARIABLE)
    kept = Path(folder) / "judged_tunes.pickle" if folder else None
    if kept and kept.exists():
        tunes: list[JudgedTune] = pickle.loads(kept.read_bytes())
    else:
        tunes = judged_tunes()
        if kept:
            kept.write_bytes(pickle.dumps(tunes))
    return tunes, packed(tunes)


def families(
    tunes: list[JudgedTune], half: str, *, checked: bool, share: float = 1.0
) -> list[Family]:
    """The families of a half, checked by their notes or by label only.

    A share below 1 draws so many of the labels, the same for both.
    """
    data: dict[str, Any] = json.loads(JUDGEMENTS.read_text(encoding="utf-8"))
    places = {(tune.source, tune.number): n for n, tune in enumerate(tunes)}
    found: list[Family] = []
    dice = Random(SEED)
    for entry in data["families"]:
        if entry["half"] != half or dice.random() >= share:
            continue
        here = [places[source, number] for source, number in entry["tunes"]]
        groups = entry["checked"] if checked else [range(len(here))]
        for group in groups:
            members = tuple(here[i] for i in group)
            others = tuple(n for n in here if n not in members)
            found.append(Family(len(found), half, entry["kind"], members, others))
    return found


def whole_queries(tunes: list[JudgedTune], judged: list[Family]) -> list[Query]:
    """Every member of every family, whole."""
    return [
        query_of(
            family, tune, "whole", Phrase(tunes[tune].melody, "passage", is_whole=True)
        )
        for family in judged
        for tune in family.members
    ]


def phrase_queries(
    tunes: list[JudgedTune], judged: list[Family], length: int
) -> list[Query]:
    """Start, middle and end of every member that has notes enough."""
    return [
        query_of(
            family,
            tune,
            position,
            Phrase(
                tunes[tune].melody.excerpt(first, first + length - 1),
                "passage",
                first_note=first,
            ),
        )
        for family in judged
        for tune in family.members
        if len(tunes[tune].melody) >= length
        for position, first in starts(len(tunes[tune].melody), length)
    ]


def said_as(phrase: Phrase, said: str) -> Phrase:
    """A phrase as a passage, or as it would be typed: without metre, phrases, place."""
    if said == "passage":
        return phrase
    count = len(phrase.melody)
    free = beat_strength(0, None)
    melody = replace(
        phrase.melody, phrase=(0,) * count, metres=(), beat_strength=(free,) * count
    )
    timed = said == "lengths"
    return replace(
        phrase, melody=melody, notation="degrees", has_rhythm=timed, first_note=0
    )


def starts(notes: int, length: int) -> list[tuple[str, int]]:
    """Positions and the first note of a phrase there."""
    return list(zip(POSITIONS, (0, (notes - length) // 2, notes - length), strict=True))


def query_of(family: Family, tune: int, position: str, phrase: Phrase) -> Query:
    """A query with its answers."""
    relevant = frozenset(family.members) - {tune}
    return Query(
        family.number, tune, position, phrase, relevant, frozenset(family.doubtful)
    )
