"""Words of questions in the key in which a sheet is printed.

Contents: said, spelled, maker_of, source_of.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from melodex.melody import Melody, pitch_class_name
from melodex.presentation.engraving.sides import moved_chord
from melodex.presentation.engraving.words import with_signs
from melodex.presentation.lesson.setting import SetPassage
from melodex.tasks.lesson.asking.records import STAYS, KeyName, NoteName, Word, Words

__all__ = ["maker_of", "said", "source_of", "spelled"]


def maker_of(melody: Melody) -> str:
    """Composer and year; what is not known is said."""
    made = melody.credits
    maker = made.composer or "composer not known"
    return f"{maker}, {made.year}" if made.year is not None else maker


def source_of(melody: Melody) -> str:
    """Collection and number in it."""
    made = melody.credits
    number = f"no. {made.number}" if made.number else ""
    return ", ".join(part for part in (made.collection, number) if part) or "not known"


ACCIDENTAL = re.compile(
    r"\b([A-G])(b+|#+)(?![a-z])|\b([A-G])(b+|#+)(?=m|dim|sus|aug|add)"
    r"|(?<![A-Za-z])()(b+|#+)(?=[IViv\d])"
)


def spelled(text: str) -> str:
    """A text in which names of notes and numerals have real accidentals."""

    def signed(found: re.Match[str]) -> str:
        letter, signs = (part for part in found.groups() if part is not None)
        return letter + with_signs(signs)

    return ACCIDENTAL.sub(signed, text)


def said(words: Words, here: Sequence[SetPassage]) -> str:
    """Words of a question, names moved with the passages that they belong to.

    Parameters
    ----------
    words : Words
        As the question has them.
    here : sequence of SetPassage
        Its passages as they are printed.
    """
    return "".join(said_word(word, here) for word in words)


def said_word(word: Word, here: Sequence[SetPassage]) -> str:
    """One of the words."""
    if isinstance(word, str):
        return spelled(word)
    passage = None if word.of == STAYS or word.of >= len(here) else here[word.of]
    fifths = passage.fifths if passage else 0
    if isinstance(word, KeyName):
        name = pitch_class_name(word.key.tonic_fifths + fifths)
        return f"{with_name_signs(name)} {word.key.mode}"
    if isinstance(word, NoteName):
        return with_name_signs(pitch_class_name(word.fifths + fifths))
    return spelled(moved_chord(word.text, fifths) if fifths else word.text)


def with_name_signs(name: str) -> str:
    """The name of a note with its real signs."""
    return name[0] + with_signs(name[1:])
