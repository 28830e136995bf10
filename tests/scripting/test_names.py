"""The names that stay: which there are, that each loads late, and that each is told of."""

from __future__ import annotations

import ast
import inspect
import json
import pickle
import subprocess
import sys
from pathlib import Path

import pytest

import melodex

STABLE = {
    "AddResult",
    "AnswersResult",
    "AroundResult",
    "AuditEachResult",
    "AuditResult",
    "CompareResult",
    "Corpus",
    "DescribeResult",
    "FamiliesResult",
    "GatherResult",
    "Lesson",
    "MelodexError",
    "ResembleResult",
    "Tune",
    "TuneList",
    "WholeAuditResult",
    "__version__",
    "compare",
    "describe",
    "from_music21",
    "open",
    "read",
}
"""Taking one away breaks the scripts of others: a new version says so in CHANGELOG."""

CORPUS_METHODS = {
    "add",
    "answers",
    "around",
    "audit",
    "audit_each",
    "audit_whole",
    "backup",
    "check",
    "close",
    "compare",
    "describe",
    "families",
    "gather",
    "keep",
    "lesson",
    "lessons",
    "new_lesson",
    "remove",
    "resemble",
    "resemble_each",
    "tune",
    "tunes",
    "unpack",
}

MADE_OF = {
    "melodex.scripting.corpus",
    "melodex.scripting.file",
    *(
        f"melodex.scripting.calls.{task}"
        for task in ("comparing", "contents", "describing", "keeping", "searching")
    ),
}
"""Modules of the classes that a corpus is made of."""

RESULTS = {
    "Corpus": lambda corpus: corpus,
    "AuditResult": lambda corpus: corpus.audit("The Eel Trap", limit=1),
    "CompareResult": lambda corpus: corpus.compare("The Eel Trap", "Marl Pit Hornpipe"),
    "DescribeResult": lambda corpus: corpus.describe("The Eel Trap"),
    "GatherResult": lambda corpus: corpus.gather(metre="6/8", limit=1),
    "ResembleResult": lambda corpus: corpus.resemble("5 1' 7 b6", limit=1),
    "TuneList": lambda corpus: corpus.tunes(limit=1),
}


def test_the_stable_names_are_there_and_no_others():
    assert set(melodex.__all__) == STABLE
    assert set(dir(melodex)) >= STABLE
    assert all(getattr(melodex, name) is not None for name in STABLE)
    assert set(dir(melodex.Corpus)) >= CORPUS_METHODS


def test_type_checkers_are_told_the_same_names():
    stub = ast.parse(Path(melodex.__file__).with_suffix(".pyi").read_text("utf-8"))
    told = {
        alias.asname or alias.name
        for node in stub.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }
    assert told | {"__version__"} == STABLE
    (listed,) = (node for node in stub.body if isinstance(node, ast.Assign))
    assert set(ast.literal_eval(listed.value)) == STABLE


def test_a_name_that_is_not_there_is_refused_as_by_any_module():
    with pytest.raises(AttributeError, match="module 'melodex' has no attribute 'opne'"):
        getattr(melodex, "opne")  # noqa: B009


def test_importing_melodex_imports_nothing_else():
    code = (
        "import json, sys; before = set(sys.modules); import melodex;"
        "print(json.dumps(sorted(set(sys.modules) - before)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, check=True, encoding="utf-8"
    )
    assert json.loads(done.stdout) == ["melodex"]


def test_asking_loads_neither_engraver_nor_page_nor_command_line():
    code = (
        "import json, sys, melodex; melodex.Corpus;"
        "print(json.dumps(sorted({name.split('.')[0] for name in sys.modules})))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, check=True, encoding="utf-8"
    )
    heavy = {"click", "jinja2", "music21", "rich", "starlette", "typst", "verovio"}
    assert not heavy & set(json.loads(done.stdout))


@pytest.mark.parametrize("name", sorted(STABLE - {"__version__"}))
def test_every_name_and_its_methods_are_documented(name):
    thing = getattr(melodex, name)
    assert inspect.getdoc(thing), name
    for own, member in inspect.getmembers(thing) if inspect.isclass(thing) else ():
        if not own.startswith("_") and callable(member):
            assert inspect.getdoc(member), f"{name}.{own}"


def test_what_a_corpus_is_made_of_says_nothing_twice():
    """A call that two parts had would hide one of them."""
    parts = [kind for kind in melodex.Corpus.__mro__ if kind.__module__ in MADE_OF]
    assert len(parts) == len(MADE_OF)
    own = [name for kind in parts for name in vars(kind) if not name.startswith("__")]
    assert len(own) == len(set(own))


@pytest.mark.parametrize("kind", RESULTS)
def test_a_result_travels_by_pickle(kind, corpus):
    found = RESULTS[kind](corpus)
    copy = pickle.loads(pickle.dumps(found))
    assert type(found).__name__ == type(copy).__name__ == kind
    assert (repr(copy), str(copy)) == (repr(found), str(found))
