"""Looking after a corpus: checking it, repairing it, copying it, renewing its features.

Contents: CheckResult, check, BackupResult, backup, has_old_features, renew_features.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from melodex.corpus.care.checking import CheckReport, check_corpus
from melodex.corpus.care.copying import copy_corpus
from melodex.corpus.care.remains import RepairReport
from melodex.corpus.care.repairing import repair_corpus
from melodex.corpus.connection import journal_bytes
from melodex.corpus.facets import FACET_VERSION
from melodex.corpus.reader import Corpus
from melodex.errors import DamagedCorpusError

__all__ = [
    "BackupResult",
    "CheckResult",
    "backup",
    "check",
    "has_old_features",
    "journal_bytes",
    "renew_features",
]

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class CheckResult:
    """What a check found, which engine searches, and what a repair did.

    Parameters
    ----------
    path : Path
        The corpus.
    report : CheckReport
        What was found, after the repair if there was one.
    engine : str
        ``c`` or ``numpy``.
    titles : dict of str to str
        Titles of the tunes that are touched, as far as they can be read.
    repair : RepairReport, optional
        What was put right.
    """

    path: Path
    report: CheckReport
    engine: str
    titles: dict[str, str]
    repair: RepairReport | None = None


@dataclass(frozen=True, slots=True)
class BackupResult:
    """A copy of a corpus: where it is, and what it holds."""

    path: Path
    byte_count: int
    tune_count: int
    journal_bytes: int = 0
    """Beside the corpus that was copied: the copy is whole, that file alone is not."""


def check(
    corpus_path: Path, *, repair: bool = False, progress: Progress | None = None
) -> CheckResult:
    """Check a corpus, and put right what is wrong if asked to.

    Parameters
    ----------
    corpus_path : Path
        The corpus.
    repair : bool
        Whether to make a new file, or a new folder of shards, of what can be read where
        anything is wrong; the damaged one is kept beside it.
    progress : callable, optional
        Called with what is done and what there is in all.

    Raises
    ------
    CorpusError
        If the file cannot be opened as a corpus at all.
    """
    from melodex.matching import engine_name

    done = None
    if corpus_path.is_dir():
        return check_shards(corpus_path, repair, progress)
    try:
        report = check_corpus(corpus_path, progress)
        broken = bool(report.faults)
    except DamagedCorpusError:
        if not repair:
            raise
        broken = True
    if repair and broken:
        done = repair_corpus(corpus_path, progress)
        report = check_corpus(corpus_path, progress)
    titles = titles_of(corpus_path, report)
    return CheckResult(corpus_path, report, engine_name(), titles, done)


def check_shards(
    folder: Path, repair: bool, progress: Progress | None = None
) -> CheckResult:
    """Check every shard of a folder, and that each is the one that the index means."""
    from melodex.corpus.shards.checking import check_folder
    from melodex.corpus.shards.repairing import repair_folder
    from melodex.matching import engine_name

    done = None
    report, titles = check_folder(folder)
    if repair and report.faults:
        done = repair_folder(folder, progress)
        report, titles = check_folder(folder)
    return CheckResult(folder, report, engine_name(), titles, done)


def titles_of(corpus_path: Path, report: CheckReport) -> dict[str, str]:
    """Titles of the tunes that a check found touched."""
    if not report.touched:
        return {}
    from melodex.corpus.care.salvage import titles

    return titles(corpus_path, report.touched)


def backup(
    corpus_path: Path,
    target: Path,
    *,
    replace: bool = False,
    progress: Progress | None = None,
) -> BackupResult:
    """Write a consistent copy of a corpus while it may be in use.

    Parameters
    ----------
    corpus_path, target : Path
        The corpus, and the file to make.
    replace : bool
        Whether a file that is there already may be replaced.
    progress : callable, optional
        Called with pages done and pages in all.

    Raises
    ------
    CorpusError
        If there is no corpus, or the copy cannot be made.
    """
    Corpus.open(corpus_path).close()
    if corpus_path.is_dir():
        from melodex.corpus.shards.checking import copy_folder

        size = copy_folder(corpus_path, target, replace=replace, progress=progress)
        with Corpus.open(target) as copied:
            return BackupResult(target, size, copied.tune_count)
    byte_count = copy_corpus(corpus_path, target, replace=replace, progress=progress)
    with Corpus.open(target) as copy:
        return BackupResult(target, byte_count, copy.tune_count, journal_bytes(corpus_path))


def has_old_features(corpus: Corpus) -> bool:
    """Whether another version of melodex worked out the features of a corpus."""
    return corpus.settings.get("facet_version") != str(FACET_VERSION)


def renew_features(corpus_path: Path) -> None:
    """Work the features of a corpus out anew, if another version did.

    Raises
    ------
    CorpusError
        If the corpus is not there, or cannot be written.
    """
    from melodex.corpus.writing.store import CorpusWriter

    # Whoever opens a corpus to write to it brings it up to date first.
    CorpusWriter.open(corpus_path, create=False).close()
