"""Every reader, and the page, under inputs that mean harm: what was tried, with counts.

Each kind of input is fuzzed in a process of its own, whose memory is limited, in two
ways: ``plain`` changes real inputs at random (bytes, pieces, numbers, two inputs spliced;
for a set, values of its JSON); ``guided`` lets atheris, where it is installed, keep what
reaches new code. An input is read or refused; anything else that happens is a crash: an
exception that is not ours, one that takes longer than the limit, more memory than
allowed, the end of the process. Inputs that crash are kept in a folder and named.

Run:  python -m benchmarks.faults.fuzz [--seconds N] [--seed N] [--only KIND ...]
          [--keep NAME]
      python -m benchmarks.faults.fuzz --replay KIND FILE
"""

from __future__ import annotations

import argparse
import importlib.util
import json
import mmap
import os
import random
import resource
import signal
import struct
import subprocess
import sys
import tempfile
import time
import traceback
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from types import FrameType
from typing import Any, NoReturn

from benchmarks.faults.fuzz_seeds import SIGNS, demo_corpus, seeds
from benchmarks.keeping import ROOT, about, asker, keep

MOST_SECONDS = 20.0
"""Of the processor, for one input; the largest file that is allowed takes a few."""
MOST_WAITING = 120
"""Seconds of the clock, for one that hangs."""
MOST_MEMORY = 2 << 30
LONGEST = 1 << 20
"""Bytes of an input that changes have made."""
WAYS = ("plain", "guided")
NUMBERS = b"0 1 -1 2 127 128 255 256 65535 65536 2147483648 99999999999 1e9 0.5 1/0".split()


class OverrunError(BaseException):
    """An input took longer than the limit."""


class Ledger:
    """Counts in a file that outlives the process, and the input it is at."""

    FORM = struct.Struct("qqqqdqdq")
    NAMES = (
        *("tried", "read", "refused", "crashes", "slowest", "slowest_bytes"),
        *("memory", "length"),
    )

    def __init__(self, path: Path) -> None:
        if not path.exists():
            path.write_bytes(bytes(self.FORM.size + LONGEST * 20))
        with path.open("r+b") as file:
            self.map = mmap.mmap(file.fileno(), 0)
        self.counts = dict(zip(self.NAMES, self.FORM.unpack_from(self.map), strict=True))

    def begin(self, data: bytes) -> None:
        """Write down what is about to be tried."""
        self.counts["tried"] += 1
        self.counts["length"] = len(data)
        start = self.FORM.size
        self.map[start : start + len(data)] = data
        self.write()

    def write(self) -> None:
        """Write the counts down."""
        self.FORM.pack_into(self.map, 0, *(self.counts[name] for name in self.NAMES))

    def current(self) -> bytes:
        """The input that was being tried."""
        start = self.FORM.size
        return self.map[start : start + int(self.counts["length"])]


class Trial:
    """One target with its ledger; what crashes it is kept once for each place."""

    def __init__(self, kind: str, folder: Path) -> None:
        from benchmarks.faults.fuzz_targets import TARGETS

        os.chdir(folder)
        self.target = TARGETS[kind](demo_corpus(folder))
        self.kind, self.folder = kind, folder
        self.ledger = Ledger(folder / "ledger")
        self.seen: set[str] = set()
        signal.signal(signal.SIGALRM, overrun)
        signal.signal(signal.SIGPROF, overrun)

    def __call__(self, data: bytes) -> None:
        """Try one input and count what became of it."""
        ledger, counts = self.ledger, self.ledger.counts
        ledger.begin(data)
        signal.setitimer(signal.ITIMER_PROF, MOST_SECONDS)
        signal.alarm(MOST_WAITING)
        start = time.process_time()
        try:
            counts[self.target(data)] += 1
        except (Exception, OverrunError, RecursionError, MemoryError) as error:
            counts["crashes"] += 1
            self.keep(data, error)
        finally:
            signal.setitimer(signal.ITIMER_PROF, 0)
            signal.alarm(0)
        seconds = time.process_time() - start
        if seconds > counts["slowest"]:
            counts["slowest"], counts["slowest_bytes"] = seconds, len(data)
        counts["memory"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        ledger.write()

    def keep(self, data: bytes, error: BaseException) -> None:
        """Keep an input that crashed, unless one did at that place before."""
        last = traceback.extract_tb(error.__traceback__)[-1]
        place = f"{type(error).__name__} {Path(last.filename).name}:{last.lineno}"
        if place in self.seen:
            return
        self.seen.add(place)
        number = len(self.seen)
        (self.folder / f"crash-{number}").write_bytes(data)
        said = "".join(traceback.format_exception(error))
        (self.folder / f"crash-{number}.txt").write_text(f"{place}\n{said}")


def overrun(number: int, frame: FrameType | None) -> NoReturn:
    """End an input that takes too long."""
    raise OverrunError


def changed(kind: str, all_seeds: list[bytes], draw: random.Random) -> bytes:
    """A real input with some changes."""
    data = draw.choice(all_seeds)
    if kind == "set" and draw.random() < 0.8:
        return changed_json(data, draw)
    if kind == "mxl" and draw.random() < 0.3:
        from benchmarks.faults.fuzz_targets import CONTAINER, packed

        names = ["sheet.xml", "../sheet.xml", "/sheet.xml", "a.xml", "META-INF/x.xml"]
        container = changed_bytes(kind, CONTAINER, all_seeds, draw)
        entries = {"META-INF/container.xml": container, draw.choice(names): data}
        data = packed(entries)
    return changed_bytes(kind, data, all_seeds, draw)


def changed_bytes(
    kind: str, data: bytes, all_seeds: list[bytes], draw: random.Random
) -> bytes:
    """Bytes with some changes to them."""
    out = bytearray(data)
    for _ in range(draw.choice((1, 1, 2, 3, 5, 9, 20))):
        place = draw.randrange(len(out) + 1)
        end = min(len(out), place + draw.choice((1, 2, 2, 4, 4, 16, 16, 100, 1000)))
        way = draw.randrange(8)
        if way == 0 and place < len(out):
            out[place] = draw.randrange(256)
        elif way == 1 and place < len(out):
            out[place] ^= 1 << draw.randrange(8)
        elif way == 2:
            del out[place:end]
        elif way == 3:
            out[place:place] = draw.choice(SIGNS[kind])
        elif way == 4:
            out[place:place] = out[place:end] * draw.choice((1, 2, 2, 5, 5, 20, 200))
        elif way == 5:
            other = draw.choice(all_seeds)
            start = draw.randrange(len(other) + 1)
            out[place:end] = other[start : start + draw.randrange(300)]
        elif way == 6:
            digits = [at for at, byte in enumerate(out[:20000]) if 48 <= byte < 58]
            at = draw.choice(digits) if digits else place
            out[at : at + 1] = draw.choice(NUMBERS)
        else:
            out[place:place] = draw.randbytes(draw.choice((1, 2, 8)))
        del out[LONGEST:]
    return bytes(out)


def changed_json(text: bytes, draw: random.Random) -> bytes:
    """A set with some of its values replaced."""
    told = json.loads(text)
    for _ in range(draw.choice((1, 1, 2, 4))):
        home: Any = told
        while True:
            names = list(home) if isinstance(home, dict) else list(range(len(home)))
            if not names:
                break
            name = draw.choice(names)
            if isinstance(home[name], dict | list) and draw.random() < 0.85:
                home = home[name]
                continue
            home[name] = other_value(home[name], draw)
            break
    return json.dumps(told).encode()


def other_value(value: Any, draw: random.Random) -> Any:
    """Something near a value, or something else entirely."""
    if type(value) is int and draw.random() < 0.7:
        return value + draw.choice((-1, 1, 7, -7, 12, 10080, 10**9))
    if isinstance(value, str) and draw.random() < 0.7:
        return draw.choice(
            ("", value * 2, value[:-1], "\x1b[31m", "A" * 600, "\ud800", "é")
        )
    if isinstance(value, list) and draw.random() < 0.7:
        return draw.choice((value * 2, value[:-1], value[::-1], []))
    rest: tuple[Any, ...] = (
        None,
        True,
        0,
        -1,
        1e308,
        10**30,
        "",
        "x",
        [],
        {},
        [[]],
        {"a": 1},
        -0.0,
    )
    return draw.choice(rest)


def run_plain(trial: Trial, kind: str, seconds: float, seed: int) -> None:
    """Change real inputs until time is up; first try them as they are."""
    draw = random.Random(f"{seed} {kind}")
    all_seeds = seeds(kind, trial.folder / "fen.melodex")
    for data in all_seeds:
        trial(data)
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        trial(changed(kind, all_seeds, draw))


def run_guided(trial: Trial, kind: str, seconds: float, seed: int) -> None:
    """Let atheris choose; it ends the process."""
    import atheris

    home = trial.folder / "inputs"
    home.mkdir()
    for number, data in enumerate(seeds(kind, trial.folder / "fen.melodex")):
        (home / str(number)).write_bytes(data)
    signs = trial.folder / "signs"
    signs.write_text("".join(f'"{escaped(sign)}"\n' for sign in SIGNS[kind]))
    options = [
        *(f"-max_total_time={round(seconds)}", f"-seed={seed}", f"-dict={signs}"),
        *("-max_len=100000", "-timeout=60", "-rss_limit_mb=0", "-print_final_stats=0"),
    ]
    atheris.Setup([sys.argv[0], *options, str(home)], trial)
    atheris.Fuzz()


def escaped(sign: bytes) -> str:
    """A sign as dictionaries of libFuzzer spell it."""
    return "".join(f"\\x{byte:02x}" for byte in sign)


def child(kind: str, way: str, folder: Path, seconds: float, seed: int) -> None:
    """What a process of its own does."""
    resource.setrlimit(resource.RLIMIT_AS, (MOST_MEMORY, MOST_MEMORY))
    if way == "guided":
        import atheris

        with atheris.instrument_imports(include=["melodex"]):
            trial = Trial(kind, folder)
    else:
        trial = Trial(kind, folder)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    (folder / "before").write_text(f"{before:.0f}")
    run: Callable[[Trial, str, float, int], None] = (
        run_guided if way == "guided" else run_plain
    )
    run(trial, kind, seconds, seed)


def tried(kind: str, way: str, folder: Path, seconds: float, seed: int) -> dict[str, Any]:
    """Fuzz one kind one way in a process of its own; return the counts."""
    folder.mkdir(parents=True)
    words = [sys.executable, "-m", "benchmarks.faults.fuzz", "--child", kind, way]
    words += [str(folder)]
    words += ["--seconds", str(seconds), "--seed", str(seed)]
    began = time.monotonic()
    with (folder / "said").open("wb") as said:
        status = subprocess.run(
            words, cwd=ROOT, stdout=said, stderr=said, check=False
        ).returncode
    ledger = Ledger(folder / "ledger")
    counts = ledger.counts
    done = counts["read"] + counts["refused"] + counts["crashes"]
    if counts["tried"] != done or (status and way == "plain"):
        counts["crashes"] += 1
        (folder / "crash-process").write_bytes(ledger.current())
        (folder / "crash-process.txt").write_text(
            f"the process ended with {status}\n" + (folder / "said").read_text()[-2000:]
        )
    crashes = [p.read_text().split("\n", 1)[0] for p in sorted(folder.glob("crash-*.txt"))]
    return {
        "inputs": counts["tried"],
        "read": counts["read"],
        "refused": counts["refused"],
        "crashes": counts["crashes"],
        "slowest, seconds of the processor": round(counts["slowest"], 2),
        "bytes of that input": counts["slowest_bytes"],
        "largest memory, MB": round(counts["memory"]),
        "of which before the first input": int((folder / "before").read_text()),
        "seconds": round(time.monotonic() - began),
        **({"crashed at": crashes, "kept in": str(folder)} if crashes else {}),
    }


def measure(
    kinds: list[str], seconds: float, seed: int, home: Path, at_once: int
) -> dict[str, Any]:
    """Fuzz every kind in every way that is to be had here."""
    guided = importlib.util.find_spec("atheris") is not None
    result: dict[str, Any] = {
        **about(),
        "guided": "atheris" if guided else "not run: atheris is not installed",
        "limits for one input": f"{MOST_SECONDS:.0f} s of the processor, "
        f"{MOST_MEMORY >> 20} MB of addresses",
    }
    jobs = [(kind, way) for way in WAYS[: 2 if guided else 1] for kind in kinds]

    def one(job: tuple[str, str]) -> dict[str, Any]:
        return tried(*job, home / "-".join(job), seconds, seed)

    with ThreadPoolExecutor(at_once) as pool:
        for job, found in zip(jobs, pool.map(one, jobs), strict=True):
            result[", ".join(job)] = found
            print(f"{', '.join(job)}: {found}", flush=True)
    result["in all"] = {
        name: sum(v[name] for v in result.values() if isinstance(v, dict) and name in v)
        for name in ("inputs", "read", "refused", "crashes")
    }
    return result


def replay(kind: str, file: Path) -> None:
    """Try one kept input, with its traceback if it crashes."""
    from benchmarks.faults.fuzz_targets import TARGETS

    with tempfile.TemporaryDirectory() as name:
        print(TARGETS[kind](demo_corpus(Path(name)))(file.read_bytes()))


def main() -> None:
    """Fuzz, print, keep the run if asked, and exit 1 if anything crashed."""
    parser = asker(__doc__)
    parser.add_argument("--seconds", type=float, default=60, help="for each kind and way")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--at-once", type=int, default=1, help="processes that fuzz at once"
    )
    parser.add_argument("--only", nargs="*", choices=list(SIGNS), default=list(SIGNS))
    parser.add_argument("--replay", nargs=2, metavar=("KIND", "FILE"))
    parser.add_argument("--child", nargs=3, help=argparse.SUPPRESS)
    options = parser.parse_args()
    if options.child:
        kind, way, folder = options.child
        child(kind, way, Path(folder), options.seconds, options.seed)
        return
    if options.replay:
        replay(options.replay[0], Path(options.replay[1]))
        return
    home = Path(tempfile.mkdtemp(prefix="melodex-fuzz-"))
    result = measure(options.only, options.seconds, options.seed, home, options.at_once)
    text = "".join(f"{name}: {value}\n" for name, value in result.items())
    print(text, end="")
    keep(options.keep, {"result.json": result, "summary.txt": text})
    if result["in all"]["crashes"]:
        sys.exit(f"{result['in all']['crashes']} crashes; inputs in {home}")


if __name__ == "__main__":
    main()
