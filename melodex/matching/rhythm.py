"""Rhythm: search by the lengths of notes alone, at any tempo and in any augmentation.

Conventions: lengths are compared by their classes, two for every doubling
(:func:`melodex.melody.duration_class`), and only by what they are to each other: the same
rhythm in notes of twice the length is the same. Points are whole numbers, higher is
better; ties fall to the tune id.

A rhythm is a melody whose heights are the classes of its lengths, and an augmentation is
its transposition: so the search is that of :mod:`melodex.matching.search`, over chunks
whose two columns have changed places, and as exact.

Contents: RHYTHM_COSTS, heights_of, search_rhythm.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from melodex.corpus.chunks import LANES, UNKNOWN_LENGTH, PackedChunk, verify
from melodex.errors import DamagedCorpusError, EmptyMelodyError
from melodex.matching.engine.passes import OnDamage
from melodex.matching.query import EncodedQuery
from melodex.matching.search import Hit, search
from melodex.settings import AlignmentCosts

__all__ = ["RHYTHM_COSTS", "heights_of", "search_rhythm"]

RHYTHM_COSTS = AlignmentCosts((2, 2, 2, 2), (-3, -3, -3, -3), (-3, -3, -3, -3), -4)
"""Our choice: a wrong length takes back one and a half right ones, as a wrong sign of a
contour does, since a tune has few different lengths and many agree by accident."""

MIDDLE = 64
"""The height of a quarter note."""

LEAST_LENGTHS = 2
UNKNOWN = bytes([UNKNOWN_LENGTH & 0xFF])
HEIGHTS = bytes(
    max(0, min(127, (value + 128) % 256 - 128 + MIDDLE)) for value in range(256)
)
"""For each class as a byte, its height; a length that is not known lies below all."""


def heights_of(length_class: bytes) -> bytes:
    """Return the classes of lengths as heights.

    Examples
    --------
    >>> list(heights_of(bytes([0, 2, 254])))
    [64, 66, 62]
    """
    return length_class.translate(HEIGHTS)


def search_rhythm(
    chunks: Iterable[PackedChunk],
    length_class: bytes,
    *,
    limit: int = 20,
    exclude: frozenset[str] = frozenset(),
    on_damage: OnDamage | None = None,
) -> list[Hit]:
    """Find the tunes whose lengths agree best with a rhythm, exactly.

    Parameters
    ----------
    chunks : iterable of PackedChunk
        The corpus.
    length_class : bytes
        One signed byte for each note of the rhythm.
    limit, exclude, on_damage
        As in :func:`melodex.matching.search.search`.

    Returns
    -------
    list of Hit
        Best first; equal points by tune id. Its ``transposition_semitones`` are half
        doublings of length from the rhythm to the tune.

    Raises
    ------
    EmptyMelodyError, PhraseError
        If there are too few or too many lengths.
    SettingsError
        If the limit is below 1.
    DamagedCorpusError
        If a chunk is damaged and there is no ``on_damage``.

    Examples
    --------
    >>> from melodex.corpus.chunks import TuneNotes
    >>> from melodex.corpus.packing import pack
    >>> chunk = pack([TuneNotes("00000000000a0000", bytes(4), bytes([2, 0, 0, 2])),
    ...               TuneNotes("00000000000b0000", bytes(4), bytes([0, 0, 0, 0]))])
    >>> [(h.tune_id, h.points) for h in search_rhythm([chunk], bytes([4, 2, 2, 4]))]
    [('00000000000a0000', 8), ('00000000000b0000', 4)]
    """
    if len(length_class) < LEAST_LENGTHS:
        raise EmptyMelodyError("a single length is in every tune", hint="give more")
    query = EncodedQuery(heights_of(length_class), UNKNOWN * len(length_class))
    turned = with_columns_changed(chunks, on_damage)
    return search(turned, query, limit=limit, costs=RHYTHM_COSTS, exclude=exclude)


def with_columns_changed(
    chunks: Iterable[PackedChunk], on_damage: OnDamage | None
) -> Iterator[PackedChunk]:
    """Chunks in which lengths stand as pitches, and no length is known."""
    for chunk in chunks:
        try:
            counts = verify(chunk)
        except DamagedCorpusError as damage:
            if on_damage is None:
                raise
            on_damage(damage)
            continue
        yield changed(chunk, counts)


def changed(chunk: PackedChunk, counts: Sequence[int]) -> PackedChunk:
    """One chunk whose second column has taken the place of its first."""
    parts: list[bytes] = []
    place = 0
    for first in range(0, len(counts), LANES):
        size = sum(counts[first : first + LANES])
        parts.append(heights_of(chunk.notes[place + size : place + 2 * size]))
        parts.append(UNKNOWN * size)
        place += 2 * size
    turned = PackedChunk(
        tune_ids=chunk.tune_ids,
        lengths=chunk.lengths,
        notes=b"".join(parts),
        checksum=0,
        tune_count=chunk.tune_count,
        note_count=chunk.note_count,
        number=chunk.number,
        pieces=chunk.pieces,
        piece_count=chunk.piece_count,
    )
    # Made of a chunk whose checksum was seen to hold; its own would only cost.
    object.__setattr__(turned, "known_counts", tuple(counts))
    return turned
