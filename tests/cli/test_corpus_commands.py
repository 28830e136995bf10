"""The commands that fill, show and look after a corpus, as a person calls them."""

from __future__ import annotations

import csv
import io
import json
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from melodex.cli import melodex
from melodex.corpus.care.checking import check_corpus
from melodex.tasks.adding.walking import files_of

NOTES = ["DEFG|A2d2|c2A2|G4|", "GABc|d2B2|A2G2|D4|", "EFGA|B2e2|d2B2|A4|"]


def abc(number: int, title: str, notes: str, more: str = "") -> str:
    return f"X:{number}\nT:{title}\nC:N. Body\n{more}M:4/4\nL:1/4\nK:Ddor\n{notes}\n"


@pytest.fixture
def shelf(tmp_path: Path) -> Path:
    """A folder with two files of tunes and one inside another folder."""
    folder = tmp_path / "shelf"
    (folder / "inner").mkdir(parents=True)
    (folder / "one.abc").write_text(
        abc(1, "The Kettle", NOTES[0]) + "\n" + abc(2, "Rain Again", NOTES[1])
    )
    (folder / "inner" / "two.abc").write_text(abc(1, "Frühlingstanz", NOTES[2]), "utf-8")
    (folder / "notes.txt").write_text("not a tune")
    return folder


@pytest.fixture
def run(tmp_path: Path):
    corpus = tmp_path / "my.melodex"

    def call(*arguments: object, code: int = 0) -> Result:
        words = ["--corpus", str(corpus), *map(str, arguments)]
        result = CliRunner().invoke(melodex, words)
        assert result.exit_code == code, (result.output, result.exception)
        return result

    return call


def test_a_folder_is_added_and_again_and_listed(run, shelf):
    assert (
        "2 files: 3 added, 0 unchanged, 0 replaced, 0 refused" in run("add", shelf).stderr
    )
    again = run("add", shelf)
    assert "0 added, 3 unchanged" in again.stderr
    assert again.stdout == ""
    lines = run("list").stdout.splitlines()
    names = ["tune", "title", "key", "metre", "bars", "notes", "collection", "source"]
    assert lines[0].split() == names
    assert [line.split("  ")[1].strip() for line in lines[1:4]] == [
        "Frühlingstanz",
        "The Kettle",
        "Rain Again",
    ]
    assert lines[4] == "3 tunes"


def test_columns_of_a_list_are_aligned(run, shelf):
    run("add", shelf)
    head, *lines = run("list", "--title", "a").stdout.splitlines()
    place = head.index("collection")
    assert all(line[place - 1] == " " and line[place] != " " for line in lines[:-1])


def test_a_list_can_be_narrowed_and_taken_as_data(run, shelf):
    run("add", shelf, "--collection", "Songs, old")
    assert "1 of 3 tunes shown" in run("list", "--limit", 1).stdout
    assert "no tune fits; the corpus holds 3 tunes" in run("list", "--tag", "none").stdout
    rows = list(csv.DictReader(io.StringIO(run("list", "--format", "csv").stdout)))
    assert {row["collection"] for row in rows} == {"Songs, old"}
    data = json.loads(run("list", "--title", "FRUHLING", "--format", "json").stdout)
    assert [tune["title"] for tune in data["tunes"]] == ["Frühlingstanz"]
    assert (data["matching"], data["corpus"]["tunes"]) == (1, 3)


def test_a_tune_is_shown_with_its_notes_over_their_degrees(run, shelf):
    run("add", shelf)
    text = run("show", "kettle").stdout
    assert text.startswith("The Kettle\n")
    assert "key       D dorian" in text
    assert f"{shelf}/one.abc, number 1, in shelf" in text
    lines = text.splitlines()
    notes = next(at for at, line in enumerate(lines) if line == "notes")
    # D dorian: F is its minor third, C its minor seventh (common practice).
    assert lines[notes + 1].split()[:5] == ["1", "D4", "E4", "F4", "G4"]
    assert lines[notes + 2].split()[:4] == ["1", "2", "b3", "4"]
    data = json.loads(run("show", "kettle", "--format", "json").stdout)
    assert [note["degree"] for note in data["notes"]][:4] == ["1", "2", "b3", "4"]
    assert data["places"][0]["number"] == "1"


def test_what_is_not_understood_is_counted_and_shown_with_line_and_column(run, tmp_path):
    odd = tmp_path / "odd.abc"
    odd.write_text(abc(1, "Odd", "DEF@G|A4|"))
    assert "1 thing was not understood" in run("add", odd).stderr
    text = run("show", "odd").stdout
    assert "not understood" in text
    assert "line 7" in text
    assert "column" in text


def test_a_changed_tune_replaces_the_old_one(run, shelf):
    run("add", shelf)
    (shelf / "inner" / "two.abc").write_text(
        abc(1, "Frühlingstanz", NOTES[2] + "D4|"), "utf-8"
    )
    assert "0 added, 2 unchanged, 1 replaced" in run("add", shelf).stderr
    assert "3 tunes" in run("list").stdout


def test_a_bad_file_is_named_with_its_reason_and_the_rest_goes_in(run, shelf):
    (shelf / "empty.abc").write_bytes(b"")
    draw = random.Random(4)
    (shelf / "noise.abc").write_bytes(bytes(draw.randrange(256) for _ in range(3000)))
    (shelf / "silent.abc").write_text("X:1\nT:Silence\nK:C\nz4|\n")
    result = run("add", shelf, shelf / "missing.abc", code=1)
    for name in ("empty.abc", "noise.abc", "silent.abc", "missing.abc"):
        assert f"refused: {shelf}/{name}" in result.stderr
    assert "3 added" in result.stderr
    assert "4 refused" in result.stderr
    data = json.loads(run("add", shelf, "--format", "json", code=1).stdout)
    assert len(data["refused"]) == 3
    assert all(refusal["reason"] for refusal in data["refused"])


def test_tunes_are_removed_by_title_file_and_collection(run, shelf):
    run("add", shelf)
    assert "means" in run("remove", "rain", code=1).stderr
    assert "3 tunes" in run("list").stdout
    result = run("remove", "rain", "--yes")
    assert "removed 1 tune" in result.stderr
    assert "Rain Again" in result.stderr
    assert "removed 1 tune" in run("remove", "--source", shelf / "one.abc").stderr
    assert "removed 1 tune" in run("remove", "--collection", "inner").stderr
    assert "no tune fits; the corpus holds 0 tunes" in run("list").stdout
    assert (shelf / "one.abc").exists()


def test_removing_what_is_not_there_removes_nothing_and_says_so(run, shelf):
    run("add", shelf)
    assert "no tune goes by the name 'xyz'" in run("remove", "rain", "xyz", code=1).stderr
    assert (
        "no tune is in the collection" in run("remove", "--collection", "x", code=1).stderr
    )
    assert "one of the three" in run("remove", code=2).stderr
    assert "one of the three" in run("remove", "rain", "--source", "x", code=2).stderr
    assert "3 tunes" in run("list").stdout


def test_check_says_that_nothing_is_wrong_and_which_engine_searches(run, shelf):
    run("add", shelf)
    text = run("check").stdout
    assert "3 tunes" in text
    assert "no damage found" in text
    assert "searched with the c engine" in text or "searched with the numpy engine" in text
    assert json.loads(run("check", "--format", "json").stdout)["faults"] == []


def test_check_names_damage_and_repairs_it(run, shelf, tmp_path):
    run("add", shelf)
    corpus = tmp_path / "my.melodex"
    data = corpus.read_bytes()
    assert data.count(b"Rain Again") == 2, "in the plain column and in the melody"
    corpus.write_bytes(data.replace(b"Rain Again", b"Rain Agxin"))
    result = run("check", code=1)
    assert "the melody has changed" in result.stdout
    assert "1 tune touched" in result.stdout
    repaired = run("check", "--repair").stdout
    assert "2 tunes were whole, 1 read again from the kept source, 0 lost" in repaired
    assert "no damage found" in repaired
    assert "Rain Again" in run("list").stdout


def test_a_backup_is_a_corpus_and_overwrites_nothing_unless_told_to(run, shelf, tmp_path):
    run("add", shelf)
    copy = tmp_path / "copy.melodex"
    assert "3 tunes" in run("backup", copy).stderr
    assert check_corpus(copy).tune_count == 3
    assert "there is a file already" in run("backup", copy, code=1).stderr
    run("backup", copy, "--force")


def test_tags_are_put_on_listed_and_taken_off(run, shelf):
    run("add", shelf)
    assert (
        "put on 2 tunes" in run("collection", "tag", "for Tuesday", "rain", "kettle").stderr
    )
    assert "1 were so already" in run("collection", "tag", "for Tuesday", "rain").stderr
    assert "for Tuesday      2" in run("collection", "tags").stdout
    assert "2 tunes; the corpus holds 3" in run("list", "--tag", "for Tuesday").stdout
    run("collection", "tag", "for Tuesday", "rain", "--off")
    assert "1 tune;" in run("list", "--tag", "for Tuesday").stdout
    assert "cannot be a tag" in run("collection", "tag", "a,b", "rain", code=1).stderr


def test_holdings_count_what_is_there(run, shelf):
    run("add", shelf)
    data = json.loads(run("collection", "holdings", "--format", "json").stdout)
    assert data["modes"] == [{"value": "dorian", "tune_count": 3}]
    assert data["collections"][0] == {"value": "shelf", "tune_count": 2}
    assert "3 tunes" in run("collection", "holdings").stdout


def test_holdings_name_the_modes_and_devices_that_few_tunes_show(run, shelf):
    run("add", shelf)
    data = json.loads(run("collection", "holdings", "--format", "json").stdout)
    thin = {each["value"]: each["tune_count"] for each in data["thin_modes"]}
    assert thin["lydian"] == 0
    assert {each["tune_count"] for each in data["thin_devices"]} <= {0, 1, 2}
    assert "ii V I" in {each["value"] for each in data["thin_devices"]}
    assert "lydian (none)" in run("collection", "holdings").stdout


def test_duplicates_are_found_in_another_key_and_rhythm(run, shelf):
    long = "DEFG|Adc2|dcAG|F2E2|DEFA|GFED|CDEF|D4|"
    moved = "A,B,CD|EAG2|AGED|C2B,2|A,B,CE|DCB,A,|G,A,B,C|A,4|"
    ornamented = long.replace("CDEF|D4", "CDEF|E4")
    (shelf / "one.abc").write_text(
        abc(1, "First", long)
        + "\n"
        + abc(2, "Moved", moved).replace("Ddor", "Am").replace("L:1/4", "L:1/8")
        + "\n"
        + abc(3, "Nearly", ornamented)
    )
    run("add", shelf)
    text = run("collection", "duplicates", "--least", "0.5").stdout
    assert "1 group with 3 tunes of 4" in text
    strict = run("collection", "duplicates", "--least", "0.99", "--format", "json")
    data = json.loads(strict.stdout)
    titles = [{tune["title"] for tune in group["tunes"]} for group in data["groups"]]
    assert titles == [{"First", "Moved"}]
    assert data["groups"][0]["likeness"] == 1


def test_signs_that_steer_a_terminal_are_not_passed_on(run, tmp_path):
    sheet = tmp_path / "steer.abc"
    sheet.write_text(abc(1, "Red \x1b[31m Reel", NOTES[0]))
    run("add", sheet)
    for words in (["list"], ["show", "reel"]):
        assert "\x1b" not in run(*words).stdout


@pytest.mark.parametrize("words", [["list"], ["show", "x"], ["check"], ["remove", "x"]])
def test_without_a_corpus_each_command_says_how_to_make_one(run, words):
    result = run(*words, code=1)
    assert "there is no corpus here" in result.stderr
    assert "melodex add FOLDER" in result.stderr


def test_a_file_that_is_no_corpus_is_not_written_to(run, shelf, tmp_path):
    letter = tmp_path / "my.melodex"
    letter.write_text("dear friend, " * 50)
    before = letter.read_bytes()
    assert "no SQLite file" in run("add", shelf, code=1).stderr
    assert letter.read_bytes() == before


def test_files_are_walked_in_order_each_once_and_rings_of_links_end(shelf):
    (shelf / "inner" / "ring").symlink_to(shelf)
    (shelf / ".hidden.abc").write_text(abc(1, "Hidden", NOTES[0]))
    (shelf / "SHOUT.ABC").write_text(abc(1, "Shout", NOTES[0]))
    found = [
        path.name for path in files_of([shelf / "one.abc", shelf, shelf / "notes.txt"])
    ]
    assert found == ["one.abc", "SHOUT.ABC", "two.abc", "notes.txt"]


def test_a_name_with_bytes_that_are_no_utf_8_is_added_and_told_apart(run, tmp_path):
    folder = os.fsencode(tmp_path / "odd")
    Path(os.fsdecode(folder)).mkdir()
    for byte, title in ((b"\xe8", "First"), (b"\xe9", "Second")):
        path = Path(os.fsdecode(folder + b"/caf" + byte + b".abc"))
        path.write_text(abc(1, title, NOTES[0] if title == "First" else NOTES[1]))
    assert "2 added" in run("add", tmp_path / "odd").stderr
    assert "2 tunes" in run("list").stdout
    assert "2 unchanged" in run("add", tmp_path / "odd").stderr


def test_commands_work_where_no_language_is_set(shelf, tmp_path):
    corpus = tmp_path / "locale.melodex"
    environment = {**os.environ, "LC_ALL": "C", "LANG": "C", "LANGUAGE": "C"}
    # Unless told otherwise, Python takes such a locale for UTF-8.
    for told in ("PYTHONCOERCECLOCALE", "PYTHONUTF8"):
        environment.pop(told, None)
    for words in (
        ["add", shelf],
        ["list", "--title", "FRÜHLING".encode()],
        ["show", "RAIN"],
        ["check"],
    ):
        done = subprocess.run(
            [sys.executable, "-m", "melodex", "--corpus", corpus, *words],
            capture_output=True,
            env=environment,
            check=False,
        )
        assert done.returncode == 0, done.stderr.decode()
        if words[0] == "list":
            assert "Frühlingstanz" in done.stdout.decode()


def test_stopped_by_ctrl_c_add_says_what_was_done_and_can_be_resumed(tmp_path):
    folder = tmp_path / "many"
    folder.mkdir()
    draw = random.Random(1)
    for number in range(600):
        notes = "|".join("".join(draw.choices("CDEFGAB", k=4)) for _ in range(16))
        (folder / f"{number:04}.abc").write_text(abc(1, f"Air {number}", notes + "|"))
    corpus = tmp_path / "c.melodex"
    words = [sys.executable, "-m", "melodex", "--corpus", str(corpus), "add", str(folder)]
    process = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline and not tune_count(corpus):
        time.sleep(0.02)
    process.send_signal(signal.SIGINT)
    _, said = process.communicate(timeout=60)
    assert process.returncode == 130, said.decode()
    text = said.decode()
    assert "Traceback" not in text
    done = int(text.split(" added")[0].split()[-1].replace(",", ""))
    assert f"stopped: {done:,} of 600 files done; add the same again to go on" in text
    assert tune_count(corpus) == done
    again = subprocess.run(words, capture_output=True, check=True).stderr.decode()
    assert f"{600 - done:,} added, {done:,} unchanged" in again
    assert check_corpus(corpus).faults == ()


def tune_count(corpus: Path) -> int:
    from melodex.corpus.reader import Corpus
    from melodex.errors import CorpusError

    try:
        with Corpus.open(corpus) as opened:
            return opened.tune_count
    except CorpusError:
        return 0
