"""Which line of a piece a melody is: its part, voice and place among the others.

Conventions: lines are counted from 1 in the order of the score, from the top. The *main
line* is the one that a listener would call the tune; it stands for its piece.

Contents: ScoreLine.
"""

from __future__ import annotations

import re

from melodex.records import dataclass

__all__ = ["ScoreLine"]


@dataclass(frozen=True, slots=True)
class ScoreLine:
    """One line among those of a piece.

    Parameters
    ----------
    position, count : int
        Which line, from 1, of how many.
    is_main : bool
        Whether it stands for the piece.
    part : str
        The part as the source calls it, such as ``Violin 2``; empty where unnamed.
    voice : str
        The voice in its part, such as ``voice 2`` or ``under voice 1``; empty where the
        part has one line.
    instrument : str
        What plays it, as the source says.
    clef : str
        First printed clef, such as ``G2`` or ``F4`` (sign and line of the stave).
    transposition_semitones : int
        From written to sounding pitch.
    sung_syllables : int
        Syllables under its notes.
    doubled_by : tuple of str
        Lines that have the same notes, in unison or octaves, and are not kept again.
    """

    position: int = 1
    count: int = 1
    is_main: bool = True
    part: str = ""
    voice: str = ""
    instrument: str = ""
    clef: str = ""
    transposition_semitones: int = 0
    sung_syllables: int = 0
    doubled_by: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """Part and voice, such as ``Piano, voice 2``; empty where neither is named.

        Examples
        --------
        >>> ScoreLine(part="Piano", voice="voice 2").name
        'Piano, voice 2'
        """
        return ", ".join(filter(None, (self.part, self.voice)))

    @staticmethod
    def is_told(text: str) -> bool:
        """Whether a text is what :attr:`words` says of a line of several.

        Examples
        --------
        >>> ScoreLine.is_told("Viola (line 3 of 4)"), ScoreLine.is_told("line 2 of 4")
        (True, True)
        >>> ScoreLine.is_told("Viola")
        False
        """
        return bool(re.search(r"(?a)(?:^|\()line \d+ of \d+\)?$", text))

    @property
    def words(self) -> str:
        """Name and place, such as ``Violin 2 (line 2 of 4)``; empty for a single line.

        Examples
        --------
        >>> ScoreLine(2, 4, False, "Violin 2").words
        'Violin 2 (line 2 of 4)'
        >>> ScoreLine(2, 4, False).words, ScoreLine().words
        ('line 2 of 4', '')
        """
        if self.count == 1:
            return ""
        place = f"line {self.position} of {self.count}"
        return f"{self.name} ({place})" if self.name else place
