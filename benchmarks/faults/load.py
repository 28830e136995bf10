"""A whole life's collection added in one go: memory, progress, stopping and going on.

Invented tunes of about seventy notes lie in files of a hundred. ``melodex add`` runs as
a person runs it, with a terminal on standard error, and is stopped by Ctrl-C when about
a tenth is in; what it says is compared with what the corpus holds; the same command
is given again and goes on to the end; the corpus is checked. Then tunes in one file, which
is read and written in parts, and a tune of a million notes in each format, which has to be
refused.

Memory is what the system counts as resident of any one process (RSS), of the command or
of those that it starts, and the largest sum over all of them of what is theirs in
proportion (PSS: a page that two share counts half for each), looked at every fifth of a
second.

Run:  python -m benchmarks.faults.load [--tunes N] [--keep NAME]
"""

from __future__ import annotations

import io
import os
import pty
import re
import signal
import sqlite3
import subprocess
import sys
import tempfile
import threading
import time
import zipfile
from contextlib import suppress
from pathlib import Path
from typing import Any

from benchmarks.keeping import about, asker, keep
from benchmarks.speed.adding import TUNES_PER_FILE, invented
from melodex.corpus.care.checking import check_corpus
from melodex.corpus.reader import Corpus
from melodex.errors import CorpusError
from melodex.tasks.adding.add import TUNES_PER_COMMIT

LOOK_SECONDS = 0.2
STOP_AT = 0.1
MILLION = 1_000_000
PROMISED_MEGABYTES = 200
"""Of any one process."""


class Watched:
    """A command that runs with a terminal on standard error, and its memory."""

    def __init__(self, *words: str) -> None:
        ours, theirs = pty.openpty()
        self.began = time.monotonic()
        self.process = subprocess.Popen(
            [sys.executable, "-m", "melodex", *words],
            stdout=subprocess.DEVNULL,
            stderr=theirs,
            env={**os.environ, "TERM": "xterm", "COLUMNS": "100"},
        )
        os.close(theirs)
        self.said = b""
        self.resident = self.proportional = 0
        self.processes = 1
        self.reader = threading.Thread(target=self.listen, args=(ours,))
        self.looker = threading.Thread(target=self.look)
        self.reader.start()
        self.looker.start()

    def listen(self, terminal: int) -> None:
        """Take what is said."""
        with suppress(OSError):
            while piece := os.read(terminal, 65536):
                self.said += piece
        os.close(terminal)

    def look(self) -> None:
        """Look at memory again and again."""
        while self.process.poll() is None:
            family = descendants(self.process.pid)
            self.processes = max(self.processes, len(family))
            sizes = [memory_of(pid) for pid in family]
            self.resident = max(self.resident, *(size[0] for size in sizes))
            self.proportional = max(self.proportional, sum(size[1] for size in sizes))
            time.sleep(LOOK_SECONDS)

    def end(self) -> dict[str, Any]:
        """Wait for the end; return what was seen."""
        status = self.process.wait()
        seconds = time.monotonic() - self.began
        self.reader.join()
        self.looker.join()
        text = re.sub(rb"\x1b\[[0-9;?]*[a-zA-Z]", b"", self.said).decode("utf-8", "replace")
        shown = set(re.findall(r"\d+/\d+[^\r\n]{0,80}?([\d,]+) tunes", text))
        # Where the files lay on this machine says nothing.
        text = text.replace(f"{tempfile.gettempdir()}/", "")
        lines = [line.strip() for line in text.splitlines() if line.strip()]
        return {
            "exit": status,
            "seconds": round(seconds, 1),
            "largest RSS of one process, MB": self.resident // 1024,
            "largest sum of PSS, MB": self.proportional // 1024,
            "processes": self.processes,
            "progress shown, different states": len(shown),
            "last words": [line for line in lines if "━" not in line][-3:],
        }


def descendants(pid: int) -> list[int]:
    """A process and all that it started, and they."""
    found, waiting = [], [pid]
    while waiting:
        number = waiting.pop()
        found.append(number)
        with suppress(OSError):
            for task in Path(f"/proc/{number}/task").iterdir():
                waiting += map(int, (task / "children").read_text().split())
    return found


def memory_of(pid: int) -> tuple[int, int]:
    """Resident and proportional size of a process, in kilobytes."""
    with suppress(OSError):
        text = Path(f"/proc/{pid}/smaps_rollup").read_text()
        sizes = dict(re.findall(r"(?m)^(Rss|Pss): +(\d+)", text))
        return int(sizes["Rss"]), int(sizes["Pss"])
    return 0, 0


def tune_count(corpus: Path) -> int:
    """How many tunes a corpus holds by now."""
    try:
        with Corpus.open(corpus) as opened:
            return opened.tune_count
    except CorpusError:
        return 0


def in_many_files(folder: Path, tunes: int) -> dict[str, Any]:
    """Add, stop, go on, check."""
    home, corpus = folder / "many", folder / "many.melodex"
    home.mkdir()
    for number in range(0, tunes, TUNES_PER_FILE):
        (home / f"{number:07}.abc").write_text(invented(number, TUNES_PER_FILE))
    words = ("--corpus", str(corpus), "add", str(home))
    first = Watched(*words)
    while tune_count(corpus) < STOP_AT * tunes and first.process.poll() is None:
        time.sleep(LOOK_SECONDS)
    first.process.send_signal(signal.SIGINT)
    stopped = first.end()
    stopped["tunes in the corpus then"] = tune_count(corpus)
    went_on = Watched(*words).end()
    began = time.monotonic()
    report = check_corpus(corpus)
    return {
        "stopped by Ctrl-C": stopped,
        "the same command again": went_on,
        "tunes": report.tune_count,
        "notes": report.note_count,
        "bytes": report.byte_count,
        "faults": len(report.faults),
        "seconds of the check": round(time.monotonic() - began, 1),
    }


def in_one_file(folder: Path, tunes: int) -> dict[str, Any]:
    """Add one file that holds them all."""
    file, corpus = folder / "one.abc", folder / "one.melodex"
    with file.open("w") as text:
        for first in range(0, tunes, TUNES_PER_FILE):
            text.write(invented(first, TUNES_PER_FILE) + "\n")
    seen = Watched("--corpus", str(corpus), "add", str(file)).end()
    return {**seen, "bytes of the file": file.stat().st_size, "tunes": tune_count(corpus)}


def million_notes(folder: Path) -> dict[str, Any]:
    """A tune of a million notes in each format."""
    note = b"<note><duration>1</duration></note>"
    sheet = (
        b"<score-partwise><part-list><score-part id='P'/></part-list><part id='P'>"
        b"<measure>" + note * MILLION + b"</measure></part></score-partwise>"
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as package:
        package.writestr("sheet.xml", sheet)
    track = b"\0\x90\x3c\x40\1\x3c\0" * MILLION + b"\0\xff\x2f\0"
    head = b"MThd" + bytes((0, 0, 0, 6, 0, 0, 0, 1, 0, 96))
    files = {
        "million.abc": b"X:1\nM:4/4\nL:1/8\nK:G\n" + b"G" * MILLION,
        "million.musicxml": sheet,
        "million.mxl": out.getvalue(),
        "million.mid": head + b"MTrk" + len(track).to_bytes(4, "big") + track,
    }
    found = {}
    for name, data in files.items():
        (folder / name).write_bytes(data)
        corpus = folder / f"{name}.melodex"
        seen = Watched("--corpus", str(corpus), "add", str(folder / name)).end()
        found[name] = {**seen, "tunes": tune_count(corpus)}
    return found


def measure(tunes: int, in_one: int) -> dict[str, Any]:
    """Everything, in a folder that is thrown away."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        return {
            **about(),
            "sqlite": sqlite3.sqlite_version,
            "in many files": in_many_files(folder, tunes),
            "in one file": in_one_file(folder, in_one),
            "a million notes": million_notes(folder),
        }


def told(result: dict[str, Any], indent: str = "") -> list[str]:
    """A result line by line."""
    lines: list[str] = []
    for name, value in result.items():
        if isinstance(value, dict):
            lines += [f"{indent}{name}:", *told(value, indent + "  ")]
        else:
            lines.append(f"{indent}{name}: {value}")
    return lines


def states(tunes: int) -> int:
    """How often progress has to be shown: not every commit falls on a new picture."""
    return min(10, tunes // (4 * TUNES_PER_COMMIT))


def missed(result: dict[str, Any], tunes: int, in_one: int) -> list[str]:
    """What did not hold."""
    many, one = result["in many files"], result["in one file"]
    stopped, again = many["stopped by Ctrl-C"], many["the same command again"]
    held, said = stopped["tunes in the corpus then"], " ".join(stopped["last words"])
    refused = [(each["exit"], each["tunes"]) for each in result["a million notes"].values()]
    wrong = {
        "not stopped with 130": stopped["exit"] != 130,
        "what was said is not what is there": f"{held:,} added" not in said,
        "not gone on to the end": (again["exit"], many["tunes"]) != (0, tunes),
        "faults": bool(many["faults"]),
        "no progress": again["progress shown, different states"] < states(tunes),
        "no progress in one file": one["progress shown, different states"] < states(in_one),
        "a million notes not refused": set(refused) != {(1, 0)},
        "one file not read": one["exit"] != 0,
    }
    for name, seen in (("stopped", stopped), ("again", again), ("in one file", one)):
        over = seen["largest RSS of one process, MB"] > PROMISED_MEGABYTES
        wrong[f"more than {PROMISED_MEGABYTES} MB: {name}"] = over
    return [name for name, is_wrong in wrong.items() if is_wrong]


def main() -> None:
    """Measure, print, keep the run if asked, and exit 1 if anything did not hold."""
    parser = asker(__doc__)
    parser.add_argument("--tunes", type=int, default=100_000)
    parser.add_argument("--in-one", type=int, default=10_000, help="tunes in one file")
    options = parser.parse_args()
    result = measure(options.tunes, options.in_one)
    result["missed"] = missed(result, options.tunes, options.in_one)
    text = "".join(f"{line}\n" for line in told(result))
    print(text, end="")
    keep(options.keep, {"result.json": result, "summary.txt": text})
    if result["missed"]:
        sys.exit("missed: " + "; ".join(result["missed"]))


if __name__ == "__main__":
    main()
