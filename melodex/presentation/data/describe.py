"""Plain data of descriptions and gatherings.

Conventions: as in ``data``.

Contents: as_data, description_data, gathering_data, gathering_csv.
"""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from melodex.errors import PresentationError
from melodex.melody import note_name
from melodex.presentation.data.values import csv_text, melody_data, passage_data, rounded
from melodex.tasks.describe.describe import Description
from melodex.tasks.gather.gather import Example, Gathering

__all__ = [
    "FIND_COLUMNS",
    "as_data",
    "description_data",
    "gathering_csv",
    "gathering_data",
]

FIND_COLUMNS = ("kind", "first_bar", "last_bar", "sentence", "tunes")


def as_data(result: object) -> dict[str, Any]:
    """Write the result of a task as plain data.

    Raises
    ------
    PresentationError
        If there is no such form of it.
    """
    if isinstance(result, Description):
        return description_data(result)
    if isinstance(result, Gathering):
        return gathering_data(result)
    raise PresentationError(f"there is no JSON form of a {type(result).__name__}")


def description_data(found: Description) -> dict[str, Any]:
    """What is in a piece, as plain data."""
    key = found.analysis.key
    return {
        "piece": passage_data(found.passage) | {"notes": melody_data(found.passage.melody)},
        "key": {
            "name": str(key.key),
            "certainty": rounded(key.certainty),
            "method": key.method,
            "printed": str(key.printed),
            "agrees_with_printed": key.agrees_with_printed,
            "alternatives": [
                [str(other), rounded(share)] for other, share in key.alternatives
            ],
            "inflection": key.inflection,
            "idiom": key.idiom,
            "remark": key.remark,
        },
        "key_centres": [
            {
                "first_bar": span.first_bar,
                "last_bar": span.last_bar,
                "key": str(span.key),
                "certainty": rounded(span.certainty),
                "how": span.how,
            }
            for span in found.analysis.spans
        ],
        "metre_class": found.analysis.metre_class,
        "chords_worked_out": found.passage.melody.chords_worked_out,
        "sections": [
            {
                "label": section.label,
                "first_bar": section.first_bar,
                "last_bar": section.last_bar,
                "bars": section.bars,
                "odd": section.odd,
                "why": section.why,
            }
            for section in found.analysis.sections
        ],
        **shape_data(found),
        "grid": [
            {
                "bar": bar.number,
                "section": bar.section,
                "key": bar.key,
                "metre": bar.metre,
                "chords": [
                    {
                        "text": text,
                        "numeral": numeral,
                        "certainty": rounded(certainty),
                        "next_best": other or None,
                    }
                    for (text, numeral), (certainty, other) in zip(
                        bar.chords, bar.doubts, strict=True
                    )
                ],
                "goes_on": bar.held[0] if bar.held else None,
                "degrees": list(bar.degrees),
            }
            for bar in found.grid
        ],
        "finds": [
            {
                "kind": find.kind,
                "first_bar": find.first_bar,
                "last_bar": find.last_bar,
                "sentence": find.sentence,
                "tunes": find.tunes,
            }
            for find in found.finds
        ],
        "melody_on_chords": [
            {
                "note": row.note,
                "bar": found.passage.melody.bar[row.note],
                "degree": row.degree_name,
                "kind": row.kind,
                "chord": row.chord_text,
                "numeral": row.numeral,
                "sentence": row.sentence,
            }
            for row in found.analysis.harmony.notes
        ],
        "other_lines_beside_chords": [
            {
                "line": note.line,
                "bar": note.bar,
                "onset_ticks": note.onset_ticks,
                "note": note_name(note.midi, note.fifths),
                "degree": note.degree,
                "figure": note.figure or None,
                "chord": note.chord,
                "numeral": note.numeral,
            }
            for note in found.foreign
        ],
        "texture": texture_data(found),
        "loudness": loudness_data(found),
        "symbols_against_notes": [asdict(each) for each in found.differences],
        "summary": list(found.summary),
        "unsaid": list(found.unsaid),
        "corpus_tunes": found.corpus_tunes,
    }


def shape_data(found: Description) -> dict[str, Any]:
    """Modal passages, phrases, figures that return, and how far the melody reaches."""
    analysis = found.analysis
    return {
        "modal_passages": [asdict(passage) for passage in analysis.modal],
        "phrases": [
            asdict(phrase) | {"certainty": rounded(phrase.certainty)}
            for phrase in analysis.phrases
        ],
        "figures": [
            {
                "kind": figure.kind,
                "bars": [list(pair) for pair in figure.bars],
                "notes": list(figure.notes),
                "steps": list(figure.steps),
                "words": figure.words,
            }
            for figure in analysis.figures
        ],
        "compass": asdict(analysis.compass) if analysis.compass else None,
    }


def texture_data(found: Description) -> dict[str, Any]:
    """How thick the piece is, bar by bar and by section, and what goes together."""
    thickness = found.thickness
    return {
        "bars": [
            {
                name: rounded(value) if isinstance(value, float) else value
                for name, value in asdict(bar).items()
            }
            for bar in thickness.bars
        ],
        "sections": [{"label": label} | asdict(row) for label, row in thickness.sections],
        "joining": [asdict(joint) for joint in thickness.joints],
        "going_together": [asdict(link) for link in thickness.links],
    }


def loudness_data(found: Description) -> dict[str, Any]:
    """Printed dynamics, and the loudness of a recording where one was given."""
    return {
        "printed": [asdict(sign) for sign in found.passage.whole.dynamics],
        "recording": asdict(found.recorded) if found.recorded else None,
    }


def gathering_data(found: Gathering) -> dict[str, Any]:
    """What was gathered, as plain data."""
    return {
        "wish": {
            name: value
            for name, value in asdict(found.wish).items()
            if value not in ("", None, False)
        },
        "tunes": found.tunes,
        "unsure_tunes": found.unsure,
        "corpus_tunes": found.corpus_tunes,
        "examples": [example_data(example) for example in found.examples],
        "remarks": list(found.remarks),
    }


def example_data(example: Example) -> dict[str, Any]:
    """One passage."""
    return asdict(example) | {"reasons": list(example.reasons)}


def gathering_csv(found: Gathering) -> str:
    """The passages as CSV, one a line."""
    rows = [
        asdict(example) | {"reasons": "; ".join(example.reasons)}
        for example in found.examples
    ]
    return csv_text(rows, EXAMPLE_COLUMNS)


EXAMPLE_COLUMNS = (
    "tune_id",
    "title",
    "composer",
    "year",
    "collection",
    "source",
    "number",
    "rights",
    "first_bar",
    "last_bar",
    "reasons",
    "points",
)
