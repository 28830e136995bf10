"""A phrase that is looked for.

Contents: Phrase.
"""

from __future__ import annotations

from melodex.melody.record import Melody
from melodex.records import dataclass

__all__ = ["Phrase"]


@dataclass(frozen=True, slots=True)
class Phrase:
    """What is looked for: a melody, and how much of it was really said.

    Parameters
    ----------
    melody : Melody
        The notes. Where only steps were typed, pitches start at an arbitrary
        place; where only a contour was, they are placeholders for the signs.
    notation : str
        ``passage``, or how it was typed: a key of
        :data:`melodex.reading.phrase.reader.NOTATIONS`.
    text : str
        As typed, or file and bars.
    has_rhythm : bool
        Whether durations were given.
    has_tonic : bool
        Whether a tonic is known, so that functions can be compared.
    contour : tuple of int
        For notation ``contour``: the signs -1, 0, 1 of the steps.
    tune_id : str
        For a passage of a tune in the corpus: that tune, left out of its own
        results unless asked for.
    first_note : int
        For a passage: index in the whole tune of its first note.
    other_notations : tuple of str
        In which the same text would be other music.
    has_pitch, has_length : tuple of bool
        Where some notes are known by halves: whether pitch and length of each were
        said. Empty where all pitches were said, and all lengths or none; what was not
        said is a placeholder in ``melody``.
    is_whole : bool
        For a passage: whether it is all of its tune.
    """

    melody: Melody
    notation: str
    text: str = ""
    has_rhythm: bool = True
    has_tonic: bool = True
    contour: tuple[int, ...] = ()
    tune_id: str = ""
    first_note: int = 0
    other_notations: tuple[str, ...] = ()
    has_pitch: tuple[bool, ...] = ()
    has_length: tuple[bool, ...] = ()
    is_whole: bool = False

    @property
    def has_notes(self) -> bool:
        """Whether all its pitches were said, so that it can be drawn and heard."""
        return not self.contour and not self.has_pitch

    def __repr__(self) -> str:
        said = f"{self.text!r}, {self.notation}" if self.text else self.notation
        return f"<Phrase {said}: {len(self.melody)} notes>"
