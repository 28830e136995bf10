"""How often the tonic of songs is right, from charts of chords; and the fit of its weights.

Run:  python -m benchmarks.analysis.keys.songs CHARTS [--keep NAME] [--write]

CHARTS is a JSON file of chord charts that is not part of the project: ``songs``, each with
an ``id`` and ``bars``; a bar has ``chords`` in equal parts (root:quality/bass, ``.`` goes
on, ``N`` is none) and, where they change, ``tonic`` and ``section``. What is kept was
made from the McGill Billboard annotations (Burgoyne, Wild and Fujinaga, ISMIR 2011).

Songs are parted in ten folds by their id. Each fold is read by the program itself, with
weights fitted on the other nine; costs of leaving a tonic and the size of the penalty were
chosen once over all folds. Sheets are read with their marks of sections and without.
Fitting: a conditional logit over twelve tonics (McFadden 1974), each stretch of one tonic
of twelve bars or more an example, with and without its marks, weights drawn towards zero.
To these weights are added counts of the same songs (``rates``): how much oftener a chord
of some kind has a root so far above the tonic than chance, times :data:`RATED`. A logit on
373 songs trusts what is rare too little and what is common too much; the counts have no
such bounds. What they are multiplied by was chosen over all folds.

Contents: Chart, charts_of, fit, rates, measure, main.
"""

from __future__ import annotations

import hashlib
import json
import re
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import minimize
from scipy.special import log_softmax

from benchmarks.analysis.keys.lines import Row, row, share
from benchmarks.keeping import about, asker, keep
from melodex.analysis.harmony.chords import parse_chord
from melodex.analysis.keys import read_keys
from melodex.analysis.keys.song import points
from melodex.analysis.keys.song.layout import layout_of
from melodex.analysis.keys.song.points import KINDS, LETTERS, occurrences
from melodex.analysis.keys.song.weights import PLACES
from melodex.melody import (
    TICKS_PER_QUARTER,
    Bar,
    ChordSymbol,
    Melody,
    SectionMark,
    fifths_from_name,
    pitch_class,
)

FOLDS = 10
PENALTY = 0.4
"""Of squared weights; .1 to .4 gave the same share of bars right, within a hundredth."""
HALF_SEEN = 0.6
"""Weight of an example that is used twice, with its marks and without."""
FEWEST_BARS = 12
MOST_WRONG = 0.4
BAR = 4 * TICKS_PER_QUARTER
SUFFIXES = dict(
    zip(KINDS, ("", "7", "maj7", "m", "m7", "dim", "m7b5", "sus4", "5"), strict=True)
)
SIZES = {
    "chord": len(KINDS),
    "pair": 192,
    **dict.fromkeys(PLACES, 4),
    "held": len(KINDS),
}
RATED = {"held": 0.5, "section": 1.0, "close": 0.5, "end": 0.3}
"""What counts are multiplied by: of chords by their share of the time, and of those that
begin and close a section and end the piece."""
EACH, UNSEEN = 20.0, 1.0
"""How often an example is counted, and what is added for what never came."""
STARTS = {name: 12 * sum(list(SIZES.values())[:place]) for place, name in enumerate(SIZES)}
WIDTH = 12 * sum(SIZES.values())


@dataclass(frozen=True)
class Chart:
    """A song: chord symbols by bar, the tonic of each bar, and where sections start."""

    name: str
    chords: tuple[tuple[str, ...], ...]
    tonics: tuple[int, ...]
    sections: tuple[int, ...]

    @property
    def fold(self) -> int:
        """The fold that it is left out in."""
        return int(hashlib.sha256(self.name.encode()).hexdigest(), 16) % FOLDS

    def melody(self, first: int, stop: int, marked: bool) -> Melody:
        """Some bars as a lead sheet without notes."""
        symbols = []
        for number, texts in enumerate(self.chords[first:stop]):
            for place, text in enumerate(texts):
                onset = number * BAR + place * BAR // len(texts)
                if text:
                    symbols.append(ChordSymbol(text, number + 1, onset))
        starts = [s - first for s in self.sections if first <= s < stop] if marked else []
        return Melody(
            bars=tuple(Bar(n + 1, n * BAR, BAR) for n in range(stop - first)),
            chords=tuple(symbols),
            marks=tuple(SectionMark("A", s + 1, s * BAR) for s in starts),
        )


def charts_of(path: Path) -> list[Chart]:
    """Read the charts."""
    found = []
    for song in json.loads(path.read_text(encoding="utf-8"))["songs"]:
        tonic, tonics, sections = 0, [], []
        for number, bar in enumerate(song["bars"]):
            tonic = pitch_class(fifths_from_name(bar["tonic"])) if "tonic" in bar else tonic
            tonics.append(tonic)
            if "section" in bar:
                sections.append(number)
        texts = tuple(tuple(map(symbol, bar["chords"].split())) for bar in song["bars"])
        found.append(Chart(song["id"], texts, tuple(tonics), tuple(sections)))
    return found


def symbol(text: str) -> str:
    """A chord of a chart as a chord symbol; empty where the one before it goes on."""
    if text == ".":
        return ""
    root, colon, quality = text.partition(":")
    return root + SUFFIXES[kind_named(quality)] if colon else "N.C."


def kind_named(quality: str) -> str:
    """The kind of a chord by the name of its quality."""
    base = re.match(r"[a-z]*\d*", quality)
    name = base[0] if base else ""
    inner = set(re.findall(r"[#b]?\d+", quality.partition("(")[2].partition(")")[0]))
    table = {
        "1": "minor" if "b3" in inner else "fifth",
        "5": "fifth",
        "aug": "dominant" if "b7" in inner else "major",
        "minmaj7": "minor",
    }
    if name in table:
        return table[name]
    seventh = re.search(r"(7|9|11|13)$", name) is not None
    if name.startswith("maj"):
        if inner & {"b7", "#9"} and not seventh:
            return "dominant"
        return "major seventh" if seventh or "7" in inner else "major"
    for start, plain, rich in (
        ("min", "minor", "minor seventh"),
        ("sus", "suspended", "suspended"),
        ("hdim", "half-diminished", "half-diminished"),
        ("dim", "diminished", "diminished"),
    ):
        if name.startswith(start):
            return rich if seventh else plain
    return "dominant"


def features(melody: Melody) -> np.ndarray:
    """What the model counts for each tonic, of shape (12, weights)."""
    placed = [(s.onset_ticks, parse_chord(s.text)) for s in melody.chords]
    singles, pairs, places = occurrences(layout_of(melody, placed).bars)
    found = np.zeros((12, WIDTH))
    for name, occurred, rooted in (
        ("chord", singles, True),
        ("pair", pairs, True),
        *((name, held, False) for name, held in places.items()),
    ):
        total = sum(each[3] for each in occurred) or 1.0
        shares: dict[tuple[int, int], float] = {}
        for _, root, named, held_for in occurred:
            shares[root, named] = shares.get((root, named), 0.0) + held_for / total
        for (root, named), part in shares.items():
            for tonic in range(12):
                column = STARTS[name] + (root - tonic) % 12 * SIZES[name] + named
                found[tonic, column] += part**0.5 if rooted else part
    return found


def stretches(chart: Chart) -> list[tuple[int, int]]:
    """First bar and end of each stretch of one tonic that is long enough."""
    tonics = chart.tonics
    cuts = [0, *(i for i in range(1, len(tonics)) if tonics[i] != tonics[i - 1])]
    ends = [*cuts[1:], len(tonics)]
    return [(a, b) for a, b in zip(cuts, ends, strict=True) if b - a >= FEWEST_BARS]


@dataclass(frozen=True)
class Examples:
    """Features of shape (n, 12, weights), tonics, weights and folds of n examples."""

    features: np.ndarray
    tonics: np.ndarray
    weights: np.ndarray
    folds: np.ndarray


def examples_of(charts: Sequence[Chart]) -> Examples:
    """Every stretch twice, with its marks and without."""
    rows = [
        (
            features(chart.melody(a, b, marked)),
            chart.tonics[a],
            HALF_SEEN * (b - a) / len(chart.tonics),
            chart.fold,
        )
        for chart in charts
        for a, b in stretches(chart)
        for marked in (True, False)
    ]
    columns = [np.array([r[i] for r in rows]) for i in range(4)]
    return Examples(*columns)


def fit(examples: Examples, left_out: int | None) -> np.ndarray:
    """Weights by the examples outside of one fold."""
    kept = examples.folds != (-1 if left_out is None else left_out)
    x, tonics, counts = (
        column[kept] for column in (examples.features, examples.tonics, examples.weights)
    )
    used = np.flatnonzero(x.any((0, 1)))
    x = np.ascontiguousarray(x[:, :, used])
    at = np.arange(len(x))

    def loss(w: np.ndarray) -> tuple[float, np.ndarray]:
        logs = log_softmax(x @ w, axis=1)
        chances = np.exp(logs)
        chances[at, tonics] -= 1
        slope = np.einsum("nt,ntf->f", chances * counts[:, None], x)
        value = -(counts * logs[at, tonics]).sum() + PENALTY / 2 * (w * w).sum()
        return float(value), slope + PENALTY * w

    found = minimize(loss, np.zeros(len(used)), jac=True, method="L-BFGS-B")
    weights = np.zeros(WIDTH)
    weights[used] = found.x
    return weights + rates(examples, kept)


def rates(examples: Examples, kept: np.ndarray) -> np.ndarray:
    """Counts of some examples as weights: logarithms over those of each kind of chord."""
    at = np.flatnonzero(kept)
    true = examples.features[at, examples.tonics[at]]
    weights = np.zeros(WIDTH)
    for name, factor in RATED.items():
        # A chord stands in the features with the root of its share.
        held = name == "held"
        seen = part_of((true**2 if held else true).sum(0), "chord" if held else name)
        counts = UNSEEN + EACH * seen
        part_of(weights, name)[:] = factor * np.log(counts / counts.sum(0))
    return weights


def part_of(weights: np.ndarray, name: str) -> np.ndarray:
    """The table of one name, of shape (12, its names)."""
    start, size = STARTS[name], SIZES[name]
    return weights[start : start + 12 * size].reshape(12, size)


def use(weights: np.ndarray) -> None:
    """Let the program go by some weights."""
    tables = {name: part_of(weights, name) for name in PLACES}
    points.held_table = lambda: part_of(weights, "held")  # type: ignore[assignment]
    points.chord_table = lambda: part_of(weights, "chord")  # type: ignore[assignment]
    points.pair_table = lambda: part_of(weights, "pair")  # type: ignore[assignment]
    points.place_table = lambda: tables  # type: ignore[assignment]


def tonics_said(chart: Chart, marked: bool) -> list[int]:
    """The tonic that the program says for each bar."""
    count = len(chart.tonics)
    spans = read_keys(chart.melody(0, count, marked)).spans
    return [
        next(
            (
                pitch_class(s.tonic_fifths)
                for s in spans
                if s.onset_ticks <= bar * BAR < s.end_ticks
            ),
            -1,
        )
        for bar in range(count)
    ]


def usual(tonics: Sequence[int]) -> int:
    """The tonic of most bars."""
    return max(sorted(set(tonics)), key=list(tonics).count)


def measure(charts: Sequence[Chart], examples: Examples) -> list[Row]:
    """Bars, songs and whole pieces right, each song read with weights of other songs."""
    found: dict[bool, list[Any]] = {True: [], False: []}
    for fold in range(FOLDS):
        use(fit(examples, fold))
        for chart in charts:
            if chart.fold != fold:
                continue
            for marked, items in found.items():
                said = tonics_said(chart, marked)
                right = sum(a == b for a, b in zip(said, chart.tonics, strict=True))
                count = len(said)
                items.append(
                    (
                        right,
                        count,
                        right / count < 1 - MOST_WRONG,
                        usual(said) == usual(chart.tonics),
                    )
                )
    rows = []
    for marked, items in found.items():
        task = f"tonic of songs, sections {'marked' if marked else 'not marked'}"
        rows.append(
            row(
                task,
                "bars right",
                items,
                lambda i: sum(x[0] for x in i) / sum(x[1] for x in i),
            )
        )
        rows.append(row(task, "songs mostly wrong", items, share(2)))
        rows.append(row(task, "whole piece right", items, share(3)))
    return rows


def tables_text(weights: np.ndarray) -> str:
    """The weights as the tables of ``song.weights``, in hundredths."""
    lines = []
    for title, by in (("CHORDS", "chord"), ("HELD", "held")):
        lines.append(f"{title} = {{")
        for kind, column in zip(KINDS, part_of(weights, by).T, strict=True):
            row_told = " ".join(str(round(100 * w)) for w in column)
            lines.append(f'    "{kind}": "{row_told}",')
        lines.append("}")
    lines.append("PAIRS = {")
    pairs = part_of(weights, "pair").reshape(12, 12, 4, 4)
    for before in range(12):
        for letter in range(4):
            entries = [
                (f"{root}{LETTERS[kind]}", pairs[root, (before - root) % 12, letter, kind])
                for root in range(12)
                for kind in range(4)
            ]
            lines += entry(f"{before}{LETTERS[letter]}", entries)
    lines += ["}", "PLACES = {"]
    for name in PLACES:
        table = part_of(weights, name)
        lines += entry(
            name,
            [(f"{r}{LETTERS[k]}", table[r, k]) for r in range(12) for k in range(4)],
        )
    return "\n".join([*lines, "}"]) + "\n"


def entry(name: str, entries: Sequence[tuple[str, float]]) -> list[str]:
    """One row of a table, small numbers left out."""
    told = " ".join(f"{key}:{round(100 * w)}" for key, w in entries if abs(w) >= 0.03)
    if not told:
        return []
    lines = [f'        "{line} "' for line in textwrap.wrap(told, 80)]
    lines[-1] = lines[-1][:-2] + '"'
    return [f'    "{name}": (', *lines, "    ),"]


def main() -> None:
    """Measure in folds; with ``--write`` print the tables fitted on all songs."""
    parser = asker(__doc__)
    parser.add_argument("charts", type=Path, help="a JSON file of chord charts")
    parser.add_argument("--write", action="store_true", help="print the fitted tables")
    choice = parser.parse_args()
    charts = charts_of(choice.charts)
    examples = examples_of(charts)
    if choice.write:
        print(tables_text(fit(examples, None)))
        return
    rows = measure(charts, examples)
    keep(
        choice.keep,
        {
            "keys_songs.json": {
                **about("scipy"),
                # The charts lie outside of the project, wherever that is.
                "command": "python -m benchmarks.analysis.keys.songs CHARTS",
                "songs": len(charts),
                "bars": sum(len(chart.tonics) for chart in charts),
                "folds": FOLDS,
                "rows": rows,
            }
        },
    )


if __name__ == "__main__":
    main()
