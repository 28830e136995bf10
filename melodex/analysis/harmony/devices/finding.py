"""Harmonic devices: what in the chords of a piece is worth pointing out, and why.

Conventions: each find names its kind, its bars, the chords and notes that show it
and one sentence of reason.

Contents: harmony, Harmony, devices.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from melodex.analysis.harmony.devices.cadences import cadences, endings
from melodex.analysis.harmony.devices.device import KINDS, Device, Piece, sounding_steps
from melodex.analysis.harmony.devices.rests import PhraseEnd, Rest, SectionEnd, rests
from melodex.analysis.harmony.devices.single_chords import (
    altered_dominants,
    coloured_chords,
)
from melodex.analysis.harmony.devices.six_fours import with_six_fours
from melodex.analysis.harmony.devices.successions import (
    circles,
    flat_sevens,
    mixtures,
    third_relations,
    turnarounds,
    two_five_ones,
)
from melodex.analysis.harmony.devices.voices import colour_notes, lines
from melodex.analysis.harmony.placed import (
    KeyStretch,
    NoteOnChord,
    PlacedChord,
    melody_on_chords,
    place_chords,
)
from melodex.melody import Melody

__all__ = ["Harmony", "devices", "harmony"]


@dataclass(frozen=True, slots=True)
class Harmony:
    """Everything that is said of the chords of a piece."""

    chords: tuple[PlacedChord, ...]
    notes: tuple[NoteOnChord, ...]
    devices: tuple[Device, ...]


def harmony(
    melody: Melody,
    key_spans: Sequence[KeyStretch] = (),
    *,
    phrases: Sequence[PhraseEnd] | None = None,
    sections: Sequence[SectionEnd] = (),
) -> Harmony:
    """Read chords, melody notes on them, and devices in one go.

    Parameters
    ----------
    melody : Melody
        Without chord symbols everything comes back empty.
    key_spans : sequence of KeyStretch
        Key centres in the order of their onsets; without any, the printed keys.
    phrases : sequence of PhraseEnd, optional
        Where cadences may stand; without them, the phrases that the melody is numbered
        by.
    sections : sequence of SectionEnd
        Where cadences may stand too.

    Examples
    --------
    >>> harmony(Melody()).devices
    ()
    """
    placed = place_chords(melody, key_spans)
    notes = melody_on_chords(melody, placed)
    resting = rests(melody, placed, phrases, sections)
    return Harmony(placed, notes, devices(melody, placed, notes, resting))


def devices(
    melody: Melody,
    placed: Sequence[PlacedChord],
    notes: Sequence[NoteOnChord],
    resting: tuple[Rest, ...],
) -> tuple[Device, ...]:
    """Find the harmonic devices of a piece.

    Parameters
    ----------
    melody : Melody
    placed : sequence of PlacedChord
        From :func:`~melodex.analysis.harmony.placed.place_chords`.
    notes : sequence of NoteOnChord
        From :func:`~melodex.analysis.harmony.placed.melody_on_chords`.
    resting : tuple of Rest
        From :func:`~melodex.analysis.harmony.devices.rests.rests`.

    Returns
    -------
    tuple of Device
        In the order of their first chord, then of
        :data:`~melodex.analysis.harmony.devices.device.KINDS`.
    """
    steps = sounding_steps(placed)
    if not steps:
        return ()
    row = tuple(placed[step] for step in steps)
    piece = Piece(melody, placed, notes, steps, row, resting)
    piece = replace(piece, cadences=with_six_fours(piece, tuple(cadences(piece))))
    others = (device for finder in FINDERS for device in finder(piece))
    found = one_name([*piece.cadences, *others], steps[-1])
    found.sort(key=lambda device: (device.chords, KIND_ORDER[device.kind]))
    return tuple(found)


def one_name(found: Sequence[Device], last: int) -> list[Device]:
    """Leave out a half cadence where a turnaround or the close of the piece has its V."""
    taken = {device.chords[1] for device in found if device.kind == "turnaround"}
    taken |= {d.chords[0] for d in found if d.chords[1] == last and "cadence" in d.kind}
    return [d for d in found if d.kind != "half cadence" or d.chords[1] not in taken]


FINDERS: tuple[Callable[[Piece], Iterator[Device]], ...] = (
    coloured_chords,
    mixtures,
    flat_sevens,
    turnarounds,
    altered_dominants,
    two_five_ones,
    circles,
    third_relations,
    endings,
    lines,
    colour_notes,
)
"""What looks for devices other than cadences."""
KIND_ORDER = {kind: place for place, kind in enumerate(KINDS)}
