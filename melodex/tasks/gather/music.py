"""The notes of what was gathered, fetched where they are to be drawn.

Conventions: as in ``gather``. A bar or two mean little without their surroundings: they
are shown with the bar before and enough after to make four. A long passage, such as a
whole tune, is shown by its first bars; a tune that cannot be read any more has none.

Contents: Shown, GatheredMusic, with_music.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from melodex.melody import Melody
from melodex.melody.cutting import notes_of_bars
from melodex.tasks.gather.gather import Example, Gathering
from melodex.tasks.passage import Passage

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = ["GatheredMusic", "Shown", "with_music"]

LEAST_BARS, MOST_BARS, FIRST_BARS = 4, 24, 8
"""A passage of fewer is shown with what stands around it; one of more by so many
from its start; our choice."""
MOST_SHOWN = 60
"""Examples drawn with their notes, so that a page stays under a second; our choice."""


@dataclass(frozen=True, slots=True)
class Shown:
    """An example with its notes; ``is_whole`` is False where only its start is shown."""

    example: Example
    passage: Passage | None
    is_whole: bool = True


@dataclass(frozen=True, slots=True)
class GatheredMusic:
    """A gathering with the notes of its examples, the first :data:`MOST_SHOWN` of them."""

    gathering: Gathering
    shown: tuple[Shown, ...]


def with_music(corpus: Corpus, found: Gathering) -> GatheredMusic:
    """Fetch the notes of what was gathered.

    Parameters
    ----------
    corpus : Corpus
        Where it was gathered.
    found : Gathering
        Of the gather task.
    """
    examples = found.examples[:MOST_SHOWN]
    # A tune that cannot be read has no notes to show; 'check' names it.
    melodies = corpus.melodies(
        {example.tune_id for example in examples}, on_damage=lambda damage: None
    )
    shown = (shown_of(example, melodies.get(example.tune_id)) for example in examples)
    return GatheredMusic(found, tuple(shown))


def shown_of(example: Example, whole: Melody | None) -> Shown:
    """One example with the notes of its bars."""
    if whole is None:
        return Shown(example, None)
    numbers = sorted(set(whole.bar))
    inside = [bar for bar in numbers if example.first_bar <= bar <= example.last_bar]
    if not inside:
        return Shown(example, None)
    if len(inside) < LEAST_BARS:
        start = max(numbers.index(inside[0]) - 1, 0)
        inside = numbers[start : max(start + LEAST_BARS, numbers.index(inside[-1]) + 1)]
    short = len(inside) <= MOST_BARS
    last = inside[-1] if short else inside[FIRST_BARS - 1]
    first_note, last_note = notes_of_bars(whole, inside[0], last)
    part = whole.excerpt(first_note, last_note)
    return Shown(example, Passage(part, whole, first_note, example.tune_id, True), short)
