"""Data of teaching sets for other programs, as JSON.

Conventions: as in :mod:`melodex.presentation.data.forms`. Rights that are not known are an
empty text, with ``rights_known`` false beside it.

Contents: lessons_json, lesson_json, arrangement_json, worksheet_json.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from melodex.melody import degree_name
from melodex.presentation.data.values import json_text
from melodex.tasks.lesson.asking.records import Part, Question, Shown, plain_words
from melodex.tasks.lesson.measures import Measures, measures_of
from melodex.tasks.lesson.order import Arrangement
from melodex.tasks.lesson.questions import Worksheet
from melodex.tasks.lesson.sets import Lesson, LessonExample, LessonLine

__all__ = ["arrangement_json", "lesson_json", "lessons_json", "worksheet_json"]


def lessons_json(lines: Sequence[LessonLine]) -> str:
    """Write the sets of a corpus."""
    return json_text(
        [
            {
                "name": line.row.name,
                "topic": line.row.topic,
                "level": line.row.level,
                "notes": line.row.notes,
                "example_count": line.example_count,
            }
            for line in lines
        ]
    )


def lesson_json(lesson: Lesson) -> str:
    """Write a set with its passages."""
    row = lesson.row
    return json_text(
        {
            "name": row.name,
            "topic": row.topic,
            "level": row.level,
            "notes": row.notes,
            "examples": [example_data(example) for example in lesson.examples],
            "remarks": list(lesson.remarks),
        }
    )


EXAMPLE_COLUMNS = (
    "position",
    "tune_id",
    "title",
    "composer",
    "year",
    "collection",
    "number",
    "rights",
    "first_bar",
    "last_bar",
    "reason",
    "note",
    "state",
)


def example_data(example: LessonExample) -> dict[str, Any]:
    """One passage."""
    row, made = example.row, example.excerpt.credits
    near = example.state.nearest
    return {
        "position": example.position,
        "tune_id": row.tune_id,
        "title": made.title,
        "composer": made.composer,
        "year": made.year,
        "collection": made.collection,
        "number": made.number,
        "rights": made.rights,
        "rights_known": bool(made.rights),
        "first_note": row.first_note,
        "last_note": row.last_note,
        "first_bar": example.excerpt.bar[0],
        "last_bar": example.excerpt.bar[-1],
        "reason": row.reason,
        "note": row.note,
        "state": example.state.kind,
        "state_words": example.state.sentence,
        "nearest": None if near is None else asdict(near),
        "keys": [str(key.key) for key in example.labels.keys],
        "degrees": degree_texts(example.labels.degrees),
        "chords": [chord.text for chord in example.excerpt.chords],
        "numerals": list(example.labels.numerals),
        "measures": measures_data(measures_of(example)),
    }


def degree_texts(degrees: Sequence[int | None]) -> list[str | None]:
    """Degrees by name; null where no key is known."""
    return [None if degree is None else degree_name(degree) for degree in degrees]


def measures_data(measures: Measures) -> dict[str, Any]:
    """The measures of a passage."""
    return asdict(measures)


def arrangement_json(found: Arrangement) -> str:
    """Write a suggested order with its reasons."""
    return json_text(
        {
            "name": found.lesson.row.name,
            "order": [
                {
                    "position": placed.position,
                    "position_now": placed.example.position,
                    "title": placed.example.title,
                    "mean_rank": round(placed.mean_rank, 4),
                    "measures": measures_data(placed.measures),
                    "reasons": list(placed.reasons),
                }
                for placed in found.placed
            ],
            "twins": [asdict(pair) for pair in found.twins],
            "remarks": list(found.remarks),
        }
    )


def worksheet_json(sheet: Worksheet) -> str:
    """Write questions and answers."""
    return json_text(
        {
            "name": sheet.lesson.row.name,
            "points": sheet.points,
            "questions": [
                {"number": number, **question_data(question)}
                for number, question in enumerate(sheet.questions, start=1)
            ],
            "remarks": list(sheet.remarks),
        }
    )


def question_data(question: Question) -> dict[str, Any]:
    """A question, its passages, and each part with all that is accepted."""
    return {
        "name": question.name,
        "heading": question.heading,
        "position": question.position,
        "points": question.points,
        "also_in": list(question.also),
        "note": question.note,
        "passages": [shown_data(shown) for shown in question.passages],
        "parts": [part_data(part) for part in question.parts],
    }


def shown_data(shown: Shown) -> dict[str, Any]:
    """A passage of a question."""
    return {
        "letter": shown.letter,
        "tune_id": shown.tune_id,
        "title": shown.excerpt.title,
        "first_bar": shown.excerpt.bar[0],
        "last_bar": shown.excerpt.bar[-1],
        "keys": [str(key.key) for key in shown.labels.keys],
        "notes_in_boxes": sorted(shown.marked_notes),
        "chords_in_boxes": sorted(shown.marked_chords),
    }


def part_data(part: Part) -> dict[str, Any]:
    """A part: what it asks, and what is accepted, the key's answer first."""
    return {
        "asks": part.kind,
        "on_topic": part.is_topical,
        "level": part.level,
        "task": plain_words(part.task),
        "choices": list(part.choices),
        "open": part.is_open,
        "why": plain_words(part.why),
        "fields": [
            {
                "label": plain_words(field.label),
                "at": field.at,
                "index": field.index,
                "accepted": [plain_words(words) for words in field.accepted],
            }
            for field in part.fields
        ],
    }
