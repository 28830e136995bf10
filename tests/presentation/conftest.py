"""What the tests of presentation share: invented tunes, real tunes, a comparison."""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from importlib.util import find_spec
from pathlib import Path

import pytest

from melodex.melody import Melody
from melodex.reading.abc.reader import read_abc
from melodex.reading.result import Choice
from melodex.tasks.compare.compare import Comparison, compare
from melodex.tasks.passage import Passage

HARBOUR = """X:1
T:Harbour <b>Lamps</b> & Co
C:E. Vale
M:4/4
L:1/8
K:F
"F"F2 Ac "Bb"B2 A2 | "Gm7"G3 A "C7"B4 | "F"c2 dc "Bb"B2 "C"G2 | "F"A2 "C7"G2 "F"F4 |
"""
QUARRY = """X:2
T:Quarry Lane
M:4/4
L:1/8
K:Bbm
"Bbm"B2 df "Ebm"e2 d2 | "Cm7b5"c4 "F7"d2 e2 |
"Bbm"f2 gf "Gb"ed "F"c2 | "Bbm"d2 "F7"A2 "Bbm"B4 |
"""


def tune_of(text: str) -> Melody:
    """The first tune of some ABC."""
    reading = read_abc(text, "invented.abc", Choice())
    assert reading.tunes, reading.refusals
    return reading.tunes[0].melody


def whole(melody: Melody) -> Passage:
    """A tune as a passage that holds all of it."""
    return Passage(melody, melody, 0, melody.content_id(), False)


@pytest.fixture(scope="session")
def read_tune() -> Callable[[str], Melody]:
    """Reads the first tune of some ABC."""
    return tune_of


@pytest.fixture(scope="session")
def as_passage() -> Callable[[Melody], Passage]:
    """Makes a passage of a whole tune."""
    return whole


@pytest.fixture(scope="session")
def comparison() -> Comparison:
    """Two invented phrases: one in F major, one in B flat minor."""
    harbour = tune_of(HARBOUR).with_credits(rights="invented for these tests")
    return compare(whole(harbour), whole(tune_of(QUARRY)))


@pytest.fixture(scope="session")
def real_tunes() -> list[Melody]:
    """300 tunes of the ABC collections that music21 installs, the same ones each time."""
    spec = find_spec("music21")
    assert spec is not None
    assert spec.origin is not None
    texts: list[str] = []
    for path in sorted((Path(spec.origin).parent / "corpus").rglob("*.abc")):
        text = path.read_bytes().decode("utf-8", "replace")
        texts += [part for part in re.split(r"(?m)^(?=X:)", text) if part.startswith("X:")]
    assert len(texts) > 10_000
    melodies: list[Melody] = []
    for text in random.Random(20261125).sample(texts, 400):
        melodies += [t.melody for t in read_abc(text, "corpus", Choice()).tunes]
    melodies = [melody for melody in melodies if len(melody)][:300]
    assert len(melodies) == 300
    return melodies
