"""Packed chunks: the notes of many tunes, laid out for matching.

Conventions: a note is two bytes, its pitch in semitones (MIDI number, 0 to 127)
and the class of its length (:func:`melodex.melody.duration_class`, -128 where no
length is known). A tune id is 16 hexadecimal digits, kept as 8 bytes, so that
ties can be settled without looking anything up.

Layout: the tunes of a chunk stand in order of falling length (equal lengths: by
tune id) and are taken :data:`LANES` at a time into blocks. In a block the first
notes of all its tunes stand side by side, then all second notes, and so on; a
tune that has ended leaves no gap. All pitches of a block come first, then all
its length classes. So a compiled loop handles one note of 32 tunes at once, and
nothing is spent on padding. The layout is private to this module, to ``packing``, to
``matching/engine/lanes.py`` and to ``matching/engine/_kernel.c``.

Lines of one piece stand in one chunk, so that what is counted by piece adds up over
chunks. ``pieces`` then has for each tune the place of the first one of its piece.

Contents: TUNES_PER_CHUNK, LANES, UNKNOWN_LENGTH, CHUNK_COLUMNS, TuneNotes, PackedChunk,
encode_notes, notes_at, verify, firsts_of, regrouped; tunes are put into a chunk, and taken
out of it, in ``packing``.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import field

from melodex.errors import REMEDIES, DamagedCorpusError
from melodex.melody import Melody, duration_class
from melodex.melody.metre import ABSENT_DURATION_CLASS
from melodex.records import dataclass

__all__ = [
    "CHUNK_COLUMNS",
    "ID_BYTES",
    "LANES",
    "LEADING_BYTES",
    "TUNES_PER_CHUNK",
    "UNKNOWN_LENGTH",
    "PackedChunk",
    "TuneNotes",
    "checksum_of",
    "encode_notes",
    "firsts_of",
    "id_in",
    "leads_of",
    "lines_led",
    "notes_at",
    "pieces_in",
    "regrouped",
    "steps",
    "verify",
]

TUNES_PER_CHUNK = 2048
"""Enough tunes that lengths within a block are nearly equal, few enough that
rewriting the last chunk for one more tune stays cheap."""

LANES = 32
"""Tunes side by side in a block: bytes in a 256-bit register."""

ID_BYTES = 8
"""Bytes of a tune id: sixteen hexadecimal digits."""
LEADING_BYTES = 6
"""Those of an id that were all of it before schema 5: tunes are drawn by them."""
PLACE_BYTES = 2
"""Bytes of a place in a chunk."""
LENGTH_BYTES = 4
"""Bytes of one length, an unsigned 32-bit number."""
CHUNK_COLUMNS = (
    "tune_ids, lengths, notes, checksum, tune_count, note_count, id, pieces, piece_count"
)
"""Columns of the table, in the order that :class:`PackedChunk` takes them."""

UNKNOWN_LENGTH = ABSENT_DURATION_CLASS
"""The class that notes have of which no length is known."""


@dataclass(frozen=True, slots=True)
class TuneNotes:
    """The notes of one tune as matching sees them.

    Parameters
    ----------
    tune_id : str
        16 hexadecimal digits.
    pitch, length_class : bytes
        One signed byte per note, as :func:`encode_notes` makes them.
    piece : str
        What lines of one piece share; empty for a tune that is a piece of its own.
    """

    tune_id: str
    pitch: bytes
    length_class: bytes
    piece: str = ""


@dataclass(frozen=True, slots=True)
class PackedChunk:
    """Up to :data:`TUNES_PER_CHUNK` tunes, packed.

    Parameters
    ----------
    tune_ids : bytes
        8 bytes per tune.
    lengths : bytes
        Notes per tune, unsigned 32 bits each, lowest byte first.
    notes : bytes
        Pitches and length classes, 2 bytes per note.
    checksum : int
        CRC-32 (RFC 1952, section 8) of ids, lengths, notes and pieces, in that order.
    tune_count, note_count : int
        How many tunes and notes there are.
    number : int
        Which chunk of its corpus this is; only to name it in messages.
    pieces : bytes
        For each tune the place of the first one of its piece, unsigned 16 bits each,
        lowest byte first; empty where each tune is a piece of its own.
    piece_count : int
        How many pieces the tunes are lines of; -1 where there are as many as tunes.
    """

    tune_ids: bytes
    lengths: bytes
    notes: bytes
    checksum: int
    tune_count: int
    note_count: int
    number: int = 0
    pieces: bytes = b""
    piece_count: int = -1
    # Set once the checksum has been seen to hold: one question takes several passes.
    known_counts: tuple[int, ...] | None = field(
        default=None, init=False, compare=False, repr=False
    )
    # Where the first line of each piece stands, and its id; several draws ask for them.
    known_leads: tuple[tuple[int, ...], bytes] | None = field(
        default=None, init=False, compare=False, repr=False
    )


def pieces_in(chunk: PackedChunk) -> int:
    """How many pieces the tunes of a chunk are lines of."""
    return chunk.piece_count if chunk.pieces else chunk.tune_count


def firsts_of(chunk: PackedChunk) -> tuple[int, ...]:
    """For each tune of a verified chunk the place of the first one of its piece."""
    if not chunk.pieces:
        return tuple(range(chunk.tune_count))
    return struct.unpack(f"<{chunk.tune_count}H", chunk.pieces)


def leads_of(chunk: PackedChunk) -> tuple[tuple[int, ...], bytes]:
    """Where the first line of each piece of a verified chunk stands, and all their ids.

    No places where each tune is a piece of its own.
    """
    if not chunk.pieces:
        return (), chunk.tune_ids
    if chunk.known_leads is None:
        places = tuple(sorted(set(firsts_of(chunk))))
        ids = b"".join(
            [chunk.tune_ids[ID_BYTES * at : ID_BYTES * (at + 1)] for at in places]
        )
        object.__setattr__(chunk, "known_leads", (places, ids))
        return places, ids
    return chunk.known_leads


FEW_LEADS = 8
"""Pieces of a chunk up to which it is faster to look for the lines of each."""


def lines_led(chunk: PackedChunk, leads: Sequence[int]) -> list[list[int]]:
    """Where the lines of some pieces stand, by where the first of each does."""
    if len(leads) <= FEW_LEADS:
        return [lines_after(chunk, lead) for lead in leads]
    found: dict[int, list[int]] = {lead: [] for lead in leads}
    for place, first in enumerate(firsts_of(chunk)):
        if first in found:
            found[first].append(place)
    return list(found.values())


def lines_after(chunk: PackedChunk, lead: int) -> list[int]:
    """Where the lines of one piece stand."""
    sign = struct.pack("<H", lead)
    found, at = [], chunk.pieces.find(sign, PLACE_BYTES * lead)
    while at >= 0:
        # Half of one place and half of the next may look like it.
        if at % PLACE_BYTES == 0:
            found.append(at // PLACE_BYTES)
            at += 1
        at = chunk.pieces.find(sign, at + 1)
    return found


def regrouped(keys: Sequence[object]) -> bytes:
    """For each tune, by what lines of a piece share, the place of the first such one.

    Examples
    --------
    >>> regrouped(["a", "b", "a"]), regrouped(["a", "b"])
    (b'\\x00\\x00\\x01\\x00\\x00\\x00', b'')
    """
    first: dict[object, int] = {}
    places = [first.setdefault(key, place) for place, key in enumerate(keys)]
    if len(first) == len(places):
        return b""
    return struct.pack(f"<{len(places)}H", *places)


def encode_notes(melody: Melody) -> tuple[bytes, bytes]:
    """Encode a melody for matching.

    Parameters
    ----------
    melody : Melody
        Any melody; pitches beyond MIDI's range are moved into it by octaves.

    Returns
    -------
    pitch, length_class : bytes
        One signed byte per note each.

    Examples
    --------
    >>> from melodex.melody import Melody
    >>> pitch, length_class = encode_notes(
    ...     Melody(midi=(60, 62), fifths=(0, 2), onset_ticks=(0, 10080),
    ...            duration_ticks=(10080, 20160), bar=(1, 1),
    ...            beat_strength=(1.0, 0.5), phrase=(0, 0)))
    >>> list(pitch), list(length_class)
    ([60, 62], [0, 2])
    """
    # A melody has few different pitches and lengths: each is worked out once.
    pitches = {midi: into_range(midi) for midi in set(melody.midi)}
    classes = {ticks: duration_class(ticks) & 0xFF for ticks in set(melody.duration_ticks)}
    return (
        bytes(map(pitches.__getitem__, melody.midi)),
        bytes(map(classes.__getitem__, melody.duration_ticks)),
    )


def into_range(midi: int) -> int:
    """A pitch moved by whole octaves to where MIDI has numbers."""
    if 0 <= midi <= 127:
        return midi
    return midi % 12 if midi < 0 else 108 + midi % 12


def id_in(chunk: PackedChunk, place: int) -> str:
    """The id of a tune of a chunk."""
    return chunk.tune_ids[place * ID_BYTES : (place + 1) * ID_BYTES].hex()


def notes_at(
    chunk: PackedChunk, counts: tuple[int, ...], index: int
) -> tuple[bytes, bytes]:
    """Return the pitches and length classes of one tune, without unpacking the rest.

    Parameters
    ----------
    chunk : PackedChunk
        Verified.
    counts : tuple of int
        Notes per tune, as :func:`verify` returns them.
    index : int
        Which tune, in the order of the chunk.
    """
    first = index - index % LANES
    block = counts[first : first + LANES]
    size, lane = sum(block), index - first
    pitches = 2 * sum(counts[:first])
    found: list[list[bytes]] = [[], []]
    place = 0
    for active, start, end in steps(block):
        if start >= block[lane]:
            break
        area = active * (end - start)
        for column, base in zip(found, (pitches, pitches + size), strict=True):
            column.append(chunk.notes[base + place + lane : base + place + area : active])
        place += area
    return b"".join(found[0]), b"".join(found[1])


def verify(chunk: PackedChunk) -> tuple[int, ...]:
    """Check a chunk against its checksum and sizes; return the notes per tune.

    Raises
    ------
    DamagedCorpusError
        If they do not hold; the message names the chunk.
    """
    if chunk.known_counts is not None:
        return chunk.known_counts
    fault = ""
    counts: tuple[int, ...] = ()
    columns = (chunk.tune_ids, chunk.lengths, chunk.notes, chunk.pieces)
    numbers = (chunk.tune_count, chunk.note_count, chunk.checksum, chunk.piece_count)
    if {*map(type, columns)} != {bytes} or {*map(type, numbers)} != {int}:
        fault = "it holds text or nothing where bytes or numbers belong"
    elif len(chunk.tune_ids) != ID_BYTES * chunk.tune_count:
        fault = "its tune ids are cut short or too long"
    elif len(chunk.lengths) != LENGTH_BYTES * chunk.tune_count:
        fault = "its table of lengths is cut short or too long"
    elif chunk.pieces and len(chunk.pieces) != PLACE_BYTES * chunk.tune_count:
        fault = "its table of pieces is cut short or too long"
    elif checksum_of(*columns) != chunk.checksum:
        fault = "its checksum does not hold"
    else:
        counts = struct.unpack(f"<{chunk.tune_count}I", chunk.lengths)
        if sum(counts) != chunk.note_count or len(chunk.notes) != 2 * chunk.note_count:
            fault = "it does not hold as many notes as it says"
        elif list(counts) != sorted(counts, reverse=True):
            fault = "its tunes are out of order"
        elif chunk.pieces and not are_firsts(firsts_of(chunk), chunk.piece_count):
            fault = "its lines belong to no pieces"
    if fault:
        raise DamagedCorpusError(
            f"the notes of {chunk.tune_count} tunes cannot be trusted: {fault}",
            where=f"chunk {chunk.number}",
            hint=REMEDIES["check, then add"],
        )
    object.__setattr__(chunk, "known_counts", counts)
    return counts


def are_firsts(firsts: Sequence[int], pieces: int) -> bool:
    """Whether each place leads to the first tune of a piece, of so many."""
    leaders = set(firsts)
    return (
        len(leaders) == pieces
        and max(leaders, default=-1) < len(firsts)
        and all(firsts[leader] == leader for leader in leaders)
    )


def checksum_of(ids: bytes, lengths: bytes, notes: bytes, pieces: bytes = b"") -> int:
    """CRC-32 over the four columns; without pieces, as it was before there were any."""
    return zlib.crc32(pieces, zlib.crc32(notes, zlib.crc32(lengths, zlib.crc32(ids))))


def steps(lengths: list[int] | tuple[int, ...]) -> Iterator[tuple[int, int, int]]:
    """Stretches of a block with the same tunes still going: tunes, start, end."""
    start = 0
    for lane in range(len(lengths) - 1, -1, -1):
        if lengths[lane] > start:
            yield lane + 1, start, lengths[lane]
            start = lengths[lane]
