"""The demo: a corpus of invented tunes, and questions to ask it.

Conventions: nothing that already stands in the folder is overwritten, so a demo can
be run again, and files that were changed by hand stay changed. A question is the
command that a person would type; the door runs that very command.

Contents: Demo, Question, prepare_demo, tunes_folder.
"""

from __future__ import annotations

import shlex
import shutil
from dataclasses import dataclass
from pathlib import Path

import melodex
from melodex.errors import CorpusError, ReadingError
from melodex.tasks.adding.add import AddResult, add_paths

__all__ = ["Demo", "Question", "prepare_demo", "tunes_folder"]

PLANTED = "PLANTED.json"
OWN = "own"
CORPUS_FILE = "demo.sqlite"
PHRASE = "3 5 3 1 3 1 | 4 6 4 3 1 | 2 4 2 7, 2 7, | 1 5, 5,"
"""The opening of a hornpipe in major; another tune of the corpus has it in minor."""


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked, in words and as the arguments of a command."""

    words: str
    arguments: tuple[str, ...]

    @property
    def command(self) -> str:
        """The line that a person would type in a shell.

        Examples
        --------
        >>> Question("Where?", ("resemble", "5 1 2")).command
        "melodex resemble '5 1 2'"
        """
        return shlex.join(("melodex", *self.arguments))


@dataclass(frozen=True, slots=True)
class Demo:
    """A demo that is ready: where it stands, what went in, what to ask.

    Parameters
    ----------
    folder, corpus_path : Path
        The folder of the demo, and the corpus file in it.
    added : AddResult
        What became of the tunes.
    questions : tuple of Question
        In the order in which they are best asked.
    """

    folder: Path
    corpus_path: Path
    added: AddResult
    questions: tuple[Question, ...]


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
            hint="name another folder: melodex demo FOLDER",
        ) from error
    corpus_path = folder / CORPUS_FILE
    added = add_paths(corpus_path, [tunes])
    return Demo(folder, corpus_path, added, questions_of(corpus_path, own))


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


def questions_of(corpus_path: Path, own: Path) -> tuple[Question, ...]:
    """The questions, as commands that name the corpus of the demo."""
    to_corpus = ("--corpus", str(corpus_path))
    own_song = str(own / "own_song.abc")
    return (
        Question(
            "I have this phrase in my ear. Where have I met it?",
            (*to_corpus, "resemble", PHRASE, "--limit", "3"),
        ),
        Question(
            "One of the best two is in major, the other in minor. "
            "What do they share, and where do they part?",
            (
                *to_corpus,
                "compare",
                "Marl Pit Hornpipe",
                "The Eel Trap",
                "--bars",
                "1-4,1-4",
            ),
        ),
        Question(
            "I wrote a song. Have I borrowed without noticing?",
            (*to_corpus, "audit", own_song, "--limit", "1"),
        ),
        Question(
            "Where does a melody sing the major 7th of the minor subdominant?",
            (*to_corpus, "gather", "--note-on-chord", "7 on iv", "--limit", "4"),
        ),
        Question(
            "Show me the two on a page that I can play.",
            (
                *to_corpus,
                "compare",
                "Marl Pit Hornpipe",
                "The Eel Trap",
                "--bars",
                "1-4,1-4",
                "--format",
                "html",
                "--output",
                str(corpus_path.parent / "pair.html"),
            ),
        ),
    )
