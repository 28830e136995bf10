"""Fit and measure the decision whether two whole tunes are one.

Run:  python -m benchmarks.retrieval.judged.kin [--tunes 900] [--keep NAME]

For tunes drawn from all, the pairs that ``collection families`` would look at (the nearest
by figures) are judged by the rule of ``rule``, which looks at no alignment, and weighed
by the features of ``melodex.matching.evidence.whole_tunes``. A logistic regression
(scikit-learn) is fitted on the pairs of the tuning half; pairs that cannot be said are left
out. Reported are, for the half that was not fitted on, the pairs judged by the rule, and
beside them the pairs that were read note for note (``readings.json``), which were drawn
from pools of eight methods and not from the nearest alone.

Of pairs that were read as kin it is also said how many are among the nearest, so that they
are looked at at all.

Contents: Weighed, Comparing, weighed_pairs, fitted, measured, main.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from random import Random
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sklearn.linear_model import LogisticRegression
from sklearn.metrics import precision_recall_curve, precision_score, recall_score

from benchmarks.keeping import about, asker, command, keep
from benchmarks.retrieval.corpus import judged_corpus
from benchmarks.retrieval.judged.labels import JudgedTune
from benchmarks.retrieval.judged.pool import half_of_tune
from benchmarks.retrieval.judged.pooled import readings
from benchmarks.retrieval.judged.rule import (
    DOUBTFUL,
    KIN,
    Layout,
    evidence_of,
    judged,
    laid_out,
)
from melodex.matching.evidence.kinship import steps_of
from melodex.matching.evidence.neighbors import Neighbors
from melodex.matching.evidence.whole_tunes import (
    KIN_FEATURES,
    KIN_WEIGHTS,
    WEIGHTS_WITHOUT_BEATS,
    Pair,
    alignments,
    kin_features,
    pair_of,
    sureness,
    whole_tune,
)
from melodex.tasks.collection.kin import (
    LEAST,
    NEAREST,
    SURE_ENOUGH,
    without_repeats,
)

__all__ = ["fitted", "main", "measured", "weighed_pairs"]

SEED = 5
STRENGTH = 1.0
"""C, the inverse strength of the regression's penalty."""
WANTED_PRECISION, WANTED_RECALL = 0.95, 0.90
Array = NDArray[np.float64]
Weights = dict[str, float]
IN_USE = (KIN_WEIGHTS, WEIGHTS_WITHOUT_BEATS)


@dataclass(frozen=True, slots=True)
class Weighed:
    """A pair of tunes by their places, its half, what is said of it, and how they lie."""

    places: tuple[int, int]
    half: str
    said: str
    pair: Pair

    def sureness(self, sets: Sequence[Weights]) -> float:
        """How sure it is by weights with beats and without."""
        features = kin_features(self.pair)
        weights = sets["beats" not in features]
        values = (weights[name] * value for name, value in features.items())
        return sureness(weights["constant"] + sum(values))


class Comparing:
    """All tunes, packed, and which are near one another."""

    def __init__(self, tunes: Sequence[JudgedTune]) -> None:
        self.tunes = tunes
        self.whole = [whole_tune(tune.melody) for tune in tunes]
        self.layouts: dict[int, Layout] = {}
        self.near = [
            Neighbors([steps_of(form(tune.pitch)) for tune in self.whole])
            for form in (bytes, without_repeats)
        ]

    def layout(self, place: int) -> Layout:
        """A tune in bars, laid out once."""
        if place not in self.layouts:
            self.layouts[place] = laid_out(self.tunes[place].melody)
        return self.layouts[place]

    def nearest(self, place: int) -> set[int]:
        """The tunes that are looked at for one."""
        return {other for near in self.near for other in near.of(place, NEAREST)}

    def weighed(
        self, one: int, other: int, say: Callable[[int, int], str]
    ) -> Weighed | None:
        """A pair with what is said of it; None where the tunes have nothing in common."""
        mine, theirs = self.whole[one], self.whole[other]
        ((_, move),) = alignments(mine, [theirs])
        pair = pair_of(mine, theirs, move)
        if pair is None:
            return None
        half = half_of_tune(self.tunes[one])
        return Weighed((one, other), half, say(one, other), pair)

    def ruled(self, one: int, other: int) -> str:
        """What the rule says."""
        return judged(evidence_of(self.layout(one), self.layout(other)))


def weighed_pairs(comparing: Comparing, count: int) -> list[Weighed]:
    """The pairs of so many tunes that are looked at, judged by the rule."""
    drawn = Random(SEED).sample(range(len(comparing.tunes)), count)
    found = []
    for one in drawn:
        for other in sorted(comparing.nearest(one)):
            entry = comparing.weighed(one, other, comparing.ruled)
            if entry is not None and entry.pair.likeness >= LEAST:
                found.append(entry)
    return found


def read_pairs(comparing: Comparing) -> list[Weighed]:
    """The pairs that were read note for note."""
    said = readings(comparing.tunes)
    found = (comparing.weighed(*pair, lambda a, b: said[a, b]) for pair in said)
    return [entry for entry in found if entry is not None]


def fitted(pairs: Sequence[Weighed], *, beats: bool) -> Weights:
    """Weights of the features, with beats where they are known or without anywhere."""
    names = [name for name in KIN_FEATURES if beats or name != "beats"]
    known = [p for p in pairs if p.half == "tuning" and p.said != DOUBTFUL]
    found = [(kin_features(p.pair), p.said == KIN) for p in known]
    rows = [(f, kin) for f, kin in found if not beats or "beats" in f]
    features: Array = np.array([[f[name] for name in names] for f, _ in rows], np.float64)
    spread = features.std(axis=0)
    model = LogisticRegression(C=STRENGTH, max_iter=1000)
    model.fit(features / spread, [kin for _, kin in rows])
    values = zip(names, (model.coef_[0] / spread).tolist(), strict=True)
    return {"constant": float(model.intercept_[0]), **dict(values)}


def measured(
    pairs: Sequence[Weighed], half: str, sets: Sequence[Weights]
) -> dict[str, Any]:
    """Precision and recall of the decision on the pairs of a half (scikit-learn)."""
    here = [p for p in pairs if p.half == half and p.said != DOUBTFUL]
    kin = [p.said == KIN for p in here]
    # What is less alike than that is not looked at.
    sure = np.array([p.sureness(sets) * (p.pair.likeness >= LEAST) for p in here])
    precision, recall, _ = precision_recall_curve(kin, sure)
    unsaid = [p for p in pairs if p.half == half and p.said == DOUBTFUL]
    called = [p.sureness(sets) >= SURE_ENOUGH for p in unsaid]
    return {
        "pairs": len(kin),
        "kin": sum(kin),
        "precision": round(float(precision_score(kin, sure >= SURE_ENOUGH)), 4),
        "recall": round(float(recall_score(kin, sure >= SURE_ENOUGH)), 4),
        f"recall at precision {WANTED_PRECISION}": round(
            float(recall[precision >= WANTED_PRECISION].max()), 4
        ),
        f"precision at recall {WANTED_RECALL}": round(
            float(precision[recall >= WANTED_RECALL].max()), 4
        ),
        "doubtful": len(unsaid),
        "doubtful called kin": round(float(np.mean(called)), 4),
    }


def looked_at(comparing: Comparing, read: Sequence[Weighed]) -> float:
    """The share of pairs read as kin of which one is among the nearest of the other."""
    kin = [entry.places for entry in read if entry.said == KIN]
    near = {place: comparing.nearest(place) for place in {n for pair in kin for n in pair}}
    return sum(b in near[a] or a in near[b] for a, b in kin) / len(kin)


def main() -> None:
    """Fit, measure, print, and keep if a run was named."""
    parser = asker(__doc__)
    parser.add_argument("--tunes", type=int, default=900)
    options = parser.parse_args()
    began = time.process_time()
    tunes, _ = judged_corpus()
    comparing = Comparing(tunes)
    pairs, read = weighed_pairs(comparing, options.tunes), read_pairs(comparing)
    fits = fitted(pairs, beats=True), fitted(pairs, beats=False)
    data: dict[str, Any] = {"weights_fitted": fits, "weights_in_use": IN_USE}
    lines = [command(), f"{len(tunes)} tunes; nearest pairs of {options.tunes} of them", ""]
    for name, used in (("fitted here", fits), ("in use", IN_USE)):
        for weights in used:
            values = "  ".join(f"{key} {value:.3f}" for key, value in weights.items())
            lines.append(f"weights {name}: {values}")
        for kind, some in (("by the rule", pairs), ("by reading", read)):
            for half in ("tuning", "reporting"):
                found = measured(some, half, used)
                data[f"{name}, {kind}, {half}"] = found
                told = "  ".join(f"{key} {value}" for key, value in found.items())
                lines.append(f"  {kind}, {half} half: {told}")
    data["read_kin_looked_at"] = round(looked_at(comparing, read), 4)
    lines += ["", f"read as kin and among the nearest: {data['read_kin_looked_at']}"]
    lines.append(f"{time.process_time() - began:.0f} seconds of the processor")
    print("\n".join(lines))
    keep(
        options.keep,
        {"kin.json": about("scikit-learn") | data, "kin.txt": "\n".join(lines)},
    )


if __name__ == "__main__":
    main()
