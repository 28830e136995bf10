"""What a reader hands back: melodies, warnings, refusals, and the text it kept.

Contents: ReadWarning, ReadTune, Refusal, FileReading, Choice.
"""

from __future__ import annotations

from dataclasses import field
from typing import TYPE_CHECKING

from melodex.errors import HostileInputError, MelodexError
from melodex.melody import Melody
from melodex.melody.score_line import ScoreLine
from melodex.records import dataclass

if TYPE_CHECKING:
    from melodex.melody.texture import Texture

__all__ = ["Choice", "FileReading", "ReadTune", "ReadWarning", "Refusal"]


@dataclass(frozen=True, slots=True)
class Choice:
    """Which line of a piece is the melody.

    Parameters
    ----------
    part : str
        Part name or number (from 1); empty for the first part with notes.
    voice : str
        Voice name or number; empty for the first (ABC) or top (MusicXML) voice.
    chord_note : str
        ``top`` or ``bottom``: which note of a written chord is the melody.
    chords_alone : bool
        Whether a sheet of chord symbols without any note is read too, which nothing that
        looks at notes can use.
    lines : str
        ``top`` reads the main line of each piece alone, ``all`` every line that could be
        looked for, ``written`` those of a few notes and doublings too;
        part, voice and note of a chord then say which of them is the main one.
    """

    part: str = ""
    voice: str = ""
    chord_note: str = "top"
    chords_alone: bool = True
    lines: str = "top"

    @classmethod
    def kept(cls, part: str, voice: str, chord_note: str, lines: str = "top") -> Choice:
        """A choice as a corpus keeps it."""
        return cls(part, voice, chord_note, lines=lines)


@dataclass(frozen=True, slots=True)
class ReadWarning:
    """Something in a file that was not understood, and where it stands (from 1)."""

    text: str
    line: int = 0
    column: int = 0


@dataclass(frozen=True, slots=True)
class ReadTune:
    """One melody read, what was odd about it, and the source text it came from.

    ``kept`` is enough to read the same melody again with
    :func:`melodex.reading.read_bytes` under ``kept_format``. ``texture`` holds all notes
    of a piece in which some sound together and no chords are printed; else it is None.
    ``line`` says which line of its piece the melody is. Of a piece of several lines the
    main one comes first, then the others in the order of the score; only the main one
    has the texture.
    """

    melody: Melody
    warnings: tuple[ReadWarning, ...] = ()
    kept: bytes = b""
    kept_format: str = ""
    texture: Texture | None = None
    line: ScoreLine = field(default_factory=ScoreLine)


@dataclass(frozen=True, slots=True)
class Refusal:
    """A tune or a whole file that could not be read, and why.

    ``limit`` is how much would have been read, in the unit that ``reason`` names, where
    it was too much.
    """

    source: str
    reason: str
    number: str = ""
    line: int = 0
    hint: str = ""
    limit: float | None = None

    @classmethod
    def of(
        cls, error: MelodexError, source: str, *, number: str = "", line: int = 0
    ) -> Refusal:
        """Refuse what raised an error; nothing that it says is lost."""
        limit = error.limit if isinstance(error, HostileInputError) else None
        return cls(source, error.what, number, line, error.hint, limit)

    def __str__(self) -> str:
        tune = f", tune {self.number}" if self.number else ""
        line = f", line {self.line}" if self.line else ""
        advice = f" ({self.hint})" if self.hint else ""
        return f"{self.source}{tune}{line}: {self.reason}{advice}"


@dataclass(frozen=True, slots=True)
class FileReading:
    """Everything one file gave."""

    source: str
    tunes: tuple[ReadTune, ...] = ()
    refusals: tuple[Refusal, ...] = ()
