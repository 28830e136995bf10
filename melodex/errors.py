"""The one tree of errors that melodex raises on purpose.

Every message says what is wrong, where (file, tune, line), and what to try. What to try
is in words that hold everywhere, or is a :class:`Remedy`, which the command line, the
page and Python word each for itself: nothing below a door names a command, an option or
a button. What an error knows beyond its words it carries as attributes, so that nobody
reads a message back. The command line and the workbench catch :class:`MelodexError` once
each; any other exception is a fault of ours and keeps its traceback.

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

TYPE_CHECKING = False
if TYPE_CHECKING:
    from typing import Any

__all__ = [
    "REMEDIES",
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
    "Remedy",
    "SettingsError",
    "UnknownTuneError",
]


class Remedy:
    """What helps, by a name that doors know, and in words that hold everywhere."""

    __slots__ = ("name", "words")

    def __init__(self, name: str, words: str) -> None:
        self.name = name
        self.words = words


REMEDIES = {
    name: Remedy(name, words)
    for name, words in {
        "add any": "add any file of it, which works them out anew",
        "add tunes": "add tunes to it",
        "bring shard back": "put back the shard, or make the shards anew from the corpus",
        "bring folder back": "put back a copy of the whole folder",
        "change folder": "name the folder that it stands in",
        "check": "check the corpus",
        "check, unchanged": "check the corpus; nothing was changed",
        "check, then add": "check the corpus, then add the files of these tunes again",
        "choose notation": "say in which notation it is written",
        "find title": "look through the titles",
        "fold in": "check it, which folds the journal in, or name another file",
        "join, change, split": "join it to one file, change that, and split it again",
        "keep passages": "keep some passages in it",
        "list changes": "look through the changes that can be undone",
        "list sources": "look through the sources and collections",
        "list tunes": "look through the tunes of the corpus",
        "look at set": "look at the set, which says what has changed",
        "make corpus": "add a folder, which makes one, or name another file",
        "make set": "make one",
        "make shards": "name a file, or a folder that a corpus was split into",
        "name feature": "name a feature, such as a device or a progression",
        "name phrase": 'type a phrase, such as "5 1 7 6 5 3", or take one from a tune',
        "name tune": "name the tune too",
        "other folder": "name another folder",
        "other corpus": "name another file",
        "other folder for shards": "name another folder",
        "other folder for work": "name another folder",
        "fewer workers": "take fewer of them, or look how much memory there is",
        "gather chords": "ask for tunes with this progression",
        "go on later": "start it again; what was kept is gone on with",
        "install cluster": "install dask.distributed on every machine",
        "memory of workers": "look how much memory they have",
        "name scheduler": "name the address that the scheduler tells when it starts",
        "shared folder": "name a folder that every machine sees under one name",
        "same version": "install one version of melodex on every machine",
        "start workers": "start a worker with the address of the scheduler",
        "file in folder": "name a file in it",
        "repair": "repair the corpus, which makes a new one of all that can be read",
        "repair tune": "repair the corpus, which reads them again from the kept source",
        "replace": "name another file, or say that it is to be replaced",
        "replace read-only": "say that it is to be replaced",
        "read recordings": "save it as WAV, or install what reads other sound files",
        "update": "update melodex, or name another file",
        "what is damaged": "check the corpus; a backup helps where it cannot be read",
    }.items()
}
"""What doors are to word; each has the words for all of these that it knows better."""


class MelodexError(Exception):
    """Base of every error that melodex raises on purpose.

    Parameters
    ----------
    what : str
        What is wrong, as a clause without a full stop.
    where : str, optional
        File, tune and line, as far as they are known.
    hint : str or Remedy, optional
        What to try instead.

    Attributes
    ----------
    remedy : str
        Name of the remedy, for a door to word; empty where ``hint`` is all.
    """

    def __init__(self, what: str, *, where: str = "", hint: str | Remedy = "") -> None:
        self.what = what
        self.where = where
        self.hint = hint.words if isinstance(hint, Remedy) else hint
        self.remedy = hint.name if isinstance(hint, Remedy) else ""
        super().__init__(str(self))

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        advice = f" ({self.hint})" if self.hint else ""
        return f"{place}{self.what}{advice}"


class ReadingError(MelodexError):
    """A file or one tune of it could not be read."""


class HostileInputError(ReadingError):
    """A limit on size, nesting, notes or time was reached while reading.

    Attributes
    ----------
    limit : float or None
        How much would have been read, in the unit that the message names: bytes where
        it says MB; None where what was read is out of order, not too much.
    """

    def __init__(
        self,
        what: str,
        *,
        limit: float | None = None,
        where: str = "",
        hint: str | Remedy = "",
    ) -> None:
        self.limit = limit
        super().__init__(what, where=where, hint=hint)


class PhraseError(MelodexError):
    """A typed phrase could not be understood.

    Attributes
    ----------
    column : int or None
        Where in its line, from 1.
    pointed : str
        That line with a caret under the place; empty where none is known.
    """

    column: int | None = None
    pointed: str = ""

    def __str__(self) -> str:
        if not self.pointed:
            return super().__str__()
        advice = f"; {self.hint}" if self.hint else ""
        return f"{self.where}: {self.what}{advice}\n{self.pointed}"


class AmbiguousPhraseError(PhraseError):
    """A typed phrase can be read in more than one notation.

    Attributes
    ----------
    readings : tuple of (str, str)
        Names of the notations, each with what the phrase then is in words.
    """

    readings: tuple[tuple[str, str], ...] = ()

    def __str__(self) -> str:
        lines = [f"    as {name + ':':9} {words}" for name, words in self.readings]
        return "\n".join((self.what, *lines, self.hint))


class PassageError(MelodexError):
    """Bars or notes were asked for that the tune does not have.

    Attributes
    ----------
    limits : tuple of int or None
        First and last that there are.
    """

    limits: tuple[int, int] | None = None


class CorpusError(MelodexError):
    """The corpus file is missing, damaged, foreign or cannot be written."""


class NewerCorpusError(CorpusError):
    """The corpus was written by a later version of melodex."""


class UnknownTuneError(CorpusError):
    """No tune goes by that name, or more than one does.

    Attributes
    ----------
    name : str
        What was asked for.
    candidates : tuple of TuneRow
        The tunes that it could mean, with composer, key and bars; as many as were
        looked up.
    candidates_in_all : int
        How many there are.
    nearest : tuple of str
        Titles that are written nearly so, where none is written so.
    """

    name: str = ""
    candidates: tuple[Any, ...] = ()
    candidates_in_all: int = 0
    nearest: tuple[str, ...] = ()


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


class WorkersError(MelodexError):
    """Processes or a cluster that were to work cannot be had, or are gone."""


class LessonError(MelodexError):
    """A teaching set is missing, broken or cannot be changed so."""


class PresentationError(MelodexError):
    """A page, a file or a picture could not be made."""
