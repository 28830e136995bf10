"""A file read and made into rows: whole, or a large ABC file part by part.

Conventions: the parts of a file give, one after the other, what it gives whole: the
same rows in the same order, the same refusals, the same name of its collection. So
memory holds some parts at a time, however large the file.

Contents: Job, job_of, is_large, parts_of, numbered, LARGE_BYTES, TUNES_PER_PART.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Generator, Iterator
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from melodex.corpus.rows import place_path, storable
from melodex.corpus.writing.preparing import PreparedFile, folder_of, prepared
from melodex.errors import HostileInputError, ReadingError
from melodex.reading import (
    Choice,
    FileReading,
    Refusal,
    contents,
    read_data,
    text_of_abc,
)

if TYPE_CHECKING:
    from melodex.reading.abc.reader import AbcPart
    from melodex.reading.apart import Apart

__all__ = [
    "LARGE_BYTES",
    "TUNES_PER_PART",
    "Job",
    "is_large",
    "job_of",
    "numbered",
    "parts_of",
]

LARGE_BYTES = 50_000
"""Less, some four hundred short tunes, takes below 15 MB as rows and is read whole."""

TUNES_PER_PART = 128
"""Some 4 MB as rows, and about half of what is written at once."""


@dataclass(frozen=True, slots=True)
class Job:
    """A file or a part of it that is to be read; it goes from process to process.

    Parameters
    ----------
    source : str
        The path as given, or the name that came with the file.
    place : str
        The whole path.
    collection : str
        Name of the collection; empty to take it from the file.
    choice : Choice
        How it is read.
    part : AbcPart, optional
        What to read; None for the whole file, which is opened then.
    is_first : bool
        Whether nothing of the file comes before.
    kept_at : Path, optional
        Where the file lies; None for the path that ``source`` is.
    fault : HostileInputError, optional
        For which it is refused unread.
    """

    source: str
    place: str
    collection: str
    choice: Choice
    part: AbcPart | None = None
    is_first: bool = True
    kept_at: Path | None = None
    fault: HostileInputError | None = None

    def done(self) -> PreparedFile:
        """Read it and make it into rows."""
        return self.rows(self.part.read(self.choice) if self.part else self.whole())

    def refused(self, error: ReadingError) -> PreparedFile:
        """The refusal of a file, or a part, that cannot be read."""
        refusal = Refusal.of(error, self.source)
        return self.rows(FileReading(self.source, refusals=(refusal,)))

    def rows(self, reading: FileReading) -> PreparedFile:
        """What was read, made into rows."""
        file = prepared(reading, self.collection, self.choice, self.place)
        file.is_first = self.is_first
        file.share = self.part.share if self.part else 1.0
        return file

    def whole(self) -> FileReading:
        """Read the whole file."""
        try:
            data = contents(self.kept_at or Path(self.source), self.source)
            return read_data(data, self.source, self.choice)
        except HostileInputError:
            raise
        except ReadingError as error:
            refusal = Refusal.of(error, self.source)
            return FileReading(self.source, refusals=(refusal,))


def job_of(path: Path, collection: str, choice: Choice) -> Job:
    """What there is to do for a file."""
    source = str(path)
    return Job(source, place_path(source), collection, choice, kept_at=path)


def is_large(whole: Job) -> bool:
    """Whether a file is large enough to be read in parts."""
    try:
        return (whole.kept_at or Path(whole.source)).stat().st_size > LARGE_BYTES
    except (OSError, ValueError):
        # Whoever reads it refuses it, with the reason.
        return False


def parts_of(whole: Job, apart: Apart) -> Iterator[Job]:
    """The parts of a large ABC file, in turn; of any other file the job itself.

    What looks through all of its tunes is the other process: a file that costs too much
    even there is refused whole.
    """
    text = text_of(whole) if is_large(whole) else ""
    if not text:
        yield whole
        return
    from melodex.reading.abc.reader import abc_parts

    source, choice = whole.source, whole.choice
    try:
        collection = storable(whole.collection) or apart.do(book_of_all, whole)
    except HostileInputError as error:
        yield replace(whole, fault=error)
        return
    # Without a book the name of the folder is given, as no part may look for its own.
    collection = collection or folder_of(whole.place)
    is_first = True
    for part in abc_parts(text, source, TUNES_PER_PART):
        yield Job(source, whole.place, collection, choice, part, is_first)
        is_first = False


def text_of(whole: Job) -> str:
    """The text of an ABC file; empty if it is none, or cannot be read."""
    try:
        data = contents(whole.kept_at or Path(whole.source), whole.source)
    except ReadingError:
        return ""
    return text_of_abc(data, whole.source)


def book_of_all(whole: Job) -> str:
    """The book that all tunes of an ABC file name that can be read, if it is the same."""
    from melodex.reading.abc.reader import abc_books, abc_parts

    source = whole.source
    found: set[str] = set()
    parts = abc_parts(text_of(whole), source, TUNES_PER_PART)
    for book in abc_books(parts, whole.choice):
        found.add(storable(book))
        if len(found) > 1:
            return ""
    return found.pop() if found else ""


def numbered(
    files: Generator[PreparedFile, None, None],
) -> Generator[PreparedFile, None, None]:
    """Count how often a number comes in a file on through the file's parts."""
    seen: Counter[str] = Counter()
    with closing(files):
        for file in files:
            if file.is_first:
                seen.clear()
            if not (file.is_first and file.is_last):
                for tune in file.tunes:
                    seen[tune.number] += tune.line.is_main
                    tune.occurrence = seen[tune.number]
            yield file
