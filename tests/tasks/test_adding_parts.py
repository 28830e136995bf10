"""A large ABC file added in parts: the corpus that the file gives when added whole."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

import pytest

from melodex.corpus.care.checking import check_corpus
from melodex.corpus.care.repairing import repair_corpus
from melodex.corpus.reader import Corpus
from melodex.corpus.schema import TABLES
from melodex.corpus.writing.store import CorpusWriter
from melodex.reading import read_data, read_path
from melodex.tasks.adding import add as adding
from melodex.tasks.adding import parts as adding_parts
from melodex.tasks.adding import pool as adding_pool
from melodex.tasks.adding.add import AddResult, AddStep, add_paths
from melodex.tasks.adding.handed import HandedFile, add_handed

TUNES = 96
TUNES_PER_PART, TUNES_PER_COMMIT = 8, 16
TWICE = TUNES // 36
COMPARED = [name for name in TABLES if name != "chunk"]
"""How notes are packed depends on what is written at once; check_corpus sees to them."""


def tune(number: int, content: int, more: str = "") -> str:
    """Four notes that depend on the content alone; one in fifty with an odd sign."""
    draw = random.Random(content)
    notes = " ".join(draw.choices("CDEFGABcdefg", k=4))
    odd = "" if content % 50 else "@"
    return f"X:{number}\nT:Air {content}\n{more}M:4/4\nL:1/4\nK:C\n{notes} {odd}|\n"


def book(contents: dict[int, int]) -> str:
    """A file of such tunes, by number; some have no key, or a number that is there."""
    parts = ["C:Nobody\n"]
    for number, content in contents.items():
        # The book's name is no name if tunes differ in it: one that is refused does not.
        parts.append(tune(number, content, "B:Green book\n"))
        if number % 36 == 0:
            parts.append(f"X:{number}\nT:No key\nB:Another\n")
            parts.append(tune(number, content + 100_000, "B:Green book\n"))
            parts.append("only words\n")
    return "\n".join(parts)


PLAIN = {number: number for number in range(1, TUNES + 1)}
CHANGED = {
    **PLAIN,
    # Two far apart change places, one moves up, one down, one is new, one is doubled.
    10: 90,
    90: 10,
    20: 95,
    95: 2000,
    96: 30,
    30: 2001,
    36: 2002,
    70: 71,
}


@pytest.fixture
def add(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., AddResult]:
    """Add a text under one name, whole or in parts, to a corpus by name."""
    monkeypatch.setattr(adding_pool, "WORTH_STARTING_BYTES", 0)
    monkeypatch.setattr(adding_parts, "TUNES_PER_PART", TUNES_PER_PART)
    monkeypatch.setattr(adding, "TUNES_PER_COMMIT", TUNES_PER_COMMIT)
    path = tmp_path / "shelf" / "book.abc"
    path.parent.mkdir()

    def add(
        corpus: str,
        text: str,
        *,
        whole: bool = False,
        workers: int = 1,
        progress: Callable[[AddStep], None] | None = None,
    ) -> AddResult:
        path.write_text(text, encoding="utf-8")
        monkeypatch.setattr(adding_parts, "LARGE_BYTES", 1 << 40 if whole else 0)
        monkeypatch.setattr(adding_pool, "LARGE_BYTES", 1 << 40 if whole else 1000)
        return add_paths(tmp_path / corpus, [path], workers=workers, progress=progress)

    return add


def held(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """Every row of a corpus, sound and notes included."""
    assert not check_corpus(path).faults
    with Corpus.open(path) as corpus:
        facets = corpus.query("SELECT value FROM setting WHERE name = 'facet_tables'")
        # What can be undone says when it was done, which no two corpora share.
        kept = [name for name in COMPARED if name not in {"change", "taken_out"}]
        tables = [*kept, *str(facets[0][0]).split()]
        return {
            name: [
                tuple(row)
                for row in corpus.query(f"SELECT * FROM {name} ORDER BY 1")
                if "last_change" not in row
            ]
            for name in tables
        }


def stopping(after: int) -> tuple[list[AddStep], Callable[[AddStep], None]]:
    """Steps, and what stops after so many."""
    steps: list[AddStep] = []

    def stop(step: AddStep) -> None:
        steps.append(step)
        if len(steps) == after:
            raise KeyboardInterrupt

    return steps, stop


@pytest.mark.parametrize("workers", [1, 2])
def test_in_parts_a_file_gives_what_it_gives_whole(add, tmp_path, workers):
    steps: list[AddStep] = []
    whole = add("whole", book(PLAIN), whole=True)
    parts = add("parts", book(PLAIN), workers=workers, progress=steps.append)
    assert parts == whole
    assert len(parts.reports) == parts.files_done == 1
    assert (parts.added, len(parts.refusals)) == (TUNES + TWICE, TWICE)
    assert [refusal.line for refusal in parts.refusals] == [
        number
        for number, line in enumerate(book(PLAIN).split("\n"), 0)
        if line == "T:No key"
    ]
    assert parts.warnings > 0
    assert len(steps) > 3
    assert [step.files_done for step in steps] == [0] * (len(steps) - 1) + [1]
    shares = [step.share for step in steps]
    assert shares == [*sorted(shares[:-1]), 0]
    assert 0 < shares[0] < shares[-2] < 1
    assert held(tmp_path / "parts") == held(tmp_path / "whole")
    with Corpus.open(tmp_path / "parts") as corpus:
        assert {row.collection for row in corpus.tunes()} == {"Green book"}


def test_a_changed_file_replaces_in_parts_what_it_replaces_whole(add, tmp_path):
    results = {}
    for name, whole in (("whole", True), ("parts", False)):
        add(name, book(PLAIN), whole=True)
        with CorpusWriter.open(tmp_path / name) as writer:
            rows = writer.rows(
                "SELECT tune_id, number FROM place JOIN tune ON tune.id = place.tune "
                "WHERE number IN ('10', '30', '36', '70', '90', '95', '96')"
            )
            for tune_id, number in rows:
                writer.tag([tune_id], f"was {number}")
        results[name] = add(name, book(CHANGED), whole=whole)
    assert results["parts"] == results["whole"]
    assert len(results["parts"].reports) == 1
    assert results["parts"].replaced == 4
    assert held(tmp_path / "parts") == held(tmp_path / "whole")


@pytest.mark.parametrize("after", [1, 3])
def test_stopped_within_a_changed_file_and_gone_on_with_nothing_is_lost(
    add, tmp_path, after
):
    for name, whole in (("whole", True), ("parts", False)):
        add(name, book(PLAIN), whole=whole)
        with CorpusWriter.open(tmp_path / name) as writer:
            found = writer.rows(
                "SELECT tune_id FROM tune WHERE title IN ('Air 10', 'Air 90', 'Air 20')"
            )
            writer.tag([row[0] for row in found], "kept")
    add("whole", book(CHANGED), whole=True)
    steps, stop = stopping(after)
    first = add("parts", book(CHANGED), progress=stop)
    assert first.interrupted
    assert first.files_done == 0
    done = steps[-1].tunes_done
    assert first.added + first.unchanged + first.replaced == done < TUNES
    # Whoever looks now finds every tune at a place.
    assert not check_corpus(tmp_path / "parts").faults
    second = add("parts", book(CHANGED))
    assert not second.interrupted
    assert first.replaced + second.replaced == 4
    assert held(tmp_path / "parts") == held(tmp_path / "whole")


def test_stopped_in_a_new_file_what_was_reported_is_there_and_unchanged_later(
    add, tmp_path
):
    steps, stop = stopping(2)
    first = add("parts", book(PLAIN), progress=stop)
    assert first.interrupted
    assert first.added == steps[-1].tunes_done
    with Corpus.open(tmp_path / "parts") as corpus:
        assert corpus.tune_count == first.added
    second = add("parts", book(PLAIN))
    assert (second.unchanged, second.added) == (first.added, TUNES + TWICE - first.added)
    add("whole", book(PLAIN), whole=True)
    assert held(tmp_path / "parts") == held(tmp_path / "whole")


def test_stopped_twice_with_another_text_each_time_the_last_one_stands(add, tmp_path):
    add("parts", book(PLAIN))
    for content in (3000, 4000):
        _, stop = stopping(1)
        assert add("parts", book({**PLAIN, 5: content}), progress=stop).interrupted
    last = book({**PLAIN, 5: 5000})
    add("parts", last)
    assert not check_corpus(tmp_path / "parts").faults
    with Corpus.open(tmp_path / "parts") as corpus:
        titles = {row.title for row in corpus.tunes()}
        assert "Air 5000" in titles
        assert not titles & {"Air 5", "Air 3000", "Air 4000"}
        assert corpus.query("SELECT count(*) FROM place WHERE id < 0")[0][0] == 0


def test_repaired_while_a_place_stands_aside_no_tune_takes_the_place_of_another(
    add, tmp_path
):
    add("parts", book(PLAIN))
    steps, stop = stopping(1)
    add("parts", book({**PLAIN, 5: 3000}), progress=stop)
    assert steps[0].tunes_done >= 5
    assert repair_corpus(tmp_path / "parts").lost == ()
    assert not check_corpus(tmp_path / "parts").faults
    with Corpus.open(tmp_path / "parts") as corpus:
        rows = corpus.query(
            "SELECT title, occurrence FROM place JOIN tune ON tune.id = place.tune "
            "WHERE number = '5' ORDER BY occurrence"
        )
    assert [tuple(row) for row in rows] == [("Air 3000", 1), ("Air 5", 2)]


def test_tunes_of_two_books_take_the_name_of_the_folder(add, tmp_path):
    text = book(PLAIN) + "\n" + tune(5000, 5000, "B:Red book\n")
    add("parts", text)
    with Corpus.open(tmp_path / "parts") as corpus:
        assert {row.collection for row in corpus.tunes()} == {"shelf"}


def test_a_file_handed_over_is_read_in_parts_too(tmp_path, monkeypatch):
    kept = tmp_path / "0"
    kept.write_text(book(PLAIN), encoding="utf-8")
    files = [HandedFile("shelf/book.abc", kept)]
    monkeypatch.setattr(adding_parts, "LARGE_BYTES", 1 << 40)
    whole = add_handed(tmp_path / "whole", files)
    monkeypatch.setattr(adding_parts, "LARGE_BYTES", 0)
    monkeypatch.setattr(adding_parts, "TUNES_PER_PART", TUNES_PER_PART)
    monkeypatch.setattr(adding, "TUNES_PER_COMMIT", TUNES_PER_COMMIT)
    _, stop = stopping(2)
    assert add_handed(tmp_path / "parts", files, progress=stop).added < whole.added
    parts = add_handed(tmp_path / "parts", files)
    assert parts.added + parts.unchanged == whole.added
    assert parts.refusals == whole.refusals
    assert held(tmp_path / "parts") == held(tmp_path / "whole")


@pytest.mark.parametrize("text", ["", "only words\n", "X:1\nT:No key\n", "\ufeff\n\n"])
def test_a_file_without_a_tune_is_refused_in_parts_as_it_is_whole(add, text):
    assert add("parts", text).reports == add("whole", text, whole=True).reports


def test_parts_know_the_lines_of_the_file(tmp_path):
    from melodex.reading.abc.reader import abc_parts
    from melodex.reading.result import Choice

    text = "\ufeff" + book(PLAIN)
    readings = [part.read(Choice()) for part in abc_parts(text, "a.abc", 7)]
    whole = read_data(text.encode(), "a.abc")
    assert len(readings) == -(-(TUNES + 2 * TWICE) // 7)
    assert tuple(t for reading in readings for t in reading.tunes) == whole.tunes
    assert tuple(r for reading in readings for r in reading.refusals) == whole.refusals
    (tmp_path / "a.abc").write_text(text, encoding="utf-8")
    assert len(read_path(tmp_path / "a.abc").tunes) == len(whole.tunes)
