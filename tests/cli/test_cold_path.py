"""What a query loads: nothing that it can do without, since it is asked from cold."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from melodex.corpus.writing.store import CorpusWriter
from melodex.reading import read_path

HEAVY = {
    "music21",
    "scipy",
    "sqlite_utils",
    "rich",
    "jinja2",
    "verovio",
    "typst",
    "starlette",
    "uvicorn",
    "defusedxml",
    "platformdirs",
    "asyncio",
    "http",
    "concurrent.futures",
    "multiprocessing",
    "xml",
    "unittest",
}
UNASKED = {
    "bz2",
    "decimal",
    "difflib",
    "fractions",
    "hashlib",
    "logging",
    "lzma",
    "shutil",
    "statistics",
    "tempfile",
    "zipfile",
}
"""Of the standard library; small each, but a phrase in degrees needs none of them."""

OURS = {
    "melodex",
    "melodex.analysis",
    "melodex.analysis.degrees",
    "melodex.cli",
    "melodex.cli.among",
    "melodex.cli.commands",
    "melodex.cli.commands.resemble",
    "melodex.cli.keeping",
    "melodex.cli.output",
    "melodex.cli.standard_output",
    "melodex.cli.workers",
    "melodex.corpus",
    "melodex.corpus.chunks",
    "melodex.corpus.connection",
    "melodex.corpus.care",
    "melodex.corpus.care.beside",
    "melodex.corpus.care.foreign",
    "melodex.corpus.faults",
    "melodex.corpus.place",
    "melodex.corpus.reader",
    "melodex.corpus.schema",
    "melodex.corpus.tunes",
    "melodex.corpus.tunes.melodies",
    "melodex.corpus.tunes.tune_rows",
    "melodex.errors",
    "melodex.matching",
    "melodex.matching.align",
    "melodex.matching.asking",
    "melodex.matching.chance",
    "melodex.matching.chance.drawing",
    "melodex.matching.chance.fit",
    "melodex.matching.chance.sample",
    "melodex.matching.engine",
    "melodex.matching.engine._kernel",
    "melodex.matching.engine.alignment",
    "melodex.matching.engine.choice",
    "melodex.matching.engine.compiled",
    "melodex.matching.engine.passes",
    "melodex.matching.evidence",
    "melodex.matching.evidence.commonness",
    "melodex.matching.evidence.features",
    "melodex.matching.evidence.figures",
    "melodex.matching.evidence.ngrams",
    "melodex.matching.evidence.ranking",
    "melodex.matching.query",
    "melodex.matching.search",
    "melodex.melody",
    "melodex.melody.marks",
    "melodex.melody.metre",
    "melodex.melody.phrase",
    "melodex.melody.pitch",
    "melodex.melody.placed",
    "melodex.melody.record",
    "melodex.melody.score_line",
    "melodex.melody.shape",
    "melodex.melody.tune_id",
    "melodex.presentation",
    "melodex.presentation.text",
    "melodex.presentation.text.forms",
    "melodex.presentation.text.resemble",
    "melodex.presentation.text.staves",
    "melodex.presentation.text.style",
    "melodex.presentation.text.words",
    "melodex.reading",
    "melodex.reading.phrase",
    "melodex.reading.phrase.faults",
    "melodex.reading.phrase.reader",
    "melodex.reading.phrase.signs",
    "melodex.reading.phrase.typed",
    "melodex.reading.result",
    "melodex.records",
    "melodex.settings",
    "melodex.tasks",
    "melodex.tasks.compare",
    "melodex.tasks.compare.likeness",
    "melodex.tasks.compare.sentences",
    "melodex.tasks.matches",
    "melodex.tasks.passage",
    "melodex.tasks.resemble",
    "melodex.tasks.tune_file",
}
"""All that a query may load of this package; what is added here is paid by each."""

ASK = """
import json, sys
from melodex.cli import melodex
try:
    melodex(["resemble", "1 3 5 4 3"], prog_name="melodex")
except SystemExit as end:
    assert end.code in (0, None), end.code
"""
SAY = "print(json.dumps(sorted(sys.modules)), file=sys.stderr)"


@pytest.fixture(scope="module")
def corpus_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("cold")
    tunes = folder / "one.abc"
    tunes.write_text("X:1\nT:Salt Stair\nL:1/4\nK:C\nC E G F | E D E F |]\n")
    with CorpusWriter.open(folder / "corpus.melodex") as writer:
        writer.add_reading(read_path(tunes))
    return folder / "corpus.melodex"


def loaded(corpus_path: Path, engine: str) -> set[str]:
    environment = os.environ | {
        "MELODEX_CORPUS": str(corpus_path),
        "MELODEX_ENGINE": engine,
    }
    done = subprocess.run(
        [sys.executable, "-c", ASK + SAY],
        env=environment,
        capture_output=True,
        encoding="utf-8",
        check=True,
    )
    assert "Salt Stair" in done.stdout
    return set(json.loads(done.stderr.splitlines()[-1]))


def test_a_query_with_the_compiled_kernel_loads_nothing_heavy(corpus_path: Path) -> None:
    modules = loaded(corpus_path, "c")
    assert not modules & (HEAVY | {"numpy"})
    assert {name for name in modules if name.split(".")[0] == "melodex"} <= OURS


def test_a_query_loads_nothing_of_the_standard_library_that_it_does_not_use(
    corpus_path: Path,
) -> None:
    bare = subprocess.run(
        [sys.executable, "-c", "import click, json, sqlite3, sys; " + SAY],
        capture_output=True,
        encoding="utf-8",
        check=True,
    )
    assert not (loaded(corpus_path, "c") - set(json.loads(bare.stderr))) & UNASKED


def test_a_query_with_the_numpy_twin_loads_numpy_and_nothing_else_heavy(
    corpus_path: Path,
) -> None:
    modules = loaded(corpus_path, "numpy")
    assert "numpy" in modules
    assert not modules & {"music21", "scipy", "sqlite_utils", "rich", "jinja2", "verovio"}
