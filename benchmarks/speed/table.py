"""The README's table of speed, made from a kept run.

Every row says what was asked of which corpus, and how long each way of answering took;
rows that lose stand with the others. Times are the smallest of the samples, the median
over the phrases.

Run:  python -m benchmarks.speed.table [RUN]     prints the table
      python -m benchmarks.speed.table --write   puts it into the README
"""

from __future__ import annotations

import json
import statistics
from collections import defaultdict
from typing import Any

from benchmarks.keeping import ROOT, RUNS, asker

README = ROOT / "README.md"
RUN = "2026-11-25-speed"
COLD_RUN = "2026-11-27-speed-cold"
"""Only the part ``cold``, with the order of evidence."""
BEGIN, END = "<!-- speed: begin -->", "<!-- speed: end -->"
WAYS = {
    "compiled, one thread": "compiled",
    "compiled, exhaustive": "compiled, every tune aligned",
    "numpy": "numpy",
}


def kept(run: str) -> dict[str, Any]:
    """What a run measured."""
    path = RUNS / run / "speed.json"
    found: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return found


def table(run: str = RUN, cold_run: str = COLD_RUN) -> str:
    """The table as Markdown."""
    data = kept(run)
    lines = [
        "| corpus | phrase | compiled | every tune aligned | numpy | parasail |",
        "|---|---|---|---|---|---|",
    ]
    judged = judged_ratios(data["judge"])
    rows: dict[tuple[str, int, int], dict[str, list[float]]] = defaultdict(
        lambda: defaultdict(list)
    )
    for row in data["search"]:
        for way in WAYS:
            best = min(cpu for _, cpu in row[way])
            rows[row["corpus"], row["notes"], row["phrase_notes"]][way].append(best)
    for (corpus, notes, phrase), times in rows.items():
        ours = statistics.median(times["compiled, one thread"])
        cells = [
            f"{corpus.split(' ')[0]}, {notes / 1e6:.1f} million notes",
            f"{phrase} notes",
            f"{ours * 1000:.0f} ms",
            ratio_text(times["compiled, exhaustive"], ours),
            ratio_text(times["numpy"], ours),
            ratio_text(judged.get((corpus, phrase), []), 1.0),
        ]
        lines.append(f"| {' | '.join(cells)} |")
    return "\n".join([*lines, "", cold_text(kept(cold_run)["cold"]), ""])


def judged_ratios(rows: list[dict[str, Any]]) -> dict[tuple[str, int], list[float]]:
    """How many times as long parasail took, for each corpus and length of phrase."""
    found: dict[tuple[str, int], list[float]] = defaultdict(list)
    for row in rows:
        theirs = min(cpu for _, cpu in row["parasail"])
        ours = min(cpu for _, cpu in row["melodex"])
        found[row["corpus"], row["phrase_notes"]].append(theirs / ours)
    return found


def ratio_text(times: list[float], ours: float) -> str:
    """A multiple of our time, or a dash where it was not measured."""
    return f"x {statistics.median(times) / ours:.0f}" if times else "–"


def cold_text(rows: list[dict[str, Any]]) -> str:
    """From cold, against importing numpy."""
    told = []
    for row in rows:
        ours = min(clock for clock, _ in row["resemble"])
        theirs = min(clock for clock, _ in row["import numpy"])
        told.append(f"{ours / theirs:.2f} over {row['corpus']}")
    return (
        "A whole `melodex resemble` from cold, as a multiple of `python -c 'import "
        f"numpy'`: {'; '.join(told)}."
    )


def main() -> None:
    """Print the table, or write it into the README."""
    parser = asker(__doc__)
    parser.add_argument("run", nargs="?", default=RUN)
    parser.add_argument("--write", action="store_true")
    said = parser.parse_args()
    made = table(said.run)
    if not said.write:
        print(made)
        return
    text = README.read_text(encoding="utf-8")
    before, _, rest = text.partition(BEGIN)
    _, _, after = rest.partition(END)
    README.write_text(f"{before}{BEGIN}\n\n{made}\n{END}{after}", encoding="utf-8")


if __name__ == "__main__":
    main()
