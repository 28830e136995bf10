"""MIDI: melodies as a standard MIDI file of type 1, to be heard or opened elsewhere.

The division is the melody's own :data:`~melodex.melody.TICKS_PER_QUARTER`, so no
time is rounded. Repeats are not played out: the file holds what is written.

Conventions: track 0 holds tempo, metres and keys; one track follows for each
melody. Time starts at the bar in which a melody starts.

References
----------
MIDI Association (1996), The Complete MIDI 1.0 Detailed Specification, part
"Standard MIDI Files 1.0": chunks, variable-length quantities, meta events.

Contents: midi_bytes, comparison_midi.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from melodex.errors import PresentationError
from melodex.melody import TICKS_PER_QUARTER, Melody

if TYPE_CHECKING:
    from melodex.tasks.compare.compare import Comparison

__all__ = ["DEFAULT_TEMPO", "comparison_midi", "midi_bytes"]

DEFAULT_TEMPO = 100.0
"""Quarters a minute where a source gives none; a walking pace, our choice."""

VELOCITY = 80
DRUM_CHANNEL = 9
CHORD_VELOCITY = 44
CHORD_CHANNEL = 2
PAN = 10
"""Number of the controller that places a channel between left and right."""

PLACES = (32, 96)
PAUSE_TICKS = 2 * TICKS_PER_QUARTER
MOST_MELODIES = 256
CHANNELS = 15
Event = tuple[int, int, bytes]
"""Tick, rank among events of one tick, and the event's bytes."""


def midi_bytes(
    melodies: Sequence[Melody],
    *,
    tempo_quarters_per_minute: float | None = None,
    names: Sequence[str] = (),
) -> bytes:
    """Return a MIDI file that plays melodies together.

    Parameters
    ----------
    melodies : sequence of Melody
        One to 256; from the sixteenth on they share channels.
    tempo_quarters_per_minute : float, optional
        By default that of the first melody, or 100.
    names : sequence of str
        Track names; by default the titles.

    Raises
    ------
    PresentationError
        If there is no melody or too many, a pitch lies outside 0-127, or the tempo
        is not between 4 and 1000.

    Examples
    --------
    >>> from melodex.melody import Melody
    >>> note = Melody((60,), (0,), (0,), (10080,), (1,), (1.0,), (0,))
    >>> midi_bytes([note])[:14].hex(" ")
    '4d 54 68 64 00 00 00 06 00 01 00 02 27 60'
    """
    if not 1 <= len(melodies) <= MOST_MELODIES:
        raise PresentationError(f"a MIDI file takes 1 to {MOST_MELODIES} melodies here")
    tempo = tempo_quarters_per_minute or melodies[0].tempo_quarters_per_minute
    tempo = tempo or DEFAULT_TEMPO
    tracks = [conductor_track(melodies[0], checked_tempo(tempo))]
    for index, melody in enumerate(melodies):
        channel = index % CHANNELS
        channel += channel >= DRUM_CHANNEL
        name = names[index] if index < len(names) else melody.title
        tracks.append(note_track(melody, channel, name))
    return file_of(tracks)


def comparison_midi(
    comparison: Comparison,
    *,
    which: str = "both",
    tempo_quarters_per_minute: float | None = None,
    chords: bool = False,
) -> bytes:
    """Return a MIDI file of a comparison's passages.

    Parameters
    ----------
    comparison : Comparison
        From :func:`melodex.tasks.compare.compare.compare`.
    which : str
        ``in turn``: A, then B in A's key, then both, A at the left and B at the right;
        or ``a``, ``b`` or ``both``, each at its own pitch.
    tempo_quarters_per_minute : float, optional
        As for :func:`midi_bytes`.
    chords : bool
        Whether the chords sound too, where the passages are heard in turn.

    Raises
    ------
    PresentationError
        As :func:`midi_bytes`, or if ``which`` is none of the three.
    """
    if which == "in turn":
        return midi_in_turn(comparison, tempo_quarters_per_minute, chords=chords)
    chosen = {
        "a": [comparison.a],
        "b": [comparison.b],
        "both": [comparison.a, comparison.b],
    }.get(which)
    if chosen is None:
        raise PresentationError(
            f"{which!r} is no choice of passage", hint="in turn, a, b or both"
        )
    return midi_bytes(
        [passage.melody for passage in chosen],
        tempo_quarters_per_minute=tempo_quarters_per_minute,
        names=[passage.label for passage in chosen],
    )


def midi_in_turn(
    comparison: Comparison, tempo: float | None, *, chords: bool = False
) -> bytes:
    """A alone, B in A's key alone, and both so that their first partners meet."""
    from melodex.presentation.engraving.sides import parts_of

    a, b = comparison.a, comparison.b
    onto = "b" if a.melody.key.mode == "none" else "a"
    parts, pairs = parts_of(a.melody, b.melody, comparison.likeness, onto=onto)
    melodies = [part.melody for part in parts]
    first = pairs[0] if pairs else (0, 0)
    meets = [
        m.onset_ticks[n] - origin_ticks(m) for m, n in zip(melodies, first, strict=True)
    ]
    lengths = [m.end_ticks - origin_ticks(m) for m in melodies]
    starts_b = lengths[0] + PAUSE_TICKS
    together = starts_b + lengths[1] + PAUSE_TICKS
    leads = [together + max(meets) - meet for meet in meets]
    tempo = tempo or next(
        filter(None, (m.tempo_quarters_per_minute for m in melodies)), None
    )
    tracks = [conductor_track(melodies[0], checked_tempo(tempo or DEFAULT_TEMPO))]
    for side, (melody, passage) in enumerate(zip(melodies, (a, b), strict=True)):
        name = f"{'AB'[side]}: {passage.label}"
        when = (0 if side == 0 else starts_b, leads[side])
        tracks.append(note_track(melody, side, name, when=when, place=PLACES[side]))
        if chords and melody.chords:
            tracks.append(chord_track(melody, side, name, when))
    return file_of(tracks)


def checked_tempo(tempo: float) -> float:
    """A tempo that a file can state.

    Raises
    ------
    PresentationError
        If it is not between 4 and 1000.
    """
    if not 4 <= tempo <= 1000:
        raise PresentationError(
            f"a tempo of {tempo:g} quarters a minute cannot be written",
            hint="choose one between 4 and 1000",
        )
    return tempo


def file_of(tracks: Sequence[bytes]) -> bytes:
    """A file of type 1."""
    header = (1).to_bytes(2) + len(tracks).to_bytes(2) + TICKS_PER_QUARTER.to_bytes(2)
    return chunk(b"MThd", header) + b"".join(chunk(b"MTrk", track) for track in tracks)


def origin_ticks(melody: Melody) -> int:
    """Where the file's time starts: the first bar, or the first note where none is."""
    first = melody.onset_ticks[0] if len(melody) else 0
    return min(melody.bars[0].onset_ticks, first) if melody.bars else first


def conductor_track(melody: Melody, tempo: float) -> bytes:
    """The track of tempo, metres and keys."""
    return track_of(conductor_events(melody, tempo))


def conductor_events(melody: Melody, tempo: float) -> list[Event]:
    """Tempo, metres and keys."""
    origin = origin_ticks(melody)
    events: list[Event] = [(0, 0, meta(0x51, round(60_000_000 / tempo).to_bytes(3)))]
    for metre_change in melody.metres:
        metre = metre_change.metre
        if metre is None or metre.numerator > 255 or metre.denominator.bit_count() != 1:
            continue
        power = metre.denominator.bit_length() - 1
        # 24 clocks to a click, 8 thirty-seconds to a quarter: the usual values.
        data = bytes([metre.numerator, power, 24, 8])
        events.append((max(0, metre_change.onset_ticks - origin), 1, meta(0x58, data)))
    for key_change in melody.keys:
        signature = key_change.signature_fifths
        if abs(signature) <= 7:
            minor = key_change.key.mode in {"minor", "aeolian"}
            data = signature.to_bytes(1, signed=True) + bytes([minor])
            events.append((max(0, key_change.onset_ticks - origin), 2, meta(0x59, data)))
    return events


def note_track(
    melody: Melody,
    channel: int,
    name: str,
    *,
    when: Sequence[int] = (0,),
    place: int | None = None,
) -> bytes:
    """Name and notes of one melody; a note that ends goes before one that starts.

    It is played at each of the ticks ``when``, at a ``place`` from 0, the left, to 127.
    """
    origin = origin_ticks(melody)
    events: list[Event] = [(0, 0, meta(0x03, name.encode("latin-1", "replace")[:200]))]
    if place is not None:
        events.append((0, 1, bytes([0xB0 | channel, PAN, place])))
    for index, (pitch, onset, length) in enumerate(
        zip(melody.midi, melody.onset_ticks, melody.duration_ticks, strict=True)
    ):
        if not isinstance(pitch, int) or not 0 <= pitch <= 127:
            raise PresentationError(
                f"note {index + 1} in bar {melody.bar[index]} has no MIDI pitch",
                where=melody.title,
            )
        for begun in when:
            start = begun + onset - origin
            events.append((start, 2, bytes([0x90 | channel, pitch, VELOCITY])))
            events.append((start + length, 1, bytes([0x80 | channel, pitch, 0])))
    return track_of(events)


def chord_track(melody: Melody, side: int, name: str, when: Sequence[int]) -> bytes:
    """The chords of a melody, softly, on the same side as it."""
    from melodex.presentation.notation.accompaniment import chord_notes

    channel, origin = CHORD_CHANNEL + side, origin_ticks(melody)
    said = f"{name}, chords".encode("latin-1", "replace")[:200]
    events: list[Event] = [(0, 0, meta(0x03, said))]
    events.append((0, 1, bytes([0xB0 | channel, PAN, PLACES[side]])))
    for pitch, onset, length in chord_notes(melody):
        for begun in when:
            start = begun + max(0, onset - origin)
            events.append((start, 2, bytes([0x90 | channel, pitch, CHORD_VELOCITY])))
            events.append((start + length, 1, bytes([0x80 | channel, pitch, 0])))
    return track_of(events)


def track_of(events: list[Event]) -> bytes:
    """Events in the order of time, each after the ticks since the one before."""
    out = bytearray()
    last = 0
    for tick, _, data in sorted(events):
        out += variable_length(tick - last) + data
        last = tick
    return bytes(out + b"\x00" + meta(0x2F, b""))


def meta(kind: int, data: bytes) -> bytes:
    """A meta event."""
    return bytes([0xFF, kind]) + variable_length(len(data)) + data


def variable_length(value: int) -> bytes:
    """A whole number in groups of seven bits, the top bit set on all but the last.

    Examples
    --------
    >>> variable_length(0x1FFFFF).hex()
    'ffff7f'
    """
    out = [value & 0x7F]
    while value := value >> 7:
        out.append(0x80 | value & 0x7F)
    return bytes(reversed(out))


def chunk(name: bytes, data: bytes) -> bytes:
    """A chunk: name, length, data."""
    return name + len(data).to_bytes(4) + data
