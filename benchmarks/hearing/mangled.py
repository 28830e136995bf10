"""Sound files that lie: built whole, then mangled in ways of their own, and read.

Run:  python -m benchmarks.hearing.mangled [--seconds 60] [--seed 1] [--keep NAME]

Each file is a short line in one of six forms (WAV of 8 to 32 bits and floats, RF64, FLAC,
Ogg Vorbis, MP3), then changed by one to three of: bytes written over at random; bits
turned; a stretch cut out, doubled, filled with one byte or taken from another form; the
file cut off; numbers of its header set to 0, 1, the largest, or another size; chunks in
another order, without end or inside one another. WAV is read in this process and the
others in the one that can be ended, as always.

Counted: what was read, what was refused and with which kind of error. Anything else that
comes out, and anything that takes more than ten seconds or a gigabyte, is a fault; each
file is known by a number that draws it again.

Contents: mangled, main.
"""

from __future__ import annotations

import io
import resource
import struct
import time
import traceback
from collections import Counter
from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
import soundfile

from benchmarks.keeping import about, asker, keep
from melodex.errors import MelodexError
from melodex.reading.recording.reader import read_recording

Dice = np.random.Generator
RATE = 8_000
FORMS = (
    ("WAV", "PCM_U8"),
    ("WAV", "PCM_16"),
    ("WAVEX", "PCM_24"),
    ("WAV", "FLOAT"),
    ("RF64", "PCM_16"),
    ("FLAC", "PCM_16"),
    ("OGG", "VORBIS"),
    ("MP3", "MPEG_LAYER_III"),
)
SLOW_SECONDS = 10.0
MOST_BYTES = 1 << 30
SIZES = (0, 1, 2, 7, 8, 255, 0x7FFF, 0xFFFF, 0x7FFFFFFF, 0xFFFFFFFF, 192_001)


@cache
def whole(form: int) -> bytes:
    """A short line in one of the forms."""
    time_ = np.arange(RATE) / RATE
    hertz = np.repeat([262.0, 330.0, 392.0, 349.0], RATE // 4)
    line = 0.3 * np.sin(2 * np.pi * np.cumsum(hertz) / RATE) * (1 - 0.3 * (time_ * 4 % 1))
    file = io.BytesIO()
    kind, coding = FORMS[form]
    soundfile.write(file, line, RATE, format=kind, subtype=coding)
    return file.getvalue()


def place_in(data: bytearray, dice: Dice) -> int:
    """Somewhere, the header as often as all the rest."""
    most = len(data) if dice.random() < 0.5 else min(len(data), 64)
    return int(dice.integers(max(most, 1)))


def write_over(data: bytearray, dice: Dice) -> None:
    """Some bytes are others."""
    for _ in range(dice.integers(1, 20)):
        data[place_in(data, dice)] = int(dice.integers(256))


def turn_bits(data: bytearray, dice: Dice) -> None:
    """Some bits are turned."""
    for _ in range(dice.integers(1, 9)):
        data[place_in(data, dice)] ^= 1 << int(dice.integers(8))


def stretch(data: bytearray, dice: Dice) -> slice:
    """A part of a file."""
    first = place_in(data, dice)
    return slice(first, first + int(dice.integers(1, 2000)))


def cut_out(data: bytearray, dice: Dice) -> None:
    """A part is not there."""
    del data[stretch(data, dice)]


def double(data: bytearray, dice: Dice) -> None:
    """A part is there many times."""
    part = stretch(data, dice)
    data[part] = data[part] * int(dice.integers(2, 40))


def fill(data: bytearray, dice: Dice) -> None:
    """A part is one byte again and again."""
    part = stretch(data, dice)
    data[part] = bytes([int(dice.choice([0, 255, 128]))]) * len(data[part])


def graft(data: bytearray, dice: Dice) -> None:
    """A part is of another form."""
    other = bytearray(whole(int(dice.integers(len(FORMS)))))
    data[stretch(data, dice)] = other[stretch(other, dice)]


def cut_off(data: bytearray, dice: Dice) -> None:
    """The end is not there."""
    del data[int(dice.integers(len(data))) :]


def lie(data: bytearray, dice: Dice) -> None:
    """A number of the header is another."""
    at = int(dice.integers(0, max(min(len(data), 128) - 4, 1)))
    size = int(dice.choice([1, 2, 4]))
    number = int(dice.choice(SIZES)) % (1 << 8 * size)
    order = "little" if dice.random() < 0.6 else "big"
    data[at : at + size] = number.to_bytes(size, "little" if order == "little" else "big")


def nest(data: bytearray, dice: Dice) -> None:
    """Chunks stand before, behind and inside one another, with lengths of their own."""
    name = [b"fmt ", b"data", b"LIST", b"ds64", b"RIFF", b"OggS", b"fLaC", b"ID3\x04"]
    inner = bytes(data[stretch(data, dice)])
    claimed = struct.pack("<I", int(dice.choice([*SIZES, len(inner)])) & 0xFFFFFFFF)
    at = int(dice.choice([0, 12, place_in(data, dice)]))
    data[at:at] = name[int(dice.integers(len(name)))] + claimed + inner


WAYS: tuple[Callable[[bytearray, Dice], None], ...] = (
    *(write_over, turn_bits, cut_out, double, fill, graft, cut_off, lie, lie, nest),
)


def mangled(number: int) -> tuple[str, bytes]:
    """The file of a number, and its form."""
    dice = np.random.default_rng(number)
    form = int(dice.integers(len(FORMS)))
    data = bytearray(whole(form))
    for _ in range(dice.integers(1, 4)):
        if data:
            WAYS[int(dice.integers(len(WAYS)))](data, dice)
    return FORMS[form][0], bytes(data)


def outcome(number: int) -> tuple[str, str, str]:
    """Form, what came of it, and of a fault its words."""
    form, data = mangled(number)
    began = time.perf_counter()
    try:
        read_recording(data, "odd")
        what = "read"
    except MelodexError as error:
        what = type(error).__name__
        if not str(error).startswith("odd: "):
            return form, "fault", f"{number}: it is not named in {error}"
    except Exception:
        return form, "fault", f"{number}: {traceback.format_exc(limit=-2)}"
    if time.perf_counter() - began > SLOW_SECONDS:
        return form, "fault", f"{number}: it took {time.perf_counter() - began:.0f} s"
    return form, what, ""


def main() -> None:
    """Build, read, count, and keep where that is wanted."""
    parser = asker(__doc__)
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--seed", type=int, default=1)
    said = parser.parse_args()
    until = time.monotonic() + said.seconds
    counts: dict[str, Counter[str]] = {}
    faults: list[str] = []
    number = said.seed * 10_000_000
    while time.monotonic() < until:
        form, what, words = outcome(number)
        counts.setdefault(form, Counter())[what] += 1
        if words:
            faults.append(words)
            print(words, flush=True)
        number += 1
    who = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    peak = max(1024 * resource.getrusage(one).ru_maxrss for one in who)
    results: dict[str, Any] = {
        "files": sum(sum(count.values()) for count in counts.values()),
        "by form": {form: dict(count) for form, count in sorted(counts.items())},
        "faults": faults,
        "peak_mb": peak >> 20,
        "within_a_gigabyte": peak < MOST_BYTES,
    }
    print(results)
    if said.keep:
        facts = about("numpy", "soundfile") | {"seconds": said.seconds, "seed": said.seed}
        keep(said.keep, {"mangled.json": facts | {"results": results}})


if __name__ == "__main__":
    main()
