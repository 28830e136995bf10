"""Data for other programs: JSON and CSV of what the tasks find.

Conventions: names say their units; note indexes count from 0; a missing partner is
null. Floating numbers are rounded to six figures, so that the same question gives
the same bytes.

Contents: as_json, as_csv, json_text, csv_text, melody_data, resemblance_data,
comparison_data, audit_data, resemblance_rows.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from melodex.errors import PresentationError
from melodex.melody import Melody, degree_name, note_name
from melodex.tasks.audit import Audit, Finding
from melodex.tasks.compare import Comparison, Likeness
from melodex.tasks.passage import Passage
from melodex.tasks.resemble import Match, Resemblance

__all__ = [
    "as_csv",
    "as_json",
    "audit_data",
    "comparison_data",
    "csv_text",
    "json_text",
    "melody_data",
    "resemblance_data",
    "resemblance_rows",
]

FIGURES = 6


def as_json(result: object) -> str:
    """Write the result of any task as JSON.

    Raises
    ------
    PresentationError
        If there is no JSON form of it.
    """
    if isinstance(result, Resemblance):
        return json_text(resemblance_data(result))
    if isinstance(result, Comparison):
        return json_text(comparison_data(result))
    if isinstance(result, Audit):
        return json_text(audit_data(result))
    from melodex.presentation import data_describe

    return json_text(data_describe.as_data(result))


def as_csv(result: object) -> str:
    """Write the result of a task that is a list as CSV.

    Raises
    ------
    PresentationError
        If there is no CSV form of it.
    """
    if isinstance(result, Resemblance):
        return resemblance_rows(result)
    from melodex.tasks.gather import Gathering

    if isinstance(result, Gathering):
        from melodex.presentation.data_describe import gathering_csv

        return gathering_csv(result)
    raise PresentationError(f"there is no CSV form of a {type(result).__name__}")


def json_text(data: Any) -> str:
    """Write data as JSON, readable and always the same."""
    return json.dumps(data, indent=2, ensure_ascii=False) + "\n"


def csv_text(rows: Sequence[Mapping[str, Any]], columns: Sequence[str]) -> str:
    """Write rows as CSV (RFC 4180) with a line of names; None is empty.

    A text that a spreadsheet would run as a formula is set off by an apostrophe.
    """
    sheet = io.StringIO()
    writer = csv.writer(sheet, lineterminator="\r\n")
    writer.writerow(columns)
    for row in rows:
        writer.writerow([harmless(row.get(column)) for column in columns])
    return sheet.getvalue()


def harmless(value: Any) -> Any:
    """A value that no spreadsheet takes for a formula."""
    if isinstance(value, str) and value[:1] in {"=", "+", "-", "@", "\t", "\r"}:
        return f"'{value}"
    return "" if value is None else value


def rounded(value: float | None) -> float | None:
    """A number to six figures."""
    return None if value is None else float(f"{value:.{FIGURES}g}")


def melody_data(melody: Melody) -> list[dict[str, Any]]:
    """Notes of a melody, one object each."""
    names = [note_name(m, f) for m, f in zip(melody.midi, melody.fifths, strict=True)]
    return [
        {
            "note": name,
            "midi": melody.midi[place],
            "degree": None if degree is None else degree_name(degree),
            "bar": melody.bar[place],
            "onset_quarters": rounded(melody.onset_quarters[place]),
            "duration_quarters": rounded(melody.duration_quarters[place]),
        }
        for place, (name, degree) in enumerate(zip(names, melody.degrees(), strict=True))
    ]


def passage_data(passage: Passage) -> dict[str, Any]:
    """Where a passage comes from."""
    whose = passage.whole.credits
    melody = passage.melody
    return {
        "tune_id": passage.tune_id,
        "title": passage.whole.title,
        "composer": whose.composer,
        "year": whose.year,
        "collection": whose.collection,
        "source": whose.source,
        "number": whose.number,
        "rights": whose.rights,
        "first_bar": melody.bar[0],
        "last_bar": melody.bar[-1],
    }


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


def finding_data(finding: Finding) -> dict[str, Any]:
    """One finding of an audit."""
    found, common = finding.likeness, finding.commonness
    return {
        "rank": finding.rank,
        "own": passage_data(finding.own) | {"first_note": finding.own.first_note},
        "tune": passage_data(finding.tune) | {"first_note": finding.tune.first_note},
        "expected_by_chance": rounded(finding.expected_by_chance),
        "points": found.points,
        "transposition_semitones": found.transposition_semitones,
        "same_function": found.same_function,
        "same_rhythm_notes": found.count("same degree and time"),
        "exact_run_notes": found.exact_run[2],
        "commonness": {
            "verdict": common.verdict,
            "notes": common.notes,
            "other_tunes_exact": common.exact,
            "other_tunes_near": common.near,
            "tunes": common.tunes,
        },
        "information_bits": rounded(finding.bits),
        "earlier": finding.earlier,
        "pairs": pairs_data(found),
    }


def audit_data(found: Audit) -> dict[str, Any]:
    """An audit as plain data, with all that is needed to repeat it."""
    return {
        "own": passage_data(found.own),
        "findings": [finding_data(finding) for finding in found.findings],
        "findings_in_all": found.findings_in_all,
        "coverage": [
            {
                "bar": cover.bar,
                "findings": list(cover.findings),
                "expected_by_chance": rounded(cover.expected_by_chance),
            }
            for cover in found.coverage
        ],
        "compared_with": {
            "tunes": found.corpus_tunes,
            "notes": found.corpus_notes,
            "corpus_digest": found.corpus_digest,
            "windows": found.windows,
            "threshold": found.threshold,
            "excluded": list(found.excluded),
            "costs": {
                "same_pitch": list(found.costs.same_pitch),
                "near_pitch": list(found.costs.near_pitch),
                "far_pitch": list(found.costs.far_pitch),
                "gap": found.costs.gap,
            },
            "melodex": found.version,
        },
        "remarks": list(found.remarks),
        "cautions": list(found.cautions),
    }
