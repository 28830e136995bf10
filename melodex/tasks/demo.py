"""The demo: a corpus of invented tunes.

Conventions: nothing that already stands in the folder is overwritten, so a demo can
be run again, and files that were changed by hand stay changed. What it is asked, the
doors decide.

Contents: Demo, prepare_demo, tunes_folder.
"""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

import melodex
from melodex.errors import REMEDIES, CorpusError, ReadingError
from melodex.tasks.adding.add import AddResult, add_paths

__all__ = ["OWN", "Demo", "prepare_demo", "tunes_folder"]

PLANTED = "PLANTED.json"
OWN = "own"
CORPUS_FILE = "demo.sqlite"


@dataclass(frozen=True, slots=True)
class Demo:
    """A demo that is ready: where it stands, and what went in.

    Parameters
    ----------
    folder, corpus_path : Path
        The folder of the demo, and the corpus file in it.
    added : AddResult
        What became of the tunes.
    """

    folder: Path
    corpus_path: Path
    added: AddResult


def tunes_folder() -> Path:
    """Return where the invented tunes stand: beside the package, or inside it.

    Raises
    ------
    ReadingError
        If they were not installed.
    """
    package = Path(melodex.__file__).parent
    # In a checkout they stand at the top, where a reader of the sources looks first.
    for folder in (package / "corpus_demo", package.parent / "corpus_demo"):
        if (folder / PLANTED).is_file():
            return folder
    raise ReadingError(
        "the tunes of the demo are missing",
        where=str(package / "corpus_demo"),
        hint="install melodex again",
    )


def prepare_demo(folder: Path) -> Demo:
    """Copy the invented tunes into a folder and make a corpus of them.

    Parameters
    ----------
    folder : Path
        Made where there is none; what stands in it is kept.

    Raises
    ------
    CorpusError
        If the folder cannot be written, or its corpus file is something else.
    ReadingError
        If the tunes were not installed.
    """
    tunes, own = folder / "tunes", folder / OWN
    try:
        copy_missing(tunes_folder(), tunes, leave_out=OWN)
        copy_missing(tunes_folder() / OWN, own)
    except OSError as error:
        raise CorpusError(
            f"the demo cannot be put here: {error.strerror}",
            where=str(folder),
            hint=REMEDIES["other folder"],
        ) from error
    corpus_path = folder / CORPUS_FILE
    added = add_paths(corpus_path, [tunes])
    return Demo(folder, corpus_path, added)


def copy_missing(source: Path, target: Path, leave_out: str = "") -> None:
    """Copy files and folders that are not there yet."""
    target.mkdir(parents=True, exist_ok=True)
    for path in sorted(source.iterdir()):
        goal = target / path.name
        if path.name in {leave_out, "__pycache__"}:
            continue
        if path.is_dir():
            copy_missing(path, goal)
        elif not goal.exists():
            shutil.copyfile(path, goal)
