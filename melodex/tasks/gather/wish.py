"""What may be asked of a gathering.

Contents: TOGETHER, Wish.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

__all__ = ["TOGETHER", "Wish"]

TOGETHER = {
    "exact_progression": "progression",
    "nearly": "phrase",
}
"""Wishes that only say how another one is meant."""


@dataclass(frozen=True, slots=True)
class Wish:
    """What is asked for; empty and None ask for nothing.

    Parameters
    ----------
    metre : str
        Class of metre: simple, compound, irregular, mixed, free.
    mode : str
        Mode of the whole tune.
    key_centres : int or None
        At least so many different tonics.
    key_change : str
        Words of a change of key, such as ``relative`` or ``whole tone``.
    mode_change : bool
        A change of mode over the same tonic.
    modal : str
        Mode that colours a passage of a tune in another one.
    section_bars : int or None
        A section of just so many bars.
    odd_sections : bool
        A section whose length is no multiple of four bars.
    device : str
        Kind of a harmonic device or part of its name; if no kind has that, of a reason.
    progression : str
        Chords in Roman numerals or chord symbols, found in every key.
    exact_progression : bool
        Whether nothing may stand for a chord of it.
    note_on_chord : str
        Degree of the melody on a chord, such as ``b9 on V`` or ``#11 on bVII7``.
    phrase : str
        A figure that the melody holds in any key.
    nearly : bool
        Whether one note of that figure may be another.
    returning : str
        A figure that returns inside the tune: sequence, repetition, inversion.
    title, composer, rights : str
        Part of the title, the composer or the copyright note.
    collection, tag : str
        Name of a collection or tag.
    after, before : int or None
        First and last year.
    """

    metre: str = ""
    mode: str = ""
    key_centres: int | None = None
    key_change: str = ""
    mode_change: bool = False
    modal: str = ""
    section_bars: int | None = None
    odd_sections: bool = False
    device: str = ""
    progression: str = ""
    exact_progression: bool = False
    note_on_chord: str = ""
    phrase: str = ""
    nearly: bool = False
    returning: str = ""
    title: str = ""
    composer: str = ""
    rights: str = ""
    collection: str = ""
    tag: str = ""
    after: int | None = None
    before: int | None = None

    def told(self) -> tuple[str, ...]:
        """The wishes that are stated, in words."""
        return tuple(
            column.name.replace("_", " ")
            if getattr(self, column.name) is True
            else f"{column.name.replace('_', ' ')} {getattr(self, column.name)}"
            for column in fields(self)
            if getattr(self, column.name) not in ("", None, False)
        )
