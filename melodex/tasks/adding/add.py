"""Adding files and folders to a corpus.

Conventions: files are read in order of their names and written a few at a time;
what is reported is on disk. A large ABC file is written in parts, and has one report
all the same. A file that cannot be read stops nothing: it is
refused with a reason, and so is a tune. Adding the same files again resumes where
an earlier run was stopped: what is there already is unchanged.

Contents: AddResult, AddStep, add_paths, files_of.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from os import PathLike
from pathlib import Path

from melodex.corpus.writing.preparing import AddReport, PreparedFile
from melodex.corpus.writing.store import CorpusWriter
from melodex.reading import SUFFIXES, Choice, Refusal
from melodex.tasks.adding.pool import made_into_rows

__all__ = ["AddResult", "AddStep", "add_paths", "files_of"]

TUNES_PER_COMMIT = 256
"""Enough that the disk is not what one waits for (about 10 ms a commit)."""

SECONDS_PER_COMMIT = 0.5
"""No more than this much reading is lost when the work is stopped."""


@dataclass(frozen=True, slots=True)
class AddStep:
    """How far adding has come; counts are of what is on disk."""

    files_done: int
    files_total: int
    tunes_done: int
    source: str
    share: float = 0.0
    """Of the file after those, where a part of it is on disk: 0 to 1."""


@dataclass(frozen=True, slots=True)
class AddResult:
    """What became of every file; ``interrupted`` where the work was stopped.

    The last report is then of a part of its file if ``files_done`` is one less.
    """

    reports: tuple[AddReport, ...]
    files_total: int
    files_done: int
    interrupted: bool = False

    @property
    def added(self) -> int:
        """How many tunes are new."""
        return sum(len(report.added) for report in self.reports)

    @property
    def unchanged(self) -> int:
        """How many tunes the corpus had already."""
        return sum(len(report.unchanged) for report in self.reports)

    @property
    def replaced(self) -> int:
        """How many tunes took the place of another content at the same number."""
        return sum(len(report.replaced) for report in self.reports)

    @property
    def further(self) -> int:
        """How many further lines of pieces are new beside their main lines."""
        return sum(len(report.further) for report in self.reports)

    @property
    def warnings(self) -> int:
        """How many things were not understood."""
        return sum(report.warnings for report in self.reports)

    @property
    def refusals(self) -> tuple[Refusal, ...]:
        """What could not be read, and why."""
        return tuple(refusal for report in self.reports for refusal in report.refusals)


@dataclass(slots=True)
class Adding:
    """Work in progress: what has been read and not yet written."""

    writer: CorpusWriter
    files_total: int
    progress: Callable[[AddStep], None] | None
    reports: list[AddReport] = field(default_factory=list)
    waiting: list[PreparedFile] = field(default_factory=list)
    tunes_waiting: int = 0
    tunes_done: int = 0
    share: float = 0.0
    written_at: float = field(default_factory=time.monotonic)

    def take(self, file: PreparedFile) -> None:
        """Take what one file or part gave, and write when enough has come together."""
        self.waiting.append(file)
        self.tunes_waiting += len(file.tunes)
        long_ago = time.monotonic() - self.written_at > SECONDS_PER_COMMIT
        if self.tunes_waiting >= TUNES_PER_COMMIT or long_ago:
            self.write()

    def write(self) -> None:
        """Write what waits, and report it."""
        if not self.waiting:
            return
        try:
            reports = self.writer.add_prepared(self.waiting)
        except KeyboardInterrupt:
            if self.writer.has_committed:
                self.book([file.report() for file in self.waiting])
            raise
        source = self.waiting[-1].source
        self.book(reports)
        if self.progress:
            self.progress(
                AddStep(
                    self.files_done, self.files_total, self.tunes_done, source, self.share
                )
            )

    def book(self, reports: list[AddReport]) -> None:
        """Count what waited as being on disk."""
        self.writer.has_committed = False
        for file, report in zip(self.waiting, reports, strict=True):
            if file.is_first:
                self.reports.append(report)
            else:
                self.reports[-1] = self.reports[-1].and_then(report)
            self.share = 0.0 if file.is_last else file.share
        self.tunes_done += self.tunes_waiting
        self.waiting, self.tunes_waiting = [], 0
        self.written_at = time.monotonic()

    @property
    def files_done(self) -> int:
        """How many files are on disk to their end."""
        return len(self.reports) - bool(self.share)

    def result(self, *, interrupted: bool = False) -> AddResult:
        """What has become of every file so far."""
        return AddResult(
            tuple(self.reports), self.files_total, self.files_done, interrupted
        )


def add_paths(
    corpus_path: str | PathLike[str],
    paths: str | PathLike[str] | Iterable[str | PathLike[str]],
    *,
    collection: str = "",
    choice: Choice | None = None,
    progress: Callable[[AddStep], None] | None = None,
    waiting: Callable[[float], None] | None = None,
    workers: int = 1,
) -> AddResult:
    """Read files and folders into a corpus, which is made where there is none.

    Parameters
    ----------
    corpus_path : str or PathLike
        The corpus.
    paths : str, PathLike, or iterable of them
        Files, and folders whose files with a known ending are read.
    collection : str
        Name of the collection; empty for the name of each file's folder.
    choice : Choice, optional
        Which part, voice and note of a chord is the melody.
    progress : callable, optional
        Called after each commit.
    waiting : callable, optional
        Called with seconds when another process holds the corpus for long.
    workers : int
        How many processes may read at once, where there is enough to read.

    Returns
    -------
    AddResult
        What became of every file. Stopped by Ctrl-C, it says what was done.

    Raises
    ------
    CorpusError
        If the corpus cannot be opened or written; what was reported stays in it.
    """
    if isinstance(paths, str | PathLike):
        paths = [paths]
    given = [Path(path) for path in paths]
    folders = [str(path) for path in given if is_folder(path)]
    found = list(files_of(given))
    with CorpusWriter.open(corpus_path, waiting=waiting) as writer:
        adding = Adding(writer, len(found), progress)
        files = made_into_rows(found, collection, choice or Choice(), workers=workers)
        try:
            with closing(files):
                for file in files:
                    adding.take(file)
            adding.write()
            for path in folders:
                writer.note_folder(path, collection, choice or Choice())
        except KeyboardInterrupt:
            return adding.result(interrupted=True)
    return adding.result()


def files_of(paths: Iterable[Path]) -> Iterator[Path]:
    """Yield files, and those in folders that can be read, each once.

    Folders are walked in order of names; links to folders are not followed, so
    that no ring is walked for ever. Files and folders whose names begin with a
    full stop are left out, unless they are named themselves.
    """
    seen: set[str] = set()
    for path in paths:
        for file in walked(path) if is_folder(path) else [path]:
            whole = os.path.abspath(file)  # noqa: PTH100 (links are left as they are)
            if whole not in seen:
                seen.add(whole)
                yield file


def is_folder(path: Path) -> bool:
    """Whether a path is a folder; of one that cannot be seen, reading it says why."""
    try:
        return path.is_dir()
    except (OSError, ValueError):
        return False


def walked(folder: Path) -> Iterator[Path]:
    """Files below a folder with an ending that is read, and folders that are closed."""
    closed: list[Path] = []

    def note(error: OSError) -> None:
        closed.append(Path(os.fsdecode(error.filename)))

    for place, folders, files in os.walk(folder, onerror=note):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(files):
            if Path(name).suffix.lower() in SUFFIXES and not name.startswith("."):
                yield Path(place) / name
    # Reading one of these refuses it by name, with the reason.
    yield from closed
