"""How near tunes lie to a line as it was sung, not as it was put on semitones.

The exact search wants whole semitones and lengths that can be written, and a note that lay
between two of them counts there as right or wrong. Here the best tunes that it found are
laid against the pitches and lengths themselves: each note costs by how far it lies from its
partner, up to what a wrong one costs, and so does its length; notes may be left out or put
in. The tempo is tried in quarters of an octave, and the tuning is that of the pairs that
the search found.

The constants were chosen on the half for tuning of ``benchmarks/hearing``.

Contents: nearest_first.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from melodex.corpus.chunks import ID_BYTES, PackedChunk, notes_at, verify
from melodex.reading.recording.record import HeardLine

if TYPE_CHECKING:
    from melodex.matching.asking import Notes
    from melodex.matching.search import Hit

__all__ = ["nearest_first"]

Floats = npt.NDArray[np.float64]

SPREAD = 0.5
"""Standard deviation of a note from what was meant, in semitones, of a rough singer."""

WRONG_COST = 3.0
LENGTH_SPREAD = 0.45
"""Of a length, in octaves: what is written is rounded to half of one."""

LENGTH_COST, MOST_LENGTH_COST = 0.7, 1.05
GAP_COST = 2.0
TEMPOS: Floats = np.arange(-4, 5) / 4
AROUND = 4
POINTS_AGAINST_COST = 40.0
"""Points of the search that outweigh a cost of 1 for each note of the line."""

NEAR_ENOUGH = 1.6  # semitones off the middle of all pairs: what is farther is a slip
UNREACHED = 1e9  # above every sum of costs


def nearest_first(notes: Notes, found: Sequence[tuple[HeardLine, Hit]]) -> list[int]:
    """The order of some tunes by points and by how near they lie, as places.

    Parameters
    ----------
    notes : Notes
        Of the corpus.
    found : sequence of (HeardLine, Hit)
        What the search found, best first, each with the line that it is of.

    Returns
    -------
    list of int
        Places in ``found``; equal ones stay in their order.
    """
    ids = {hit.tune_id for _, hit in found}
    held: dict[str, tuple[bytes, bytes]] = {}
    for part in notes.told(notes_of, ids):
        held |= part
    scores = [
        hit.points - POINTS_AGAINST_COST * distance(line, hit, *held[hit.tune_id])
        if hit.tune_id in held
        else -UNREACHED
        for line, hit in found
    ]
    return sorted(range(len(found)), key=lambda place: -scores[place])


def notes_of(
    chunks: Sequence[PackedChunk], tune_ids: set[str]
) -> dict[str, tuple[bytes, bytes]]:
    """Pitches and length classes of some tunes."""
    wanted = {bytes.fromhex(tune_id): tune_id for tune_id in tune_ids}
    found = {}
    for chunk in chunks:
        ids = chunk.tune_ids
        places = {ids[at : at + ID_BYTES]: at for at in range(0, len(ids), ID_BYTES)}
        here = wanted.keys() & places.keys()
        # A damaged chunk brings nothing that was found.
        counts = verify(chunk) if here else ()
        for one in here:
            found[wanted[one]] = notes_at(chunk, counts, places[one] // ID_BYTES)
    return found


def distance(line: HeardLine, hit: Hit, pitch: bytes, length_class: bytes) -> float:
    """What a note of the line costs on average beside the part of a tune that was found."""
    tune = np.frombuffer(pitch, np.int8).astype(float)
    octaves = np.frombuffer(length_class, np.int8) / 2.0
    sung = np.array([note.pitch for note in line.notes])
    ratios = np.log2([note.ratio for note in line.notes])
    first, last = hit.tune_span
    part = slice(max(first - AROUND, 0), last + AROUND + 1)
    height = tuning_beside(sung, tune, hit)
    off = (sung - height)[:, None] - tune[part]
    pitches = np.minimum((off / SPREAD) ** 2 / 2, WRONG_COST)
    longer = ratios[:, None] - (octaves[part] - np.median(octaves[part]))
    lengths = (longer + TEMPOS[:, None, None]) / LENGTH_SPREAD
    cost = pitches + np.minimum(LENGTH_COST * lengths**2 / 2, MOST_LENGTH_COST)
    return least(cost) / len(sung)


def tuning_beside(sung: Floats, tune: Floats, hit: Hit) -> float:
    """How far the line lies above the tune: the mean of the pairs that roughly agree."""
    pairs = [(i, j) for i, j in hit.alignment.pairs if i is not None and j is not None]
    above = np.array([sung[i] - tune[j] for i, j in pairs])
    middle = np.median(above)
    return float(above[np.abs(above - middle) < NEAR_ENOUGH].mean())


def least(cost: Floats) -> float:
    """The cheapest way through costs of shape (tempos, notes sung, notes of the tune)."""
    total = cost[:, 0]
    for note in range(1, cost.shape[1]):
        moved = np.full_like(total, UNREACHED)
        moved[:, 1:] = total[:, :-1]
        moved[:, 2:] = np.minimum(moved[:, 2:], total[:, :-2] + GAP_COST)
        total = np.minimum(moved + cost[:, note], total + GAP_COST)
    return float(total.min())
