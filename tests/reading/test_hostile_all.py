"""Every reader under the same hostile inputs: any byte, one endless line, a million notes.

What belongs to one notation alone stands in ``test_abc_hostile``,
``test_musicxml_hostile``, ``test_midi`` and ``test_phrase``; teaching sets in
``tests/tasks/test_lesson_file``. A file is read or refused with a reason; a phrase is
read or one of our errors.
"""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable
from contextlib import suppress

import pytest

from melodex.errors import PhraseError
from melodex.presentation.notation.midi import midi_bytes
from melodex.presentation.notation.musicxml.document import musicxml_text
from melodex.reading import read_bytes
from melodex.reading.phrase.reader import read_phrase

pytestmark = pytest.mark.timeout(60)

TEN_MEGABYTES = 10 << 20
ABC = b"X:1\nT:Ten\nM:4/4\nL:1/8\nK:G\nGABc dedB|c2 z2 {g}(3efg [Gd]2|]\n"


def packed(sheet: bytes) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as package:
        package.writestr("sheet.musicxml", sheet)
    return out.getvalue()


def harmless() -> dict[str, bytes]:
    """One small tune in each format."""
    melody = read_bytes(ABC, "abc", "ten").tunes[0].melody
    sheet = musicxml_text(melody).encode()
    return {
        "abc": ABC,
        "musicxml": sheet,
        "mxl": packed(sheet),
        "midi": midi_bytes([melody]),
    }


@pytest.fixture(scope="module")
def tune() -> dict[str, bytes]:
    files = harmless()
    for kind, data in files.items():
        assert len(read_bytes(data, kind, "ten").tunes) == 1
    return files


FORMATS = ("abc", "musicxml", "mxl", "midi")


def answer(data: bytes, kind: str) -> str:
    """``read``, or why not."""
    reading = read_bytes(data, kind, "hostile")
    if reading.tunes:
        return "read"
    assert reading.refusals
    assert all(refusal.reason for refusal in reading.refusals)
    return "; ".join(refusal.reason for refusal in reading.refusals)


@pytest.mark.parametrize("kind", FORMATS)
@pytest.mark.parametrize(
    "shape",
    [
        lambda byte, data: bytes([byte]),
        lambda byte, data: bytes([byte]) * 1000,
        lambda byte, data: bytes([byte]) + data,
        lambda byte, data: data[: len(data) // 2] + bytes([byte]) + data[len(data) // 2 :],
        lambda byte, data: data[:-1] + bytes([byte]),
    ],
    ids=["alone", "a thousand", "before", "in the middle", "at the end"],
)
def test_every_byte_value_is_answered(kind: str, shape: Callable, tune) -> None:
    for byte in range(256):
        answer(shape(byte, tune[kind]), kind)


def test_every_byte_value_in_a_phrase_is_answered() -> None:
    for byte in range(256):
        sign = bytes([byte]).decode("latin-1")
        for text in (
            sign,
            sign * 50,
            f"5 1 {sign} 2 3",
            f"5 1 2{sign} 3",
            f"K:{sign} abc d",
        ):
            with suppress(PhraseError):
                read_phrase(text)


ONE_LINE = {
    "abc": (ABC + b"G" * TEN_MEGABYTES, "characters in one tune"),
    "musicxml": (b"<score-partwise>" + b" " * TEN_MEGABYTES, "larger than 8 MB"),
    "mxl": (packed(b"<score-partwise>" + b" " * TEN_MEGABYTES), "larger than 8 MB"),
    "midi": (b"MThd" + b"\0" * TEN_MEGABYTES, "larger than 8 MB"),
}


@pytest.mark.parametrize("kind", FORMATS)
def test_ten_megabytes_on_one_line_are_refused_by_name(kind: str) -> None:
    data, reason = ONE_LINE[kind]
    assert reason in answer(data, kind)


@pytest.mark.parametrize("sign", ["5", "5 ", "G", "+", "+1 ", "'", "K:", " ", "|", "é"])
def test_ten_megabytes_of_a_phrase_are_refused(sign: str) -> None:
    with pytest.raises(PhraseError):
        read_phrase(sign * (TEN_MEGABYTES // len(sign)))


def test_the_largest_sheet_that_is_let_in_is_answered_on_one_line(tune) -> None:
    data = tune["musicxml"].replace(b"\n", b"")
    text = b"<!--" + b"x" * ((8 << 20) - len(data) - 7) + b"-->"
    assert (
        answer(data.replace(b"<part-list", text + b"<part-list", 1), "musicxml") == "read"
    )


def million(kind: str) -> bytes:
    """A tune of a million notes."""
    if kind == "abc":
        return b"X:1\nM:4/4\nL:1/8\nK:G\n" + b"G" * 1_000_000
    if kind == "midi":
        body = b"\0\x90\x3c\x40\1\x3c\0" * 1_000_000 + b"\0\xff\x2f\0"
        head = b"MThd" + bytes((0, 0, 0, 6, 0, 0, 0, 1, 0, 96))
        return head + b"MTrk" + len(body).to_bytes(4, "big") + body
    note = b"<note><duration>1</duration></note>"
    sheet = (
        b"<score-partwise><part-list><score-part id='P'/></part-list><part id='P'>"
        b"<measure>" + note * 1_000_000 + b"</measure></part></score-partwise>"
    )
    return packed(sheet) if kind == "mxl" else sheet


@pytest.mark.parametrize("kind", FORMATS)
def test_a_million_notes_in_one_tune_are_refused(kind: str) -> None:
    said = answer(million(kind), kind)
    assert "more than" in said or "larger than" in said


TUPLETS = {
    "abc": [
        b"(3" * 300_000,
        b"(9:9:9" * 100_000,
        b"(999999999:1:999999999 " + b"G" * 50,
        b"(1:1:1G" * 2000,
        b"(3:0:0GGG (0GGG (3:2:99GGG|" * 500,
    ],
    "musicxml": [
        b"<actual-notes>%d</actual-notes><normal-notes>%d</normal-notes>" % pair
        for pair in ((10**30, 1), (1, 10**30), (0, 0), (3, 0), (0, 3), (999, 998))
    ],
}


@pytest.mark.parametrize("music", TUPLETS["abc"], ids=range(5))
def test_tuplets_without_end_are_answered(music: bytes) -> None:
    answer(ABC + music + b"|]\n", "abc")


@pytest.mark.parametrize("ratio", TUPLETS["musicxml"], ids=range(6))
def test_tuplets_of_any_ratio_are_answered(ratio: bytes, tune) -> None:
    sheet = tune["musicxml"].replace(
        b"</duration>", b"</duration><time-modification>" + ratio + b"</time-modification>"
    )
    answer(sheet, "musicxml")


@pytest.mark.parametrize("number", ["9" * 5000, "-1", "1e400", "NaN", "0x10", "١٢", "½"])
def test_numbers_that_are_none_of_ours_are_answered_wherever_they_stand(number, tune):
    for old in (b"1", b"4", b"8"):
        answer(
            tune["musicxml"].replace(b">%s<" % old, b">%s<" % number.encode()), "musicxml"
        )
        answer(ABC.replace(old, number.encode()), "abc")
    for text in (
        f"5*{number} 1 2 3",
        f"{number} 1 2 3",
        f"+{number} +1 +2",
        f"K:C a{number}bc",
    ):
        with suppress(PhraseError):
            read_phrase(text)
