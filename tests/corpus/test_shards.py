"""A corpus in shards: the same answers as one file's, and whatever is not in order named.

One file is the check of the answers: its bytes are compared with those of shards.
"""

from __future__ import annotations

import json
import os
import random
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

import melodex as scripting
from melodex.cli import melodex
from melodex.corpus.care.checking import check_corpus
from melodex.corpus.reader import Corpus
from melodex.corpus.shards import opening, splitting
from melodex.corpus.shards.index import INDEX_NAME
from melodex.corpus.shards.routing import shard_of_id
from melodex.errors import CorpusError
from melodex.tasks.adding.add import add_paths
from melodex.tasks.collection.shards import join, list_shards, split
from melodex.tasks.demo import tunes_folder

COUNTS = (1, 2, 3, 4, 7)

ROOM = ["--limit", "1000"]
QUESTIONS = (
    ["resemble", "5 1 7 6 5 3", "--explain"],
    ["resemble", "3 5 3 1 3 1 4 6 4 3 1", *ROOM],
    ["resemble", "3 5 3 1 3 1 4 6 4 3 1", "--order", "alignment"],
    ["resemble", "+ + - 0 + -"],
    ["resemble", "1 ? 3 ? 5"],
    ["resemble", "--from", "Marl Pit Hornpipe", "--bars", "1-4"],
    ["resemble", "5 1 7 6 5 3", "--within", "metre 6/8"],
    ["resemble", "1 2 3 4 5", "--within", "part main"],
    ["gather", "--part", "main", "--limit", "5"],
    ["gather", "--part", "theremin"],
    ["audit", "Marl Pit Hornpipe"],
    ["audit", "Candles on the Cut", "--threshold", "5"],
    ["audit", str(tunes_folder() / "own" / "own_song.abc")],
    ["audit", "--whole-corpus", *ROOM],
    ["compare", "Marl Pit Hornpipe", "Candles on the Cut"],
    ["describe", "Candles on the Cut"],
    ["gather", "--device", "borrowed chord"],
    ["gather", "--mode", "dorian"],
    ["gather", "--progression", "ii V I", "--limit", "5"],
    ["gather", "--metre", "6/8", "--limit", "3"],
    ["gather", "--note-on-chord", "7 on V"],
    ["gather", "--phrase", "1 2 3 4"],
    ["gather", "--mode", "locrian"],
    ["gather", "--tempo", "499"],
    ["list"],
    ["list", "--limit", "7"],
    ["list", "--words", "the"],
    ["list", "--title", "chance 7"],
    ["show", "Marl Pit Hornpipe"],
    ["show", "--warnings"],
    ["collection", "holdings"],
    ["collection", "duplicates", "--least", "0.2"],
    ["collection", "families", "--all"],
)
"""A question for each task, and what leads through statements of its own."""


def abc_of_chance(count: int) -> str:
    """Tunes by dice, so that there are more than chance is measured on."""
    dice = random.Random(23)
    tunes = []
    for number in range(1, count + 1):
        metre, key = dice.choice(("4/4", "6/8", "3/4")), dice.choice(("C", "G", "Dm", "F"))
        bars = [" ".join(dice.choice("CDEFGABcde") for _ in range(6)) for _ in range(8)]
        tunes.append(
            f"X:{number}\nT:Chance {number % 150}\nR:{dice.choice(('reel', 'jig'))}\n"
            f"M:{metre}\nL:1/8\nK:{key}\n{' | '.join(bars)} |]\n"
        )
    return "\n".join(tunes)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's tunes and some hundred by dice, in one file."""
    folder = tmp_path_factory.mktemp("one")
    (folder / "chance.abc").write_text(abc_of_chance(520), encoding="utf-8")
    path = folder / "corpus.melodex"
    assert not add_paths(path, [tunes_folder(), folder / "chance.abc"]).refusals
    return path


@pytest.fixture(scope="module")
def in_shards(whole: Path) -> Callable[[int], Path]:
    """The same tunes in so many shards, each number made once."""

    def made(count: int) -> Path:
        folder = whole.parent / f"in-{count}"
        if not folder.exists():
            split(whole, folder, count)
        return folder

    return made


def said(corpus: Path, question: list[str]) -> str:
    words = ["--corpus", str(corpus), *question]
    done = CliRunner().invoke(melodex, [*words, "--format", "json"])
    assert done.exit_code in (0, 1), done.output
    json.loads(done.stdout)
    return done.stdout


@pytest.mark.parametrize("question", QUESTIONS, ids=" ".join)
def test_every_number_of_shards_gives_the_bytes_of_one_file(
    question: list[str], whole: Path, in_shards: Callable[[int], Path]
) -> None:
    expected = said(whole, question)
    assert expected.count("\n") > 1, expected
    for count in COUNTS:
        folder = in_shards(count)
        found = said(folder, question).replace(str(folder), str(whole))
        assert found == expected, f"{count} shards"


MISSPELT = ("Marl Pot Hornpip", "Chnce 14", "the", "Candels on teh Cut", "zzz", "chance 7")


@pytest.mark.parametrize("name", MISSPELT)
def test_a_name_that_is_none_gets_the_suggestions_of_one_file(
    name: str, whole: Path, in_shards: Callable[[int], Path]
) -> None:
    def told(corpus: Path) -> str:
        done = CliRunner().invoke(melodex, ["--corpus", str(corpus), "show", name])
        assert done.exit_code == 1, done.output
        return done.output.replace(str(corpus), "CORPUS")

    expected = told(whole)
    assert {told(in_shards(count)) for count in COUNTS} == {expected}


@pytest.mark.parametrize("question", QUESTIONS[::3], ids=" ".join)
def test_the_order_of_shards_makes_no_difference(
    question: list[str],
    whole: Path,
    in_shards: Callable[[int], Path],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    expected, folder = said(whole, question), in_shards(7)
    opened = opening.opened_shards
    turned = lambda *asked: opened(*asked)[::-1]  # noqa: E731
    monkeypatch.setattr(opening, "opened_shards", turned)
    assert said(folder, question).replace(str(folder), str(whole)) == expected


def test_tunes_go_by_their_ids_and_none_is_lost(
    whole: Path, in_shards: Callable[[int], Path]
) -> None:
    for count in COUNTS:
        found: list[str] = []
        for number, state in enumerate(list_shards(in_shards(count)).states, start=1):
            with Corpus.open(in_shards(count) / state.shard.file) as shard:
                ids = [row[0] for row in shard.query("SELECT tune_id FROM tune")]
                lined = {row[0] for row in shard.query(LINED)}
            assert all(shard_of_id(each, count) == number for each in {*ids} - lined)
            found += ids
        with Corpus.open(whole) as corpus:
            assert sorted(found) == sorted(
                row[0] for row in corpus.query("SELECT tune_id FROM tune")
            )


LINED = (
    "SELECT tune_id FROM tune JOIN place ON place.tune = tune.id WHERE line_count > 1 "
    "UNION SELECT piece FROM place WHERE line_count > 1"
)


def rows_of(path: Path) -> dict[str, list[tuple[object, ...]]]:
    """Every row of every table but the packed notes, which may be packed otherwise."""
    with closing(sqlite3.connect(path)) as connection:
        tables = [
            row[0]
            for row in connection.execute(
                "SELECT name FROM sqlite_master WHERE type='table'"
            )
            if not row[0].startswith("tune_words_fts") and row[0] != "chunk"
        ]
        return {
            table: sorted(connection.execute(f"SELECT * FROM {table}").fetchall(), key=repr)
            for table in tables
        }


@pytest.mark.parametrize("count", COUNTS)
def test_shards_are_sound_and_join_to_what_was_split(
    count: int, whole: Path, in_shards: Callable[[int], Path], tmp_path: Path
) -> None:
    for state in list_shards(in_shards(count)).states:
        assert not check_corpus(in_shards(count) / state.shard.file).faults
    joined = tmp_path / "joined.melodex"
    join(in_shards(count), joined)
    assert not check_corpus(joined).faults
    assert rows_of(joined) == rows_of(whole)


@pytest.fixture
def three(in_shards: Callable[[int], Path], tmp_path: Path) -> Path:
    """Three shards, to be spoilt."""
    return Path(shutil.copytree(in_shards(3), tmp_path / "three"))


def refused(folder: Path) -> str:
    with pytest.raises(CorpusError) as caught:
        Corpus.open(folder)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_a_missing_shard_is_named(three: Path) -> None:
    (three / "shard-2-of-3.melodex").unlink()
    said_of = refused(three)
    assert "shard-2-of-3.melodex" in said_of
    assert "shard 2 of 3 is missing" in said_of
    assert [bool(state.fault) for state in list_shards(three).states] == [
        False,
        True,
        False,
    ]


def test_shards_that_changed_places_are_named(three: Path) -> None:
    (three / "shard-1-of-3.melodex").rename(three / "other")
    (three / "shard-2-of-3.melodex").rename(three / "shard-1-of-3.melodex")
    (three / "other").rename(three / "shard-2-of-3.melodex")
    assert "shard 2 of 3 of this corpus stands in the place of shard 1 of 3" in refused(
        three
    )


def test_a_file_of_another_corpus_is_named(three: Path, whole_demo: Path) -> None:
    shutil.copy(whole_demo, three / "shard-3-of-3.melodex")
    assert "a file of another corpus stands in the place of shard 3 of 3" in refused(three)


def test_a_shard_that_was_changed_by_itself_is_named(three: Path, tmp_path: Path) -> None:
    more = tmp_path / "more.abc"
    more.write_text("X:1\nT:One More\nL:1/4\nK:C\nC D E F G A B c|\n", encoding="utf-8")
    shard = three / "shard-2-of-3.melodex"
    # Among the others it refuses to be changed.
    alone = shard.rename(tmp_path / "alone")
    add_paths(alone, [more])
    alone.rename(shard)
    assert "shard 2 of 3 does not hold what the index says" in refused(three)


def test_a_damaged_shard_is_named_by_the_check(three: Path) -> None:
    path = three / "shard-2-of-3.melodex"
    with closing(sqlite3.connect(path)) as connection:
        connection.execute(
            "UPDATE tune SET title = 'Another' WHERE id = (SELECT min(id) FROM tune)"
        )
        connection.commit()
    done = CliRunner().invoke(melodex, ["--corpus", str(three), "check"])
    assert done.exit_code == 1
    assert "shard-2-of-3.melodex: " in done.output


INDEXES = {
    "no JSON": lambda told: "{",
    "a list": lambda told: "[]",
    "another format": lambda told: json.dumps({**told, "format": "none"}),
    "a later version": lambda told: json.dumps({**told, "format_version": 99}),
    "no shards": lambda told: json.dumps({**told, "shards": []}),
    "counts that do not add up": lambda told: json.dumps({**told, "tunes": 1}),
    "a path that climbs": lambda told: json.dumps(
        {**told, "shards": [{**told["shards"][0], "file": "../x"}, *told["shards"][1:]]}
    ),
    "a number that is none": lambda told: json.dumps(
        {**told, "shards": [{**told["shards"][0], "notes": "many"}, *told["shards"][1:]]}
    ),
    "one shard twice": lambda told: json.dumps({**told, "shards": [told["shards"][0]] * 3}),
    "two megabytes": lambda told: json.dumps(told) + " " * 2_000_000,
    "brackets without end": lambda told: "[" * 400_000,
    "a number of 5,000 digits": lambda told: json.dumps(told).replace(
        '"tunes": ', '"tunes": 1' + "0" * 5_000
    ),
    "no text": lambda told: "\ud800",
    "a count that no file holds": lambda told: json.dumps(
        {**told, **first_of(told, tunes=10**30), "tunes": 10**30}
    ),
    "a count below nothing": lambda told: json.dumps({**told, **first_of(told, bytes=-1)}),
    "a name of two lines": lambda told: json.dumps({**told, **first_of(told, file="a\nb")}),
    "a name too long": lambda told: json.dumps(
        {**told, **first_of(told, file="a" * 3_000)}
    ),
    "a name that is no text": lambda told: json.dumps(
        {**told, **first_of(told, file="a\ud800")}
    ),
    "an absolute path": lambda told: json.dumps({**told, **first_of(told, file="/x")}),
    "itself": lambda told: json.dumps({**told, **first_of(told, file=INDEX_NAME)}),
    "a text without end": lambda told: json.dumps(
        {**told, **first_of(told, notes="m" * 100_000)}
    ),
}


def first_of(told: dict[str, Any], **lies: object) -> dict[str, Any]:
    """The shards of an index, where the first says something else."""
    return {"shards": [{**told["shards"][0], **lies}, *told["shards"][1:]]}


@pytest.mark.parametrize("lie", sorted(INDEXES))
def test_an_index_that_lies_is_refused_in_one_sentence(lie: str, three: Path) -> None:
    place = three / INDEX_NAME
    told = json.loads(place.read_text("utf-8"))
    place.write_text(INDEXES[lie](told), "utf-8", "surrogatepass")
    said_of = refused(three)
    assert "the index of the shards cannot be read" in said_of
    assert said_of.isprintable()
    assert len(said_of) < len(str(place)) + 250


def test_counts_of_an_index_that_lie_are_refused(three: Path) -> None:
    place = three / INDEX_NAME
    told = json.loads(place.read_text("utf-8"))
    one, two = told["shards"][:2]
    one["notes"], two["notes"] = one["notes"] + 1, two["notes"] - 1
    place.write_text(json.dumps(told), encoding="utf-8")
    assert "counts other tunes or notes in shard 1 than it holds" in refused(three)


def made_link(path: Path) -> None:
    kept = path.rename(path.parent.parent / "elsewhere")
    path.symlink_to(kept)


def made_pipe(path: Path) -> None:
    path.unlink()
    os.mkfifo(path)


def made_folder(path: Path) -> None:
    path.unlink()
    path.mkdir()


@pytest.mark.parametrize("spoil", [made_link, made_pipe, made_folder])
def test_neither_links_nor_pipes_are_followed(
    spoil: Callable[[Path], None], three: Path, tmp_path: Path
) -> None:
    shard = three / "shard-2-of-3.melodex"
    spoil(shard)
    assert "shard 2 of 3 is " in refused(three)
    for words in (["check"], ["shards", "list"], ["backup", str(tmp_path / "copy")]):
        done = CliRunner().invoke(melodex, ["--corpus", str(three), *words])
        assert (done.exit_code, "shard 2 of 3 is " in done.output) == (1, True), words


@pytest.mark.parametrize("spoil", [made_link, made_pipe, made_folder])
def test_an_index_that_is_no_plain_file_is_refused(
    spoil: Callable[[Path], None], three: Path
) -> None:
    spoil(three / INDEX_NAME)
    assert "the index of the shards is a link or no regular file" in refused(three)


def test_a_backup_onto_itself_leaves_the_shards_as_they_are(three: Path) -> None:
    before = {path.name: path.read_bytes() for path in three.iterdir()}
    for name in (three, three / ".." / three.name):
        words = ["--corpus", str(three), "backup", str(name), "--force"]
        done = CliRunner().invoke(melodex, words)
        assert (done.exit_code, "this is the corpus itself" in done.output) == (1, True)
    assert {path.name: path.read_bytes() for path in three.iterdir()} == before


def test_shards_are_not_made_through_a_link(whole: Path, tmp_path: Path) -> None:
    folder, outside = tmp_path / "shards", tmp_path / "outside"
    folder.mkdir()
    outside.write_text("mine", encoding="utf-8")
    (folder / "shard-1-of-2.melodex").symlink_to(outside)
    with pytest.raises(CorpusError, match="where a shard is to stand"):
        split(whole, folder, 2)
    assert outside.read_text("utf-8") == "mine"


def test_a_splitting_goes_on_in_a_folder_of_whatever_name(
    whole: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "what? 100%41#1"
    assert not split(whole, folder, 2).faults
    before = {path.name: path.stat().st_mtime_ns for path in folder.iterdir()}
    (folder / INDEX_NAME).unlink()
    assert not split(whole, folder, 2).faults
    for path in folder.glob("shard-*"):
        assert path.stat().st_mtime_ns == before[path.name]


def test_a_corpus_that_is_changed_while_a_shard_is_made_is_named(
    whole: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also where it was changed between the look at its state and the first row."""
    corpus, more = tmp_path / "c.melodex", tmp_path / "more.abc"
    shutil.copy(whole, corpus)
    more.write_text("X:1\nT:One More\nL:1/4\nK:C\nC D E F G A B c|\n", encoding="utf-8")
    fill = splitting.fill

    def late(*asked: Any) -> None:
        if not (tmp_path / "done").exists():
            (tmp_path / "done").touch()
            add_paths(corpus, [more])
        fill(*asked)

    monkeypatch.setattr(splitting, "fill", late)
    with pytest.raises(CorpusError, match="changed meanwhile"):
        split(corpus, tmp_path / "shards", 2)
    assert not list((tmp_path / "shards").iterdir())


def test_a_digest_that_lies_is_refused(three: Path) -> None:
    place = three / INDEX_NAME
    place.write_text(
        place.read_text("utf-8").replace('"digest": "', '"digest": "0'), "utf-8"
    )
    assert "does not hold what the index says" in refused(three)


def test_no_result_is_written_among_the_shards(three: Path) -> None:
    before = (three / INDEX_NAME).read_bytes()
    for name in (INDEX_NAME, "shard-1-of-3.melodex", "new.json"):
        words = ["list", "--format", "json", "--output", str(three / name), "--force"]
        done = CliRunner().invoke(melodex, ["--corpus", str(three), *words])
        assert (done.exit_code, "belongs to the corpus" in done.output) == (1, True)
    assert (three / INDEX_NAME).read_bytes() == before


def test_one_file_is_not_joined(whole: Path, tmp_path: Path) -> None:
    with pytest.raises(CorpusError, match="one file, and no folder of shards"):
        join(whole, tmp_path / "joined.melodex")


def test_a_folder_without_index_is_refused(tmp_path: Path) -> None:
    assert "this is a folder, and no corpus in shards" in refused(tmp_path)


def test_a_splitting_that_was_stopped_is_gone_on_with(whole: Path, tmp_path: Path) -> None:
    folder = tmp_path / "shards"

    def stopped(done: int, total: int) -> None:
        if done == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        split(whole, folder, 3, progress=stopped)
    assert not (folder / INDEX_NAME).exists()
    before = {path.name: path.stat().st_mtime_ns for path in folder.iterdir()}
    assert len(before) == 2
    assert not split(whole, folder, 3).faults
    after = {path.name: path.stat().st_mtime_ns for path in folder.iterdir()}
    assert {name: after[name] for name in before} == before


def test_shards_of_another_corpus_are_not_split_over(three: Path, tmp_path: Path) -> None:
    (three / INDEX_NAME).unlink()
    before = {path.name: path.read_bytes() for path in three.iterdir()}
    other = tmp_path / "other.melodex"
    file = tmp_path / "one.abc"
    file.write_text("X:1\nT:One\nM:4/4\nL:1/4\nK:C\nCDEF|GABc|\n")
    add_paths(other, [file])
    with pytest.raises(CorpusError, match="no shard of this corpus as it is now"):
        split(other, three, 3)
    assert {path.name: path.read_bytes() for path in three.iterdir()} == before


def test_shards_are_split_into_another_number(
    three: Path, whole: Path, tmp_path: Path
) -> None:
    words = [
        "--corpus",
        str(three),
        "shards",
        "split",
        str(tmp_path / "five"),
        "--into",
        "5",
    ]
    done = CliRunner().invoke(melodex, words)
    assert done.exit_code == 0, done.output
    join(tmp_path / "five", tmp_path / "joined.melodex")
    assert rows_of(tmp_path / "joined.melodex") == rows_of(whole)
    assert not [each for each in tmp_path.iterdir() if each.name.startswith(".")]


def test_a_repair_of_shards_with_no_fault_changes_nothing(three: Path) -> None:
    before = {path.name: path.read_bytes() for path in three.iterdir()}
    done = CliRunner().invoke(melodex, ["--corpus", str(three), "check", "--repair"])
    assert (done.exit_code, "no damage found" in done.output) == (0, True)
    assert {path.name: path.read_bytes() for path in three.iterdir()} == before


def test_python_opens_a_folder_of_shards(
    whole: Path, in_shards: Callable[[int], Path]
) -> None:
    one, many = scripting.open(whole), scripting.open(in_shards(4))
    assert len(one) == len(many)
    first, second = (corpus.resemble("5 1 7 6 5 3") for corpus in (one, many))
    assert [m.tune_id for m in first] == [m.tune_id for m in second]


def test_a_backup_of_shards_is_a_folder_of_shards(three: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    done = CliRunner().invoke(melodex, ["--corpus", str(three), "backup", str(copy)])
    assert done.exit_code == 0, done.output
    assert said(copy, ["list"]) == said(three, ["list"])
