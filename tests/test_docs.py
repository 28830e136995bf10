"""Every command that README.md and DEVELOPERS.md show is run, and prints what they show.

In a ``console`` block a line that starts with ``$`` is a command; what follows is its
output, where ``...`` alone on a line stands for any lines and at the end of a line
for the rest of it. Blocks run in order, from the top of the file, in an empty folder
that holds nothing but the demo's tunes. A ``python`` block is run after those before it,
and prints what the block behind it shows, line for line. The ``sh`` blocks set a machine
up: what they say is what ``.ci/run`` does.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from benchmarks.speed.table import table
from melodex.cli import COMMANDS, melodex
from melodex.corpus.schema import documentation

ROOT = Path(__file__).parents[1]
DOCUMENTS = ("README.md", "DEVELOPERS.md")
SERVING = {"workbench"}
"""Commands that go on until they are stopped; the tests of their own room start them."""

SHELF = "shelf.melodex"


def blocks(document: str, language: str) -> list[str]:
    text = (ROOT / document).read_text(encoding="utf-8")
    return re.findall(rf"^```{language}\n(.*?)^```", text, re.MULTILINE | re.DOTALL)


def steps(document: str) -> list[tuple[str, list[str]]]:
    """Commands of a document, each with the lines of output shown for it."""
    found: list[tuple[str, list[str]]] = []
    for block in blocks(document, "console"):
        for line in block.splitlines():
            if line.startswith("$ "):
                found.append((line[2:], []))
            elif found:
                found[-1][1].append(line)
    return found


def matches(shown: list[str], printed: list[str]) -> bool:
    """Whether printed lines are those shown, ``...`` standing for any."""
    pattern = ""
    for line in shown:
        if line.strip() == "...":
            pattern += r"(?:.*\n)*?"
        elif line.endswith("..."):
            pattern += re.escape(line[:-3]) + r".*\n"
        else:
            pattern += re.escape(line.rstrip()) + r"[ ]*\n"
    return re.fullmatch(pattern, "".join(f"{line}\n" for line in printed)) is not None


def run(
    command: str, folder: Path, environment: dict[str, str]
) -> subprocess.CompletedProcess[str]:
    """Run a command line as a shell would."""
    return subprocess.run(
        command,
        shell=True,
        cwd=folder,
        env=environment,
        capture_output=True,
        encoding="utf-8",
        timeout=240,
        check=False,
    )


def run_here(command: str, folder: Path, environment: dict[str, str]) -> Result:
    """Run a command of ours in this process, which spares the start of another."""
    program, *words = shlex.split(command)
    assert program == "melodex", f"{command}: not a command of ours"
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        return CliRunner().invoke(melodex, words, env=environment)


@pytest.fixture
def bench(tmp_path: Path) -> tuple[Path, dict[str, str]]:
    """A folder with the demo's tunes, and an environment with the command on its path."""
    shutil.copytree(ROOT / "corpus_demo", tmp_path / "corpus_demo")
    environment = os.environ | {
        "PATH": f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}",
        "MELODEX_CORPUS": str(tmp_path / SHELF),
        "COLUMNS": "96",
        "PYTHONUTF8": "1",
        "NO_COLOR": "1",
    }
    return tmp_path, environment


@pytest.fixture(scope="module")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The corpus that the demo's tunes give, each test to copy it."""
    folder = tmp_path_factory.mktemp("shelf")
    shutil.copytree(ROOT / "corpus_demo", folder / "corpus_demo")
    added = run_here("melodex add corpus_demo", folder, {"MELODEX_CORPUS": SHELF})
    assert added.exit_code == 0, added.output
    return folder / SHELF


@pytest.mark.parametrize("document", DOCUMENTS)
def test_every_command_shown_runs_and_prints_what_is_shown(
    document: str, bench: tuple[Path, dict[str, str]]
) -> None:
    folder, environment = bench
    shown = steps(document)
    assert shown, f"{document} shows no command"
    # The first as a shell runs what is installed; the others only need its answer.
    first = run(shown[0][0], folder, environment)
    assert first.returncode == 0, f"{document}: {shown[0][0]}\n{first.stderr}"
    printed = [first.stdout]
    for command, _ in shown[1:]:
        done = run_here(command, folder, environment)
        assert done.exit_code == 0, f"{document}: {command}\n{done.output}"
        printed.append(done.stdout)
    for (command, expected), text in zip(shown, printed, strict=True):
        if expected:
            assert matches(expected, text.splitlines()), f"{document}: {command}\n{text}"


def scripts(document: str) -> list[tuple[str, str]]:
    """Python blocks of a document, each with the output shown in the block behind it."""
    text = (ROOT / document).read_text(encoding="utf-8")
    pattern = r"^```python\n(.*?)^```\n+^```\n(.*?)^```"
    found: list[tuple[str, str]] = re.findall(pattern, text, re.MULTILINE | re.DOTALL)
    assert len(found) == len(blocks(document, "python")), "a block shows no output"
    return found


def test_the_python_shown_runs_and_prints_what_is_shown(
    bench: tuple[Path, dict[str, str]],
) -> None:
    folder, environment = bench
    shown = scripts("README.md")
    assert shown
    # One program, as a reader would type it from top to bottom.
    mark = "-- end of block --"
    program = "".join(f"{code}print({mark!r})\n" for code, _ in shown)
    (folder / "script.py").write_text(program, encoding="utf-8")
    done = run("python script.py", folder, environment)
    assert done.returncode == 0, done.stderr
    printed = done.stdout.split(f"{mark}\n")
    assert printed == [*(expected for _, expected in shown), ""]


def test_the_table_of_speed_is_that_of_the_kept_run() -> None:
    assert table() in (ROOT / "README.md").read_text(encoding="utf-8")


def test_kept_runs_name_no_place_of_the_machine_that_they_ran_on() -> None:
    named = [
        path
        for path in (ROOT / "benchmarks" / "runs").rglob("*.*")
        if re.search(r"(?:/tmp|/home|/root|/Users)/", path.read_text("utf-8"))
    ]
    assert not named


def test_every_table_of_the_corpus_is_described() -> None:
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    for note in documentation():
        assert f"| `{note.name}` | {note.kind} | {note.meaning} |" in text


def test_every_command_is_shown_in_the_readme() -> None:
    text = "\n".join(command for command, _ in steps("README.md"))
    missing = {name for name in COMMANDS if not re.search(rf"\bmelodex {name}\b", text)}
    assert not missing - SERVING
    whole = (ROOT / "README.md").read_text(encoding="utf-8")
    assert all(f"melodex {name}" in whole for name in SERVING & COMMANDS.keys())


def test_the_readme_sets_a_machine_up_with_two_commands() -> None:
    first, second = blocks("README.md", "sh")
    for command in (first, second):
        assert command.count("\n") == 1, "a command is pasted as one line"
        # Empty where root has no sudo.
        assert command.count("$(command -v sudo) apt-get") == 2
        assert "sudo " not in command.replace("$(command -v sudo) ", "")
    assert not re.search(r"gcc|python3-dev|test", first)
    assert first.rstrip().endswith(".venv/bin/melodex demo")
    assert re.search(r"\.venv/bin/python -m pytest[^&]*$", second.rstrip())


def test_the_continuous_check_runs_the_second_command_of_the_readme() -> None:
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    (reading,) = re.findall(r"^second=.*$", script, re.MULTILINE)
    told = subprocess.run(
        ["bash", "-c", f'{reading}; printf %s "$second"'],
        cwd=ROOT,
        capture_output=True,
        encoding="utf-8",
        check=True,
    ).stdout
    assert told == blocks("README.md", "sh")[1].rstrip("\n")
    parts = re.findall(r'^eval "\$\{second(.*)\}"$', script, re.MULTILINE)
    assert parts == ["% && *", "##* && "], "all of it, once"


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_command_has_help_with_an_example_that_runs(
    name: str, bench: tuple[Path, dict[str, str]], shelf: Path
) -> None:
    folder, environment = bench
    shutil.copyfile(shelf, folder / SHELF)
    text = run_here(f"melodex {name} --help", folder, environment).stdout
    examples = re.findall(r"^ +\$ (melodex .*)$", text, re.MULTILINE)
    assert examples, f"melodex {name} --help shows no example"
    for example in examples:
        if name in SERVING:
            assert example.startswith(f"melodex {name}")
            continue
        done = run_here(example, folder, environment)
        assert done.exit_code == 0, f"{example}\n{done.output}"
