"""Work in a child process that something happens to, and invented tunes to work on.

Contents: Tell, reading, tune_ids, span_of, struck, tries_left, restore.
"""

from __future__ import annotations

import os
import random
import signal
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from melodex.corpus.reader import Corpus
from melodex.reading import FileReading, read_bytes

Tell = Callable[[str], object]
STOPPED = 130


def reading(first: int, tunes: int = 3) -> FileReading:
    """What a file of invented tunes gives."""
    parts = []
    for number in range(first, first + tunes):
        draw = random.Random(number)
        bars = "|".join("".join(draw.choices("CDEFGABcde", k=8)) for _ in range(8))
        parts.append(f"X:{number}\nT:Air {number}\nM:4/4\nL:1/8\nK:G\n{bars}|\n")
    return read_bytes("\n".join(parts).encode(), "abc", f"kills/{first}.abc")


def tune_ids(path: Path) -> set[str]:
    """Ids of all tunes in a corpus."""
    with Corpus.open(path) as corpus:
        return {row.tune_id for row in corpus.tunes()}


def started(work: Callable[[Tell], object]) -> tuple[int, int]:
    """Run work in a child; return it and its pipe once it is about to begin."""
    reading_end, writing_end = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.write(writing_end, b"!")
            work(lambda line: os.write(writing_end, f"{line}\n".encode()))
            os._exit(0)
        except KeyboardInterrupt:
            os._exit(STOPPED)
        except BaseException:
            os._exit(3)
    os.close(writing_end)
    assert os.read(reading_end, 1) == b"!"
    return child, reading_end


def span_of(work: Callable[[Tell], object]) -> float:
    """Seconds that work takes when nobody kills it."""
    child, pipe = started(work)
    start = time.perf_counter()
    os.waitpid(child, 0)
    os.close(pipe)
    return time.perf_counter() - start


def struck(
    work: Callable[[Tell], object],
    seconds: float,
    number: signal.Signals = signal.SIGKILL,
) -> tuple[list[str], bool]:
    """Run work in a child and signal it; return what it told, and if it was cut off."""
    child, pipe = started(work)
    time.sleep(seconds)
    os.kill(child, number)
    _, status = os.waitpid(child, 0)
    with os.fdopen(pipe) as told:
        cut = os.WIFSIGNALED(status) or os.waitstatus_to_exitcode(status) == STOPPED
        return told.read().split("\n")[:-1], cut


def tries_left(counts: Counter[str], kills: int) -> bool:
    """Whether more kills are wanted: work that was done before its kill is no kill."""
    counts["tries"] += 1
    return counts["kills"] < kills and counts["tries"] <= 4 * kills


def restore(path: Path, whole: bytes) -> None:
    """Put a corpus back as it was, and clear what kills have left beside it."""
    for left in path.parent.glob(f"{path.name}*"):
        left.unlink()
    path.write_bytes(whole)
