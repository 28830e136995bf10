"""How every test runs: no time limits on examples, and in CI always the same examples.

The browser that pages are tried in is here too: two at once would not go together, in
whatever order the tests run.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
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

# Speed is measured in benchmarks/, never in a test.
settings.register_profile("here", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "here")

# A shell lets what it starts in the background ignore Ctrl-C, and what that starts too:
# the commands that are tried have to hear it.
signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.fixture(scope="session", autouse=True)
def state_folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """Tests keep nothing in the state folder of whoever runs them."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_STATE_HOME", str(tmp_path_factory.mktemp("state")))
        yield


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
