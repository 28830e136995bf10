"""Teaching sets: from a find to a printed handout and worksheet, from cold.

Run:  python -m benchmarks.speed.lesson [--keep NAME] [--repeats 5] [--corpus FILE]

The corpus holds every tune of the ABC collections that music21 installs, and the
demo's invented tunes; with ``--corpus`` one that is there already is used. One sample
is three new processes: gather twelve passages into a set, print its handout, print its
worksheet with the key, both as PDF. One sample goes before, uncounted. How many
passages and questions came out stands beside the times.

Contents: build, sample, measured, main.
"""

from __future__ import annotations

import json
import os
import resource
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from benchmarks.keeping import about, asker, keep
from benchmarks.material import MUSIC21
from melodex.corpus.reader import Corpus
from melodex.tasks.adding.add import add_paths
from melodex.tasks.demo import tunes_folder

PACKAGES = ("verovio", "typst", "music21")
TARGET_SECONDS = 5.0
PASSAGES = 12
WISHES = {
    "modal colour": ("--modal", "mixolydian"),
    "figure": ("--phrase", "5 1' 7 6 5"),
    "borrowed chord": ("--device", "borrowed chord"),
}


def build(path: Path) -> None:
    """A corpus of the installed ABC collections and the demo."""
    add_paths(path, [*sorted(MUSIC21.rglob("*.abc")), tunes_folder()])


def sample(corpus: Path, wish: tuple[str, ...], name: str, home: Path) -> dict[str, Any]:
    """Seconds of each step, each in a process of its own, and what came out."""
    pdf = ("--format", "pdf", "--output")
    steps = {
        "gather and keep": ("gather", *wish, "--limit", str(PASSAGES), "--into", name),
        "handout": ("lesson", "print", name, *pdf, str(home / "handout.pdf")),
        "worksheet": (
            *("lesson", "print", name, "--sheet", "worksheet"),
            *(*pdf, str(home / "worksheet.pdf")),
        ),
    }
    seconds = {}
    used = processor_seconds()
    for step, arguments in steps.items():
        start = time.perf_counter()
        run(corpus, *arguments)
        seconds[step] = time.perf_counter() - start
    return {
        "seconds": seconds,
        "total": sum(seconds.values()),
        "processor_seconds": processor_seconds() - used,
    }


def processor_seconds() -> float:
    """What all processes that have ended took of the processor."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def run(corpus: Path, *arguments: str) -> str:
    """What the command says in a new process."""
    done = subprocess.run(
        [sys.executable, "-m", "melodex", *arguments],
        env=os.environ | {"MELODEX_CORPUS": str(corpus)},
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout


def counted(corpus: Path, name: str) -> dict[str, int]:
    """How many passages were kept and how many questions are asked."""
    shown = json.loads(run(corpus, "lesson", "show", name, "--format", "json"))
    asked = ("lesson", "print", name, "--sheet", "worksheet", "--format", "json")
    sheet = json.loads(run(corpus, *asked))
    return {
        "passages": len(shown["examples"]),
        "notes": sum(len(each["degrees"]) for each in shown["examples"]),
        "questions": len(sheet["questions"]),
        "relatives": sum(
            part["asks"] == "relative"
            for each in sheet["questions"]
            for part in each["parts"]
        ),
    }


def measured(corpus: Path, repeats: int, home: Path) -> dict[str, Any]:
    """All samples of all wishes."""
    rows: dict[str, Any] = {}
    load = os.getloadavg()[0]
    for label, wish in WISHES.items():
        samples = [
            sample(corpus, wish, f"{label} {number}", home) for number in range(repeats + 1)
        ][1:]
        totals = [each["total"] for each in samples]
        rows[label] = {
            "command": " ".join(("melodex gather", *wish, "--limit", str(PASSAGES))),
            "samples": samples,
            "median_seconds": statistics.median(totals),
            "worst_seconds": max(totals),
            "median_processor_seconds": statistics.median(
                each["processor_seconds"] for each in samples
            ),
            **counted(corpus, f"{label} 1"),
        }
    with Corpus.open(corpus) as opened:
        held = {"tunes": opened.tune_count, "notes": opened.note_count}
    return {"corpus": held, "load_before": load, "rows": rows}


def summary(found: dict[str, Any]) -> str:
    """A few lines to read."""
    lines = [
        f"{found['corpus']['tunes']:,} tunes, {found['corpus']['notes']:,} notes; "
        f"target {TARGET_SECONDS:g} s from gathering to two PDFs, three cold processes; "
        f"load before {found['load_before']:.1f} on {os.cpu_count()} cores",
        f"{'set':16} {'passages':>8} {'notes':>6} {'questions':>9} {'median s':>9} "
        f"{'worst s':>8} {'cpu s':>6}  gather, handout, worksheet (medians)",
    ]
    for label, row in found["rows"].items():
        parts = ", ".join(
            f"{statistics.median(s['seconds'][step] for s in row['samples']):.2f}"
            for step in row["samples"][0]["seconds"]
        )
        lines.append(
            f"{label:16} {row['passages']:8} {row['notes']:6} {row['questions']:9} "
            f"{row['median_seconds']:9.2f} {row['worst_seconds']:8.2f} "
            f"{row['median_processor_seconds']:6.2f}  {parts}"
        )
    return "\n".join(lines) + "\n"


def main() -> None:
    """Measure, print, and keep the run if it is named."""
    parser = asker(__doc__)
    parser.add_argument("--repeats", type=int, default=5)
    parser.add_argument("--corpus", type=Path, help="a corpus that is there already")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        home = Path(name)
        path = home / "bench.melodex"
        if chosen.corpus:
            shutil.copyfile(chosen.corpus, path)
        else:
            build(path)
        found = measured(path, chosen.repeats, home)
    found |= about(*PACKAGES)
    text = summary(found)
    print(text, end="")
    keep(chosen.keep, {"lesson.json": found, "lesson.txt": text})


if __name__ == "__main__":
    main()
