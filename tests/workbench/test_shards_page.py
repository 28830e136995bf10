"""The page over a folder of shards says what it says over one file."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from melodex.corpus.care.checking import check_corpus
from melodex.corpus.reader import Corpus
from melodex.tasks.collection.shards import split

ADDRESSES = (
    "/?phrase=5+1+7+6+5+3",
    "/gather?metre=6%2F8",
    "/tune?tune=Marl+Pit+Hornpipe",
    "/shelf",
)


def told(body: bytes, path: Path) -> list[str]:
    """The words of a page, without its addresses, and without the name of the corpus."""
    text = body.decode("utf-8").replace(str(path), "").replace(path.name, "")
    text = re.sub(r"<(script|style)\b.*?</\1>", "", text, flags=re.DOTALL)
    return re.sub(r"<[^>]*>", " ", text).split()


@pytest.mark.parametrize("address", ADDRESSES)
def test_a_page_over_shards_has_the_words_of_one_over_a_file(
    address: str, own_bench: Callable[..., Any], whole_demo: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "in-shards"
    split(whole_demo, folder, 3)
    answers = []
    for path in (whole_demo, folder):
        status, _, body = own_bench(path).ask(address)
        assert status == 200, body.decode("utf-8")
        answers.append(told(body, path))
    assert len(answers[0]) > 50
    assert answers[0] == answers[1]


def test_the_copy_of_shards_is_the_file_that_they_make(
    own_bench: Callable[..., Any], whole_demo: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "in-shards"
    split(whole_demo, folder, 2)
    status, _, body = own_bench(folder).ask("/shelf/copy")
    assert status == 200
    copy = tmp_path / "copy.melodex"
    copy.write_bytes(body)
    assert not check_corpus(copy).faults
    with Corpus.open(copy) as one, Corpus.open(whole_demo) as other:
        assert one.tunes() == other.tunes()


def test_a_tune_in_shards_is_tagged_on_the_page(
    own_bench: Callable[..., Any], whole_demo: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "in-shards"
    split(whole_demo, folder, 2)
    bench = own_bench(folder)
    with Corpus.open(folder) as corpus:
        tune_id = corpus.resolve("Ladder Song")
    status, _, _ = bench.send("/shelf/tag", f"tune={tune_id}&word=slow")
    assert status == 303
    with Corpus.open(folder) as corpus:
        tags = {row.tune_id: row.tags for row in corpus.tunes()}
    assert tags[tune_id] == ("slow",)
