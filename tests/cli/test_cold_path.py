"""What a query loads: nothing that it can do without, since it is asked from cold."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from melodex.corpus.store import CorpusWriter
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
ASK = """
import json, sys
from melodex.cli import melodex
try:
    melodex(["resemble", "1 3 5 4 3"], prog_name="melodex")
except SystemExit as end:
    assert end.code in (0, None), end.code
print(json.dumps(sorted(sys.modules)), file=sys.stderr)
"""


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
        [sys.executable, "-c", ASK],
        env=environment,
        capture_output=True,
        text=True,
        check=True,
    )
    assert "Salt Stair" in done.stdout
    return set(json.loads(done.stderr.splitlines()[-1]))


def test_a_query_with_the_compiled_kernel_loads_nothing_heavy(corpus_path: Path) -> None:
    modules = loaded(corpus_path, "c")
    assert not modules & (HEAVY | {"numpy"})
    ours = {name for name in modules if name.startswith("melodex")}
    assert not {
        name for name in ours if ".workbench" in name or ".reading.musicxml" in name
    }


def test_a_query_with_the_numpy_twin_loads_numpy_and_nothing_else_heavy(
    corpus_path: Path,
) -> None:
    modules = loaded(corpus_path, "numpy")
    assert "numpy" in modules
    assert not modules & {"music21", "scipy", "sqlite_utils", "rich", "jinja2", "verovio"}
