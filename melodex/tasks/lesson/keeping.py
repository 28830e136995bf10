"""From a find to a passage in a teaching set.

Conventions: a find of a bar or two means little without its surroundings, so what
``gather`` found is kept whole with a bar before it and at least one after, four in all;
what was wished for and the bars where it stands are remembered. What ``resemble`` and
``audit`` found is kept note for note. A passage that the set has already is not kept
twice.

Contents: Found, KeepReport, found_by_hand, finds_of, row_of, keep, take_nearest.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from melodex.corpus.lessons import (
    ExampleRow,
    LessonRow,
    example_rows,
    find_lesson,
    lesson_rows,
    place_of_tune,
    write_examples,
    write_lesson,
)
from melodex.corpus.reader import Corpus
from melodex.errors import REMEDIES, LessonError
from melodex.melody import Melody, bars_text
from melodex.melody.cutting import notes_of_bars
from melodex.tasks.gather.wish import topic_of_wish
from melodex.tasks.lesson.labels import (
    Topic,
    excerpt_digest,
    labels_of,
    labels_text,
    with_line_named,
)
from melodex.tasks.lesson.sets import (
    MOST_EXAMPLES,
    Lesson,
    checked_name,
    checked_text,
    open_lesson,
    place_in,
    rewritten,
    writing,
)
from melodex.tasks.passage import Passage, find_passage, read_span

if TYPE_CHECKING:
    from melodex.tasks.audit.audit import Audit
    from melodex.tasks.gather.gather import Gathering
    from melodex.tasks.resemble import Resemblance

__all__ = [
    "Found",
    "KeepReport",
    "finds_of",
    "found_by_hand",
    "keep",
    "row_of",
    "take_nearest",
]

LEAST_BARS = 4
"""Most phrases are of four bars (common practice, no source)."""

CHANGES = {"key_change", "mode_change"}
"""Wishes whose bars are those of the new key, which the old one is to be heard before."""

MOST_NOTES = 600
"""In one passage: some ten pages' worth; more is no example."""


@dataclass(frozen=True, slots=True)
class Found:
    """A passage to be kept.

    Parameters
    ----------
    tune_id : str
        Of its tune.
    whole : Melody
        The tune.
    first_note, last_note : int
        Indexes from 0.
    reason : str
        What it was found for.
    feature_bars : tuple of int, optional
        Where that is, if not in the whole passage.
    agreement : float, optional
        Share of its notes that agree with what was looked for.
    topic : Topic, optional
        What was wished for, and where it stands.
    """

    tune_id: str
    whole: Melody
    first_note: int
    last_note: int
    reason: str = ""
    feature_bars: tuple[int, int] | None = None
    agreement: float | None = None
    topic: Topic | None = None

    @property
    def bars(self) -> tuple[int, int]:
        """First and last bar of the passage."""
        return self.whole.bar[self.first_note], self.whole.bar[self.last_note]

    @property
    def label(self) -> str:
        """Title and bars."""
        return f"{self.whole.title}, {bars_text(*self.bars)}"


@dataclass(frozen=True, slots=True)
class KeepReport:
    """What was kept in a set, what it had already, and whether the set is new."""

    name: str
    kept: tuple[str, ...]
    already: tuple[str, ...]
    made: bool


def found_by_hand(
    corpus: Corpus,
    tune: str,
    *,
    bars: str | None = None,
    notes: str | None = None,
    reason: str = "",
) -> Found:
    """Name a passage by tune and bars, or notes counted from 1.

    Raises
    ------
    PassageError, UnknownTuneError, ReadingError
        If there is no such tune or part of it.
    """
    passage = find_passage(
        tune,
        corpus,
        bars=read_span(bars) if bars else None,
        notes=read_span(notes, "notes") if notes else None,
    )
    return found_in(passage, checked_text(reason))


def found_in(passage: Passage, reason: str, agreement: float | None = None) -> Found:
    """A passage note for note."""
    last = passage.first_note + len(passage.melody) - 1
    return Found(
        passage.tune_id,
        passage.whole,
        passage.first_note,
        last,
        reason,
        agreement=agreement,
    )


def finds_of(
    corpus: Corpus,
    result: Gathering | Resemblance | Audit,
    *,
    sought: Passage | None = None,
) -> list[Found]:
    """Return the passages of what a task found.

    Parameters
    ----------
    corpus : Corpus
        Where it was found.
    result : Gathering, Resemblance or Audit
        What was found.
    sought : Passage, optional
        What was looked for, where it was cut from a tune; it is kept first.
    """
    from melodex.tasks.gather.gather import Gathering
    from melodex.tasks.resemble import Resemblance

    if isinstance(result, Gathering):
        return list(gathered(corpus, result))
    if isinstance(result, Resemblance):
        return list(resembling(result, sought))
    return list(audited(result))


def resembling(result: Resemblance, sought: Passage | None) -> Iterator[Found]:
    """The phrase, if it is part of a tune, and its matches."""
    if sought is not None:
        yield found_in(sought, "looked for", 1.0)
    for match in result.matches:
        agreeing, paired = match.likeness.agreeing, match.likeness.paired
        reason = (
            f"resembles {result.phrase.text}: {agreeing} of {paired} paired notes agree"
        )
        share = agreeing / len(result.asked_by(match).phrase.melody)
        yield found_in(match.passage, reason, min(share, 1.0))


def audited(result: Audit) -> Iterator[Found]:
    """Both sides of each finding."""
    for finding in result.findings:
        agreeing, paired = finding.likeness.agreeing, finding.likeness.paired
        share = agreeing / max(len(finding.own.melody), 1)
        for here, there in ((finding.own, finding.tune), (finding.tune, finding.own)):
            words = f"close to {there.label}: {agreeing} of {paired} paired notes agree"
            yield found_in(here, words, min(share, 1.0))


def gathered(corpus: Corpus, result: Gathering) -> Iterator[Found]:
    """Gathered passages with their surroundings; finds that share those are one.

    Of a tune that cannot be read nothing is kept; ``check`` names it.
    """
    melodies = corpus.melodies(
        {example.tune_id for example in result.examples}, on_damage=lambda damage: None
    )
    wished = topic_of_wish(result.wish)
    before: Found | None = None
    for example in result.examples:
        whole = melodies.get(example.tune_id)
        if whole is None or not len(whole):
            # A sheet of chords alone has no passage that could be printed.
            continue
        reason = "; ".join(example.reasons)
        bars = example.first_bar, example.last_bar
        if before is not None and joins(before, example.tune_id, bars):
            before = joined(before, reason, bars)
            continue
        if before is not None:
            yield before
        placed = bool(example.reasons)
        around = around_change if wished and wished[0] in CHANGES else surroundings
        first, last = notes_of_bars(whole, *(around(whole, bars) if placed else bars))
        before = Found(
            example.tune_id,
            whole,
            first,
            last,
            reason,
            bars if placed else None,
            topic=Topic(*wished, (bars,)) if wished else None,
        )
    if before is not None:
        yield before


def surroundings(whole: Melody, bars: tuple[int, int]) -> tuple[int, int]:
    """A bar before and one after, and more to make four, as far as there are any."""
    numbers = [bar.number for bar in whole.bars] or list(whole.bar)
    lowest, highest = min(numbers), max(numbers)
    first = max(bars[0] - 1, lowest)
    last = min(max(bars[1] + 1, first + LEAST_BARS - 1), highest)
    return max(min(first, last - LEAST_BARS + 1), lowest), last


def around_change(whole: Melody, bars: tuple[int, int]) -> tuple[int, int]:
    """Four bars before a new key begins and the first four of it, as far as there are."""
    numbers = [bar.number for bar in whole.bars] or list(whole.bar)
    first = max(bars[0] - LEAST_BARS, min(numbers))
    return first, min(bars[1], bars[0] + LEAST_BARS - 1)


def joins(before: Found, tune_id: str, bars: tuple[int, int]) -> bool:
    """Whether a find lies in the passage that is kept for the one before."""
    return (
        before.tune_id == tune_id
        and before.bars[0] <= bars[0] <= bars[1] <= (before.bars[1])
    )


def joined(before: Found, reason: str, bars: tuple[int, int]) -> Found:
    """One passage for two finds."""
    first, last = before.feature_bars or bars
    reasons = dict.fromkeys([*before.reason.split("; "), reason])
    return replace(
        before,
        reason="; ".join(reasons),
        feature_bars=(min(first, bars[0]), max(last, bars[1])),
        topic=before.topic
        and replace(
            before.topic,
            spans=tuple(dict.fromkeys([*before.topic.spans, bars])),
        ),
    )


# Keeping.


def row_of(
    corpus: Corpus,
    tune_id: str,
    whole: Melody,
    first_note: int,
    last_note: int,
    *,
    reason: str = "",
    feature_bars: tuple[int, int] | None = None,
    agreement: float | None = None,
    topic: Topic | None = None,
) -> ExampleRow:
    """Make the row of a passage: what it holds, where it stood, what is said of it.

    Raises
    ------
    LessonError
        If it is too long for an example.
    """
    if last_note - first_note + 1 > MOST_NOTES:
        raise LessonError(
            f"{last_note - first_note + 1} notes are too many for an example",
            where=whole.title,
            hint=f"keep some bars of it; {MOST_NOTES} notes are the most",
        )
    excerpt = with_line_named(whole.excerpt(first_note, last_note))
    file, number, occurrence = place_of_tune(corpus, tune_id)
    return ExampleRow(
        tune_id=tune_id,
        first_note=first_note,
        last_note=last_note,
        excerpt_sha256=excerpt_digest(excerpt),
        file=file,
        number=number,
        occurrence=occurrence,
        reason=reason,
        feature_first_bar=feature_bars[0] if feature_bars else None,
        feature_last_bar=feature_bars[1] if feature_bars else None,
        agreement=None if agreement is None else round(float(agreement), 6),
        note="",
        excerpt=json.dumps(excerpt.to_dict(), sort_keys=True, separators=(",", ":")),
        labels=labels_text(replace(labels_of(whole, first_note, last_note), topic=topic)),
    )


def keep(
    corpus_path: Path, name: str, found: Sequence[Found], *, create: bool = False
) -> KeepReport:
    """Keep passages in a set, behind those that it has.

    Parameters
    ----------
    corpus_path : Path
        The corpus.
    name : str
        Of the set.
    found : sequence of Found
        In the order in which they are to stand.
    create : bool
        Whether to make the set if there is none.

    Raises
    ------
    LessonError
        If there is no such set, or it would have too many passages.
    """
    with Corpus.open(corpus_path) as corpus:
        lesson, before = lesson_or_new(corpus, name, create)
        held = {identity(row) for row in before}
        fresh: list[ExampleRow] = []
        kept: list[str] = []
        already: list[str] = []
        for each in found:
            row = found_row(corpus, each)
            news = identity(row) not in held
            (kept if news else already).append(each.label)
            if news:
                held.add(identity(row))
                fresh.append(row)
    if len(before) + len(fresh) > MOST_EXAMPLES:
        raise LessonError(
            f"the set would have {len(before) + len(fresh)} passages",
            where=name,
            hint=f"a set has at most {MOST_EXAMPLES}; keep fewer",
        )
    with writing(corpus_path) as writer:
        if lesson.id == 0:
            lesson = replace(lesson, topic=topic_words(found))
            write_lesson(writer, lesson, fresh)
        elif fresh:
            write_examples(writer, lesson.id, [*before, *fresh], expected=before)
    return KeepReport(lesson.name, tuple(kept), tuple(already), lesson.id == 0)


def topic_words(found: Sequence[Found]) -> str:
    """What a new set is about, if all that is kept was gathered for one thing."""
    topics = {(each.topic.kind, each.topic.asked) for each in found if each.topic}
    if len(topics) != 1 or any(each.topic is None for each in found):
        return ""
    return Topic(*topics.pop(), ()).heading


def lesson_or_new(
    corpus: Corpus, name: str, create: bool
) -> tuple[LessonRow, list[ExampleRow]]:
    """The set and its passages, or a new one that is not written yet."""
    try:
        row = find_lesson(corpus, name)
    except LessonError:
        if not create or any(row.name == name for row, _ in lesson_rows(corpus)):
            raise
        return LessonRow(0, checked_name(name)), []
    return row, example_rows(corpus, row.id)


def found_row(corpus: Corpus, found: Found) -> ExampleRow:
    """The row of a passage that was found."""
    return row_of(
        corpus,
        found.tune_id,
        found.whole,
        found.first_note,
        found.last_note,
        reason=found.reason,
        feature_bars=found.feature_bars,
        agreement=found.agreement,
        topic=found.topic,
    )


def identity(row: ExampleRow) -> tuple[str, int, int]:
    """What makes a passage the same passage."""
    return row.tune_id, row.first_note, row.last_note


def take_nearest(corpus_path: Path, name: str, positions: Sequence[int] = ()) -> Lesson:
    """Take what comes nearest now in place of passages whose tune has changed.

    Parameters
    ----------
    positions : sequence of int
        Which passages; all for which something is offered, where none is named.

    Raises
    ------
    LessonError
        If nothing is offered for a passage that was named, or for any.
    """
    with Corpus.open(corpus_path) as corpus:
        lesson = open_lesson(corpus, name, offer_nearest=True)
        rows = list(lesson.rows)
        wanted = [lesson.examples[place_in(rows, p)] for p in positions] or lesson.examples
        offered = [e for e in wanted if e.state.nearest is not None]
        if len(offered) < len(positions) or not offered:
            raise LessonError(
                "nothing is offered in place of the passages",
                where=lesson.row.name,
                hint=REMEDIES["look at set"],
            )
        for example in offered:
            near = example.state.nearest
            assert near is not None
            whole = corpus.melody(near.tune_id)
            fresh = row_of(corpus, near.tune_id, whole, near.first_note, near.last_note)
            rows[example.position - 1] = replace(
                fresh, reason=example.row.reason, note=example.row.note
            )
    return rewritten(corpus_path, name, lambda _: rows)
