"""Chance tried on a corpus, in columns.

Contents: calibration_text.
"""

from __future__ import annotations

from melodex.presentation.text.words import many, table
from melodex.tasks.collection.calibration import Calibration, Tried

__all__ = ["calibration_text"]

FOREWORD = (
    "Phrases of tunes of this corpus, read backwards and looked for in all but those tunes",
    "and their kin. Of each so many matches are expected that chance brings so often or",
    "less; so many could be stated, since points are whole numbers; so many were seen.",
)


def calibration_text(found: Calibration) -> str:
    """What was seen for what was expected."""
    if not found.rows:
        return (
            "The corpus is too small, or its tunes too short, to say how many matches "
            "chance would bring.\n"
        )
    head = ("notes", "rhythm", "phrases", "expected", "could be", "seen", "95 %", "times")
    lines = [
        *FOREWORD,
        "",
        *table(head, [*map(cells, found.rows)], (0, 2, 3, 4, 5, 7)).splitlines(),
        "",
    ]
    if found.unsaid:
        lines.append(f"Of {many(found.unsaid, 'more phrase')} chance could not be said.")
    lines.append(f"Searched: {many(found.corpus_tunes, 'tune')}; seed {found.seed}.")
    return "".join(f"{line}\n" for line in lines)


def cells(row: Tried) -> tuple[str, ...]:
    """One row."""
    low, high = row.interval
    times = f"{row.seen / row.stateable:.2f}" if row.stateable else "-"
    return (
        str(row.notes),
        "with" if row.has_rhythm else "without",
        str(row.phrases),
        f"{row.expected:g}",
        f"{row.stateable:.3f}",
        f"{row.seen:.3f}",
        f"{low:.3f} to {high:.3f}",
        times,
    )
