"""Years of use: a corpus of every schema version there has been still opens.

``versions/`` holds a small corpus as each version wrote it, compressed, and beside it
what that version read in it. A version without its file fails here.
"""

from __future__ import annotations

import gzip
import importlib.util
import json
import random
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from melodex.corpus.care.checking import check_corpus
from melodex.corpus.reader import Corpus
from melodex.corpus.schema import SCHEMA_VERSION
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import NewerCorpusError
from melodex.tasks.adding.add import add_paths
from tests.corpus.conftest import opened_by_two_of_which_one_is_killed

VERSIONS = Path(__file__).parent / "versions"

spec = importlib.util.spec_from_file_location("write", VERSIONS / "write.py")
assert spec is not None
assert spec.loader is not None
write = importlib.util.module_from_spec(spec)
spec.loader.exec_module(write)


def kept(version: int, path: Path) -> dict:
    """Put the corpus of a version at a path; return what it says."""
    path.write_bytes(
        gzip.decompress((VERSIONS / f"schema-{version}.melodex.gz").read_bytes())
    )
    return json.loads((VERSIONS / f"schema-{version}.json").read_text("utf-8"))


def test_every_version_has_its_file():
    found = sorted(path.name for path in VERSIONS.glob("schema-*.melodex.gz"))
    wanted = [f"schema-{n}.melodex.gz" for n in range(1, SCHEMA_VERSION + 1)]
    assert found == sorted(wanted)


@pytest.mark.parametrize("version", range(1, SCHEMA_VERSION + 1))
@pytest.mark.parametrize("opening", [Corpus.open, CorpusWriter.open])
def test_a_corpus_of_every_version_opens_and_says_the_same(tmp_path, version, opening):
    path = tmp_path / "kept.melodex"
    told = kept(version, path)
    opening(path).close()
    with Corpus.open(path) as corpus:
        assert write.corpus_data(corpus) == told
    # A writer makes facets of an older kind anew, which a check asks for.
    CorpusWriter.open(path).close()
    report = check_corpus(path)
    assert report.faults == ()
    assert report.schema_version == SCHEMA_VERSION
    backups = [each for each in tmp_path.iterdir() if each != path]
    if version == SCHEMA_VERSION:
        assert not backups
    else:
        (backup,) = backups
        assert backup.name == f"{path.name}.schema-{version}"
        assert int.from_bytes(backup.read_bytes()[60:64], "big") == version
        with closing(sqlite3.connect(backup)) as connection:
            ids = {row[0] for row in connection.execute("SELECT tune_id FROM tune")}
        assert ids == set(told["tunes"])


def test_the_kept_source_still_gives_the_same_tunes(tmp_path):
    path = tmp_path / "kept.melodex"
    told = kept(1, path)
    source = tmp_path / "again.abc"
    source.write_text(write.ABC, "utf-8")
    result = add_paths(path, [source])
    assert (result.added, result.unchanged) == (0, len(told["tunes"]))


def test_one_from_the_future_is_refused_with_what_to_do_and_left_alone(tmp_path):
    """Bytes 60 to 63 are the user version (SQLite's file format, section 1.3)."""
    path = tmp_path / "kept.melodex"
    kept(SCHEMA_VERSION, path)
    data = bytearray(path.read_bytes())
    data[60:64] = (SCHEMA_VERSION + 1).to_bytes(4, "big")
    path.write_bytes(data)
    for opening in (Corpus.open, CorpusWriter.open, check_corpus):
        with pytest.raises(NewerCorpusError, match=r"a later version.*update melodex"):
            opening(path)
    assert path.read_bytes() == data
    assert [each.name for each in tmp_path.iterdir()] == [path.name]


def test_migrating_by_two_processes_under_kills_loses_nothing(tmp_path):
    """A file of the first version; ``benchmarks/faults`` does it with more tunes."""
    draw = random.Random(9)
    for _ in range(8):
        path = tmp_path / "kept.melodex"
        for left in tmp_path.glob("kept.melodex*"):
            left.unlink()
        told = kept(1, path)
        opened_by_two_of_which_one_is_killed(path, draw.uniform(0, 0.15))
        with Corpus.open(path) as corpus:
            assert write.corpus_data(corpus) == told
        backups = list(tmp_path.glob("kept.melodex.schema-1*"))
        assert len(backups) == 1
        with closing(sqlite3.connect(backups[0])) as connection:
            ids = {row[0] for row in connection.execute("SELECT tune_id FROM tune")}
        assert ids == set(told["tunes"])


def test_the_view_of_earlier_files_gives_way_to_todays(tmp_path):
    path = tmp_path / "corpus.melodex"
    kept(3, path)

    def view() -> str:
        sql = "SELECT sql FROM sqlite_master WHERE name = 'tune_overview'"
        with closing(sqlite3.connect(path)) as connection:
            return connection.execute(sql).fetchone()[0]

    assert "min(id)" in view()
    CorpusWriter.open(path).close()
    assert "min(id)" not in view()
    assert not check_corpus(path).faults
    with closing(sqlite3.connect(path)) as connection:
        shown = connection.execute("SELECT tune_id, source FROM tune_overview").fetchall()
    with Corpus.open(path) as corpus:
        assert dict(shown) == {row.tune_id: row.source for row in corpus.tunes()}
