"""Fit where sections of songs start, and say how often that is right.

Run:  python -m benchmarks.analysis.form.charts CHARTS [--fit] [--keep NAME]

CHARTS is a JSON file: ``songs``, each with an ``id`` and ``bars``; a bar has ``chords``
in equal parts (``.`` goes on, ``N`` is none, ``root:quality/bass``) and, where they
change, ``metre``, ``section`` and ``function``. What the weights were fitted on are the
McGill Billboard annotations (Burgoyne, Wild and Fujinaga, ISMIR 2011) in this form; they
are not part of this project. Each chart becomes a tune in ABC, with a note in its first
bar alone, and is read as any file is.

Measured by cross-validation in five folds of songs, drawn by the digest of their ids:
starts to the bar, without marks and with them, with 95 % intervals by drawing whole songs
anew. ``--fit`` writes the module of weights from all songs.

Contents: Chart, charts, cross_validated, measure, write_weights, main.
"""

from __future__ import annotations

import hashlib
import json
import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from sklearn.ensemble import HistGradientBoostingClassifier

from benchmarks.analysis.keys.lines import Row, row
from benchmarks.keeping import about, asker, keep
from melodex.analysis.form import sections, song_weights
from melodex.analysis.form.bars import FormBar, form_bars
from melodex.analysis.form.segments import LONGEST_SECTION, best_segments
from melodex.analysis.form.songs import line_features
from melodex.melody import Melody
from melodex.reading.abc.reader import read_abc
from melodex.reading.result import Choice

FOLDS = 5
TREES, LEAVES, RATE = 60, 8, 0.12
QUALITIES = (
    *(("sus4(b7", "7sus4"), ("sus", "sus4"), ("minmaj7", "m(maj7)"), ("min7", "m7")),
    *(("min", "m"), ("hdim", "m7b5"), ("dim7", "dim7"), ("dim", "dim"), ("aug", "+")),
    *(("maj7", "maj7"), ("maj9", "maj9"), ("maj", ""), ("7", "7"), ("9", "9")),
    *(("11", "11"), ("13", "13"), ("5", "5"), ("1", "5")),
)
"""Qualities of the charts by their beginnings, as chord symbols."""


@dataclass(frozen=True)
class Chart:
    """A chart as a tune, its bars, and where its sections start."""

    name: str
    melody: Melody
    bars: list[FormBar]
    starts: list[int]

    @property
    def fold(self) -> int:
        """Which fifth of the songs it is in."""
        return hashlib.sha256(self.name.encode()).digest()[-1] % FOLDS


def charts(path: Path) -> list[Chart]:
    """All charts of a file."""
    found = []
    for song in json.loads(path.read_text(encoding="utf-8"))["songs"]:
        melody = read_abc(abc_of(song), song["id"], Choice()).tunes[0].melody
        starts = [k for k, bar in enumerate(song["bars"]) if "section" in bar and k]
        bars = form_bars(melody)
        if len(bars) != len(song["bars"]):
            raise ValueError(f"{song['id']}: {len(bars)} bars of {len(song['bars'])}")
        found.append(Chart(song["id"], melody, bars, starts))
    return found


def abc_of(song: dict[str, Any]) -> str:
    """A chart as ABC: sections are parts, bars rests, but for one note."""
    lines = ["X:1", f"T:{song['id']}", "M:4/4", "L:1/4", "K:C"]
    metre = "4/4"
    for place, bar in enumerate(song["bars"]):
        if "section" in bar:
            lines.append(f"P:{bar.get('function') or bar['section']}")
        if bar.get("metre", metre) != metre:
            metre = bar["metre"]
            lines.append(f"M:{metre}")
        chords = bar.get("chords", "").split() or ["."]
        length = 4 * Fraction(metre) / len(chords)
        texts = [f"{symbol(chord)}z{length}" for chord in chords]
        text = "".join(texts) + "|"
        lines.append(text if place else text.replace("z", "C", 1))
    return "\n".join(lines) + "\n"


def symbol(chord: str) -> str:
    """A chord of a chart as a symbol in quotes."""
    if chord == ".":
        return ""
    root, _, quality = chord.partition(":")
    if root[0] not in "ABCDEFG":
        return '"N.C."'
    known = (text for start, text in QUALITIES if quality.startswith(start))
    return f'"{root}{next(known, "")}"'


def cross_validated(songs: Sequence[Chart]) -> list[list[int]]:
    """Starts of each song, said by weights fitted on the other folds."""
    tables = [line_features(chart.bars) for chart in songs]
    said: list[list[int]] = [[] for _ in songs]
    for fold in range(FOLDS):
        others = [k for k, chart in enumerate(songs) if chart.fold != fold]
        model = fitted([tables[k] for k in others], [songs[k] for k in others])
        lengths = length_logs([songs[k] for k in others])
        for k, chart in enumerate(songs):
            if chart.fold == fold:
                points = model.decision_function(tables[k])
                said[k] = best_segments(points, lengths)
    return said


def fitted(tables: Sequence[Any], songs: Sequence[Chart]) -> HistGradientBoostingClassifier:
    """Trees that say whether a section starts at a line; the first line is not asked."""
    truth = [np.isin(np.arange(1, len(c.bars)), c.starts) for c in songs]
    model = HistGradientBoostingClassifier(
        max_iter=TREES,
        learning_rate=RATE,
        max_leaf_nodes=LEAVES,
        min_samples_leaf=30,
        l2_regularization=5,
        max_bins=64,
        early_stopping=False,
        random_state=0,
    )
    return model.fit(np.vstack([table[1:] for table in tables]), np.concatenate(truth))


def length_logs(songs: Sequence[Chart]) -> list[float]:
    """Log share of each length of a section, from 0 bars on."""
    lengths: Counter[int] = Counter()
    for chart in songs:
        edges = [0, *chart.starts, len(chart.bars)]
        lengths.update(min(b - a, LONGEST_SECTION) for a, b in pairwise(edges))
    total = lengths.total() + 20
    return [math.log((lengths[n] + 0.3) / total) for n in range(LONGEST_SECTION + 1)]


def f1(items: Any) -> float:
    """F1 over all songs together."""
    hits, true, said = (sum(item[k] for item in items) for k in range(3))
    return 2 * hits / (true + said)


def counts(truth: Sequence[int], said: Sequence[int], away: int = 0) -> tuple[int, ...]:
    """Starts found, true and said; ``away`` bars off count as found."""
    near = [any(abs(a - b) <= away for b in said) for a in truth]
    return sum(near), len(truth), len(said)


def measure(songs: Sequence[Chart], said: Sequence[list[int]], how: str) -> list[Row]:
    """Precision, recall and F1 to the bar, and within a bar."""
    exact = [counts(c.starts, s) for c, s in zip(songs, said, strict=True)]
    close = [counts(c.starts, s, 1) for c, s in zip(songs, said, strict=True)]
    return [
        row(how, "F1", exact, f1),
        row(how, "precision", exact, lambda x: column(x, 0) / column(x, 2)),
        row(how, "recall", exact, lambda x: column(x, 0) / column(x, 1)),
        row(how, "F1 within a bar", close, f1),
    ]


def column(items: Any, place: int) -> int:
    """Sum of one column."""
    return sum(item[place] for item in items)


def marked(songs: Sequence[Chart]) -> list[list[int]]:
    """Starts of each song with its marks."""
    found = []
    for chart in songs:
        lengths = [section.bars for section in sections(chart.melody)]
        found.append([sum(lengths[:k]) for k in range(1, len(lengths))])
    return found


HEADER = '''"""Where sections of songs start: trees over what is asked of bar lines; fitted.

Conventions: made by ``benchmarks/analysis/form/charts.py``, not by hand. ``TREES`` has a
line for each tree, its nodes apart by ``;``: a question is ``feature threshold steps``,
where yes leads to the next node and no so many steps on; a leaf is one number,
thousandths of log odds. The answer is yes where the feature is at most the threshold.
``LENGTHS`` are log shares of sections of 0, 1, 2 ... bars, in thousandths.

References
----------
Counts of 373 songs with chords and sections heard by trained musicians: the McGill
Billboard annotations, Burgoyne, Wild and Fujinaga (2011), "An expert ground truth set for
audio chord recognition and music analysis", ISMIR 12, 633-638.

Contents: BASE, LENGTHS, TREES.
"""

__all__ = ["BASE", "LENGTHS", "TREES"]

'''


def write_weights(songs: Sequence[Chart]) -> None:
    """Fit on all songs and write the module of weights."""
    model = fitted([line_features(chart.bars) for chart in songs], songs)
    trees = [tree_text(stage[0].nodes) for stage in model._predictors]
    lengths = [f"{round(1000 * value)}" for value in length_logs(songs)]
    base = round(1000 * float(np.ravel(model._baseline_prediction)[0]))
    lines = [HEADER, f"BASE = {base}", "LENGTHS = ("]
    for first in range(0, len(lengths), 12):
        lines.append(f"    *({', '.join(lengths[first : first + 12])},),")
    lines += [")", "TREES = ("]
    for tree in trees:
        lines += quoted(tree)
    lines.append(")")
    Path(song_weights.__file__).write_text("\n".join([*lines, ""]), encoding="utf-8")


def tree_text(nodes: Any, place: int = 0) -> list[str]:
    """The nodes of a tree in the order in which they are asked."""
    node = nodes[place]
    if node["is_leaf"]:
        return [f"{round(1000 * float(node['value']))}"]
    yes = tree_text(nodes, int(node["left"]))
    no = tree_text(nodes, int(node["right"]))
    threshold = f"{float(node['num_threshold']):.4g}"
    after = len(yes) + 1
    return [f"{int(node['feature_idx'])} {threshold} {after}", *yes, *no]


def quoted(tree: list[str]) -> list[str]:
    """A tree as string literals that fit their lines."""
    lines, now = [], ""
    for node in tree:
        if len(now) + len(node) > 78:
            lines.append(f'    "{now}"')
            now = ""
        now += f"{node};"
    return [*lines, f'    "{now[:-1]}",']


def main() -> None:
    """Measure, and fit where asked to."""
    parser = asker(__doc__)
    parser.add_argument("charts", type=Path)
    parser.add_argument("--fit", action="store_true", help="write the weights anew")
    choice = parser.parse_args()
    songs = charts(choice.charts)
    if choice.fit:
        write_weights(songs)
    rows = measure(songs, cross_validated(songs), "charts, no marks, five folds")
    rows += measure(songs, marked(songs), "charts, marks printed")
    lines = [
        f"{r['task']:34} {r['measure']:20} {r['value']:.3f} "
        f"[{r['interval_95'][0]:.3f}, {r['interval_95'][1]:.3f}] n={r['n']}"
        for r in rows
    ]
    run = {**about("numpy", "scikit-learn"), "folds": FOLDS, "rows": rows}
    keep(choice.keep, {"charts.json": run, "charts.txt": "\n".join(lines)})


if __name__ == "__main__":
    main()
