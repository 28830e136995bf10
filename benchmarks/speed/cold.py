"""Fresh processes for the speed benchmark: seconds and peak memory of the commands.

Run by ``search.py`` as a process of its own, which stays small: the peak memory of
a child counts what its parent had when it started. Reads a JSON list of corpora
from standard input, writes a JSON list of samples to standard output.

The package is measured as a user has it: in an environment of its own, compiled to
bytecode, without the detour of an editable installation. The yardstick runs in
turn with it, in the same environment.
"""

from __future__ import annotations

import compileall
import json
import os
import shutil
import subprocess
import sys
import sysconfig
import tempfile
import time
import venv
from pathlib import Path

from benchmarks.keeping import ROOT

Sample = tuple[float, float]


def installed(folder: Path, records: str = "") -> Path:
    """An environment with the package in it; everything else is the present one's.

    ``records`` is what is to stand in the module of that name, if another is tried.
    """
    venv.create(folder, with_pip=False, symlinks=True)
    names = f"python{sys.version_info.major}.{sys.version_info.minor}"
    target = folder / "lib" / names / "site-packages"
    (target / "others.pth").write_text(sysconfig.get_paths()["purelib"] + "\n")
    package = ROOT / "melodex"
    shutil.copytree(
        package, target / "melodex", ignore=shutil.ignore_patterns("__pycache__")
    )
    if records:
        (target / "melodex" / "records.py").write_text(records)
    compileall.compile_dir(str(target), quiet=1)
    return folder / "bin" / "python"


def fresh(command: list[str]) -> tuple[Sample, int]:
    """One process: clock and CPU seconds, and its peak memory in kilobytes."""
    environment = {**os.environ, "MELODEX_ENGINE": "c"}
    clock = time.perf_counter()
    process = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(process.pid, 0)
    seconds = time.perf_counter() - clock
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode != 0:
        raise RuntimeError(f"{command} ended with {process.returncode}")
    cpu = usage.ru_utime + usage.ru_stime
    return (round(seconds, 6), round(cpu, 6)), usage.ru_maxrss


def measured(python: Path, name: str, path: str, phrase: str, passes: int) -> dict:
    """Samples of one corpus, and of the yardstick in between."""
    command = [str(python), "-m", "melodex", "--corpus", path, "resemble", "--", phrase]
    yardstick = [str(python), "-c", "import numpy"]
    nothing = [str(python), "-c", "pass"]
    for warmed in (command, yardstick, nothing):
        fresh(warmed)
    found, base, bare, memory = [], [], [], []
    for _ in range(passes):
        sample, peak = fresh(command)
        found.append(sample)
        memory.append(peak)
        base.append(fresh(yardstick)[0])
        bare.append(fresh(nothing)[0])
    return {
        "corpus": name,
        "phrase": phrase,
        "resemble": found,
        "import numpy": base,
        "bare python": bare,
        "peak_kilobytes": memory,
        "ratio_clock": min(s[0] for s in found) / min(s[0] for s in base),
        "ratio_cpu": min(s[1] for s in found) / min(s[1] for s in base),
    }


def main() -> None:
    """Read what to measure, measure it, write samples."""
    wanted = json.load(sys.stdin)
    # Bytecode is part of an installation; some environments forbid to write it.
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    with tempfile.TemporaryDirectory() as folder:
        python = installed(Path(folder) / "installed")
        json.dump([measured(python, **entry) for entry in wanted], sys.stdout)


if __name__ == "__main__":
    main()
