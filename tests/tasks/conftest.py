"""A small corpus of invented tunes, with likenesses that can be checked by eye."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from melodex.corpus.reader import Corpus
from melodex.corpus.writing.store import CorpusWriter
from melodex.reading import read_path
from melodex.tasks.demo import CORPUS_FILE

SHELF = """\
X:1
T:Salt Stair
C:Ila Brenn
M:4/4
L:1/4
K:C
C E G F | E D E F | G A G F | D E D C |]

X:2
T:Salt Stair, dark
M:4/4
L:1/4
K:Dm
D F A G | F E F G | A B A G | E F E D |]

X:3
T:Slow Stair
M:4/4
L:1/2
K:G
G B | d c | B A | B c | d e | d c | A B | A G |]

X:4
T:Kelp Round
M:3/4
L:1/8
K:F
F2 G2 A2 | c4 A2 | B2 G2 E2 | F6 | f2 e2 d2 | c4 A2 | G2 A2 E2 | F6 |]

X:5
T:Far Bell
M:6/8
L:1/8
K:Eb
E2 B B2 G | c3 B3 | A2 F G2 E | F3 E3 |]
"""


@pytest.fixture
def shelf_file(tmp_path: Path) -> Path:
    path = tmp_path / "shelf.abc"
    path.write_text(SHELF, encoding="utf-8")
    return path


@pytest.fixture
def corpus(tmp_path: Path, shelf_file: Path) -> Iterator[Corpus]:
    path = tmp_path / "corpus.melodex"
    with CorpusWriter.open(path) as writer:
        report = writer.add_reading(read_path(shelf_file))
        assert not report.refusals
    with Corpus.open(path) as opened:
        yield opened


@pytest.fixture
def demo_corpus(demo_folder: Path) -> Iterator[Corpus]:
    with Corpus.open(demo_folder / CORPUS_FILE) as opened:
        yield opened


@pytest.fixture
def demo(tmp_path: Path, demo_folder: Path) -> Path:
    """A copy of the demo corpus that a test may write to."""
    path = tmp_path / "demo.melodex"
    shutil.copyfile(demo_folder / CORPUS_FILE, path)
    return path
