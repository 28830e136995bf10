"""How every test runs: no time limits on examples, and in CI always the same examples."""

from __future__ import annotations

import os
import signal

from hypothesis import settings

# Speed is measured in benchmarks/, never in a test.
settings.register_profile("here", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "here")

# A shell lets what it starts in the background ignore Ctrl-C, and what that starts too:
# the commands that are tried have to hear it.
signal.signal(signal.SIGINT, signal.default_int_handler)
