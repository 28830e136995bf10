"""How long does a search for a rhythm, a contour or notes with unknown ones take from cold?

Each is a fresh process, as :mod:`benchmarks.speed.cold` starts them: the package compiled
to bytecode in an environment of its own, in turn with ``python -c 'import numpy'``.

Contents: PHRASES, main.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from benchmarks.keeping import about, asker, keep
from benchmarks.speed.cold import installed, measured

PHRASES = {
    "rhythm of 4": "q. e q q",
    "rhythm of 8": "q e e q q e e h",
    "rhythm of 16": "e e q e e q q. e q q e e e e q h",
    "contour of 8": "u u d u d d s u",
    "unknown notes": "5 ? 1' 7 ? 5",
    "degrees": "5 1' 7 6 5 3",
}


def main() -> None:
    """Time each phrase over one corpus and print the least of the passes."""
    parser = asker(__doc__)
    parser.add_argument("corpus", help="a corpus file")
    parser.add_argument("--passes", type=int, default=7)
    options = parser.parse_args()
    samples = {}
    with tempfile.TemporaryDirectory() as folder:
        python = installed(Path(folder) / "installed")
        for name, phrase in PHRASES.items():
            found = measured(python, name, options.corpus, phrase, options.passes)
            samples[name] = found
            clock, cpu = (min(sample[n] for sample in found["resemble"]) for n in (0, 1))
            yardstick = min(sample[0] for sample in found["import numpy"])
            told = f"{clock:.3f} s, {cpu:.3f} s of CPU"
            print(f"{name:16} {told}; import numpy {yardstick:.3f} s")
    for found in samples.values():
        found["corpus"] = Path(options.corpus).name
    keep(options.keep, {"about.json": about("numpy"), "samples.json": samples})


if __name__ == "__main__":
    main()
