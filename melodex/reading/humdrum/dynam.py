"""Marks of loudness in a ``**dynam`` spine.

Conventions: letters are a mark such as ``mf``; ``<`` and ``>`` open a hairpin, ``[`` and
``]`` close it, ``(`` and ``)`` go on with it. A hairpin that nothing closes ends with the
next mark or hairpin.

References
----------
Humdrum representation reference, ``**dynam``. From memory.

Contents: Loudness.
"""

from __future__ import annotations

import re

from melodex.melody import Dynamic
from melodex.melody.loudness import SIGNS

__all__ = ["Loudness"]

OPENS = {"<": "crescendo", ">": "diminuendo"}
CLOSES = "[]"
TOKEN = "[a-z]+|[<>]|[][]"


class Loudness:
    """What a spine of loudness has said so far."""

    def __init__(self) -> None:
        self.open: tuple[str, int] | None = None

    def read(self, token: str, place: int) -> list[Dynamic]:
        """The marks and the hairpins that are whole with a token.

        Parameters
        ----------
        token : str
            One record of the spine.
        place : int
            Where it stands, in ticks.
        """
        found = []
        for sign in re.findall(TOKEN, token):
            if sign in SIGNS or sign in OPENS or sign in CLOSES:
                found += self.closed(place)
            if sign in OPENS:
                self.open = OPENS[sign], place
            elif sign in SIGNS:
                found.append(Dynamic(sign, place, place))
        return found

    def closed(self, place: int) -> list[Dynamic]:
        """The hairpin that is open, closed here."""
        opened, self.open = self.open, None
        if opened is None or opened[1] >= place:
            return []
        return [Dynamic(opened[0], opened[1], place)]
