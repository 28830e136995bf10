"""Figures: in how many tunes a row of intervals stands.

Conventions: a figure is given as pitches, in any transposition, and is looked for
in every one; lengths do not matter. Lines of one piece count as one tune. A tune holds
it *nearly* when it stands there with at most one note changed, which for fewer than four
notes says little. A part of a figure is named by the index of its last note and its
number of notes.

Contents: FigureCount, count_figures, tunes_holding, figure_of_steps.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import accumulate, pairwise

from melodex.corpus.chunks import ID_BYTES, PackedChunk
from melodex.errors import EmptyMelodyError, PhraseError
from melodex.matching.engine.choice import engine
from melodex.matching.engine.passes import Checked, OnDamage, one_pass
from melodex.records import dataclass
from melodex.settings import NGRAM_LENGTH

__all__ = [
    "LONGEST_FIGURE",
    "FigureCount",
    "count_figures",
    "figure_of_steps",
    "tunes_holding",
]

LONGEST_FIGURE = 64
"""Notes of a figure: as many as the kernel has bits for."""
EXACT, NEAR = 2, 1
MIDDLE_PITCH = 64
"""MIDI number from which steps are laid out, in the middle so that they go far either
way."""


@dataclass(frozen=True, slots=True)
class FigureCount:
    """How common a figure is.

    Parameters
    ----------
    exact : int
        Tunes that hold it note for note.
    near : int
        Tunes that hold it with at most one note changed, the exact ones included.
    tunes : int
        Tunes looked at.
    """

    exact: int
    near: int
    tunes: int


def count_figures(
    chunks: Iterable[PackedChunk],
    figures: Sequence[bytes],
    *,
    within: bytes = b"",
    on_damage: OnDamage | None = None,
) -> list[FigureCount]:
    """Count the tunes that hold each of some figures, in one pass over the corpus.

    Parameters
    ----------
    chunks : iterable of PackedChunk
        The corpus.
    figures : sequence of bytes
        Pitches of each, 2 to 64 notes.
    within : bytes, optional
        Pitches of a phrase that they come from. Parts of one phrase are looked for
        together, which takes hardly longer than looking for the phrase; the counts
        are the same without it.
    on_damage : callable, optional
        As in :func:`melodex.matching.search.search`.

    Returns
    -------
    list of FigureCount
        One for each figure.

    Raises
    ------
    EmptyMelodyError, PhraseError
        If a figure is too short or too long.
    DamagedCorpusError
        If a chunk is damaged and there is no ``on_damage``.

    Examples
    --------
    >>> from melodex.corpus.chunks import TuneNotes
    >>> from melodex.corpus.packing import pack
    >>> chunk = pack([TuneNotes("00000000000a0000", bytes([65, 67, 69, 70]), bytes(4)),
    ...               TuneNotes("00000000000b0000", bytes([60, 62, 63, 65]), bytes(4))])
    >>> count_figures([chunk], [bytes([60, 62, 64, 65])])
    [FigureCount(exact=1, near=2, tunes=2)]
    """
    for figure in figures:
        check_figure(figure)
    worker, groups = engine(), laid_together(figures, within)

    def work(part: list[Checked]) -> list[list[tuple[int, int, int]]]:
        return [
            [
                counted(worker.leading(levels, entry.chunk.pieces))
                for whole, parts in groups
                for levels in worker.holding(entry.chunk, whole, list(parts))
            ]
            for entry in part
        ]

    totals = [[0, 0, 0] for _, parts in groups for _ in parts]
    for row in one_pass(chunks, work, on_damage):
        for total, found in zip(totals, row, strict=True):
            for column, value in enumerate(found):
                total[column] += value
    places = [each for _, parts in groups for each in parts.values()]
    counts = {
        index: FigureCount(*total)
        for total, indexes in zip(totals, places, strict=True)
        for index in indexes
    }
    return [counts[index] for index in range(len(figures))]


def laid_together(
    figures: Sequence[bytes], within: bytes
) -> list[tuple[bytes, dict[tuple[int, int], list[int]]]]:
    """Figures as parts of few: each whole, and the figures that are one part of it."""
    # Pieces of a long phrase overlap by what an n-gram needs.
    stride = LONGEST_FIGURE - NGRAM_LENGTH
    wholes = [
        within[first : first + LONGEST_FIGURE]
        for first in range(0, max(len(within) - NGRAM_LENGTH, 0), stride)
    ]
    steps = [steps_of(whole) for whole in wholes]
    found: list[dict[tuple[int, int], list[int]]] = [{} for _ in wholes]
    for index in sorted(range(len(figures)), key=lambda i: -len(figures[i])):
        figure = figures[index]
        wanted = steps_of(figure)
        place = next((n for n, row in enumerate(steps) if wanted in row), len(steps))
        if place == len(steps):
            wholes.append(figure)
            steps.append(wanted)
            found.append({})
        part = (steps[place].find(wanted) + len(wanted), len(figure))
        found[place].setdefault(part, []).append(index)
    return [
        trimmed(whole, parts) for whole, parts in zip(wholes, found, strict=True) if parts
    ]


def steps_of(figure: bytes) -> bytes:
    """Steps between the pitches, as bytes that wrap around."""
    return bytes((after - before) & 0xFF for before, after in pairwise(figure))


def trimmed(
    whole: bytes, parts: dict[tuple[int, int], list[int]]
) -> tuple[bytes, dict[tuple[int, int], list[int]]]:
    """No more of a figure than its parts cover."""
    start = min(last + 1 - notes for last, notes in parts)
    end = max(last for last, _ in parts)
    moved = {(last - start, notes): found for (last, notes), found in parts.items()}
    return whole[start : end + 1], moved


def counted(levels: bytes) -> tuple[int, int, int]:
    """Exact, near or better, and all tunes of a chunk."""
    exact = levels.count(EXACT)
    return exact, exact + levels.count(NEAR), len(levels)


def tunes_holding(
    chunks: Iterable[PackedChunk],
    figure: bytes,
    *,
    allow_change: bool = False,
    on_damage: OnDamage | None = None,
) -> list[str]:
    """Return the ids of the tunes that hold a figure, in order.

    Parameters
    ----------
    chunks : iterable of PackedChunk
        The corpus.
    figure : bytes
        Its pitches, 2 to 64 notes.
    allow_change : bool
        Whether one note may be changed.
    on_damage : callable, optional
        As in :func:`melodex.matching.search.search`.

    Raises
    ------
    EmptyMelodyError, PhraseError
        If the figure is too short or too long.
    DamagedCorpusError
        If a chunk is damaged and there is no ``on_damage``.
    """
    check_figure(figure)
    worker, least = engine(), NEAR if allow_change else EXACT
    whole = [(len(figure) - 1, len(figure))]

    def work(part: list[Checked]) -> list[list[str]]:
        return [
            ids_reaching(entry.chunk, worker.holding(entry.chunk, figure, whole)[0], least)
            for entry in part
        ]

    return sorted(tune_id for ids in one_pass(chunks, work, on_damage) for tune_id in ids)


def ids_reaching(chunk: PackedChunk, levels: bytes, least: int) -> list[str]:
    """Ids of the tunes of a chunk that hold a figure well enough."""
    return [
        chunk.tune_ids[index * ID_BYTES : (index + 1) * ID_BYTES].hex()
        for index, level in enumerate(levels)
        if level >= least
    ]


def check_figure(figure: bytes) -> None:
    """Refuse figures that have no interval, or more notes than the engines take."""
    if len(figure) < 2:
        raise EmptyMelodyError("a figure needs at least two notes")
    if len(figure) > LONGEST_FIGURE:
        raise PhraseError(
            f"a figure of {len(figure)} notes is too long",
            hint=f"name at most {LONGEST_FIGURE} notes of it",
        )


def figure_of_steps(steps: Sequence[int]) -> bytes:
    """Return pitches that move by the given steps in semitones.

    Raises
    ------
    PhraseError
        If the steps lead through more than ten octaves.

    Examples
    --------
    >>> list(figure_of_steps([2, 2, -4]))
    [64, 66, 68, 64]
    """
    pitches = list(accumulate(steps, initial=MIDDLE_PITCH))
    low, high = min(pitches), max(pitches)
    if high - low > 127:
        raise PhraseError("the figure spans more than ten octaves")
    move = -low if low < 0 else min(127 - high, 0)
    return bytes(pitch + move for pitch in pitches)
