"""The demo's tunes in a corpus, opened as a script opens it."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

import melodex

DEMO = Path(__file__).parents[2] / "corpus_demo"


@pytest.fixture(scope="session")
def kept_corpus(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The corpus file that the tests of this room copy or only read."""
    path = tmp_path_factory.mktemp("scripting") / "demo.melodex"
    melodex.open(path).add(DEMO)
    return path


@pytest.fixture
def corpus(kept_corpus: Path, tmp_path: Path) -> melodex.Corpus:
    """A corpus of one's own, that a test may change."""
    return melodex.open(shutil.copy(kept_corpus, tmp_path / "tunes.melodex"))
