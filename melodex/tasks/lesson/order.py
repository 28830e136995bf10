"""An order for a class: from easy to hard, with variety, every reason told.

Conventions: passages are ranked by each measure of ``lesson_measures``; their mean
rank says how hard they are. The next passage is the easiest that is left, with two
exceptions, which are told: two of the same tune never follow one another if that can
be had, and among passages that are about as hard, one in another key or metre than
the one before goes first. Ties fall to the order that the set has.

Contents: Placed, Twins, Arrangement, arrange, apply_arrangement.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path

from melodex.corpus.chunks import encode_notes
from melodex.errors import EmptyMelodyError, PhraseError
from melodex.matching.align import align
from melodex.matching.query import encode_query
from melodex.melody import Melody, Phrase
from melodex.settings import AlignmentCosts
from melodex.tasks.compare.likeness import likeness
from melodex.tasks.lesson.measures import MEASURES, Measures, difficulty_ranks, measures_of
from melodex.tasks.lesson.sets import Lesson, LessonExample, rewritten

__all__ = ["Arrangement", "Placed", "Twins", "apply_arrangement", "arrange", "twins_of"]

ABOUT_AS_HARD = 1.0
"""Places in mean rank within which variety goes before difficulty; our choice."""

TWIN_AGREEMENT = 0.8
"""Share of the notes of the longer of two passages that agree, for twins; our choice."""


@dataclass(frozen=True, slots=True)
class Placed:
    """A passage in the suggested order.

    Parameters
    ----------
    position : int
        Suggested, from 1.
    example : LessonExample
        The passage; its own position is the one that it has now.
    measures : Measures
        How hard it is.
    mean_rank : float
        Over all measures, 1 for what is easiest in everything.
    reasons : tuple of str
        Why it stands here.
    """

    position: int
    example: LessonExample
    measures: Measures
    mean_rank: float
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Twins:
    """Two passages that are nearly the same, by their positions in the set now."""

    one: int
    other: int
    agreement: float


@dataclass(frozen=True, slots=True)
class Arrangement:
    """A suggested order, and what has to be said of it."""

    lesson: Lesson
    placed: tuple[Placed, ...]
    twins: tuple[Twins, ...]
    remarks: tuple[str, ...]


def arrange(lesson: Lesson) -> Arrangement:
    """Suggest an order from easy to hard.

    Parameters
    ----------
    lesson : Lesson
        As opened; it is not changed.
    """
    measures = [measures_of(example) for example in lesson.examples]
    ranks = difficulty_ranks(measures)
    means = [sum(rank.values()) / len(MEASURES) for rank in ranks]
    placed: list[Placed] = []
    for place, why in order_of(lesson.examples, means):
        position = len(placed) + 1
        reasons = (*telling_ranks(ranks[place], len(ranks)), *why)
        example = lesson.examples[place]
        placed.append(Placed(position, example, measures[place], means[place], reasons))
    twins = twins_of(lesson.examples)
    return Arrangement(lesson, tuple(placed), twins, tuple(remarks_on(placed, twins)))


def apply_arrangement(corpus_path: Path, arrangement: Arrangement) -> Lesson:
    """Put the passages of a set into the suggested order.

    Raises
    ------
    LessonError
        If the set is gone or was changed meanwhile.
    """
    rows = [placed.example.row for placed in arrangement.placed]
    name = arrangement.lesson.row.name
    return rewritten(corpus_path, name, lambda _: rows, expected=arrangement.lesson.rows)


# The order.


def order_of(
    examples: Sequence[LessonExample], means: Sequence[float]
) -> list[tuple[int, list[str]]]:
    """Indexes in the suggested order, each with what made it deviate from the ranks."""
    left = sorted(range(len(examples)), key=lambda place: (means[place], place))
    order: list[tuple[int, list[str]]] = []
    while left:
        before = examples[order[-1][0]] if order else None
        chosen, why = next_of(examples, means, left, before)
        left.remove(chosen)
        order.append((chosen, why))
    return order


def next_of(
    examples: Sequence[LessonExample],
    means: Sequence[float],
    left: Sequence[int],
    before: LessonExample | None,
) -> tuple[int, list[str]]:
    """The passage that comes next, and why if it is not the easiest that is left."""
    easiest = left[0]
    crowded = crowded_tune(examples, left)
    allowed = [p for p in left if before is None or tune_of(examples[p]) != tune_of(before)]
    if crowded and any(tune_of(examples[p]) == crowded for p in allowed):
        allowed = [p for p in allowed if tune_of(examples[p]) == crowded]
    if not allowed:
        return easiest, ["the same tune as before: no other is left"]
    window = [p for p in allowed if means[p] - means[allowed[0]] <= ABOUT_AS_HARD]
    # min keeps the first of equals, which is the easiest.
    chosen = min(window, key=lambda p: -variety(examples[p], before))
    if chosen == easiest:
        return chosen, []
    passed = examples[easiest]
    if before is not None and tune_of(passed) == tune_of(before):
        return chosen, [f"before {passed.title}, which is of the tune just heard"]
    if chosen == allowed[0]:
        return chosen, ["now, so that no two of its tune follow one another"]
    news = " and ".join(differences(examples[chosen], before))
    return chosen, [f"before {passed.title}, about as hard, for another {news}"]


def crowded_tune(examples: Sequence[LessonExample], left: Sequence[int]) -> str:
    """A tune that must come now, or two of it would have to meet later."""
    tune, count = Counter(tune_of(examples[p]) for p in left).most_common(1)[0]
    return tune if 2 * count > len(left) else ""


def tune_of(example: LessonExample) -> str:
    """What makes two passages passages of one tune."""
    return example.row.tune_id


def variety(example: LessonExample, before: LessonExample | None) -> int:
    """In how much a passage differs from the one before: key, metre."""
    return len(differences(example, before))


def differences(example: LessonExample, before: LessonExample | None) -> list[str]:
    """In what a passage differs from the one before."""
    if before is None:
        return []
    told = []
    if key_of(example) != key_of(before):
        told.append("key")
    if example.excerpt.metre != before.excerpt.metre:
        told.append("metre")
    return told


def key_of(example: LessonExample) -> tuple[int, str] | None:
    """Tonic and mode at the start of a passage."""
    keys = example.labels.keys
    return (keys[0].tonic_fifths, keys[0].mode) if keys else None


def telling_ranks(ranks: dict[str, float], count: int) -> list[str]:
    """The measures by which a passage is among the easiest or the hardest third."""
    if count < 3:
        return []
    easy = [name for name in MEASURES if ranks[name] <= count / 3]
    hard = [name for name in MEASURES if ranks[name] > 2 * count / 3]
    told = [f"easy in {', '.join(easy)}"] if easy else []
    return [*told, f"hard in {', '.join(hard)}"] if hard else told


# Near-duplicates.


def twins_of(examples: Sequence[LessonExample]) -> tuple[Twins, ...]:
    """Return the pairs of passages that are nearly the same, in any key."""
    found = []
    for one, other in combinations(examples, 2):
        shorter, longer = sorted((len(one.excerpt), len(other.excerpt)))
        if shorter < TWIN_AGREEMENT * longer:
            continue
        agreement = agreement_of(one.excerpt, other.excerpt) / longer
        if agreement >= TWIN_AGREEMENT:
            found.append(Twins(one.position, other.position, round(agreement, 4)))
    return tuple(found)


def agreement_of(one: Melody, other: Melody) -> int:
    """How many notes of two passages agree, in the transposition that suits them best."""
    try:
        query = encode_query(Phrase(one, "passage"))
        pitch, length_class = encode_notes(other)
    except (EmptyMelodyError, PhraseError):
        return 0
    alignment = align(query, pitch, length_class, AlignmentCosts())
    return likeness(one, other, alignment).agreeing if alignment else 0


def remarks_on(placed: Sequence[Placed], twins: Sequence[Twins]) -> list[str]:
    """What has to be said of an order."""
    # By their titles: their numbers change with the order.
    titles = {each.example.position: each.example.title for each in placed}
    told = [
        f"{titles[pair.one]} and {titles[pair.other]} are nearly the same: "
        f"{pair.agreement:.0%} of their notes agree."
        for pair in twins
    ]
    if 0 < len(placed) < 3:
        told.append("So few passages hardly need an order.")
    if len({tune_of(each.example) for each in placed}) == 1 < len(placed):
        told.append("All passages are of one tune.")
    return told
