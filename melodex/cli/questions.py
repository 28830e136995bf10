"""What the demo is asked: commands as a person would type them.

Conventions: the demo prints a question's line and then runs that very command.

Contents: PHRASE, Question, questions_of.
"""

from __future__ import annotations

import shlex
from dataclasses import dataclass
from pathlib import Path

__all__ = ["PHRASE", "Question", "questions_of"]

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
            "Where does a melody sing the flat ninth of the dominant?",
            (*to_corpus, "gather", "--note-on-chord", "b9 on V", "--limit", "4"),
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
