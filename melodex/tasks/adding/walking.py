"""The files that are to be added, walked through as often as is needed.

Conventions: a folder may hold a million files, so none of their names are kept: files are
walked through once to be counted and once to be read.

Contents: Files, Survey, files_of, is_folder.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from melodex.reading import SUFFIXES
from melodex.tasks.adding.parts import LARGE_BYTES

__all__ = ["Files", "Survey", "files_of", "is_folder"]


@dataclass(frozen=True, slots=True)
class Survey:
    """How many files there are, their bytes in all, and whether one is large."""

    count: int
    byte_count: int
    has_large: bool


class Files:
    """Files, and those in folders, in order; gone through anew each time.

    Parameters
    ----------
    paths : sequence of Path
        Files and folders.
    """

    def __init__(self, paths: Sequence[Path]) -> None:
        self.paths = paths

    def __iter__(self) -> Iterator[Path]:
        return files_of(self.paths)

    def survey(self) -> Survey:
        """Count them; those that cannot be seen have no bytes."""
        count = total = largest = 0
        for path in self:
            count += 1
            try:
                size = path.stat().st_size
            except (OSError, ValueError):
                continue
            total += size
            largest = max(largest, size)
        return Survey(count, total, largest > LARGE_BYTES)


def files_of(paths: Iterable[Path]) -> Iterator[Path]:
    """Yield files, and those in folders that can be read, each once.

    Folders are walked in order of names; links to folders are not followed, so
    that no ring is walked for ever. Files and folders whose names begin with a
    full stop are left out, unless they are named themselves.
    """
    given = list(paths)
    # Only what lies in two of them could come twice.
    seen: set[str] | None = set() if overlap(given) else None
    for path in given:
        for file in walked(path) if is_folder(path) else [path]:
            if seen is not None:
                whole = os.path.abspath(file)  # noqa: PTH100 (links are left as they are)
                if whole in seen:
                    continue
                seen.add(whole)
            yield file


def overlap(paths: Sequence[Path]) -> bool:
    """Whether some of the paths are the same, or lie in others."""
    places = sorted(Path(os.path.abspath(path)).parts for path in paths)  # noqa: PTH100
    return any(second[: len(first)] == first for first, second in pairwise(places))


def is_folder(path: Path) -> bool:
    """Whether a path is a folder; of one that cannot be seen, reading it says why."""
    try:
        return path.is_dir()
    except (OSError, ValueError):
        return False


def walked(folder: Path) -> Iterator[Path]:
    """Files below a folder with an ending that is read, and folders that are closed."""
    closed: list[Path] = []

    def note(error: OSError) -> None:
        closed.append(Path(os.fsdecode(error.filename)))

    for place, folders, files in os.walk(folder, onerror=note):
        folders[:] = sorted(name for name in folders if not name.startswith("."))
        for name in sorted(files):
            if Path(name).suffix.lower() in SUFFIXES and not name.startswith("."):
                yield Path(place) / name
    # Reading one of these refuses it by name, with the reason.
    yield from closed
