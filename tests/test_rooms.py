"""The order of the rooms: a room imports only rooms above it, and no room is in a ring.

Also kept here: each foreign library has one home, and the names by which commands
and modules go agree.
"""

from __future__ import annotations

import ast
import configparser
from functools import cache
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

import melodex
from melodex.cli import COMMANDS

PACKAGE = Path(melodex.__file__).parent
ROOMS = (
    "errors",
    "records",
    "files",
    "settings",
    "melody",
    "reading",
    "analysis",
    "corpus",
    "matching",
    "tasks",
    "presentation",
    "scripting",
    "workbench",
    "cli",
)
DOORS = {"cli", "scripting", "workbench"}
HOMES = {
    "music21": ("reading/borrowed", "scripting/bridge"),
    "verovio": ("presentation/engraving/",),
    "typst": ("presentation/report/paper",),
    "sqlite_utils": ("corpus/",),
    "click": ("cli/",),
    "defusedxml": ("reading/musicxml/",),
    "soundfile": ("reading/recording/coded",),
    "starlette": ("workbench/",),
    "uvicorn": ("workbench/",),
    "distributed": ("matching/dealing/cluster",),
    "dask": ("matching/dealing/cluster",),
    "scipy": ("tasks/collection/likeness",),
    "jinja2": ("presentation/", "workbench/"),
}

MOST_ENTRIES = 15
"""Files and folders of one room, its ``__init__`` with them, before it is to be parted."""

MOST_WORDS_LINES = 20


def modules() -> list[Path]:
    found = sorted(PACKAGE.rglob("*.py"))
    assert len(found) > 20
    return found


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


@cache
def nodes(path: Path) -> list[ast.AST]:
    """What a module is made of, read once for all that is asked of it."""
    return list(ast.walk(ast.parse(path.read_text(encoding="utf-8"))))


@cache
def imported(path: Path) -> list[str]:
    names = []
    for node in nodes(path):
        if isinstance(node, ast.Import):
            names += [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            names.append(node.module or "")
            if node.module == "melodex":
                names += [f"melodex.{alias.name}" for alias in node.names]
    return names


def test_a_room_imports_only_rooms_above_it() -> None:
    for path in modules():
        room = room_of(path)
        if room in {"__init__", "__main__"}:
            continue
        allowed = ROOMS[: ROOMS.index(room) + 1]
        for name in imported(path):
            parts = name.split(".")
            if parts[0] == "melodex" and len(parts) > 1 and parts[1] in ROOMS:
                assert parts[1] in allowed, f"{path} imports {parts[1]}, a room below it"


def test_no_door_imports_another_door() -> None:
    starts_the_page = PACKAGE / "cli" / "commands" / "workbench.py"
    for path in modules():
        if (room := room_of(path)) in DOORS and path != starts_the_page:
            others = tuple(f"melodex.{door}" for door in DOORS - {room})
            assert not any(name.startswith(others) for name in imported(path)), path


def test_every_top_level_module_is_a_room() -> None:
    top = {path.stem for path in PACKAGE.iterdir() if path.suffix == ".py"}
    top |= {path.name for path in PACKAGE.iterdir() if (path / "__init__.py").exists()}
    assert top - {"__init__", "__main__"} <= set(ROOMS)
    assert not {"utils", "common", "helpers"} & {path.stem for path in modules()}


@pytest.mark.parametrize("library", sorted(HOMES))
def test_a_foreign_library_stays_in_its_home(library: str) -> None:
    users = {
        path.relative_to(PACKAGE).as_posix()
        for path in modules()
        for name in imported(path)
        if name.split(".")[0] == library
    }
    assert all(user.startswith(HOMES[library]) for user in users), users


def test_every_command_has_its_module_and_every_module_its_command() -> None:
    found = {path.stem for path in (PACKAGE / "cli" / "commands").glob("*.py")}
    assert found - {"__init__"} == set(COMMANDS)


def dotted(path: Path) -> str:
    """The name by which a module is imported."""
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def arrows() -> dict[str, set[str]]:
    """For each module the modules that it imports, at its head or inside a function."""
    names = {dotted(path) for path in modules()}
    found: dict[str, set[str]] = {}
    for path in modules():
        ends = found.setdefault(dotted(path), set())
        for node in nodes(path):
            if isinstance(node, ast.Import):
                ends |= {alias.name for alias in node.names} & names
            elif isinstance(node, ast.ImportFrom) and node.module:
                inner = {f"{node.module}.{alias.name}" for alias in node.names}
                ends |= (inner & names) or ({node.module} & names)
    return found


def test_modules_import_one_another_in_no_ring() -> None:
    try:
        order = list(TopologicalSorter(arrows()).static_order())
    except CycleError as ring:
        pytest.fail(" imports ".join(reversed(ring.args[1])))
    assert len(order) == len(modules())


@pytest.mark.parametrize(
    "folder",
    sorted({path.parent for path in modules()}),
    ids=lambda folder: folder.relative_to(PACKAGE.parent).as_posix(),
)
def test_every_folder_says_what_it_is_for_and_what_is_read_first(folder: Path) -> None:
    said = ast.get_docstring(ast.parse((folder / "__init__.py").read_text("utf-8"))) or ""
    assert len(said.splitlines()) <= MOST_WORDS_LINES
    if folder != PACKAGE:
        assert "ead first" in said or "Contents" in said
    entries = [
        entry
        for entry in folder.iterdir()
        if (entry.suffix in {".py", ".c"} and entry.stem != "__main__")
        or (entry / "__init__.py").exists()
    ]
    # The commands are as many as there are; nothing divides them.
    assert len(entries) <= MOST_ENTRIES or folder.name == "commands", len(entries)


def test_every_folder_is_installed() -> None:
    said = configparser.ConfigParser()
    said.read(PACKAGE.parent / "setup.cfg", encoding="utf-8")
    packages = set(said["options"]["packages"].split())
    assert packages == {dotted(path.parent / "__init__.py") for path in modules()} | {
        "melodex.corpus_demo"
    }
