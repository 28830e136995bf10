"""Pieces of several lines in a corpus: grouped, counted, listed and taken out as one."""

from __future__ import annotations

import json
import random
from collections.abc import Sequence
from pathlib import Path

import pytest

from melodex.corpus.care.checking import check_corpus
from melodex.corpus.chunks import firsts_of
from melodex.corpus.reader import Corpus
from melodex.corpus.tunes.tune_rows import lines_of, with_their_lines
from melodex.corpus.writing.preparing import prepared
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import UnknownTuneError
from melodex.presentation.data.resemble import resemblance_data
from melodex.reading import Choice, FileReading, read_data
from melodex.reading.phrase.reader import read_phrase
from melodex.tasks.collection.holdings import list_tunes, remove_tunes, show_tune
from melodex.tasks.collection.undo import undo
from melodex.tasks.resemble import resemble

ALL = Choice(lines="all")
LETTERS = "CDEFGABcdefgab"


def quartet(number: int, voices: int = 4) -> str:
    """A tune of so many voices in ABC, by its number alone."""
    dice = random.Random(number)
    names = ("Violin 1", "Violin 2", "Viola", "Cello")
    heads = "".join(f'V:{v} name="{names[v]}"\n' for v in range(voices))
    body = ""
    for voice in range(voices):
        notes = [dice.choice(LETTERS) for _ in range(24)]
        bars = "|".join("".join(notes[at : at + 8]) for at in range(0, 24, 8))
        body += f"V:{voice}\n{bars}|\n"
    return f"X:{number}\nT:Quartet {number}\nM:4/4\nL:1/8\n{heads}K:C\n{body}\n"


def read(*numbers: int, choice: Choice = ALL) -> FileReading:
    """A file of some quartets."""
    text = "\n".join(quartet(number) for number in numbers)
    return read_data(text.encode(), f"q{numbers[0]}.abc", choice)


def made(path: Path, readings: Sequence[FileReading], choice: Choice = ALL) -> Path:
    """A corpus of some files, each added by itself."""
    with CorpusWriter.open(path) as writer:
        for reading in readings:
            writer.add_reading(reading, choice=choice)
    return path


def test_a_piece_is_listed_once_and_shows_its_lines(tmp_path: Path) -> None:
    path = made(tmp_path / "c.melodex", [read(1, 2), read(3)])
    assert not check_corpus(path).faults
    with Corpus.open(path) as corpus:
        assert (corpus.tune_count, corpus.line_count) == (3, 12)
        listing = list_tunes(corpus)
        assert [(row.title, row.line_count) for row in listing.tunes] == [
            ("Quartet 1", 4),
            ("Quartet 2", 4),
            ("Quartet 3", 4),
        ]
        lines = lines_of(corpus, corpus.resolve("Quartet 2, line 3"))
        assert [row.line.name for row in lines] == [
            "Violin 1",
            "Violin 2",
            "Viola",
            "Cello",
        ]
        assert [row.line.is_main for row in lines] == [True, False, False, False]
        viola = show_tune(corpus, "Quartet 2 line 3")
        assert viola.melody.line.words == "Viola (line 3 of 4)"
        with pytest.raises(UnknownTuneError, match="no line 5"):
            corpus.resolve("Quartet 2 line 5")
        for chunk in corpus.chunks():
            assert len(set(firsts_of(chunk))) * 4 == chunk.tune_count


def test_lines_and_main_line_alone_follow_one_another_and_nothing_is_lost(
    tmp_path: Path,
) -> None:
    path = made(tmp_path / "c.melodex", [read(1, choice=Choice())], Choice())
    with CorpusWriter.open(path) as writer:
        (main,) = writer.rows("SELECT tune_id FROM tune")[0]
        writer.tag([main], "kept")
        report = writer.add_reading(read(1), choice=ALL)
        assert report.unchanged == (main,)
        assert len(report.further) == 3
        again = writer.add_reading(read(1), choice=ALL)
        assert (again.further, again.added) == ((), ())
    assert not check_corpus(path).faults
    with Corpus.open(path) as corpus:
        assert corpus.tune(main).tags == ("kept",)
        assert len(with_their_lines(corpus, [main])) == 4
    with CorpusWriter.open(path) as writer:
        writer.add_reading(read(1, choice=Choice()), choice=Choice())
    assert not check_corpus(path).faults
    with Corpus.open(path) as corpus:
        assert (corpus.tune_count, corpus.line_count) == (1, 1)


def test_a_tune_that_counts_its_parts_name_keeps_its_id_and_its_place(
    tmp_path: Path,
) -> None:
    path = tmp_path / "c.melodex"
    file = prepared(read(1, choice=Choice()), "", Choice())
    file.tunes = [tune.as_earlier() for tune in file.tunes]
    earlier = file.tunes[0].tune_id
    with CorpusWriter.open(path) as writer:
        writer.add_prepared([file])
        report = writer.add_reading(read(1), choice=ALL)
    assert report.unchanged == (earlier,)
    assert report.replaced == ()
    assert not check_corpus(path).faults
    with Corpus.open(path) as corpus:
        assert corpus.tune(earlier).line_count == 4
        assert {row.tune_id for row in lines_of(corpus, earlier)} >= {earlier}


def test_a_piece_goes_whole_and_comes_back_whole(tmp_path: Path) -> None:
    path = made(tmp_path / "c.melodex", [read(1), read(2)])
    removal = remove_tunes(path, ["Quartet 1"])
    assert len(removal.removed) == 1
    with Corpus.open(path) as corpus:
        assert (corpus.tune_count, corpus.line_count) == (1, 4)
    undo(path)
    assert not check_corpus(path).faults
    with Corpus.open(path) as corpus:
        assert (corpus.tune_count, corpus.line_count) == (2, 8)


def test_answers_are_by_piece_whatever_the_order_of_adding(tmp_path: Path) -> None:
    numbers = range(1, 40)
    orders = [list(numbers), list(reversed(numbers))]
    answers = []
    for place, order in enumerate(orders):
        folder = made(tmp_path / f"{place}.melodex", [read(n) for n in order])
        with Corpus.open(folder) as corpus:
            phrase = read_phrase("5 6 1' 2' 1' 6 5 3")
            found = resemble(corpus, phrase, limit=30)
            pieces = {corpus.tune(match.tune_id).piece for match in found.matches}
            assert len(pieces) == len(found.matches)
            assert found.corpus_tunes == len(numbers)
            answers.append(json.dumps(resemblance_data(found)))
            (viola,) = [row.tune_id for row in lines_of(corpus, found.matches[0].tune_id)][
                2:3
            ]
            own = resemble(corpus, phrase, exclude=[viola], limit=30)
            hidden = with_their_lines(corpus, [viola])
            assert hidden.isdisjoint(match.tune_id for match in own.matches)
    assert answers[0] == answers[1]
