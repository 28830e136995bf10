"""Python's calls with others who work: the answers of the calls without."""

from __future__ import annotations

import pickle
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import melodex
from melodex.errors import WorkersError
from melodex.tasks.collection.shards import split
from melodex.tasks.demo import tunes_folder

PHRASES = ["3 5 3 1 3 1 4 6 4 3 1", "5 4 3 2 1", "u u d d u"]


@pytest.fixture(scope="module")
def corpora(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The demo's tunes in one file, and in two shards."""
    folder = tmp_path_factory.mktemp("corpora")
    with melodex.open(folder / "one.melodex") as corpus:
        corpus.add(tunes_folder())
    split(folder / "one.melodex", folder / "two", 2)
    return folder / "one.melodex", folder / "two"


def test_calls_answer_the_same_whoever_works(
    corpora: tuple[Path, Path], tmp_path: Path
) -> None:
    own = tunes_folder() / "own" / "own_song.abc"
    with melodex.open(corpora[0]) as one, melodex.open(corpora[1]) as two:
        told: list[tuple[int, int]] = []
        each = two.resemble_each(
            PHRASES, limit=3, workers=2, progress=lambda *done: told.append(done)
        )
        assert [str(found) for found in each] == [
            str(one.resemble(phrase, limit=3)) for phrase in PHRASES
        ]
        assert told == [(1, 3), (2, 3), (3, 3)]
        held = two.hands.held
        assert str(two.resemble(PHRASES[0], workers=2)) == str(one.resemble(PHRASES[0]))
        # Who worked for one call works for the next.
        assert two.hands.held is held
        assert str(two.audit(own, workers=2)) == str(one.audit(own))
        assert str(two.gather(kind="jig", workers=2)) == str(one.gather(kind="jig"))
        whole = str(one.audit_whole())
        assert str(two.audit_whole(workers=2)) == whole
        assert str(two.audit_whole(work=tmp_path / "work")) == whole
        assert list((tmp_path / "work").iterdir())
        assert str(two.families(workers=2)) == str(one.families())
    assert two.hands.held is None
    assert [str(found) for found in one_by_one(corpora[0])] == [str(each[1])]


@pytest.mark.parametrize("workers", [None, 2])
def test_many_tunes_are_audited_in_order_each_as_alone(
    workers: int | None, corpora: tuple[Path, Path], tmp_path: Path
) -> None:
    own = tunes_folder() / "own"
    short = tmp_path / "short.abc"
    short.write_text("X:1\nT:Short\nK:C\nCDE|\n", "utf-8")
    told: list[tuple[int, int]] = []
    with melodex.open(corpora[0]) as one, melodex.open(corpora[1]) as two:
        (read,) = melodex.read(own / "own_song_clean.abc")
        given: list[str | Path | melodex.Tune] = [
            "The Eel Trap",
            short,
            own,
            "No Such Tune",
            tmp_path / "no.abc",
            read,
        ]
        found = two.audit_each(
            given, limit=2, workers=workers, progress=lambda *done: told.append(done)
        )
        sound = [given[0], *sorted(own.iterdir()), read]
        alone = [one.audit(each, limit=2) for each in sound]
    assert [str(each) for each in found] == [str(each) for each in alone]
    assert [each.to_dict() for each in found] == [each.to_dict() for each in alone]
    assert told[-1] == (5, 5)
    assert [each.name for each in found.refusals] == [
        f"{short}#1",
        "No Such Tune",
        str(tmp_path / "no.abc"),
    ]
    assert "shorter than a phrase" in found.refusals[0].reason
    assert "4 tunes audited" in repr(found)
    assert "3 refused" in repr(found)
    assert f"{short}#1: not audited: " in str(found)
    rows = [row for each in alone for row in each.rows()]
    assert [row["title"] for row in found.rows()] == [row["title"] for row in rows]
    assert found.rows()[0]["own_title"] == "The Eel Trap"
    assert found.to_dict()["audits"][0]["name"] == "The Eel Trap"
    assert len(found.to_dict()["refused"]) == 3
    lines = found.save(tmp_path / "found.csv").read_text("utf-8").splitlines()
    assert lines[0].startswith("own_tune_id,own_title,")
    assert len(lines) == 1 + len(rows)
    assert repr(pickle.loads(pickle.dumps(found))) == repr(found)


@pytest.mark.parametrize("workers", [None, 2])
def test_an_audit_of_many_that_was_stopped_is_gone_on_with(
    workers: int | None, corpora: tuple[Path, Path], tmp_path: Path
) -> None:
    """Nothing is done twice and nothing lost, whoever works, over a file or shards."""
    own, work = tunes_folder() / "own", tmp_path / "work"

    def stop(done: int, total: int) -> None:
        if done == 2:
            raise KeyboardInterrupt

    given: list[str | Path] = ["The Eel Trap", own, "Rain on the Roof"]
    with melodex.open(corpora[0]) as one, melodex.open(corpora[1]) as two:
        expected = one.audit_each(given, threshold=30.0)
        with pytest.raises(KeyboardInterrupt):
            two.audit_each(given, threshold=30.0, workers=workers, work=work, progress=stop)
        kept = {file: file.stat().st_mtime_ns for file in work.iterdir()}
        assert 2 <= len(kept) <= 4
        # One of them was not written to its end.
        spoilt = sorted(kept)[0]
        spoilt.write_bytes(spoilt.read_bytes()[:-1])
        found = one.audit_each(given, threshold=30.0, workers=workers, work=work)
        after = {file: file.stat().st_mtime_ns for file in work.iterdir()}
        assert len(after) == 4
        assert [file for file in kept if kept[file] != after[file]] == [spoilt]
        told: list[tuple[int, int]] = []
        again = two.audit_each(
            [*given, tmp_path / "no.abc"],
            threshold=30.0,
            work=work,
            progress=lambda *done: told.append(done),
        )
        assert told == []
        assert len(again.refusals) == 1
        for each in (found, again):
            assert [audit.to_dict() for audit in each] == [x.to_dict() for x in expected]
            assert [str(audit) for audit in each] == [str(audit) for audit in expected]
        # Otherwise set it is another audit.
        two.audit_each(given, threshold=29.0, work=work)
        assert len(list(work.iterdir())) == 8
        with pytest.raises(WorkersError, match="the folder for the work cannot be made"):
            two.audit_each(given, work=spoilt / "below")


def test_no_tunes_are_audited_to_nothing(corpora: tuple[Path, Path]) -> None:
    with melodex.open(corpora[0]) as one:
        found = one.audit_each([])
    assert (len(found), found.refusals, str(found)) == (0, (), "")


@pytest.mark.parametrize("shards", [0, 2])
def test_who_works_holds_up_nobody_who_changes_the_corpus(
    shards: int, tmp_path: Path
) -> None:
    asks: list[Callable[[melodex.Corpus], Any]] = [
        lambda corpus: corpus.resemble_each(PHRASES[1:2], limit=60)[0],
        lambda corpus: corpus.resemble_each(PHRASES[1:2], limit=60, workers=2)[0],
        lambda corpus: corpus.resemble(PHRASES[1], limit=60, workers=2),
        lambda corpus: corpus.gather(metre="4/4", limit=60, workers=2),
    ]
    own, title = tunes_folder() / "own" / "own_song.abc", "Letter from the Far Lock"
    with melodex.open(tmp_path / "tunes") as corpus:
        corpus.add(tunes_folder(), shards=shards)
        for ask in asks:
            assert title in str(ask(corpus))
            corpus.remove(title)
            assert title not in str(ask(corpus))
            assert corpus.add(own).added == 1
            assert title in str(ask(corpus))


def one_by_one(path: Path) -> list[melodex.ResembleResult]:
    """Many at once by the process itself."""
    with melodex.open(path) as corpus:
        return corpus.resemble_each(PHRASES[1:2], limit=3)


def test_who_cannot_work_is_refused_in_a_sentence(
    corpora: tuple[Path, Path], tmp_path: Path
) -> None:
    with melodex.open(corpora[1]) as corpus:
        with pytest.raises(WorkersError, match="at least one has to work, not 0"):
            corpus.resemble(PHRASES[0], workers=0)
        with pytest.raises(WorkersError, match="both asked for"):
            corpus.gather(kind="jig", workers=2, scheduler="tcp://x:1")
        with pytest.raises(WorkersError, match="needs a folder for the work"):
            corpus.families(scheduler="tcp://x:1")
        (tmp_path / "file").touch()
        with pytest.raises(WorkersError, match="the folder for the work cannot be made"):
            corpus.audit_whole(work=tmp_path / "file")
