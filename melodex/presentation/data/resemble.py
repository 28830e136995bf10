"""Data of a resemblance and of a comparison.

Contents: resemblance_data, resemblance_rows, comparison_data, match_data, pairs_data.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from melodex.presentation.data.values import csv_text, melody_data, passage_data, rounded
from melodex.tasks.compare import Comparison, Likeness
from melodex.tasks.resemble import Match, Resemblance

__all__ = [
    "MATCH_COLUMNS",
    "comparison_data",
    "match_data",
    "pairs_data",
    "resemblance_data",
    "resemblance_rows",
]


def pairs_data(likeness: Likeness) -> list[dict[str, Any]]:
    """Aligned notes and what they are to each other."""
    return [
        {"query": pair.query, "tune": pair.tune, "relation": pair.relation}
        for pair in likeness.pairs
    ]


def match_data(match: Match) -> dict[str, Any]:
    """One match."""
    place = passage_data(match.passage)
    return {
        "rank": match.rank,
        **{name: place[name] for name in ("tune_id", "title", "composer", "year")},
        **{name: place[name] for name in ("collection", "source", "number", "rights")},
        "points": match.points,
        "expected_by_chance": rounded(match.expected_by_chance),
        "transposition_semitones": match.likeness.transposition_semitones,
        "same_function": match.likeness.same_function,
        "query_notes": list(match.query_notes),
        "tune_notes": list(match.tune_notes),
        "first_bar": place["first_bar"],
        "last_bar": place["last_bar"],
        "pairs": pairs_data(match.likeness),
        "shared_ngrams": [
            {"interval_semitones": list(steps), "tunes": tunes}
            for steps, tunes in match.shared_ngrams
        ],
        "commonness": match.commonness,
        "evidence": rounded(match.evidence),
        "explanation": list(match.explanation),
    }


def resemblance_data(found: Resemblance) -> dict[str, Any]:
    """What a phrase resembles, as plain data."""
    phrase = found.phrase
    return {
        "query": {
            "text": phrase.text,
            "notation": phrase.notation,
            "has_rhythm": phrase.has_rhythm,
            "has_tonic": phrase.has_tonic,
            "tune_id": phrase.tune_id or None,
            "most_points": found.most_points,
            "order": found.order,
            "notes": melody_data(phrase.melody) if phrase.notation != "contour" else [],
            "contour": list(phrase.contour),
        },
        "corpus": {"tunes": found.corpus_tunes, "notes": found.corpus_notes},
        "matches": [match_data(match) for match in found.matches],
        "remarks": list(found.remarks),
    }


MATCH_COLUMNS = (
    "rank",
    "tune_id",
    "title",
    "composer",
    "year",
    "collection",
    "source",
    "number",
    "rights",
    "points",
    "expected_by_chance",
    "transposition_semitones",
    "same_function",
    "first_bar",
    "last_bar",
    "first_note",
    "last_note",
    "commonness",
    "evidence",
)


def resemblance_rows(found: Resemblance) -> str:
    """The matches as CSV, one a line; notes are counted from 1 as a person would."""
    rows: Iterable[dict[str, Any]] = (match_data(match) for match in found.matches)
    return csv_text(
        [
            row
            | {
                "first_note": row["tune_notes"][0] + 1,
                "last_note": row["tune_notes"][1] + 1,
            }
            for row in rows
        ],
        MATCH_COLUMNS,
    )


def comparison_data(found: Comparison) -> dict[str, Any]:
    """Two passages side by side, as plain data."""
    return {
        "a": passage_data(found.a) | {"notes": melody_data(found.a.melody)},
        "b": passage_data(found.b) | {"notes": melody_data(found.b.melody)},
        "points": found.likeness.points,
        "transposition_semitones": found.likeness.transposition_semitones,
        "same_function": found.likeness.same_function,
        "pairs": pairs_data(found.likeness),
        "exact_run_notes": found.likeness.exact_run[2],
        "summary": list(found.summary),
    }
