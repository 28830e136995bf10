"""Data of a resemblance and of a comparison.

Contents: resemblance_data, resemblance_rows, match_rows, comparison_data, pair_rows,
match_data, pairs_data, recording_data.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from melodex.melody import Phrase
from melodex.melody.score_line import ScoreLine
from melodex.presentation.data.values import csv_text, melody_data, passage_data, rounded
from melodex.tasks.compare.compare import Comparison
from melodex.tasks.compare.likeness import Likeness
from melodex.tasks.matches import Asked, Match, Resemblance
from melodex.tasks.passage import Passage

if TYPE_CHECKING:
    from melodex.reading.recording.record import HeardNote, Recording

__all__ = [
    "MATCH_COLUMNS",
    "comparison_data",
    "match_data",
    "match_rows",
    "pair_rows",
    "pairs_data",
    "recording_data",
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
        "notes_by_degree": match.likeness.by_degree,
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
        **({"reading": reading_data(match.asked)} if match.asked else {}),
        **in_piece_data(match.passage, match.also),
    }


def in_piece_data(found: Passage, also: Sequence[Passage]) -> dict[str, Any]:
    """Which line of its piece was found, and where else it stands in the piece."""
    line = found.whole.line
    if line.count == 1:
        return {}
    return {
        "line": line_data(line),
        "also": [
            {
                "tune_id": passage.tune_id,
                "line": line_data(passage.whole.line),
                "first_bar": passage.bars[0],
                "last_bar": passage.bars[1],
            }
            for passage in also
        ],
    }


def line_data(line: ScoreLine) -> dict[str, Any]:
    """Which line of a piece."""
    return {
        "position": line.position,
        "of": line.count,
        "is_main": line.is_main,
        "part": line.part,
        "voice": line.voice,
        "instrument": line.instrument,
    }


def reading_data(asked: Asked) -> dict[str, Any]:
    """Which reading of a recording matches."""
    return {
        "read": asked.words,
        "has_rhythm": asked.phrase.has_rhythm,
        "most_points": asked.most_points,
        "notes": melody_data(asked.phrase.melody),
    }


def recording_data(recording: Recording) -> dict[str, Any]:
    """What was heard in a recording, every reading of it."""
    return {
        "seconds": recording.seconds,
        "offset_semitones": recording.offset_semitones,
        "drift_semitones": recording.drift_semitones,
        "tuning": recording.tuning,
        "remarks": list(recording.remarks),
        "readings": [
            {"read": line.words, "notes": [heard_data(note) for note in line.notes]}
            for line in recording.lines
        ],
    }


def heard_data(note: HeardNote) -> dict[str, Any]:
    """One note that was heard."""
    return {
        "note": note.name,
        "midi": note.midi,
        "onset_seconds": note.onset_seconds,
        "seconds": note.seconds,
        "off_semitones": note.off_semitones,
        "ratio": note.ratio,
        "confidence": note.confidence,
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
            "notes": melody_data(phrase.melody) if phrase.has_notes else [],
            "contour": list(phrase.contour),
            **known_data(phrase),
        },
        "corpus": {"tunes": found.corpus_tunes, "notes": found.corpus_notes},
        **({"recording": recording_data(found.recording)} if found.recording else {}),
        "matches": [match_data(match) for match in found.matches],
        "remarks": [*found.foreword, *found.remarks],
    }


def known_data(phrase: Phrase) -> dict[str, Any]:
    """What is known of each note of a phrase of which not all is."""
    if not phrase.has_pitch:
        return {}
    melody = phrase.melody
    return {
        "known": [
            {"note": midi if heard else None, "duration_ticks": ticks if timed else None}
            for midi, ticks, heard, timed in zip(
                melody.midi,
                melody.duration_ticks,
                phrase.has_pitch,
                phrase.has_length,
                strict=True,
            )
        ]
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
    return csv_text(match_rows(found), MATCH_COLUMNS)


def match_rows(found: Resemblance) -> list[dict[str, Any]]:
    """The matches, a flat row each; notes are counted from 1 as a person would."""
    rows = []
    for match in found.matches:
        data = match_data(match)
        data["first_note"], data["last_note"] = (note + 1 for note in match.tune_notes)
        rows.append({name: data[name] for name in MATCH_COLUMNS})
    return rows


def pair_rows(found: Comparison) -> list[dict[str, Any]]:
    """Pairs of notes, a flat row each; a note without a partner stands beside None."""
    sides = [
        (name, melody_data(side.melody)) for name, side in (("a", found.a), ("b", found.b))
    ]
    rows = []
    for pair in found.likeness.pairs:
        row: dict[str, Any] = {"relation": pair.relation}
        for (name, notes), place in zip(sides, (pair.query, pair.tune), strict=True):
            note = notes[place] if place is not None else {}
            row |= {f"{name}_{part}": note.get(part) for part in PAIR_PARTS}
        rows.append(row)
    return rows


PAIR_PARTS = ("bar", "note", "degree", "onset_quarters", "duration_quarters")


def comparison_data(found: Comparison) -> dict[str, Any]:
    """Two passages side by side, as plain data."""
    return {
        "a": passage_data(found.a) | {"notes": melody_data(found.a.melody)},
        "b": passage_data(found.b) | {"notes": melody_data(found.b.melody)},
        "points": found.likeness.points,
        "transposition_semitones": found.likeness.transposition_semitones,
        "same_function": found.likeness.same_function,
        "notes_by_degree": found.likeness.by_degree,
        "pairs": pairs_data(found.likeness),
        "exact_run_notes": found.likeness.exact_run[2],
        "summary": list(found.summary),
    }
