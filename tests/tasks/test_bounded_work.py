"""Twice as much of anything in a file takes about twice the work, not four times.

Work is counted in lines of the program that are run, each turn of a loop being one: so
the count is the same on every machine. A row of n log n grows by less than 2.4 here.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import cache
from types import FrameType
from typing import Any

import pytest

from melodex.corpus.writing.preparing import prepared
from melodex.presentation import pages
from melodex.presentation.data import forms as data
from melodex.presentation.text import forms as text
from melodex.presentation.text.style import Style
from melodex.reading import Choice, read_bytes
from melodex.tasks.describe.describe import describe
from melodex.tasks.passage import passage_of

LETTERS = "CGDAEFB"
HEAD = "X:1\nT:Long Way\nM:4/4\nL:1/8\nK:C\n"
SMALL = 256
MOST_GROWTH = 2.5


def in_bars(parts: list[str]) -> str:
    """Pieces of ABC, eight in a line."""
    return "\n".join("".join(parts[at : at + 8]) + "|" for at in range(0, len(parts), 8))


def each(make: Callable[[int], str]) -> Callable[[int], str]:
    """A body of so many pieces."""
    return lambda count: in_bars([make(place) for place in range(count)])


def in_letters(number: int) -> str:
    """A number as four notes."""
    return "".join(LETTERS[number // 7**place % 7] for place in range(4))


BODIES: dict[str, Callable[[int], str]] = {
    "notes": each(lambda n: LETTERS[n % 7]),
    "key changes": each(lambda n: f"[K:{LETTERS[n % 7]}]C"),
    "the same key again": each(lambda n: "[K:C]C"),
    "metre changes": each(lambda n: f"[M:{3 + n % 2}/4]CDEFGA|"),
    "chords": each(lambda n: f'"{LETTERS[n % 7]}7"C'),
    "voices": each(lambda n: f"[V:{n}]CDEF"),
    "voices that all differ": each(lambda n: f"[V:{n}]{in_letters(n)}"),
    "graces": each(lambda n: "{def}C"),
    "annotations": each(lambda n: f'"^word {n}"C'),
    "sections": each(lambda n: f"[P:{chr(65 + n % 26)}]CDEF|"),
    "repeats": each(lambda n: "|:CDEF:|"),
    "ties": each(lambda n: "C-"),
    "tuplets": each(lambda n: "(3CDE"),
    "lyrics": lambda n: "\n".join(["CDEFGABc|\nw:a b c d e f g h"] * (n // 8)),
}


def sheet(count: int) -> bytes:
    """A sheet with a chord, a word, a key and a metre in every bar."""
    bars = "".join(
        f"<measure number='{n + 1}'><attributes><divisions>1</divisions><key><fifths>"
        f"{n % 5 - 2}</fifths></key><time><beats>{3 + n % 2}</beats><beat-type>4"
        "</beat-type></time></attributes><harmony><root><root-step>"
        f"{LETTERS[n % 7]}</root-step></root><kind>major</kind></harmony><note><pitch>"
        "<step>C</step><octave>4</octave></pitch><duration>3</duration><lyric><text>la"
        "</text></lyric></note></measure>"
        for n in range(count)
    )
    return (
        "<score-partwise><part-list><score-part id='P1'/></part-list>"
        f"<part id='P1'>{bars}</part></score-partwise>"
    ).encode()


def lines_run(data: bytes, kept_format: str) -> int:
    """How many lines are run to read a file and to make it into rows."""

    def work() -> None:
        reading = read_bytes(data, kept_format, "sheet")
        prepared(reading, "", Choice())
        assert reading.tunes

    return lines_of(work)


def lines_of(work: Callable[[], object]) -> int:
    """How many lines are run to do something."""
    count = 0

    def trace(frame: FrameType, event: str, argument: Any) -> Any:
        nonlocal count
        count += 1
        return trace

    before = sys.gettrace()
    sys.settrace(trace)
    try:
        work()
    finally:
        sys.settrace(before)
    return count


@pytest.mark.parametrize("name", BODIES)
def test_twice_as_much_abc_takes_twice_the_work(name: str) -> None:
    lines_run((HEAD + BODIES[name](16)).encode(), "abc")  # what is made once is made
    small, large = (
        lines_run((HEAD + BODIES[name](size)).encode(), "abc")
        for size in (SMALL, 2 * SMALL)
    )
    assert large < MOST_GROWTH * small


def test_twice_as_many_bars_of_musicxml_take_twice_the_work() -> None:
    lines_run(sheet(4), "musicxml")
    small, large = (lines_run(sheet(size), "musicxml") for size in (100, 200))
    assert large < MOST_GROWTH * small


def kern(count: int) -> bytes:
    """A voice that parts and joins again, without a bar line."""
    rows = ["**kern", *["*^", "4c\t4e", "*v\t*v"] * count, "*-"]
    return ("\n".join(rows) + "\n").encode()


def test_twice_as_much_of_a_voice_that_parts_takes_twice_the_work() -> None:
    lines_run(kern(4), "kern")
    small, large = (lines_run(kern(size), "kern") for size in (SMALL, 2 * SMALL))
    assert large < MOST_GROWTH * small


FORMS: dict[str, Callable[[Any], object]] = {
    "text": lambda found: text.as_text(found, Style()),
    "json": data.as_json,
    "musicxml": lambda found: pages.rendered(found.passage, "musicxml"),
    "abc": lambda found: pages.rendered(found.passage, "abc"),
}


@cache
def described(name: str, size: int) -> tuple[Any, int]:
    """A tune described, and how many lines are run for it, which no form changes."""
    body = {**BODIES, "bars": lambda n: "CD|" * n, "notes of one bar": lambda n: "CD" * n}
    data = (HEAD + body[name](size)).encode()
    passage = passage_of(read_bytes(data, "abc", "a").tunes[0].melody, "", False)
    found: list[Any] = []
    count = lines_of(lambda: found.append(describe(passage)))
    return found[0], count


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("name", ["bars", "notes of one bar", "graces", "lyrics"])
def test_twice_as_much_music_is_described_and_written_with_twice_the_work(
    name: str, form: str
) -> None:
    def work(size: int) -> int:
        found, count = described(name, size)
        return count + lines_of(lambda: FORMS[form](found))

    work(16)  # what is made once is made
    small, large = work(2 * SMALL), work(4 * SMALL)
    assert large < MOST_GROWTH * small
