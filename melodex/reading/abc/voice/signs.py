"""How a passage is to be played: dynamics, hairpins, letters that stand for decorations.

References
----------
The ABC music standard 2.1 (December 2011), sections 4.14 and 4.16.

Contents: FERMATAS, PlayingSigns.
"""

from __future__ import annotations

from melodex.melody import Dynamic
from melodex.melody.loudness import SIGNS

__all__ = ["FERMATAS", "PlayingSigns"]

STANDARD_LETTERS = frozenset(".~HLMOPSTuv")
"""Letters that stand for a decoration unless ``U:`` says otherwise (4.16)."""

HAIRPINS = {
    "crescendo": "crescendo",
    "<": "crescendo",
    "diminuendo": "diminuendo",
    ">": "diminuendo",
}
"""What opens with ``(`` and closes with ``)`` (4.14)."""

FERMATAS = frozenset({"fermata", "invertedfermata"})


class PlayingSigns:
    """The signs of one voice, and what its letters mean by now."""

    def __init__(self) -> None:
        self.dynamics: list[Dynamic] = []
        self.hairpins: dict[str, int] = {}
        self.letters = STANDARD_LETTERS
        self.fermata_letters = frozenset("H")

    def define_letter(self, letter: str, meaning: str) -> None:
        """Let a letter stand for a decoration from here on."""
        self.letters |= {letter}
        says_fermata = meaning.strip(" =!+").lower() in FERMATAS
        self.fermata_letters -= {letter}
        self.fermata_letters |= {letter} if says_fermata else set()

    def take(self, name: str, now: int) -> None:
        """A dynamic, or one end of a hairpin; anything else changes no loudness."""
        if name in SIGNS:
            self.dynamics.append(Dynamic(name, now, now))
        elif name[:-1] in HAIRPINS:
            self.take_hairpin(HAIRPINS[name[:-1]], name[-1], now)

    def take_hairpin(self, sign: str, bracket: str, now: int) -> None:
        """Open or close a hairpin (4.14)."""
        if bracket == "(":
            self.hairpins[sign] = now
        elif bracket == ")" and sign in self.hairpins:
            begun = self.hairpins.pop(sign)
            if now > begun:
                self.dynamics.append(Dynamic(sign, begun, now))
