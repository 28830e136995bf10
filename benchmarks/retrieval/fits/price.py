"""Measure what the order of evidence costs beside that of the alignment.

Run:  python -m benchmarks.retrieval.fits.price CORPUS... [--passes 15] [--keep NAME]

Whole answers of ``resemble`` in one process, the two orders in turn, on corpora that
were built before (``melodex add``): CPU time, so that what else runs on the machine
matters less; the median and all samples are kept.

Contents: main.
"""

from __future__ import annotations

import time
from pathlib import Path
from statistics import median

from benchmarks.keeping import about, asker, keep
from melodex.corpus.reader import Corpus
from melodex.matching.engine.choice import engine
from melodex.matching.evidence.ranking import ORDERS
from melodex.tasks.resemble import resemble, said_phrase

__all__ = ["main"]

PHRASES = {
    "12 notes, no rhythm": "5 1' 7 b6 5 4 3 1 2 3 4 5",
    "12 notes": "K:F c3 d f2 e2 f2 g a g2 c2 d2 e2 c2",
    "24 notes": "M:2/4\nL:1/8\nK:G GABc dBGB | cABG A2D2 | GABc dBgf | edcA G4",
}


def main() -> None:
    """Measure, print, and keep the samples if a run was named."""
    parser = asker(__doc__)
    parser.add_argument("corpora", nargs="+", type=Path)
    parser.add_argument("--passes", type=int, default=15)
    options = parser.parse_args()
    lines, data = ["milliseconds of CPU for a whole answer, median"], []
    for path in options.corpora:
        with Corpus.open(path) as corpus:
            for name, text in PHRASES.items():
                phrase = said_phrase(corpus, text)
                samples: dict[str, list[float]] = {order: [] for order in ORDERS}
                for each in range(options.passes + 1):
                    for order in ORDERS:
                        began = time.process_time()
                        resemble(corpus, phrase, order=order)
                        # The first is a warm-up.
                        if each:
                            spent = 1000 * (time.process_time() - began)
                            samples[order].append(round(spent, 2))
                usual = {order: median(times) for order, times in samples.items()}
                ratio = usual["evidence"] / usual["alignment"]
                data.append(
                    {
                        "tunes": corpus.tune_count,
                        "notes": corpus.note_count,
                        "phrase": name,
                        "cpu_ms": samples,
                    }
                )
                lines.append(
                    f"{corpus.tune_count:7,} tunes  {name:20}"
                    f"  alignment {usual['alignment']:6.1f}"
                    f"  evidence {usual['evidence']:6.1f}  {ratio:.2f} times"
                )
                print(lines[-1], flush=True)
    run = about() | {"engine": engine().name, "samples": data}
    keep(options.keep, {"cost.json": run, "cost.txt": "\n".join(lines)})


if __name__ == "__main__":
    main()
