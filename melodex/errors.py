"""The one tree of errors that melodex raises on purpose.

Every message says what is wrong, where (file, tune, line), and what to try.
The command line and the workbench catch :class:`MelodexError` once each; any
other exception is a fault of ours and keeps its traceback.

    MelodexError
    +-- ReadingError          a file or a tune could not be read
    |   +-- HostileInputError a limit on size, nesting or time was reached
    +-- PhraseError           a typed phrase could not be understood
    |   +-- AmbiguousPhraseError  it can be read in more than one way
    +-- PassageError          bars or notes that a tune does not have
    +-- CorpusError           the corpus file is missing, damaged or foreign
    |   +-- NewerCorpusError  written by a later version of melodex
    |   +-- UnknownTuneError  no tune, or several, go by that name
    |   +-- DamagedCorpusError  a checksum does not hold
    |   +-- BusyCorpusError   another process holds the corpus
    +-- SettingsError         settings that contradict each other or the corpus
    +-- EmptyMelodyError      nothing to align, or too little
    +-- AnalysisError         a progression or chord text that cannot be used
    +-- LessonError           a teaching set that is missing or broken
    +-- PresentationError     a page, file or picture that cannot be made
"""

from __future__ import annotations

__all__ = [
    "AmbiguousPhraseError",
    "AnalysisError",
    "BusyCorpusError",
    "CorpusError",
    "DamagedCorpusError",
    "EmptyMelodyError",
    "HostileInputError",
    "LessonError",
    "MelodexError",
    "NewerCorpusError",
    "PassageError",
    "PhraseError",
    "PresentationError",
    "ReadingError",
    "SettingsError",
    "UnknownTuneError",
]


class MelodexError(Exception):
    """Base of every error that melodex raises on purpose.

    Parameters
    ----------
    what : str
        What is wrong, as a clause without a full stop.
    where : str, optional
        File, tune and line, as far as they are known.
    hint : str, optional
        What to try instead.
    """

    def __init__(self, what: str, *, where: str = "", hint: str = "") -> None:
        self.what = what
        self.where = where
        self.hint = hint
        super().__init__(str(self))

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        advice = f" ({self.hint})" if self.hint else ""
        return f"{place}{self.what}{advice}"


class ReadingError(MelodexError):
    """A file or one tune of it could not be read."""


class HostileInputError(ReadingError):
    """A limit on size, nesting, notes or time was reached while reading."""


class PhraseError(MelodexError):
    """A typed phrase could not be understood."""


class AmbiguousPhraseError(PhraseError):
    """A typed phrase can be read in more than one notation."""


class PassageError(MelodexError):
    """Bars or notes were asked for that the tune does not have."""


class CorpusError(MelodexError):
    """The corpus file is missing, damaged, foreign or cannot be written."""


class NewerCorpusError(CorpusError):
    """The corpus was written by a later version of melodex."""


class UnknownTuneError(CorpusError):
    """No tune goes by that name, or more than one does."""


class DamagedCorpusError(CorpusError):
    """A checksum in the corpus does not hold."""


class BusyCorpusError(CorpusError):
    """Another process holds the corpus for longer than we wait."""


class SettingsError(MelodexError):
    """Settings contradict each other, or what the corpus was built with."""


class EmptyMelodyError(MelodexError):
    """A melody has no notes, or too few for what is asked."""


class AnalysisError(MelodexError):
    """A chord, a progression or a feature was named that cannot be used."""


class LessonError(MelodexError):
    """A teaching set is missing, broken or cannot be changed so."""


class PresentationError(MelodexError):
    """A page, a file or a picture could not be made."""
