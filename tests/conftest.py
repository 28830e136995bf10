"""How every test runs: no time limits on examples, and in CI always the same examples.

The browser that pages are tried in is here too: two at once would not go together, in
whatever order the tests run. ``-m quick`` runs the files named in :data:`QUICK`, and
imports no others. Where files are dealt out to several processes, the longest go first
(:func:`turn_of`), so that none is begun when all others are done.
"""

from __future__ import annotations

import asyncio
import math
import os
import shutil
import signal
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import settings

if TYPE_CHECKING:
    from playwright.sync_api import Browser

FLAGS = (
    "--no-sandbox --disable-gpu --disable-dev-shm-usage --disable-quic --no-first-run "
    "--disable-background-networking --disable-component-update --disable-sync "
    "--autoplay-policy=no-user-gesture-required --mute-audio"
)

QUICK = frozenset(
    {
        "tests/analysis/test_chords.py",
        "tests/analysis/test_devices.py",
        "tests/analysis/test_numerals.py",
        "tests/analysis/test_progressions.py",
        "tests/matching/test_features.py",
        "tests/matching/test_settings.py",
        "tests/melody/test_metre.py",
        "tests/melody/test_pitch.py",
        "tests/melody/test_record.py",
        "tests/presentation/test_notation.py",
        "tests/reading/test_abc.py",
        "tests/reading/test_fermatas.py",
        "tests/reading/test_musicxml.py",
        "tests/reading/test_phrase.py",
        "tests/reading/test_phrase_names.py",
        "tests/reading/test_phrase_readings.py",
        "tests/reading/test_recording.py",
        "tests/tasks/test_compare.py",
        "tests/tasks/test_describe.py",
        "tests/tasks/test_resemble.py",
    }
)
"""What one runs after each small change: the rules of the trade, each in a moment."""

LONGEST = (
    "tests/workbench/test_listening.py",
    "tests/corpus/test_changed_shards.py",
    "tests/test_docs.py",
    "tests/workbench/test_views.py",
    "tests/corpus/test_shards.py",
    "tests/cli/test_outputs.py",
    "tests/scripting/test_music21.py",
    "tests/workbench/test_ways.py",
    "tests/workbench/test_trouble.py",
    "tests/workbench/test_races.py",
    "tests/corpus/test_faults.py",
    "tests/tasks/test_bounded_work.py",
    "tests/workbench/test_hands.py",
    "tests/tasks/test_adding_to_shards.py",
    "tests/tasks/test_same_answer.py",
    "tests/tasks/test_adding_parts.py",
    "tests/cli/test_corpus_commands.py",
    "tests/corpus/test_one_file.py",
    "tests/tasks/test_lines_found.py",
    "tests/matching/test_search.py",
    "tests/reading/test_musicxml_corpus.py",
    "tests/workbench/test_choosing.py",
    "tests/workbench/test_keeping.py",
)
"""Files of ten seconds and more, the longest first."""

LEAVING_THREADS = ("tests/matching/test_one_question.py", "tests/matching/test_cluster.py")
"""Files after which threads of a library stay. A process with threads cannot be copied,
so that each file that is read after them costs a start of Python."""

READING_NONE = ("tests/analysis/", "tests/melody/")
"""Where hardly a test has a file read in another process."""

# Speed is measured in benchmarks/, never in a test.
settings.register_profile("here", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "here")

# What the tests start is compiled once, not by each of some thousand processes.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# A thousand small corpora are made, each put on disk several times over. Where there is
# room for all of them in memory (three quarters of a gigabyte), no disk is waited for; what
# a killed writer leaves is the same, as the system goes on.
IN_MEMORY = Path("/dev/shm")
ROOM_BYTES = 4 << 30
if (
    IN_MEMORY.is_dir()
    and shutil.disk_usage(IN_MEMORY).free > ROOM_BYTES
    and not os.statvfs(IN_MEMORY).f_flag & os.ST_NOEXEC
):
    os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", str(IN_MEMORY))

# A shell lets what it starts in the background ignore Ctrl-C, and what that starts too:
# the commands that are tried have to hear it.
signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.fixture(scope="session", autouse=True)
def state_folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Tests keep nothing in the state folder of whoever runs them."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_STATE_HOME", str(tmp_path_factory.mktemp("state")))
        yield


def place_of(path: Path, config: pytest.Config) -> str:
    """A file as it is named from the root of the project."""
    return path.relative_to(config.rootpath).as_posix()


def pytest_configure(config: pytest.Config) -> None:
    """A quick or long file that is not there any more must not go unnoticed."""
    named = sorted({*QUICK, *LONGEST, *LEAVING_THREADS})
    gone = [name for name in named if not (config.rootpath / name).is_file()]
    if gone:
        raise pytest.UsageError(f"named as quick or long, and not there: {', '.join(gone)}")
    # Else those of most tests would go first, and those of few long ones last.
    if hasattr(config.option, "loadscopereorder"):
        config.option.loadscopereorder = False


def turn_of(name: str) -> int:
    """When a file has its turn among all others; those of one turn stay in order."""
    if name in LONGEST:
        return LONGEST.index(name)
    if name in LEAVING_THREADS:
        return len(LONGEST) + 1
    return len(LONGEST) + 2 * name.startswith(READING_NONE)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """Half as many again as processors: much of a test is waiting for others.

    For a disk, a browser, a process that is started or stopped.
    """
    return math.ceil(1.5 * (os.cpu_count() or 1))


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Under ``-m quick`` nothing else is imported; what it imports takes longest."""
    if config.option.markexpr != "quick" or collection_path.is_dir():
        return None
    return place_of(collection_path, config) not in QUICK or None


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Mark what is quick, and put all in order."""
    items.sort(key=lambda item: turn_of(place_of(item.path, config)))
    for item in items:
        if place_of(item.path, config) in QUICK:
            item.add_marker(pytest.mark.quick)


@pytest.fixture(scope="session")
def demo_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo as its command makes it, made once: to be read, or copied."""
    from melodex.tasks.demo import prepare_demo

    folder = tmp_path_factory.mktemp("demo")
    assert not prepare_demo(folder).added.refusals
    return folder


@pytest.fixture(scope="session")
def whole_demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A corpus of all the demo's tunes, the own songs too: to be read, or copied."""
    from melodex.tasks.adding.add import add_paths
    from melodex.tasks.demo import tunes_folder

    path = tmp_path_factory.mktemp("whole") / "demo.melodex"
    assert not add_paths(path, [tunes_folder()]).refusals
    return path


def watch_without_threads() -> None:
    """Have asyncio see that a process ends without a thread, as from Python 3.12 on.

    The thread would stay with the browser, and cost what :data:`LEAVING_THREADS` says.
    """
    if sys.version_info >= (3, 12):
        return

    class Watcher(asyncio.PidfdChildWatcher):
        def is_active(self) -> bool:
            return True

        def add_child_handler(  # type: ignore[override]
            self, pid: int, callback: Callable[..., Any], *args: Any
        ) -> None:
            self.attach_loop(asyncio.get_running_loop())
            super().add_child_handler(pid, callback, *args)

    asyncio.set_child_watcher(Watcher())


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """Debian's Chromium; a machine without it fails here."""
    from playwright.sync_api import sync_playwright

    watch_without_threads()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=FLAGS.split()
        )
        yield browser
        browser.close()
