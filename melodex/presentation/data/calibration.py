"""Chance tried on a corpus, for other programs.

Conventions: those of :mod:`melodex.presentation.data.forms`.

Contents: calibration_rows, calibration_json, calibration_csv.
"""

from __future__ import annotations

from typing import Any

from melodex.presentation.data.values import csv_text, json_text
from melodex.tasks.collection.calibration import Calibration

__all__ = ["calibration_csv", "calibration_json", "calibration_rows"]

COLUMNS = (
    "notes",
    "has_rhythm",
    "phrases",
    "expected",
    "stateable",
    "seen",
    "seen_least",
    "seen_most",
)


def calibration_rows(found: Calibration) -> list[dict[str, Any]]:
    """One row for each kind of phrase and each level; numbers in full."""
    return [
        dict(
            zip(
                COLUMNS,
                (
                    row.notes,
                    row.has_rhythm,
                    row.phrases,
                    row.expected,
                    row.stateable,
                    row.seen,
                    *row.interval,
                ),
                strict=True,
            )
        )
        for row in found.rows
    ]


def calibration_json(found: Calibration) -> str:
    """All of it as JSON."""
    return json_text(
        {
            "corpus": {
                "tunes": found.corpus_tunes,
                "notes": found.corpus_notes,
                "digest": found.corpus_digest,
            },
            "seed": found.seed,
            "unsaid": found.unsaid,
            "rows": calibration_rows(found),
        }
    )


def calibration_csv(found: Calibration) -> str:
    """The rows as CSV (RFC 4180)."""
    return csv_text(calibration_rows(found), COLUMNS)
