"""How every test runs: no time limits on examples, and in CI always the same examples."""

from __future__ import annotations

import os

from hypothesis import settings

# Speed is measured in benchmarks/, never in a test.
settings.register_profile("here", deadline=None)
settings.register_profile("ci", deadline=None, derandomize=True)
settings.load_profile("ci" if os.environ.get("CI") else "here")
