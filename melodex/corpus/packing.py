"""Many tunes put into one chunk, and taken out of it again.

The layout is that of :mod:`melodex.corpus.chunks`. A question needs neither: it reads
chunks as they are.

Contents: pack, unpack.
"""

from __future__ import annotations

import struct
from collections import Counter
from collections.abc import Iterable

from melodex.corpus.chunks import (
    ID_BYTES,
    LANES,
    PackedChunk,
    TuneNotes,
    checksum_of,
    firsts_of,
    id_in,
    regrouped,
    steps,
    verify,
)

__all__ = ["pack", "unpack"]

MOST_TUNES = 65_535
"""Of one chunk: places are kept in 16 bits."""


def pack(tunes: Iterable[TuneNotes]) -> PackedChunk:
    """Pack tunes into one chunk; the order in which they come makes no difference.

    Parameters
    ----------
    tunes : iterable of TuneNotes
        At most a few thousand; callers keep to
        :data:`~melodex.corpus.chunks.TUNES_PER_CHUNK`.

    Raises
    ------
    ValueError
        If a tune id is not 16 hexadecimal digits, or a tune has not as many
        length classes as pitches.

    Examples
    --------
    >>> chunk = pack([TuneNotes("000000000000000a", b"<>", b"..")])
    >>> chunk.tune_count, chunk.note_count, unpack(chunk)[0].pitch
    (1, 2, b'<>')
    """
    ordered = sorted(tunes, key=lambda tune: (-len(tune.pitch), tune.tune_id))
    if len(ordered) > MOST_TUNES:
        raise ValueError(f"a chunk has {MOST_TUNES} tunes at most, not {len(ordered)}")
    for tune in ordered:
        check_tune(tune)
    ids = b"".join(bytes.fromhex(tune.tune_id) for tune in ordered)
    counts = [len(tune.pitch) for tune in ordered]
    lengths = struct.pack(f"<{len(counts)}I", *counts)
    parts: list[bytes] = []
    for first in range(0, len(ordered), LANES):
        block = ordered[first : first + LANES]
        parts.append(interleave([tune.pitch for tune in block]))
        parts.append(interleave([tune.length_class for tune in block]))
    notes = b"".join(parts)
    pieces = regrouped([tune.piece or tune.tune_id for tune in ordered])
    return PackedChunk(
        tune_ids=ids,
        lengths=lengths,
        notes=notes,
        checksum=checksum_of(ids, lengths, notes, pieces),
        tune_count=len(ordered),
        note_count=sum(counts),
        pieces=pieces,
        piece_count=len({tune.piece or tune.tune_id for tune in ordered}),
    )


def unpack(chunk: PackedChunk) -> list[TuneNotes]:
    """Return the tunes of a chunk, longest first.

    Raises
    ------
    DamagedCorpusError
        If the checksum or a size does not hold.
    """
    counts = verify(chunk)
    tunes: list[TuneNotes] = []
    firsts = firsts_of(chunk)
    shared = Counter(firsts)
    place = 0
    for first in range(0, len(counts), LANES):
        block = counts[first : first + LANES]
        size = sum(block)
        pitches = separate(chunk.notes[place : place + size], block)
        classes = separate(chunk.notes[place + size : place + 2 * size], block)
        place += 2 * size
        for lane, (pitch, length_class) in enumerate(zip(pitches, classes, strict=True)):
            leader = firsts[first + lane]
            # No tune goes by such a name, wherever it may be moved.
            piece = f"with {id_in(chunk, leader)}" if shared[leader] > 1 else ""
            tune_id = id_in(chunk, first + lane)
            tunes.append(TuneNotes(tune_id, pitch, length_class, piece))
    return tunes


def check_tune(tune: TuneNotes) -> None:
    """Refuse a tune whose id or columns cannot be packed."""
    if len(tune.tune_id) != 2 * ID_BYTES:
        raise ValueError(f"a tune id has {2 * ID_BYTES} digits, not {tune.tune_id!r}")
    if len(tune.pitch) != len(tune.length_class):
        raise ValueError(f"{tune.tune_id}: not as many length classes as pitches")


def interleave(columns: list[bytes]) -> bytes:
    """First bytes of all columns, then second bytes ...; longest column first."""
    parts = []
    for active, start, end in steps([len(column) for column in columns]):
        part = bytearray(active * (end - start))
        for lane in range(active):
            part[lane::active] = columns[lane][start:end]
        parts.append(part)
    return b"".join(parts)


def separate(data: bytes, lengths: tuple[int, ...]) -> list[bytes]:
    """The columns that :func:`interleave` put together."""
    columns: list[list[bytes]] = [[] for _ in lengths]
    place = 0
    for active, start, end in steps(lengths):
        part = data[place : place + active * (end - start)]
        place += len(part)
        for lane in range(active):
            columns[lane].append(part[lane::active])
    return [b"".join(column) for column in columns]
