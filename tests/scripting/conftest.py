"""The demo's tunes in a corpus, opened as a script opens it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

import melodex


@pytest.fixture
def corpus(whole_demo: Path, tmp_path: Path) -> melodex.Corpus:
    """A corpus of one's own, that a test may change."""
    return melodex.open(shutil.copy(whole_demo, tmp_path / "tunes.melodex"))
