"""Errors carry facts, and each door words what helps: no layer below one names it."""

from __future__ import annotations

import ast
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner

import melodex
from melodex.cli import COMMANDS, hints
from melodex.cli import melodex as command_line
from melodex.errors import (
    REMEDIES,
    AmbiguousPhraseError,
    HostileInputError,
    MelodexError,
    PassageError,
    PhraseError,
    UnknownTuneError,
)
from melodex.reading import read_data
from melodex.reading.abc.voice.time import LONGEST_LENGTH_TEXT, length_factor
from melodex.reading.musicxml.package import MOST_DEPTH, MOST_TAGS, sheet_root
from melodex.reading.phrase.reader import read_phrase
from melodex.scripting import hints as python_hints
from melodex.workbench import asking

PACKAGE = Path(melodex.__file__).parent
DOORS = ("cli", "scripting", "workbench")
A_COMMAND = rf"\bmelodex (?:{'|'.join(COMMANDS)})\b(?! of )"
AN_OPTION = r"(?<![-\w])--[a-z][a-z-]+"
TWINS = """X:1
T:Twin Air
C:Ila Brenn
M:4/4
L:1/4
K:C
CDEF|GFED|C4|]

X:2
T:Twin Air
C:Osk Vell
M:4/4
L:1/4
K:Dm
DEFG|AGFE|DEFG|D4|]
"""


@pytest.fixture
def corpus(tmp_path: Path) -> melodex.Corpus:
    (tmp_path / "twins.abc").write_text(TWINS, encoding="utf-8")
    made = melodex.open(tmp_path / "twins.melodex")
    made.add(tmp_path / "twins.abc")
    return made


def texts_below_the_doors() -> list[tuple[str, str]]:
    """Every text constant of the modules below the doors, and where it stands."""
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        name = path.relative_to(PACKAGE).as_posix()
        if name.startswith(DOORS) or name in {"__init__.py", "__main__.py"}:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                found.append((f"{name}:{node.lineno}", node.value))
    assert len(found) > 5000
    return found


def test_no_layer_below_a_door_names_a_command_or_an_option() -> None:
    named = [
        (place, said[0])
        for place, text in texts_below_the_doors()
        for said in [re.search(A_COMMAND, text) or re.search(AN_OPTION, text)]
        if said
    ]
    assert not named


def test_that_test_would_see_one() -> None:
    for text in ("run 'melodex check' on it", "replace it with --force", "melodex add X"):
        assert re.search(A_COMMAND, text) or re.search(AN_OPTION, text)
    assert not re.search(A_COMMAND, "a later version of melodex wrote it")


@pytest.mark.parametrize("words", [hints.HINTS, python_hints.HINTS, asking.ON_THE_PAGE])
def test_doors_word_remedies_that_there_are(words: dict[str, str]) -> None:
    assert words.keys() <= REMEDIES.keys()


def test_the_page_names_no_command_and_the_command_line_knows_every_option() -> None:
    for text in asking.ON_THE_PAGE.values():
        assert not re.search(A_COMMAND, text)
        assert not re.search(AN_OPTION, text)
    options = {
        option for text in hints.HINTS.values() for option in re.findall(AN_OPTION, text)
    }
    told = "".join(
        CliRunner().invoke(command_line, [*name.split(), "--help"]).stdout
        for name in ("", "list", "check", "gather", "resemble", "backup", "audit")
    )
    assert all(option in told for option in options), options


def test_no_door_reads_a_message_back() -> None:
    reading = r"re\.\w+\([^)]*(?:str\(error\)|error\.(?:what|hint|where))"
    choosing = r"in (?:advice|error\.what)"
    for path in PACKAGE.rglob("*.py"):
        if path.relative_to(PACKAGE).parts[0] in DOORS:
            assert not re.search(f"{reading}|{choosing}", path.read_text("utf-8")), path


def test_an_ambiguous_phrase_carries_its_readings() -> None:
    with pytest.raises(AmbiguousPhraseError) as caught:
        read_phrase("b3 b2 b3")
    assert dict(caught.value.readings)["degrees"] == "Eb4 Db4 Eb4"
    assert set(dict(caught.value.readings)) == {"degrees", "abc"}
    said = hints.said(caught.value)
    assert said.endswith("say which with --as degrees, --as abc")
    assert "as degrees:  Eb4 Db4 Eb4" in said


def test_an_unreadable_phrase_carries_its_column() -> None:
    with pytest.raises(PhraseError) as caught:
        read_phrase("5 1 0 6", notation="degrees")
    assert caught.value.column == 5
    assert caught.value.pointed == "    5 1 0 6\n        ^"
    assert hints.said(caught.value) == str(caught.value)


def test_a_title_of_two_tunes_carries_both_with_what_tells_them_apart(corpus) -> None:
    with pytest.raises(UnknownTuneError) as caught:
        corpus.tune("Twin Air")
    rows = caught.value.candidates
    told = {(row.composer, row.printed_key, row.bar_count) for row in rows}
    assert told == {("Ila Brenn", "C major", 3), ("Osk Vell", "D minor", 4)}
    assert caught.value.candidates_in_all == 2
    assert "Ila Brenn, C major, 4/4, 3 bars" in str(caught.value)


def test_a_mistyped_title_carries_the_nearest(corpus) -> None:
    with pytest.raises(UnknownTuneError, match=r"the nearest: .* Twin Air") as caught:
        corpus.tune("Twim Air")
    assert set(caught.value.nearest) == {"Twin Air"}
    with pytest.raises(UnknownTuneError) as other:
        corpus.tune("Something Else")
    assert other.value.nearest == ()
    assert other.value.remedy == "find title"


def test_bars_that_are_not_there_carry_those_that_are(corpus) -> None:
    tune = next(iter(corpus))
    with pytest.raises(PassageError) as caught:
        tune.bars(9, 12)
    assert caught.value.limits == (1, tune.last_bar)


@pytest.mark.parametrize(
    ("read", "limit"),
    [
        (lambda: sheet_root(b"<a>" * 300 + b"</a>" * 300, packed=False), MOST_DEPTH),
        (lambda: sheet_root(b"<a/>" * (MOST_TAGS + 1), packed=False), MOST_TAGS),
        (lambda: length_factor("1" * 40), LONGEST_LENGTH_TEXT),
    ],
    ids=["depth", "tags", "length"],
)
def test_too_much_carries_how_much_would_have_been_read(
    read: Callable[[], object], limit: int
) -> None:
    with pytest.raises(HostileInputError) as caught:
        read()
    assert caught.value.limit == limit


def test_a_file_that_is_refused_for_it_carries_it_too() -> None:
    reading = read_data(b"<a>" * 300 + b"</a>" * 300, "deep.musicxml")
    assert [refusal.limit for refusal in reading.refusals] == [MOST_DEPTH]


def test_each_door_words_the_same_fault_for_itself(tmp_path: Path) -> None:
    missing = tmp_path / "none.melodex"
    with pytest.raises(MelodexError) as caught:
        melodex.open(missing).resemble("5 1 7 6")
    error = caught.value
    assert error.remedy == "make corpus"
    assert "melodex add FOLDER" in hints.said(error)
    assert error.__notes__ == ["corpus.add(folder) makes one"]
    assert asking.fault_of(error).advice == asking.CARE
    done = subprocess.run(
        [sys.executable, "-m", "melodex", "--corpus", str(missing), "list"],
        capture_output=True,
        encoding="utf-8",
        check=False,
    )
    assert done.returncode == 1
    assert "'melodex add FOLDER' makes one" in done.stderr
