"""In which key, for which instrument and in which clef a passage is printed.

Conventions: labels (degrees, numerals) are the same in every key, so only notes, key
signatures and chord symbols move. B flat instruments are written a major second above
the sound, E flat instruments a major sixth (common practice, no source). A signature
of more than six signs is written with those of the enharmonic key. For a clef the
passage is moved by octaves to where the stave is.

Contents: INSTRUMENTS, CLEFS, SheetSetting, SetPassage, set_passage.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace

from melodex.errors import PresentationError
from melodex.melody import Key, Melody, fifths_from_name, pitch_class_name
from melodex.presentation.engraving.layout import StaffPart
from melodex.presentation.engraving.sides import moved_by
from melodex.tasks.lesson.labels import Labels

__all__ = ["CLEFS", "INSTRUMENTS", "SetPassage", "SheetSetting", "set_passage"]

INSTRUMENTS: Mapping[str, tuple[int, int]] = {
    "concert": (0, 0),
    "b-flat": (2, 2),
    "e-flat": (9, 3),
}
"""What is added to the sound to be read: semitones and fifths."""

CLEFS: Mapping[str, tuple[tuple[str, int, int], int]] = {
    "treble": (("G", 2, 0), 71),
    "bass": (("F", 4, 0), 50),
    "alto": (("C", 3, 0), 60),
    "tenor": (("C", 4, 0), 57),
}
"""Shape, line and octave shift of each clef, and the pitch of its middle line."""

MOST_SIGNS = 6
"""Signs of a key that a sheet is moved to; beyond them its other spelling reads better."""
OWN = "own"


@dataclass(frozen=True, slots=True)
class SheetSetting:
    """How the passages of a set are printed.

    Parameters
    ----------
    key : str
        ``own``, or the tonic that all passages are moved to, such as ``Bb``.
    instrument : str
        One of :data:`INSTRUMENTS`.
    clef : str
        ``own``, for what suits each passage, or one of :data:`CLEFS`.
    """

    key: str = OWN
    instrument: str = "concert"
    clef: str = OWN

    def __post_init__(self) -> None:
        if self.key != OWN and not re.fullmatch("[A-G](b|#)?", self.key):
            raise PresentationError(
                f"{self.key!r} is no tonic", hint="write own, or a note such as C or Bb"
            )
        if self.instrument not in INSTRUMENTS:
            raise PresentationError(
                f"{self.instrument!r} is no instrument here", hint=", ".join(INSTRUMENTS)
            )
        if self.clef != OWN and self.clef not in CLEFS:
            raise PresentationError(
                f"{self.clef!r} is no clef here", hint=f"own, {', '.join(CLEFS)}"
            )

    @property
    def moves(self) -> bool:
        """Whether notes stand elsewhere than in the source."""
        return self.key != OWN or self.instrument != "concert"

    @property
    def words(self) -> str:
        """How the sheet is printed, in a sentence; empty for as it stands."""
        told = []
        if self.key != OWN:
            told.append(f"All passages are moved to the tonic {self.key}")
        if self.instrument != "concert":
            letter = self.instrument[0].upper()
            distance = {"b-flat": "major second", "e-flat": "major sixth"}
            told.append(
                f"Written for {letter} flat instruments, a {distance[self.instrument]} "
                "above the sound"
            )
        if self.clef != OWN:
            told.append(f"In the {self.clef} clef, in the octave that suits it")
        return "; ".join(told) + "." if told else ""


@dataclass(frozen=True, slots=True)
class SetPassage:
    """A passage as it is printed.

    Parameters
    ----------
    melody : Melody
        Moved, chord symbols too.
    labels : Labels
        As they were: they are the same in every key but for the names of keys.
    fifths : int
        How far it was moved on the line of fifths.
    clef : tuple or None
        As in :class:`~melodex.presentation.engraving.layout.StaffPart`.
    """

    melody: Melody
    labels: Labels
    fifths: int
    clef: tuple[str, int, int] | None

    def key_name(self, key: Key) -> str:
        """The name that a key of the source has here."""
        return f"{pitch_class_name(key.tonic_fifths + self.fifths)} {key.mode}"

    @property
    def numerals(self) -> tuple[tuple[int, str], ...]:
        """Onset and numeral of each chord that has one."""
        return tuple(
            (chord.onset_ticks, text)
            for chord, text in zip(self.melody.chords, self.labels.numerals, strict=True)
            if text
        )

    def part(
        self, *, degrees: bool = True, numerals: bool = True, label: str = ""
    ) -> StaffPart:
        """The stave of the passage with its labels, or without them."""
        known = any(degree is not None for degree in self.labels.degrees)
        return StaffPart(
            self.melody,
            label=label,
            degrees=self.labels.degrees if degrees and known else (),
            numerals=self.numerals if numerals else (),
            clef=self.clef,
        )


def set_passage(melody: Melody, labels: Labels, setting: SheetSetting) -> SetPassage:
    """Move a passage to where it is to be printed.

    Parameters
    ----------
    melody : Melody
        The passage, as in the source.
    labels : Labels
        What is said of it.
    setting : SheetSetting
        Key, instrument and clef.
    """
    semitones, fifths = way_to_key(melody, labels, setting.key)
    more_semitones, more_fifths = INSTRUMENTS[setting.instrument]
    semitones, fifths = semitones + more_semitones, fifths + more_fifths
    if fifths:
        fifths += respelled(signature_of(melody, labels) + fifths)
    shape, octaves = None, 0
    if setting.clef != OWN:
        shape, middle = CLEFS[setting.clef]
        mean = sum(melody.midi) / len(melody) + semitones
        octaves = round((middle - mean) / 12)
    elif setting.instrument != "concert":
        # Such parts are read in the treble clef, and the octave tells the instrument.
        shape = CLEFS["treble"][0]
    semitones = within_keyboard(melody, semitones + 12 * octaves)
    # The mark of a section would be taken for the letter of a passage.
    melody = replace(melody, marks=())
    return SetPassage(moved_by(melody, semitones, fifths), labels, fifths, shape)


def way_to_key(melody: Melody, labels: Labels, tonic: str) -> tuple[int, int]:
    """Semitones and fifths from the passage's tonic to another, the short way."""
    here = tonic_of(melody, labels)
    if tonic == OWN or here is None:
        return 0, 0
    fifths = fifths_from_name(tonic) - here
    semitones = (7 * fifths) % 12
    return semitones - 12 if semitones > 6 else semitones, fifths


def tonic_of(melody: Melody, labels: Labels) -> int | None:
    """The tonic at the start of a passage, None where no key is known."""
    if labels.keys:
        return labels.keys[0].tonic_fifths
    return None if melody.key.mode == "none" else melody.key.tonic_fifths


def signature_of(melody: Melody, labels: Labels) -> int:
    """The signature that the passage stands under."""
    if melody.keys:
        return melody.keys[0].signature_fifths
    return labels.keys[0].key.signature_fifths if labels.keys else 0


def respelled(signature: int) -> int:
    """What to add, in fifths, to spell a signature with no more than six signs."""
    if signature > MOST_SIGNS:
        return -12
    return 12 if signature < -MOST_SIGNS else 0


def within_keyboard(melody: Melody, semitones: int) -> int:
    """The transposition, by octaves less where it would leave MIDI's range."""
    while max(melody.midi) + semitones > 127:
        semitones -= 12
    while min(melody.midi) + semitones < 0:
        semitones += 12
    return semitones
