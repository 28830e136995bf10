"""Where printed chord symbols and the notes of a score say different things.

Conventions: the printed symbol is what holds; the notes are heard as a chord of their own
only where they leave little doubt. A symbol that has all notes of that chord, or whose
triad lies in it, says no other thing: Am7 over C E G is a matter of taste.

Contents: Difference, differences.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass

from melodex.analysis.harmony.chords import Chord, parse_chords
from melodex.analysis.harmony.heard.sounding import KINDS, SoundingChord, sounding_chords
from melodex.melody import Melody, pitch_class
from melodex.melody.texture import Texture

__all__ = ["Difference", "differences"]

SURE = 0.85
"""From which certainty a chord of the notes is held against a printed one."""
MOST_OF = 0.6
"""Share of the time of a symbol that one chord of the notes takes at least."""
TRIAD = 3


@dataclass(frozen=True, slots=True)
class Difference:
    """A printed symbol, its bar, and the chord that the notes make.

    Parameters
    ----------
    bar : int
        As printed.
    onset_ticks : int
    printed, sounding : str
        Two chord symbols.
    certainty : float
        Of the second.
    """

    bar: int
    onset_ticks: int
    printed: str
    sounding: str
    certainty: float


def differences(texture: Texture, melody: Melody) -> tuple[Difference, ...]:
    """Every printed symbol under which the notes clearly make another chord.

    Parameters
    ----------
    texture : Texture
        All notes of the piece.
    melody : Melody
        With the printed symbols.
    """
    symbols = melody.printed_chords
    if not symbols:
        return ()
    heard = sounding_chords(texture, melody)
    printed = list(parse_chords(symbol.text for symbol in symbols))
    starts = [chord.onset_ticks for chord in heard]
    ends = [symbol.onset_ticks for symbol in symbols[1:]] + [melody.end_ticks]
    found = []
    for symbol, chord, end in zip(symbols, printed, ends, strict=True):
        start = symbol.onset_ticks
        first = max(bisect_right(starts, start) - 1, 0)
        lasting: dict[tuple[int, ...], tuple[int, SoundingChord]] = {}
        for other in while_it_holds(heard, first, end):
            shared = min(other.end_ticks, end) - max(other.onset_ticks, start)
            triad = (other.root_fifths, *KINDS[other.kind][:TRIAD])
            before, named = lasting.get(triad, (0, other))
            lasting[triad] = (before + max(shared, 0), named)
        for length, other in lasting.values():
            sure = other.certainty >= SURE and length >= MOST_OF * (end - start)
            if sure and end > start and is_other(chord, other):
                found.append(
                    Difference(symbol.bar, start, symbol.text, other.text, other.certainty)
                )
    return tuple(found)


def while_it_holds(
    heard: tuple[SoundingChord, ...], first: int, end: int
) -> Iterator[SoundingChord]:
    """The chords from one on that begin before a place."""
    for chord in heard[first:]:
        if chord.onset_ticks >= end:
            return
        yield chord


def is_other(printed: Chord, heard: SoundingChord) -> bool:
    """Whether two chords say different things."""
    if not printed.sounds:
        return False
    notes = {pitch_class(heard.root_fifths + degree) for degree in KINDS[heard.kind]}
    triad = {
        pitch_class(printed.root_fifths + degree) for degree in printed.degrees[:TRIAD]
    }
    return not (notes <= printed.pitch_classes or triad <= notes)
