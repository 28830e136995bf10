"""Long work: adding, checking, copying; what it is at, and stopping it.

Conventions: a piece of work runs in a thread of its own, outlives the page that started
it, and is told to stop by raising KeyboardInterrupt at its next report, which ``add``
answers with what it has done. Who looks on asks for the state when its number rises.
What writes to a corpus is loaded when it is needed.

Contents: State, Work, Works, adding, adding_handed, checking, copying, finding_families.
"""

from __future__ import annotations

import secrets
import shutil
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from melodex.errors import MelodexError

if TYPE_CHECKING:
    from melodex.tasks.adding.add import AddStep
    from melodex.tasks.adding.handed import HandedFile

__all__ = [
    "State",
    "Work",
    "Works",
    "adding",
    "adding_handed",
    "checking",
    "copying",
    "finding_families",
]

MOST_KEPT = 40
"""Works whose outcome can still be looked at."""
SECONDS_TO_STOP = 5.0
"""That the end of the workbench waits for work to stop."""

Report = Callable[[int, int, str], None]
Doing = Callable[[Report], Any]


@dataclass(frozen=True, slots=True)
class State:
    """How far work has come.

    ``kind`` is ``running``, ``done``, ``stopped`` or ``failed``; ``number`` rises with
    every change; ``words`` say what is being done, or what went wrong.
    """

    kind: str
    number: int
    done: int = 0
    total: int = 0
    words: str = ""

    @property
    def is_over(self) -> bool:
        """Whether nothing more will come."""
        return self.kind != "running"


class Work:
    """One piece of work in a thread of its own.

    Parameters
    ----------
    kind : str
        ``add``, ``check``, ``copy`` or ``families``.
    title : str
        What is done, for people.
    doing : callable
        Does it; takes a function that it calls with what is done, all that there is,
        and words. What it returns is the result.
    """

    def __init__(self, kind: str, title: str, doing: Doing) -> None:
        self.id = secrets.token_hex(6)
        self.kind = kind
        self.title = title
        self.state = State("running", 0)
        self.result: Any = None
        self.error: MelodexError | None = None
        self.is_asked_to_stop = False
        self.is_taken_back = False
        self.doing = doing
        self.thread = threading.Thread(target=self.run, name=f"melodex-{kind}", daemon=True)

    def start(self) -> None:
        """Begin."""
        self.thread.start()

    def stop(self) -> None:
        """Ask it to stop at its next report."""
        self.is_asked_to_stop = True

    def report(self, done: int, total: int, words: str = "") -> None:
        """Note how far it has come, and stop it if that was asked for."""
        self.state = State("running", self.state.number + 1, done, total, words)
        if self.is_asked_to_stop:
            raise KeyboardInterrupt

    def run(self) -> None:
        """Do the work and note how it ended; the thread's whole life."""
        try:
            self.result = self.doing(self.report)
            stopped = getattr(self.result, "interrupted", False)
            self.end("stopped" if stopped else "done")
        except KeyboardInterrupt:
            self.end("stopped")
        except MelodexError as error:
            self.error = error
            self.end("failed", str(error))
        except BaseException:
            self.end("failed", "internal error; see the terminal")
            raise

    def end(self, kind: str, words: str = "") -> None:
        """Note that nothing more will come."""
        now = self.state
        self.state = State(kind, now.number + 1, now.done, now.total, words)


class Works:
    """The pieces of work of this run, the latest first."""

    def __init__(self) -> None:
        self.kept: dict[str, Work] = {}

    def start(self, work: Work) -> Work:
        """Begin a piece of work and keep it in sight."""
        self.kept[work.id] = work
        over = [each for each in self.kept.values() if each.state.is_over]
        for old in over[: max(0, len(self.kept) - MOST_KEPT)]:
            del self.kept[old.id]
        work.start()
        return work

    def find(self, work_id: str) -> Work | None:
        """The work of an id, None where there is none."""
        return self.kept.get(work_id)

    def latest(self) -> list[Work]:
        """All of them, the latest first."""
        return list(reversed(self.kept.values()))

    def stop_all(self) -> None:
        """Stop what is running and wait a little for it to leave things whole."""
        running = [work for work in self.kept.values() if not work.state.is_over]
        for work in running:
            work.stop()
        for work in running:
            work.thread.join(SECONDS_TO_STOP)


# What can be done.


def adding(corpus_path: Path, paths: Sequence[Path], collection: str) -> Work:
    """Read files and folders of this machine into the corpus."""
    from melodex.tasks.adding.add import add_paths

    title = f"Adding {', '.join(path.name or str(path) for path in paths)}"

    def doing(report: Report) -> Any:
        report(0, 0, "looking for files")
        return add_paths(
            corpus_path,
            paths,
            collection=collection,
            progress=lambda step: told(report, step),
            waiting=lambda seconds: report(0, 0, waiting_words(seconds)),
        )

    return Work("add", title, doing)


def adding_handed(
    corpus_path: Path, files: Sequence[HandedFile], collection: str, folder: Path
) -> Work:
    """Read files that the browser handed over; their folder is cleared afterwards."""
    from melodex.tasks.adding.handed import add_handed

    title = f"Adding {len(files):,} file{'s' if len(files) != 1 else ''}"

    def doing(report: Report) -> Any:
        try:
            return add_handed(
                corpus_path,
                files,
                collection=collection,
                progress=lambda step: told(report, step),
                waiting=lambda seconds: report(0, len(files), waiting_words(seconds)),
            )
        finally:
            shutil.rmtree(folder, ignore_errors=True)

    return Work("add", title, doing)


def told(report: Report, step: AddStep) -> None:
    """Pass a step of adding on."""
    words = f"{step.tunes_done:,} tunes so far; {Path(step.source).name}"
    report(step.files_done, step.files_total, words)


def waiting_words(seconds: float) -> str:
    """What to say while another process holds the corpus."""
    return f"waiting for another program to finish with the corpus ({seconds:.0f} s)"


def checking(corpus_path: Path, *, repair: bool) -> Work:
    """Check the corpus, and put right what is wrong if asked to."""
    from melodex.tasks.collection.upkeep import check

    def doing(report: Report) -> Any:
        return check(corpus_path, repair=repair, progress=report_plain(report))

    title = "Checking and repairing the corpus" if repair else "Checking the corpus"
    return Work("check", title, doing)


def copying(corpus_path: Path, target: Path) -> Work:
    """Write a consistent copy of the corpus."""
    from melodex.tasks.collection.upkeep import backup

    def doing(report: Report) -> Any:
        return backup(corpus_path, target, progress=report_plain(report))

    return Work("copy", f"Backing up to {target.name}", doing)


def renewing(corpus_path: Path) -> Work:
    """Work the features of the corpus out anew."""
    from melodex.tasks.collection.upkeep import renew_features

    def doing(report: Report) -> Any:
        report(0, 0, "this cannot be stopped midway")
        renew_features(corpus_path)

    return Work("features", "Working out the features anew", doing)


def finding_families(corpus_path: Path) -> Work:
    """Compare the tunes of the corpus with one another."""
    from melodex.corpus.reader import Corpus
    from melodex.tasks.collection.families import find_families

    def doing(report: Report) -> Any:
        report(0, 0, "reading the tunes")
        with Corpus.open(corpus_path) as corpus:
            return find_families(corpus, progress=report_plain(report))

    return Work("families", "Finding tune families", doing)


def report_plain(report: Report) -> Callable[[int, int], None]:
    """A report without words."""
    return lambda done, total: report(done, total, "")
