"""Many own tunes audited at once: each answer is that of an audit alone."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from melodex.cli import melodex
from melodex.corpus.reader import Corpus
from melodex.errors import CorpusError, WorkersError
from melodex.matching.dealing.dealer import Here
from melodex.matching.dealing.held import Whole, stamp_of, whole_at_hand
from melodex.tasks.audit.many import AuditJob, audit_many, own_tunes
from melodex.tasks.collection.shards import split
from melodex.tasks.demo import tunes_folder

OWN = tunes_folder() / "own"


def asked(corpus: Path, *words: str) -> Result:
    return CliRunner().invoke(melodex, ["--corpus", str(corpus), "audit", *words])


@pytest.mark.parametrize("workers", ["1", "2"])
@pytest.mark.parametrize("shards", [1, 3])
def test_each_answer_has_the_bytes_of_an_audit_alone(
    workers: str, shards: int, whole_demo: Path, tmp_path: Path
) -> None:
    split(whole_demo, tmp_path / "shards", shards)
    own = tmp_path / "own"
    own.mkdir()
    for name in ("own_song.abc", "own_song_clean.abc"):
        (own / name).write_bytes((OWN / name).read_bytes())
    (own / "short.abc").write_text("X:1\nT:Short\nK:C\nCDE|\n", encoding="utf-8")
    results = tmp_path / "results"
    words = [str(own), "--each", str(results), "--workers", workers]
    done = asked(tmp_path / "shards", *words)
    assert done.exit_code == 1
    assert "short.abc#1: " in done.stderr
    assert "3 own tunes, 1 refused" in done.stderr
    files = sorted(results.glob("*.json"))
    assert len(files) == 2
    for file in files:
        source = json.loads(file.read_text("utf-8"))["own"]["source"]
        alone = asked(whole_demo, source, "--format", "json")
        assert file.read_text("utf-8") == alone.stdout
    before = [file.stat().st_mtime_ns for file in files]
    again = asked(tmp_path / "shards", *words)
    assert "2 done before" in again.stderr
    assert [file.stat().st_mtime_ns for file in files] == before
    asked(tmp_path / "shards", *words, "--threshold", "9")
    assert [file.stat().st_mtime_ns for file in files] != before


def test_a_worker_that_sees_other_tunes_is_told_of(whole_demo: Path) -> None:
    tunes, refused = own_tunes([OWN])
    assert (len(tunes), refused) == (2, [])
    job = AuditJob(Whole(str(whole_demo), ("another",)))
    with pytest.raises(WorkersError, match="sees other tunes"):
        audit_many(job, tunes, Here(), lambda tune, found: None)
    with Corpus.open(whole_demo) as corpus:
        assert corpus.tune_count


def test_what_is_gone_between_two_looks_is_told_by_who_opens_it(
    whole_demo: Path, tmp_path: Path
) -> None:
    """A journal goes while the folder of shards is looked through; a corpus may too."""
    folder = tmp_path / "shards"
    split(whole_demo, folder, 2)
    journal = folder / "shards.json-journal"
    before = stamp_of([str(folder / "shards.json"), str(journal)])
    journal.write_bytes(b"")
    assert stamp_of([str(folder / "shards.json"), str(journal)]) != before
    journal.unlink()
    assert stamp_of([str(folder / "shards.json"), str(journal)]) == before
    with pytest.raises(CorpusError, match="no corpus here"):
        whole_at_hand(str(tmp_path / "gone.melodex"))
