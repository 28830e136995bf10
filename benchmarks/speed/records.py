"""What the records of a query cost from cold: ours, the standard ones, and ``msgspec``'s.

Three copies of the package, compiled, that differ in ``records.py`` alone: as it is; with
the decorator of the standard library; with one that makes each class a
``msgspec.Struct``. A fresh process imports the modules that a query imports, the three in
turn. ``msgspec`` has to be installed. Clock and processor seconds are kept, and ratios, the
median of the pairs.

Usage: python -m benchmarks.speed.records [--times 40] [--keep NAME]
"""

from __future__ import annotations

import os
import tempfile
from pathlib import Path
from statistics import median

from benchmarks.keeping import about, asker, keep, line_by_line
from benchmarks.speed.cold import Sample, fresh, installed

MODULES = "melodex.cli.commands.resemble, melodex.tasks.resemble, melodex.corpus.reader"

STANDARD = """
from dataclasses import dataclass

__all__ = ["dataclass"]
"""

STRUCT = '''
import dataclasses

import msgspec

__all__ = ["dataclass"]


def dataclass(cls=None, *, frozen=False, slots=True, **others):
    """A class as a struct of msgspec."""
    if cls is None:
        return lambda each: dataclass(each, frozen=frozen)
    written = {
        name: value
        for name, value in cls.__dict__.items()
        if name not in ("__dict__", "__weakref__", "__annotations__")
    }
    fields = []
    for name in cls.__annotations__:
        if name not in written:
            fields.append((name, object))
            continue
        default = written.pop(name)
        if isinstance(default, dataclasses.Field):
            if default.default_factory is not dataclasses.MISSING:
                default = msgspec.field(default_factory=default.default_factory)
            else:
                default = default.default
        fields.append((name, object, default))
    return msgspec.defstruct(cls.__name__, fields, namespace=written, frozen=frozen)
'''

VARIANTS = {"ours": "", "standard": STANDARD, "msgspec": STRUCT}


def measured(times: int) -> dict[str, list[Sample]]:
    """Samples of each variant, one after the other in turn."""
    samples: dict[str, list[Sample]] = {name: [] for name in (*VARIANTS, "bare python")}
    with tempfile.TemporaryDirectory() as folder:
        pythons = {
            name: installed(Path(folder) / name, text) for name, text in VARIANTS.items()
        }
        commands = {
            name: [str(p), "-I", "-c", f"import {MODULES}"] for name, p in pythons.items()
        }
        commands["bare python"] = [str(pythons["ours"]), "-I", "-c", "pass"]
        for each in commands.values():
            fresh(each)
        for _ in range(times):
            for name, each in commands.items():
                samples[name].append(fresh(each)[0])
    return samples


def main() -> None:
    """Measure, say and keep."""
    parser = asker(__doc__)
    parser.add_argument("--times", type=int, default=40)
    options = parser.parse_args()
    # Bytecode is part of an installation; some environments forbid to write it.
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    samples = measured(options.times)
    result: dict[str, object] = {}
    for name, found in samples.items():
        seconds = median(cpu for _, cpu in found)
        pairs = [
            cpu / own for (_, cpu), (_, own) in zip(found, samples["ours"], strict=True)
        ]
        result[name] = (
            f"{1000 * seconds:.1f} ms of the processor, {median(pairs):.2f} of ours"
        )
    text = line_by_line(result)
    print(text)
    keep(
        options.keep,
        {
            "summary.txt": text,
            "samples.json": samples,
            "about.json": about("msgspec"),
        },
    )


if __name__ == "__main__":
    main()
