"""How a benchmark is asked, what its figures depend on, and where they are kept.

Conventions: every benchmark is run from the root of the project as a module, takes
``--keep NAME``, and keeps small files of text, JSON or SVG in
``benchmarks/runs/<date>-<NAME>``.

Contents: ROOT, RUNS, asker, command, about, line_by_line, keep.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import sys
from collections.abc import Mapping
from datetime import date
from importlib.metadata import version
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[1]
RUNS = ROOT / "benchmarks" / "runs"


def asker(doc: str | None) -> argparse.ArgumentParser:
    """A parser of options, described by the module's own words, that knows ``--keep``."""
    parser = argparse.ArgumentParser(
        description=doc, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--keep", metavar="NAME", default="", help="keep as <date>-NAME")
    return parser


def command() -> str:
    """What was typed, as it would be typed again from the root of the project.

    Where a file lies outside of it is a matter of the machine alone.
    """
    spec = sys.modules["__main__"].__spec__
    said = ["PATH" if Path(word).is_absolute() else word for word in sys.argv[1:]]
    return " ".join(["python -m", spec.name if spec else Path(sys.argv[0]).name, *said])


def processor() -> str:
    """The processor's name, where the system tells it."""
    try:
        lines = Path("/proc/cpuinfo").read_text(encoding="utf-8").splitlines()
    except OSError:
        lines = []
    names = [line.partition(":")[2].strip() for line in lines if line[:10] == "model name"]
    return names[0] if names else platform.processor() or platform.machine()


def about(*packages: str) -> dict[str, Any]:
    """What figures depend on: command, day, machine, load, versions."""
    return {
        "command": command(),
        "date": date.today().isoformat(),
        "processor": processor(),
        "processors": os.cpu_count(),
        "system": f"{platform.system()} {platform.machine()}",
        "load_average_of_1_5_15_minutes": [round(load, 1) for load in os.getloadavg()],
        "python": platform.python_version(),
        "versions": {name: version(name) for name in ("melodex", *packages)},
    }


def line_by_line(result: Mapping[str, object]) -> str:
    """A result as text, a figure a line."""
    return "\n".join(f"{name}: {value}" for name, value in result.items())


def keep(name: str, files: Mapping[str, object]) -> None:
    """Write the files of a run that is named: text as it stands, all else as JSON."""
    if not name:
        return
    folder = RUNS / f"{date.today().isoformat()}-{name}"
    folder.mkdir(parents=True, exist_ok=True)
    for file, content in files.items():
        text = content if isinstance(content, str) else json.dumps(content, indent=1)
        (folder / file).write_text(f"{text.rstrip()}\n", encoding="utf-8")
    print(f"kept in {folder.relative_to(ROOT)}", file=sys.stderr)
