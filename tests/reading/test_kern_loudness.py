"""Loudness in Humdrum: each sign by hand, and a movement against its MusicXML.

The movement is in music21's corpus in both notations.
"""

from __future__ import annotations

from bisect import bisect_right
from pathlib import Path

import music21
import pytest

from melodex.melody import TICKS_PER_QUARTER, Dynamic
from melodex.reading import read_path
from melodex.reading.humdrum.dynam import Loudness

CORPUS = Path(music21.__file__).parent / "corpus"
Q = TICKS_PER_QUARTER
LEVELS = {"ppp", "pp", "p", "mp", "mf", "f", "ff"}


def said(*tokens: str) -> list[tuple[str, int, int]]:
    """What tokens say that stand a quarter apart."""
    spine = Loudness()
    return [
        (mark.sign, mark.onset_ticks, mark.end_ticks)
        for place, token in enumerate(tokens)
        for mark in spine.read(token, place)
    ]


@pytest.mark.parametrize(
    ("tokens", "marks"),
    [
        (("p", "mf"), [("p", 0, 0), ("mf", 1, 1)]),
        (("<", "(", "["), [("crescendo", 0, 2)]),
        ((">", ")", "]"), [("diminuendo", 0, 2)]),
        (("p <", "f"), [("p", 0, 0), ("crescendo", 0, 1), ("f", 1, 1)]),
        (("<", "[ >", "]"), [("crescendo", 0, 1), ("diminuendo", 1, 2)]),
        (("<[", "dolce", "X"), []),
        (("]", "["), []),
    ],
)
def test_each_sign_is_read(tokens, marks):
    assert said(*tokens) == marks


def test_loudness_belongs_to_the_part_on_its_left(tmp_path):
    rows = [
        "**kern\t**dynam\t**kern\t**dynam",
        "*M4/4\t*\t*M4/4\t*",
        "2C\tp\t4c\tf",
        ".\t.\t4d\t.",
        "2D\t.\t2e\tff",
        "*-\t*-\t*-\t*-",
    ]
    path = tmp_path / "two.krn"
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    (tune,) = read_path(path).tunes
    assert tune.melody.dynamics == (Dynamic("f", 0, 0), Dynamic("ff", 2 * Q, 2 * Q))
    assert not any("dynam" in warning.text for warning in tune.warnings)


def test_a_movement_is_as_loud_as_in_its_musicxml():
    told = []
    for suffix in ("krn", "mxl"):
        (tune,) = read_path(CORPUS / f"beethoven/opus18no1/movement2.{suffix}").tunes
        starts = [bar.onset_ticks for bar in tune.melody.bars]
        marks = [mark for mark in tune.melody.dynamics if mark.sign in LEVELS]
        places = [bisect_right(starts, mark.onset_ticks) for mark in marks]
        told.append(([mark.sign for mark in marks], places))
    (signs, bars), (others, there) = told
    assert signs == others
    assert len(signs) > 40
    # A sign may be hung to the first note of a bar or drawn before its bar line.
    assert max(abs(a - b) for a, b in zip(bars, there, strict=True)) <= 1
