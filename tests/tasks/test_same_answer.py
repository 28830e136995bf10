"""The same tunes give the same answer, however they came to be in the corpus."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

import pytest

from melodex.corpus.care.copying import copy_corpus
from melodex.corpus.care.repairing import repair_corpus
from melodex.corpus.reader import Corpus
from melodex.corpus.tunes.particulars import places_of
from melodex.corpus.writing.removing import remove_places
from melodex.corpus.writing.store import CorpusWriter
from melodex.presentation.data.forms import as_json
from melodex.tasks.adding import add
from melodex.tasks.adding.add import add_paths
from melodex.tasks.audit.audit import audit
from melodex.tasks.audit.whole import audit_whole
from melodex.tasks.gather.gather import Wish, gather
from melodex.tasks.passage import find_passage, read_span
from melodex.tasks.resemble import resemble

DEMO = Path(__file__).parents[2] / "corpus_demo"
TWICE = "X:7\nT:Fog over the Basin\nM:4/4\nL:1/4\nK:C\nC D E F | G A B c |\n"
WISHES = (
    Wish(device="cadence"),
    Wish(progression="ii V I"),
    Wish(key_centres=2),
    Wish(mode="minor"),
    Wish(phrase="5 4 3 2 1", nearly=True),
)


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """The invented tunes, and a tune that stands in two files."""
    folder = tmp_path_factory.mktemp("books")
    shutil.copytree(DEMO, folder / "demo")
    for name in ("a.abc", "z.abc"):
        (folder / name).write_text(TWICE, encoding="utf-8")
    return sorted(path for path in folder.rglob("*") if path.suffix in {".abc", ".mid"})


def in_order(corpus: Path, books: Sequence[Path]) -> None:
    add_paths(corpus, books)


def backwards_one_by_one(corpus: Path, books: Sequence[Path]) -> None:
    for book in reversed(books):
        add_paths(corpus, [book])


def with_pauses(corpus: Path, books: Sequence[Path]) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(add, "SECONDS_PER_COMMIT", -1.0)
        add_paths(corpus, books)


def out_and_in_again(corpus: Path, books: Sequence[Path]) -> None:
    add_paths(corpus, books)
    with CorpusWriter.open(corpus) as writer:
        ids = [row[0] for row in writer.rows("SELECT tune_id FROM tune ORDER BY tune_id")]
        writer.remove(ids[::3])
        remove_places(writer, source=str(books[0]))
    add_paths(corpus, books[::-1])


def repaired(corpus: Path, books: Sequence[Path]) -> None:
    add_paths(corpus, books)
    connection = sqlite3.connect(corpus)
    connection.execute("UPDATE chunk SET checksum = checksum + 1")
    connection.commit()
    connection.close()
    repair_corpus(corpus)


def compacted_and_copied(corpus: Path, books: Sequence[Path]) -> None:
    first = corpus.with_suffix(".first")
    backwards_one_by_one(first, books)
    connection = sqlite3.connect(first)
    connection.execute("VACUUM")
    connection.close()
    copy_corpus(first, corpus)


def answers(path: Path) -> dict[str, str]:
    """What a corpus answers, as JSON."""
    found = {}
    with Corpus.open(path) as corpus:
        rows = corpus.query("SELECT tune_id FROM tune WHERE note_count >= 24 ORDER BY 1")
        for number, (tune_id,) in enumerate(rows[::7]):
            span = read_span(f"{1 + number}-{12 + number}", "notes")
            phrase = find_passage(tune_id, corpus, notes=span).phrase()
            found[f"phrase {number}"] = as_json(resemble(corpus, phrase, explain=True))
        for number, (tune_id,) in enumerate(rows[::30]):
            own = find_passage(tune_id, corpus)
            found[f"audit {number}"] = as_json(audit(corpus, own, threshold=30.0))
        for wish in WISHES:
            found[str(wish)] = as_json(gather(corpus, wish, limit=8))
        found["whole"] = repr(audit_whole(corpus, least=0.3))
        found["list"] = repr(corpus.tunes())
        found["places"] = repr([places_of(corpus, row[0]) for row in rows])
    return found


@pytest.fixture(scope="module")
def small_samples() -> Iterator[None]:
    """So few that samples are drawn from sixty tunes as from sixty thousand."""
    with pytest.MonkeyPatch.context() as patch:
        for name, tunes in (("NULL_SAMPLE", 40), ("SEARCHED_TUNES", 50)):
            patch.setattr(f"melodex.matching.chance.sample.{name}", tunes)
        for name, tunes in (("OWN_BEST", 20), ("OWN_KIN", 10)):
            patch.setattr(f"melodex.matching.chance.sample.{name}", tunes)
        yield


@pytest.fixture(scope="module")
def usual(
    books: list[Path], small_samples: None, tmp_path_factory: pytest.TempPathFactory
) -> dict[str, str]:
    """What a corpus answers that was made in one go."""
    path = tmp_path_factory.mktemp("usual") / "corpus.melodex"
    in_order(path, books)
    return answers(path)


@pytest.mark.parametrize(
    "way",
    [backwards_one_by_one, with_pauses, out_and_in_again, repaired, compacted_and_copied],
)
def test_the_answer_is_that_of_the_tunes(
    way: Callable[[Path, Sequence[Path]], None],
    books: list[Path],
    usual: dict[str, str],
    tmp_path: Path,
) -> None:
    path = tmp_path / "corpus.melodex"
    way(path, books)
    assert len(usual) > 12
    found = answers(path)
    assert [name for name in usual if usual[name] != found[name]] == []
