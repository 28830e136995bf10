"""How often sections and phrases are right.

Run:  python -m benchmarks.analysis.form.marks [--keep NAME]

Measured on the half that nothing was fitted on, with 95 % intervals by drawing whole
tunes anew. Sections: tunes of O'Neill, Ryan and Aird with their repeat signs hidden.
Where the signs make two sections the dividing bar line must be found exactly; tunes of
unequal sections are reported apart, since saying half of the bars answers the others.
Of all marked tunes the share with every section right is reported too: there the number
of sections must be found as well. Phrases: ends before the last, against the phrase
marks of the Essen songs.

Contents: measure_sections, measure_phrases, main.
"""

from __future__ import annotations

from typing import Any

from benchmarks.analysis.form.fit import endings, marked_tunes, phrase_songs
from benchmarks.analysis.keys.lines import Row, row, share
from benchmarks.analysis.keys.truth import half
from benchmarks.keeping import about, asker, keep
from melodex.analysis.form import phrases, sections
from melodex.analysis.form.bars import form_bars
from melodex.analysis.form.boundaries import best_division
from melodex.melody import Melody


def measure_sections(tunes: list[tuple[Melody, list[int], int]]) -> list[Row]:
    """Exact divisions of two-section tunes, and of all marked tunes."""
    two, whole = [], []
    for melody, starts, bars in tunes:
        if len(starts) == 1:
            said = best_division(form_bars(melody))
            two.append((said == starts[0], 2 * starts[0] == bars, bars == 2 * starts[0]))
        lengths = [section.bars for section in sections(melody, use_marks=False)]
        edges = [sum(lengths[:k]) for k in range(1, len(lengths))]
        whole.append((edges == starts,))
    unequal = [item for item in two if not item[1]]
    equal = [item for item in two if item[1]]
    return [
        row("two sections, signs hidden", "exact", two, share(0)),
        row("two sections, signs hidden", "exact, unequal", unequal, share(0)),
        row("two sections, signs hidden", "exact, equal", equal, share(0)),
        row("two sections, half of the bars", "exact", two, share(1)),
        row("all marked tunes, signs hidden", "all sections exact", whole, share(0)),
    ]


def f1(items: Any) -> float:
    """F1 over all songs together."""
    hits, true, said = (sum(item[k] for item in items) for k in range(3))
    return 2 * hits / (true + said)


def measure_phrases(songs: list[Melody]) -> list[Row]:
    """Phrase ends found, against those marked."""
    items = []
    for melody in songs:
        truth = {i for i, ends in enumerate(endings(melody)) if ends}
        said = {phrase.last_note for phrase in phrases(melody, use_marks=False)[:-1]}
        items.append((len(truth & said), len(truth), len(said)))
    return [
        row("phrase ends, Essen", "F1", items, f1),
        row("phrase ends, Essen", "precision", items, lambda x: total(x, 0) / total(x, 2)),
        row("phrase ends, Essen", "recall", items, lambda x: total(x, 0) / total(x, 1)),
    ]


def total(items: Any, place: int) -> int:
    """Sum of one column."""
    return sum(item[place] for item in items)


def main() -> None:
    """Measure everything; keep the figures if a name is given."""
    parser = asker(__doc__)
    parser.add_argument("--half", type=int, default=1, help="0 is the tuning half")
    choice = parser.parse_args()
    rows = measure_sections([t for t in marked_tunes() if half(t[0].title) == choice.half])
    rows += measure_phrases([m for m in phrase_songs() if half(m.title) == choice.half])
    run = about("music21") | {
        "half": "tuning" if choice.half == 0 else "reported; nothing was fitted on it",
        "rows": rows,
    }
    lines = [
        f"{r['task']:34} {r['measure']:20} {r['value']:.3f} "
        f"[{r['interval_95'][0]:.3f}, {r['interval_95'][1]:.3f}] n={r['n']}"
        for r in rows
    ]
    keep(choice.keep, {"form.json": run, "form.txt": "\n".join(lines)})


if __name__ == "__main__":
    main()
