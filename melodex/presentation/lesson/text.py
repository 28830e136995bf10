"""Text of teaching sets: lists, a set with its passages, what was kept, an order.

Contents: lessons_text, lesson_text, kept_text, arrangement_text.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from melodex.presentation.text.style import Style, paragraphs
from melodex.presentation.text.words import shown
from melodex.tasks.lesson.keeping import KeepReport
from melodex.tasks.lesson.measures import measures_of
from melodex.tasks.lesson.order import Arrangement
from melodex.tasks.lesson.sets import Lesson, LessonExample, LessonLine
from melodex.tasks.lesson.state import AS_KEPT

__all__ = ["arrangement_text", "kept_text", "lesson_text", "lessons_text"]


def lessons_text(lines: Sequence[LessonLine]) -> str:
    """Write the sets of a corpus, one a line."""
    if not lines:
        return "No teaching sets yet.\n"
    width = max(len(line.row.name) for line in lines)
    rows = []
    for line in lines:
        count = f"{line.example_count} passage{'s' if line.example_count != 1 else ''}"
        about = "; ".join(part for part in (line.row.topic, line.row.level) if part)
        rows.append(f"{line.row.name:{width}}  {count:>12}  {about}".rstrip())
    return "\n".join(shown(row) for row in rows) + "\n"


def lesson_text(lesson: Lesson, style: Style) -> str:
    """Write a set with its passages, their measures, rights and states."""
    row = lesson.row
    lines = [style.strong(shown(row.name))]
    about = [row.topic, row.level and f"For: {row.level}.", row.notes]
    lines += paragraphs([shown(text) for text in about if text], style)
    lines.append("")
    for example in lesson.examples:
        lines += example_lines(example, style)
    lines += paragraphs(lesson.remarks, style)
    return "\n".join(lines).rstrip() + "\n"


def example_lines(example: LessonExample, style: Style) -> list[str]:
    """One passage of a set."""
    made = example.excerpt.credits
    maker = ", ".join(str(part) for part in (made.composer, made.year) if part)
    title = f"{example.position}. {example.title}" + (f" ({maker})" if maker else "")
    told = list(details_of(example))
    lines = [style.strong(shown(title))]
    for text in told:
        broken = paragraphs([shown(style.spelled_key(text))], narrower(style))
        lines += [f"   {line}" for line in broken]
    return lines


def details_of(example: LessonExample) -> Iterator[str]:
    """What is told of a passage, a text each."""
    if example.row.note:
        yield f"Note: {example.row.note}"
    if example.row.reason:
        yield f"Kept for: {example.row.reason}"
    keys = "; ".join(str(key.key) for key in example.labels.keys) or "no key known"
    yield f"In {keys}; {measures_of(example).words}"
    yield f"Rights: {example.rights.removeprefix('rights ')}"
    if example.state.kind != AS_KEPT:
        offered = example.state.nearest is not None
        advice = "; it can be taken in its place" if offered else ""
        yield f"! {example.state.sentence}{advice}."


def narrower(style: Style) -> Style:
    """The style for lines that are set in."""
    return Style(style.width - 3, style.signs, style.colour)


def kept_text(report: KeepReport) -> str:
    """Write what was kept in a set."""
    count = len(report.kept)
    where = f"the new set {report.name!r}" if report.made else f"the set {report.name!r}"
    lines = [f"kept {count} passage{'s' if count != 1 else ''} in {where}"]
    lines += [f"  {label}" for label in report.kept]
    if report.already:
        lines.append(f"in the set already: {', '.join(report.already)}")
    return "\n".join(shown(line) for line in lines) + "\n"


def arrangement_text(found: Arrangement, style: Style) -> str:
    """Write a suggested order with its reasons."""
    lines = [
        style.strong(shown(f"{found.lesson.row.name}: from easy to hard")),
        *paragraphs(
            [
                "Ranked by range, leaps, rhythm, accidentals and clarity; the number is "
                "the mean of the five ranks, 1 for what is easiest in all."
            ],
            style,
        ),
        "",
    ]
    for placed in found.placed:
        was = placed.example.position
        title = f"{placed.position}. {placed.example.title}  (now {was}; mean rank "
        lines.append(style.strong(shown(f"{title}{placed.mean_rank:.1f})")))
        told = [placed.measures.words, *placed.reasons]
        broken = paragraphs([shown("; ".join(told))], narrower(style))
        lines += [f"   {line}" for line in broken]
    lines += ["", *paragraphs(found.remarks, style)] if found.remarks else []
    return "\n".join(lines).rstrip() + "\n"
