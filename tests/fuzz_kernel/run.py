"""Throw altered chunks and noise at the compiled kernel under AddressSanitizer.

    python tests/fuzz_kernel/run.py [--seconds 60] [--seed 1]

Builds the kernel with AddressSanitizer and UndefinedBehaviorSanitizer into a
temporary folder (needs gcc with libasan) and calls it in a process of its own, so
that a fault shows as a report and exit 1. Not part of the test run: it takes its
time, and wants a compiler.
"""

from __future__ import annotations

import argparse
import contextlib
import importlib.util
import os
import random
import struct
import subprocess
import sys
import sysconfig
import tempfile
import time
from importlib.machinery import ExtensionFileLoader
from pathlib import Path
from types import ModuleType

import melodex.matching
from melodex.corpus.chunks import TuneNotes
from melodex.corpus.packing import pack
from melodex.settings import AlignmentCosts

SOURCE = Path(melodex.matching.__file__).parent / "engine" / "_kernel.c"
FLAGS = [
    "-O1",
    "-g",
    "-std=c11",
    "-fsanitize=address,undefined",
    "-fno-sanitize-recover=all",
    "-fno-omit-frame-pointer",
    "-shared",
    "-fPIC",
    "-DEVERY_PROCESSOR=",
]
EDGES = (-(2**63), -(2**31), -(2**31) + 1, -1, 0, 1, 2**15, 2**16, 2**31 - 1, 2**63 - 1)
"""Where C's whole numbers end."""

REFUSED = (ValueError, TypeError, OverflowError, IndexError)


def build(folder: Path) -> Path:
    """Compile the kernel with sanitizers."""
    target = folder / "_kernel.abi3.so"
    include = sysconfig.get_paths()["include"]
    command = ["gcc", *FLAGS, f"-I{include}", str(SOURCE), "-o", str(target)]
    subprocess.run(command, check=True)
    return target


def load(path: Path) -> ModuleType:
    """Import the kernel from a file."""
    loader = ExtensionFileLoader("_kernel", str(path))
    spec = importlib.util.spec_from_loader("_kernel", loader)
    assert spec is not None
    module = importlib.util.module_from_spec(spec)
    loader.exec_module(module)
    return module


def noise(dice: random.Random, most: int) -> bytes:
    """Bytes of any kind, often few different ones."""
    size = dice.randrange(most)
    values = dice.choice([range(256), range(60, 66), [0, 127, 128, 255]])
    return bytes(dice.choices(values, k=size))


def chunk_of(dice: random.Random) -> tuple[bytes, bytes]:
    """Notes and lengths of a chunk, sound or altered."""
    tunes = [
        TuneNotes(f"{n:012x}0000", column, column)
        for n in range(dice.choice([1, 5, 33, 40, 70]))
        for column in [noise(dice, dice.choice([4, 20, 60]))]
    ]
    chunk = pack(tunes)
    notes, lengths = bytearray(chunk.notes), bytearray(chunk.lengths)
    for data in (notes, lengths):
        for _ in range(dice.choice([0, 0, 1, 3]) if data else 0):
            data[dice.randrange(len(data))] = dice.randrange(256)
    if dice.random() < 0.3:
        del notes[dice.randrange(len(notes) + 1) :]
    if dice.random() < 0.2:
        lengths += struct.pack("<I", dice.choice([0, 1, 2**31, 2**32 - 1]))
    return bytes(notes), bytes(lengths)


def part_of(dice: random.Random) -> bytes:
    """Some parts of a figure of 64 notes."""
    lasts = [dice.randrange(1, 64) for _ in range(dice.randrange(4))]
    return bytes(v for last in lasts for v in (last, dice.randrange(2, last + 2)))


def part_of_chunk(
    dice: random.Random, notes: bytes, lengths: bytes
) -> tuple[bytes, bytes, bytes, bytes]:
    """A chunk with ids and places, mostly rising and within it."""
    tunes = len(lengths) // 4
    places = sorted(dice.randrange(tunes + 2) for _ in range(dice.randrange(40)))
    if dice.random() < 0.7:
        places = sorted({place for place in places if place < tunes})
    ids = dice.randbytes(8 * tunes if dice.random() < 0.9 else dice.randrange(99))
    return notes, lengths, ids, struct.pack(f"<{len(places)}I", *places)


def costs_of(dice: random.Random) -> tuple[int, ...]:
    """Costs, sound or not."""
    if dice.random() < 0.5:
        return AlignmentCosts().numbers
    same = [dice.randrange(0, 120) for _ in range(4)]
    return (*same, *[-dice.randrange(0, 256) for _ in range(8)], -dice.randrange(0, 256))


def one_round(kernel: ModuleType, dice: random.Random) -> None:
    """Every function of the kernel once, with input of one kind or another."""
    notes, lengths = chunk_of(dice)
    pitch = noise(dice, dice.choice([4, 12, 12, 30, 100]))
    classes = pitch[::-1] if dice.random() < 0.9 else noise(dice, 30)
    costs = costs_of(dice)
    tunes = [(column, column) for column in (noise(dice, 90) for _ in range(4))]
    number = dice.choice([-1, 0, 1, 31, 32, 33, 500, 2**40])
    edge = dice.choice(EDGES)
    calls = (
        (kernel.bounds, (notes, lengths, pitch, classes, costs)),
        (kernel.best, (tunes, pitch, classes, costs, dice.randrange(-9, 400))),
        (kernel.best, (tunes, pitch, classes, costs, edge)),
        (kernel.best, (tunes * 9, pitch * 3, classes * 3, costs, dice.randrange(60))),
        (kernel.reached, (tunes, pitch, classes, costs)),
        (kernel.reached, (tunes * 9, pitch * 3, classes * 3, costs)),
        (
            kernel.contours,
            (notes, lengths, noise(dice, 90), edge, *dice.choices(EDGES, k=2)),
        ),
        (kernel.notes_at, (notes, lengths, edge)),
        (kernel.select, (noise(dice, 99), edge, dice.choice(EDGES))),
        (kernel.histogram, ([noise(dice, 99), notes], edge)),
        (kernel.trace, (pitch, classes, *tunes[0], edge, costs)),
        (kernel.bounds, (notes, lengths, pitch, classes, (edge, *costs[1:]))),
        (kernel.holding, (notes, lengths, noise(dice, 70), noise(dice, 6))),
        (kernel.holding, (notes, lengths, bytes(range(64)), part_of(dice))),
        (kernel.stretches, (notes, lengths, pitch, classes, dice.randrange(-9, 300))),
        (kernel.stretches, (notes, lengths, noise(dice, 40), noise(dice, 40), 4)),
        (kernel.contours, (notes, lengths, noise(dice, 90), dice.randrange(300), 3, 4)),
        (kernel.notes_at, (notes, lengths, dice.randrange(-1, 90))),
        (kernel.drawn, ([noise(dice, 90), notes], dice.randrange(2**64), number)),
        (kernel.gathered, ([part_of_chunk(dice, notes, lengths) for _ in range(3)],)),
        (kernel.select, (noise(dice, 99), -5, 900)),
        (kernel.histogram, ([noise(dice, 99), notes], number)),
        *(
            (kernel.trace, (pitch, classes, *tune, dice.randrange(-300, 300), costs))
            for tune in tunes
        ),
    )
    for function, arguments in calls:
        with contextlib.suppress(*REFUSED):
            function(*arguments)


def hammer(path: Path, seconds: float, seed: int) -> None:
    """Rounds until the time is up."""
    kernel, dice = load(path), random.Random(seed)
    end, rounds = time.monotonic() + seconds, 0
    while time.monotonic() < end:
        one_round(kernel, dice)
        rounds += 1
    print(f"{rounds} rounds from seed {seed}: no fault")


def supervise(seconds: float, seed: int) -> int:
    """Build, and hammer in a process of its own."""
    library = subprocess.run(
        ["gcc", "-print-file-name=libasan.so"],
        check=True,
        capture_output=True,
        encoding="utf-8",
    ).stdout.strip()
    with tempfile.TemporaryDirectory() as folder:
        target = build(Path(folder))
        environment = {
            **os.environ,
            "LD_PRELOAD": library,
            "ASAN_OPTIONS": "detect_leaks=0",
            # Python's own allocator would hide what lies just beyond a buffer.
            "PYTHONMALLOC": "malloc",
        }
        command = [sys.executable, __file__, "--kernel", str(target)]
        command += ["--seconds", str(seconds), "--seed", str(seed)]
        return subprocess.run(command, check=False, env=environment).returncode


def main() -> int:
    """Run from the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--seconds", type=float, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--kernel", type=Path, help="for the process inside")
    options = parser.parse_args()
    if options.kernel is None:
        return supervise(options.seconds, options.seed)
    hammer(options.kernel, options.seconds, options.seed)
    return 0


if __name__ == "__main__":
    sys.exit(main())
