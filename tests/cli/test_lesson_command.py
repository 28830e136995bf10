"""``melodex lesson`` and ``--into``, as a person types them."""

from __future__ import annotations

import json
import re
import shutil
import zipfile

import pytest
from click.testing import CliRunner, Result

from melodex.cli import melodex
from melodex.cli.commands.lesson import command as lesson_command
from melodex.cli.lesson.papers import KINDS
from melodex.tasks.lesson.questions import KINDS as ASKED


@pytest.fixture
def run(demo_folder, tmp_path):
    corpus = tmp_path / "demo.melodex"
    shutil.copyfile(demo_folder / "demo.sqlite", corpus)

    def call(*arguments: object, code: int = 0) -> Result:
        words = ["--corpus", str(corpus), *map(str, arguments)]
        result = CliRunner().invoke(melodex, words)
        assert result.exit_code == code, (result.output, result.exception)
        return result

    return call


def examples(run, name: str) -> list[dict]:
    return json.loads(run("lesson", "show", name, "--format", "json").stdout)["examples"]


def test_from_gathering_to_a_printed_worksheet(run, tmp_path):
    told = run("gather", "--device", "borrowed chord", "--limit", 8, "--into", "Minor iv")
    assert "borrowed chord" in told.stdout
    assert "in the new set 'Minor iv'" in told.stderr
    shown = run("lesson", "show", "Minor iv").stdout
    assert "Kept for: borrowed chord" in shown
    assert "Rights: CC0 1.0" in shown
    order = json.loads(
        run("lesson", "arrange", "Minor iv", "--apply", "--format", "json").stdout
    )
    titles = [f"{e['title']}, " for e in examples(run, "Minor iv")]
    assert all(
        placed["title"].startswith(title)
        for placed, title in zip(order["order"], titles, strict=True)
    )
    for arguments, start in (
        (("--format", "pdf", "--paper", "letter"), b"%PDF"),
        (("--sheet", "worksheet", "--format", "pdf", "--for", "b-flat"), b"%PDF"),
        (("--sheet", "worksheet", "--key", "C", "--clef", "bass"), b"<!doctype html>"),
        (("--format", "midi"), b"MThd"),
    ):
        file = tmp_path / "made"
        run("lesson", "print", "Minor iv", *arguments, "--output", file)
        assert file.read_bytes().startswith(start)
    asked = ("--sheet", "worksheet", "--ask", "degrees", "--format", "json")
    data = json.loads(run("lesson", "print", "Minor iv", *asked).stdout)
    parts = [part for question in data["questions"] for part in question["parts"]]
    assert {part["asks"] for part in parts} == {"degrees"}
    first, *others = (question["name"] for question in data["questions"])
    fewer = json.loads(
        run("lesson", "print", "Minor iv", *asked, "--leave-out", first).stdout
    )
    assert [question["name"] for question in fewer["questions"]] == others


def test_resemble_and_audit_keep_what_they_find(run, demo_folder):
    run("resemble", "5 1' 7 6 5 3", "--limit", 2, "--into", "Typed")
    assert len(examples(run, "Typed")) == 2
    run("resemble", "--from", "Paper Swans", "--bars", "1-4", "--limit", 2, "--into", "Cut")
    first, second, _ = examples(run, "Cut")
    assert (first["title"], first["first_bar"], first["last_bar"]) == ("Paper Swans", 1, 4)
    assert second["title"] == "The Ferryman's Echo"
    again = run(
        "resemble", "--from", "Paper Swans", "--bars", "1-4", "--limit", 2, "--into", "Cut"
    )
    assert "kept 0 passages" in again.stderr
    run("audit", demo_folder / "own" / "own_song.abc", "--limit", 1, "--into", "Own")
    kept = {each["state"] for each in examples(run, "Own")}
    assert kept == {"as kept", "not of this corpus"}
    nothing = run("gather", "--title", "no such tune", "--into", "None")
    assert "nothing was kept" in nothing.stderr


def test_sets_are_made_and_kept_by_hand(run):
    run("lesson", "new", "Steps", "--topic", "stepwise motion", "--level", "first year")
    run("lesson", "keep", "Steps", "Fog over the Basin", "--bars", "3-6", "--why", "iv")
    run("lesson", "keep", "Steps", "Cut and Carry", "--notes", "1-16")
    run("lesson", "note", "Steps", 1, "Hear the E flat.")
    run("lesson", "move", "Steps", 2, 1)
    run("lesson", "copy", "Steps", "Evening")
    run("lesson", "change", "Evening", "--name", "Night", "--topic", "")
    run("lesson", "drop", "Steps", 1)
    (left,) = examples(run, "Steps")
    assert (left["title"], left["note"], left["reason"]) == (
        "Fog over the Basin",
        "Hear the E flat.",
        "iv",
    )
    listed = run("lesson", "list").stdout
    assert re.search(r"Night +2 passages +first year", listed)
    assert re.search(r"Steps +1 passage +stepwise motion; first year", listed)
    run("lesson", "delete", "Night")
    assert [
        row["name"] for row in json.loads(run("lesson", "list", "--format", "json").stdout)
    ] == ["Steps"]
    assert "no teaching set called 'Night'" in run("lesson", "show", "Night", code=1).stderr


def test_a_set_is_packed_and_unpacked_with_the_caution(run, tmp_path):
    run("lesson", "new", "Steps")
    run("lesson", "keep", "Steps", "Cut and Carry", "--bars", "1-4")
    file = tmp_path / "steps.zip"
    packed = run("lesson", "pack", "Steps", file)
    assert "Check the rights of what you share" in packed.stderr
    packed = zipfile.ZipFile(file)
    assert packed.namelist() == ["set.json", "examples/01.musicxml", "sound.mid"]
    assert packed.read("sound.mid").startswith(b"MThd")
    assert "already" in run("lesson", "unpack", file, code=1).stderr
    unpacked = run("lesson", "unpack", file, "--as", "Shared")
    assert "Check the rights of what you share" in unpacked.stderr
    assert examples(run, "Shared") == examples(run, "Steps")
    run("remove", "Cut and Carry", "--yes")
    elsewhere = run("lesson", "unpack", file, "--as", "Elsewhere")
    assert "1. Cut and Carry, bars 1-4: its tune never stood in" in elsewhere.stderr
    file.write_bytes(b"PK no zip")
    assert "no whole zip file" in run("lesson", "unpack", file, code=1).stderr


def test_a_changed_tune_is_shown_and_mended(run, tmp_path):
    file = tmp_path / "own.abc"
    text = "X:1\nT:Own Air\nM:4/4\nL:1/4\nK:C\nC E G F | E D E F | G A G F | D4 |]\n"
    file.write_text(text)
    run("add", file)
    run("lesson", "new", "Mine")
    run("lesson", "keep", "Mine", "Own Air", "--bars", "1-2")
    file.write_text(text.replace("C E G F |", "z4 | C E G F |"))
    run("add", file)
    told = run("lesson", "show", "Mine")
    shown = told.stdout
    assert "its tune has changed since" in shown
    assert "'melodex lesson mend' takes what comes nearest" in told.stderr
    run("lesson", "mend", "Mine")
    (example,) = examples(run, "Mine")
    assert (example["state"], example["first_bar"]) == ("as kept", 2)
    assert "nothing is offered" in run("lesson", "mend", "Mine", code=1).stderr


@pytest.mark.parametrize("name", sorted(lesson_command.commands))
def test_every_subcommand_has_help_with_an_example(run, name):
    text = run("lesson", name, "--help").output
    assert "Example" in text
    assert f"$ melodex lesson {name}" in text


def test_what_can_be_asked_is_what_the_task_knows():
    assert KINDS == ASKED
