"""One token of a ``**kern`` spine: notes, rests, grace notes, and what hangs on them.

Conventions: a token is a note or the notes of a chord, with a space between; a note that
names no length takes that of the note before it in its chord. Lengths are ticks, whole
where they can be. Pitches sound as they are written, whatever the instrument (``**kern``
is in concert pitch).

References
----------
Humdrum user guide, the ``**kern`` representation: a length is the part of a whole note
that it is (0 a breve, 00 a longa, 000 a maxima, ``3%2`` two thirds), c is middle C, cc the
C above it, C the one below. From memory, and tried against music21's reading.

Contents: KernNote, notes_of.
"""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache

from melodex.errors import HostileInputError, ReadingError
from melodex.melody import TICKS_PER_QUARTER, fifths_of, midi_of
from melodex.records import dataclass

__all__ = ["KernNote", "notes_of"]

WHOLE_TICKS = 4 * TICKS_PER_QUARTER
MOST_NOTES = 64
"""Of a chord."""
MOST_QUARTERS = 1024
"""Longest note, as in MusicXML: three times a maxima stays far below."""
MOST_DOTS = 8
MOST_TOKEN = 400
"""Characters of a token that are looked at."""

LENGTH = re.compile(r"(\d{1,6})(?:%(\d{1,6}))?")
PITCH = re.compile(r"([a-gA-G])\1{0,9}(#{1,3}|-{1,3}|n)?")
MIDDLE_OCTAVE = 4
"""Of a single small letter: ``c`` is middle C."""


@dataclass(frozen=True, slots=True)
class KernNote:
    """A note, rest or grace note; ``midi`` is -1 for a rest.

    ``ticks`` is None where no length is written; ``ratio`` says how many notes stand in
    the time of how many.
    """

    ticks: int | Fraction | None
    midi: int
    fifths: int
    ratio: tuple[int, int] | None = None
    grace: bool = False
    slashed: bool = False
    tie_start: bool = False
    tie_stop: bool = False
    held: bool = False
    phrase_start: bool = False
    phrase_stop: bool = False


@lru_cache(maxsize=1 << 14)
def notes_of(token: str) -> tuple[KernNote, ...]:
    """Read a token; the first note leads its chord.

    Raises
    ------
    ReadingError
        If it is neither a note nor a rest, or its length makes no sense.

    Examples
    --------
    >>> [(n.ticks, n.midi) for n in notes_of("4.GG#/ 4.D#/")]
    [(15120, 44), (15120, 51)]
    >>> notes_of("12ee-L")[0].ratio, notes_of("2r")[0].midi, notes_of("3%2c")[0].ticks
    ((3, 2), -1, 26880)
    """
    if len(token) > MOST_TOKEN:
        raise HostileInputError(f"a token of more than {MOST_TOKEN} characters")
    parts = token.split(" ")
    if len(parts) > MOST_NOTES:
        raise HostileInputError(f"a chord of more than {MOST_NOTES} notes")
    found: list[KernNote] = []
    length: tuple[int | Fraction | None, tuple[int, int] | None] = (None, None)
    for part in filter(None, parts):
        own = length_of(part)
        length = length if own[0] is None else own
        found.append(note_of(part, *length))
    if not found:
        raise ReadingError("an empty token")
    return tuple(found)


def note_of(
    text: str, ticks: int | Fraction | None, ratio: tuple[int, int] | None
) -> KernNote:
    """Read one note of a token, whose length is known."""
    # Some editions place a rest on the stave by a pitch: it stays a rest.
    pitch = None if "r" in text else PITCH.search(text)
    if pitch is None and "r" not in text:
        raise ReadingError(f"{text[:30]!r} is neither a note nor a rest")
    midi, fifths = (-1, 0) if pitch is None else pitch_of(pitch)
    grace = "q" in text or "Q" in text
    return KernNote(
        0 if grace else ticks,
        midi,
        fifths,
        None if grace else ratio,
        grace,
        grace and "qq" not in text and "Q" not in text,
        "[" in text or "_" in text,
        "]" in text or "_" in text,
        ";" in text,
        "{" in text,
        "}" in text,
    )


def pitch_of(found: re.Match[str]) -> tuple[int, int]:
    """Sounding pitch and spelling of letters and sign."""
    letters, sign = found[0].rstrip("#-n"), found[2] or ""
    letter = letters[0]
    above = len(letters) - 1 if letter.islower() else -len(letters)
    alteration = len(sign) if sign[:1] == "#" else -len(sign) if sign[:1] == "-" else 0
    fifths = fifths_of(letter, alteration)
    midi = midi_of(fifths, MIDDLE_OCTAVE + above)
    if not 0 <= midi <= 127:
        raise ReadingError(f"{found[0]!r} is outside the range of MIDI")
    return midi, fifths


def length_of(text: str) -> tuple[int | Fraction | None, tuple[int, int] | None]:
    """Ticks of a note, and the tuplet that its length is of; None where none is written."""
    found = LENGTH.search(text)
    if found is None:
        return None, None
    figure, over = found[1], int(found[2] or 1)
    dots = 0
    while text[found.end() + dots : found.end() + dots + 1] == ".":
        dots += 1
    if figure.strip("0") == "":
        # 0, 00, 000: two, four, eight wholes.
        ticks, ratio = Fraction(WHOLE_TICKS * over * 2 ** len(figure)), None
    else:
        ticks, ratio = Fraction(WHOLE_TICKS * over, int(figure)), ratio_of(int(figure))
    if dots:
        ticks *= 2 - Fraction(1, 2 ** min(dots, MOST_DOTS))
    if not 0 < ticks <= MOST_QUARTERS * TICKS_PER_QUARTER or dots > MOST_DOTS:
        raise HostileInputError(f"{text[:30]!r} has a length that no note has")
    return (ticks.numerator if ticks.denominator == 1 else ticks), ratio


def ratio_of(figure: int) -> tuple[int, int] | None:
    """How many notes in the time of how many: 12 are three eighths in the time of two.

    Examples
    --------
    >>> ratio_of(12), ratio_of(20), ratio_of(16), ratio_of(28)
    ((3, 2), (5, 4), None, (7, 4))
    """
    while figure % 2 == 0:
        figure //= 2
    if figure == 1 or figure > 99:
        return None
    return figure, 1 << (figure.bit_length() - 1)
