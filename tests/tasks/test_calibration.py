"""Whether chance is calibrated, tried on one file, on shards, and by others who work.

Checked against the search and the measure of chance called one by one, phrase by phrase;
whole runs of calibration are in ``benchmarks/chance``. Efron's intervals (1979) are checked
by what they must do: hold the mean, and be a point where all counts are one.
"""

from __future__ import annotations

import json
from functools import partial
from pathlib import Path

import pytest
from click.testing import CliRunner

from melodex.cli import melodex
from melodex.corpus.reader import Corpus
from melodex.corpus.tunes.tune_rows import lined_pieces
from melodex.errors import WorkersError
from melodex.matching.chance.fit import expected_by_chance, fit_points
from melodex.matching.chance.sample import OWN_BEST, measure_null
from melodex.matching.dealing.dealer import Here, Processes
from melodex.matching.dealing.exchange import Exchange
from melodex.matching.evidence.kinship import all_figures
from melodex.matching.query import EncodedQuery
from melodex.matching.search import search
from melodex.settings import AlignmentCosts
from melodex.tasks.adding.add import add_paths
from melodex.tasks.collection import calibration
from melodex.tasks.collection.calibration import (
    LEVELS,
    Calibration,
    calibrate_chance,
    interval,
    kin_of_tunes,
    seen_of_each,
)
from melodex.tasks.collection.duplicates import steps_by_tune
from melodex.tasks.collection.shards import split
from melodex.tasks.demo import tunes_folder


@pytest.fixture(scope="module")
def corpora(
    whole_demo: Path, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Path, Path, Path]:
    """The demo in one file, in three shards, and in one file in another order."""
    folder = tmp_path_factory.mktemp("calibrated")
    split(whole_demo, folder / "three", 3)
    files = sorted(tunes_folder().rglob("*.*"), reverse=True)
    for file in files:
        if file.is_file():
            add_paths(folder / "turned.melodex", [file])
    return whole_demo, folder / "three", folder / "turned.melodex"


def tried(path: Path, exchange: Exchange | None = None) -> Calibration:
    with Corpus.open(path) as corpus:
        return calibrate_chance(corpus, phrases=12, exchange=exchange)


def test_it_is_the_same_over_shards_in_any_order_and_whoever_works(
    corpora: tuple[Path, Path, Path], tmp_path: Path
) -> None:
    expected = tried(corpora[0])
    assert len(expected.rows) == 18
    assert any(row.seen for row in expected.rows)
    for row in expected.rows:
        assert row.phrases + expected.unsaid >= 12
        assert 0 <= row.stateable <= row.expected
        assert row.interval[0] <= row.seen <= row.interval[1]
    assert tried(corpora[1]) == expected
    assert tried(corpora[2]) == expected
    processes = Processes(2)
    try:
        for number, path in enumerate(corpora):
            exchange = Exchange(processes, tmp_path / str(number))
            assert tried(path, exchange) == expected
    finally:
        processes.close()


def test_what_is_seen_of_a_phrase_is_what_searching_and_measuring_say(
    whole_demo: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    costs, asked = AlignmentCosts(), []

    def noted(corpus, notes, part):
        asked.extend(part)
        return seen_of_each(corpus, notes, part)

    monkeypatch.setattr(calibration, "seen_of_each", noted)
    told = tried(whole_demo)
    with Corpus.open(whole_demo) as corpus:
        chunks = list(corpus.chunks())
        size = corpus.tune_count, corpus.note_count
        counts: dict[tuple[int, bool], list[list[int]]] = {}
        for pitch, classes, left_out in asked:
            query, hidden = EncodedQuery(pitch, classes), frozenset(left_out)
            hits = search(chunks, query, limit=OWN_BEST, costs=costs, exclude=hidden)
            assert not hidden.intersection(hit.tune_id for hit in hits)
            fit = fit_points(measure_null(chunks, query, costs, hits, hidden))
            if fit is None:
                continue
            expected = partial(
                expected_by_chance, fit, corpus_tunes=size[0], corpus_notes=size[1]
            )
            found = [
                sum(expected(hit.points) <= level for hit in hits[: calibration.LIMIT])
                for level in LEVELS
            ]
            has_rhythm = classes != bytes([128]) * len(classes)
            counts.setdefault((len(pitch), has_rhythm), []).append(found)
    for row in told.rows:
        seen = counts[row.notes, row.has_rhythm]
        place = LEVELS.index(row.expected)
        assert row.phrases == len(seen)
        assert row.seen == sum(each[place] for each in seen) / len(seen)


def test_a_phrase_is_not_looked_for_in_its_own_piece_nor_in_its_kin(
    whole_demo: Path,
) -> None:
    with Corpus.open(whole_demo) as corpus:
        kin, tunes = kin_of_tunes(corpus, None, None), steps_by_tune(corpus)
        pieces = lined_pieces(corpus)
    figures = {tune_id: all_figures(steps) for tune_id, steps in tunes.items()}
    alike = 0
    for one in tunes:
        assert one in kin(one)
        for other in tunes:
            if pieces.get(one, one) == pieces.get(other, other):
                assert other in kin(one)
            elif len(figures[one] & figures[other]) >= calibration.KIN_FIGURES:
                assert other in kin(one)
                alike += 1
    assert alike


def test_stopped_it_is_gone_on_with_and_nothing_is_done_twice(
    corpora: tuple[Path, Path, Path], tmp_path: Path
) -> None:
    expected = tried(corpora[0])

    def kept() -> dict[str, int]:
        return {file.name: file.stat().st_mtime_ns for file in tmp_path.glob("chance-*")}

    def stop(done: int, total: int) -> None:
        if len(kept()) == 3:
            raise KeyboardInterrupt

    exchange = Exchange(Here(), tmp_path)
    with Corpus.open(corpora[0]) as corpus, pytest.raises(KeyboardInterrupt):
        calibrate_chance(corpus, phrases=12, exchange=exchange, progress=stop)
    before = kept()
    assert len(before) == 3
    assert tried(corpora[1], exchange) == expected
    after = kept()
    assert len(after) > 10
    assert {name: after[name] for name in before} == before
    assert tried(corpora[2], exchange) == expected
    assert kept() == after
    next(tmp_path.glob("chance-*")).write_text('{"result": [5]}', "utf-8")
    with pytest.raises(WorkersError, match="what was kept of the work cannot be read"):
        tried(corpora[1], exchange)


def test_the_command_writes_the_same_bytes_whoever_works(
    corpora: tuple[Path, Path, Path], tmp_path: Path
) -> None:
    words = ["collection", "chance", "--phrases", "6"]
    for form in ("text", "json", "csv"):
        told = []
        for path, who in (
            (corpora[0], []),
            (corpora[1], []),
            (corpora[1], ["--workers", "2", "--work", str(tmp_path / "work")]),
        ):
            asked = ["--corpus", str(path), *words, "--format", form, *who]
            found = CliRunner().invoke(melodex, asked)
            assert found.exit_code == 0, found.output
            told.append(found.stdout)
        assert told[0] == told[1] == told[2]
        if form == "json":
            data = json.loads(told[0])
            assert data["corpus"]["tunes"] == 61
            assert [row["notes"] for row in data["rows"]] == [8] * 6 + [12] * 6 + [24] * 6
        if form == "csv":
            assert len(told[0].splitlines()) == 19
    other = CliRunner().invoke(
        melodex, ["--corpus", str(corpora[0]), *words, "--seed", "7", "--format", "text"]
    )
    assert "seed 7" in other.stdout


def test_a_corpus_of_few_tunes_is_told_of(tmp_path: Path) -> None:
    add_paths(tmp_path / "few.melodex", [tunes_folder() / "own"])
    found = CliRunner().invoke(
        melodex, ["--corpus", str(tmp_path / "few.melodex"), "collection", "chance"]
    )
    assert found.exit_code == 0
    assert "The corpus is too small" in found.stdout


def test_an_interval_holds_the_mean_and_is_a_point_where_all_are_one() -> None:
    assert interval([2] * 9) == (2.0, 2.0)
    counts = [0] * 90 + [1] * 10
    low, high = interval(counts)
    # Of a share the normal approximation gives 0.1 -/+ 1.96 root(0.09 / 100).
    assert low == pytest.approx(0.1 - 0.0588, abs=0.015)
    assert high == pytest.approx(0.1 + 0.0588, abs=0.015)
