"""Adding files and folders to a corpus.

Conventions: files are read in order of their names and written a few at a time;
what is reported is on disk. A large ABC file is written in parts, and has one report
all the same. A file that cannot be read stops nothing: it is
refused with a reason, and so is a tune. Adding the same files again resumes where
an earlier run was stopped: what is there already is unchanged, and in a folder of
shards it is not even read again.

Contents: AddResult, AddStep, Counts, add_paths.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import ExitStack, closing
from dataclasses import dataclass, field, replace
from os import PathLike
from pathlib import Path

from melodex import __version__
from melodex.corpus.rows import place_path
from melodex.corpus.shards.building import make_empty
from melodex.corpus.writing.preparing import AddReport, PreparedFile
from melodex.corpus.writing.store import CorpusWriter
from melodex.reading import Choice, Refusal
from melodex.tasks.adding.going_on import Run
from melodex.tasks.adding.pool import made_into_rows
from melodex.tasks.adding.walking import Files, is_folder

__all__ = ["AddResult", "AddStep", "Counts", "add_paths"]

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


@dataclass(slots=True)
class Counts:
    """What became of files that have no report of their own."""

    files: int = 0
    added: int = 0
    unchanged: int = 0
    replaced: int = 0
    further: int = 0
    warnings: int = 0

    def take(self, report: AddReport, *, is_new: bool = True) -> None:
        """Count what a report tells; of a file that was begun before, not the file."""
        self.files += is_new
        self.added += len(report.added)
        self.unchanged += len(report.unchanged)
        self.replaced += len(report.replaced)
        self.further += len(report.further)
        self.warnings += report.warnings


@dataclass(frozen=True, slots=True)
class AddResult:
    """What became of every file; ``interrupted`` where the work was stopped.

    The last report is then of a part of its file if ``files_done`` is one less. Files for
    which no report was kept are counted in ``more``; ``gone_on`` is how many were in the
    corpus from a run that was stopped, and were not read again.
    """

    reports: tuple[AddReport, ...]
    files_total: int
    files_done: int
    interrupted: bool = False
    more: Counts = field(default_factory=Counts)
    gone_on: int = 0

    @property
    def files(self) -> int:
        """Of how many files it tells, one that was not done to its end with them."""
        return len(self.reports) + self.more.files

    @property
    def added(self) -> int:
        """How many tunes are new."""
        return sum(len(report.added) for report in self.reports) + self.more.added

    @property
    def unchanged(self) -> int:
        """How many tunes the corpus had already."""
        return sum(len(report.unchanged) for report in self.reports) + self.more.unchanged

    @property
    def replaced(self) -> int:
        """How many tunes took the place of another content at the same number."""
        return sum(len(report.replaced) for report in self.reports) + self.more.replaced

    @property
    def further(self) -> int:
        """How many further lines of pieces are new beside their main lines."""
        return sum(len(report.further) for report in self.reports) + self.more.further

    @property
    def warnings(self) -> int:
        """How many things were not understood."""
        return sum(report.warnings for report in self.reports) + self.more.warnings

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
    run: Run | None = None
    most_reports: int | None = None
    more: Counts = field(default_factory=Counts)
    gone_on: int = 0
    reports: list[AddReport] = field(default_factory=list)
    waiting: list[PreparedFile] = field(default_factory=list)
    tunes_waiting: int = 0
    tunes_done: int = 0
    share: float = 0.0
    written_at: float = field(default_factory=time.monotonic)

    def not_yet(self, files: Iterable[Path]) -> Iterator[Path]:
        """Files that are not in the corpus from a run that was stopped."""
        assert self.run is not None
        for file in files:
            if self.run.has(file):
                self.gone_on += 1
            else:
                yield file

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
            self.keep(report, is_first=file.is_first)
            self.share = 0.0 if file.is_last else file.share
            if self.run and file.is_last:
                self.run.note(file.file)
        self.tunes_done += self.tunes_waiting
        self.waiting, self.tunes_waiting = [], 0
        self.written_at = time.monotonic()

    def keep(self, report: AddReport, *, is_first: bool) -> None:
        """Keep what became of a file or part, in full as far as there is room for it."""
        is_full = self.most_reports is not None and len(self.reports) >= self.most_reports
        # What was refused is always named.
        if is_first and is_full and not report.refusals:
            self.more.take(report)
        elif is_first:
            self.reports.append(report)
        elif self.reports and self.reports[-1].source == report.source:
            self.reports[-1] = self.reports[-1].and_then(report)
        else:
            self.more.take(report, is_new=False)
            if report.refusals:
                refused = AddReport(report.source, refusals=report.refusals)
                self.reports.append(refused)
                self.more.files -= 1

    @property
    def files_done(self) -> int:
        """How many files are on disk to their end."""
        return len(self.reports) + self.more.files + self.gone_on - bool(self.share)

    def result(self, *, interrupted: bool = False) -> AddResult:
        """What has become of every file so far."""
        return AddResult(
            tuple(self.reports),
            self.files_total,
            self.files_done,
            interrupted,
            replace(self.more),
            self.gone_on,
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
    shards: int = 0,
    most_reports: int | None = None,
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
    shards : int
        Make a folder of so many shards where there is no corpus; 0 for one file.
    most_reports : int, optional
        Keep a report of so many files, and only count what became of others; by default
        of all.

    Returns
    -------
    AddResult
        What became of every file. Stopped by Ctrl-C, it says what was done.

    Raises
    ------
    CorpusError
        If the corpus cannot be opened or written; what was reported stays in it.
    SettingsError
        If there are other shards than were asked for.
    """
    if isinstance(paths, str | PathLike):
        paths = [paths]
    given = [Path(path) for path in paths]
    folders = [str(path) for path in given if is_folder(path)]
    choice = choice or Choice()
    corpus_path = Path(corpus_path)
    if shards:
        make_empty(corpus_path, shards)
    found = Files(given)
    survey = found.survey()
    with ExitStack() as held:
        writer = held.enter_context(CorpusWriter.open(corpus_path, waiting=waiting))
        adding = Adding(writer, survey.count, progress, most_reports=most_reports)
        wanted: Iterable[Path] = found
        if corpus_path.is_dir():
            writer.turn.is_adding = True
            # Another version may read files otherwise.
            places = sorted(place_path(str(path)) for path in given)
            asked = repr((__version__, places, collection, choice))
            adding.run = held.enter_context(Run(corpus_path, asked))
            wanted = adding.not_yet(found)
        files = made_into_rows(wanted, collection, choice, survey, workers=workers)
        try:
            with closing(files):
                for file in files:
                    adding.take(file)
            adding.write()
            for path in folders:
                writer.note_folder(path, collection, choice)
        except KeyboardInterrupt:
            return adding.result(interrupted=True)
        if adding.run:
            adding.run.finish()
    return adding.result()
