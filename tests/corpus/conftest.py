"""Melodies made by number, and what a reader would hand over for them."""

from __future__ import annotations

import os
import random
import signal
import time
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import pytest

from melodex.corpus.reader import Corpus
from melodex.corpus.writing.store import CorpusWriter
from melodex.melody import (
    TICKS_PER_QUARTER,
    Bar,
    Credits,
    Key,
    KeyChange,
    Melody,
    Metre,
    MetreChange,
)
from melodex.reading.result import FileReading, ReadTune, ReadWarning

EIGHTH = TICKS_PER_QUARTER // 2
LETTERS = {-1: "F", 0: "C", 1: "G", 2: "D", 3: "A", 4: "E", 5: "B"}


def melody_of(number: int, /, *, notes: int = 24, **makers: Any) -> Melody:
    """A tune in D dorian, in quavers, that depends on its number alone."""
    draw = random.Random(number)
    fifths = tuple(draw.randrange(-1, 6) for _ in range(notes))
    bars = (notes + 7) // 8
    known = {"title": f"Tune {number}", "number": str(number), "composer": "Nobody"}
    return Melody(
        midi=tuple(60 + 7 * place % 12 for place in fifths),
        fifths=fifths,
        onset_ticks=tuple(at * EIGHTH for at in range(notes)),
        duration_ticks=(EIGHTH,) * notes,
        bar=tuple(1 + at // 8 for at in range(notes)),
        beat_strength=((1.0, 0.25, 0.5, 0.25) * notes)[:notes],
        phrase=(0,) * notes,
        bars=tuple(Bar(at + 1, at * 8 * EIGHTH, 8 * EIGHTH) for at in range(bars)),
        keys=(KeyChange(0, Key(2, "dorian"), 0),),
        metres=(MetreChange(0, Metre(4, 4)),),
        credits=Credits(**{**known, **makers}),
    )


def opened_by_two_of_which_one_is_killed(path: Path, seconds: float) -> None:
    """Two processes open a corpus; one is killed so soon, and the other has to be done."""
    children = []
    for _ in range(2):
        child = os.fork()
        if child == 0:
            try:
                Corpus.open(path).close()
                os._exit(0)
            except BaseException:
                os._exit(3)
        children.append(child)
    time.sleep(seconds)
    os.kill(children[0], signal.SIGKILL)
    ends = [os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in children]
    assert ends[0] in {0, -9}
    assert ends[1] == 0


def abc_of(number: int, notes: int = 24) -> bytes:
    """The same tune as ABC text."""
    draw = random.Random(number)
    letters = "".join(LETTERS[draw.randrange(-1, 6)] for _ in range(notes))
    bars = "|".join(letters[at : at + 8] for at in range(0, notes, 8))
    head = f"X:{number}\nT:Tune {number}\nC:Nobody\nM:4/4\nL:1/8\nK:Ddor\n"
    return f"{head}{bars}|\n".encode()


def reading_of(
    source: str, numbers: Iterable[int], *, warned: bool = False, **makers: Any
) -> FileReading:
    """What a file of such tunes gives."""
    warnings = (ReadWarning("a sign that nobody knows", 7, 3),) if warned else ()
    return FileReading(
        source,
        tuple(
            ReadTune(
                melody_of(number, source=source, **makers), warnings, abc_of(number), "abc"
            )
            for number in numbers
        ),
    )


@pytest.fixture
def melody() -> Callable[..., Melody]:
    return melody_of


@pytest.fixture
def reading() -> Callable[..., FileReading]:
    return reading_of


@pytest.fixture
def corpus_path(tmp_path: Path) -> Path:
    return tmp_path / "tunes.melodex"


@pytest.fixture
def filled(corpus_path: Path) -> Path:
    """A corpus of twelve tunes in two files."""
    with CorpusWriter.open(corpus_path) as writer:
        writer.add_reading(reading_of("shelf/one.abc", range(1, 7), warned=True))
        writer.add_reading(reading_of("shelf/two.abc", range(7, 13)))
    return corpus_path
