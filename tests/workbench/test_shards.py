"""A folder of shards on the page: changed like a file, and answered in part where asked."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from urllib.parse import urlencode

import pytest

from melodex.corpus.reader import Corpus
from melodex.tasks.collection.shards import list_shards, split
from tests.workbench.conftest import Running


@pytest.fixture
def many(whole_demo: Path, tmp_path: Path) -> Path:
    """The demo in three shards."""
    split(whole_demo, tmp_path / "many", 3)
    return tmp_path / "many"


def test_a_partial_answer_is_said_on_every_page(
    many: Path, own_bench: Callable[..., Running]
) -> None:
    (many / "shard-2-of-3.melodex").unlink()
    remark = "Partial answer: 1 of 3 shards left out"
    refusing = own_bench(many)
    told = refusing.ask("/shelf")[2]
    assert "shard 2 of 3 is missing" in told.decode().lower()
    assert remark not in told.decode()
    partial = own_bench(many, partial=True)
    phrase = urlencode({"phrase": "3 5 3 1 3 1 4 6 4 3 1"})
    for path in ("/shelf", "/tunes", f"/find?{phrase}", f"/find?{phrase}&form=html"):
        status, _, told = partial.ask(path)
        assert (status, remark in told.decode()) == (200, True), path


def test_a_folder_of_shards_is_changed_on_the_page(
    many: Path, own_bench: Callable[..., Running]
) -> None:
    bench = own_bench(many)
    with Corpus.open(many) as corpus:
        before, tune_id = corpus.tune_count, corpus.resolve("The Eel Trap")
    status, headers, told = bench.send(
        "/shelf/remove", urlencode({"tune": tune_id, "sure": "on"})
    )
    assert status in {200, 303}, told.decode()
    with Corpus.open(many) as corpus:
        assert corpus.tune_count == before - 1
    deed = re.search(r"did=([^&#]+)", headers["location"])
    assert deed
    bench.send("/undo", urlencode({"deed": deed[1]}))
    with Corpus.open(many) as corpus:
        assert corpus.tune_count == before
    assert not list_shards(many).faults
