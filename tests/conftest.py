"""How every test runs: no time limits on examples, and in CI always the same examples.

The browser that pages are tried in is here too: two at once would not go together, in
whatever order the tests run. ``-m quick`` runs the files named in :data:`QUICK`, and
imports no others.
"""

from __future__ import annotations

import math
import os
import signal
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

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

# Speed is measured in benchmarks/, never in a test.
settings.register_profile("here", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "here")

# What the tests start is compiled once, not by each of some thousand processes.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

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
    """A quick file that is not there any more must not go unnoticed."""
    gone = [name for name in sorted(QUICK) if not (config.rootpath / name).is_file()]
    if gone:
        raise pytest.UsageError(f"named as quick, and not there: {', '.join(gone)}")


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
    """Mark what is quick."""
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


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """Debian's Chromium; a machine without it fails here."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=FLAGS.split()
        )
        yield browser
        browser.close()
