"""Fit the costs of alignment to the tuning half of the judged families.

Run:  python -m benchmarks.retrieval.fits.costs

Every pair of a checked family counts one part of the pairs of its family. Near copies
are left out, more of them or fewer: which share does best was asked of the tuning half
as well (``compare --half tuning --methods plain fitted``).

Contents: MOST_ALIKE, kin_pairs, fitted_on_tuning, main.
"""

from __future__ import annotations

from itertools import combinations

from benchmarks.retrieval.corpus import families, judged_corpus
from benchmarks.retrieval.fits.pairs import FittedCosts, KinPair, fit_costs
from benchmarks.retrieval.judged.labels import JudgedTune
from melodex.corpus.chunks import encode_notes
from melodex.matching.query import encode_query
from melodex.melody import Phrase

__all__ = ["MOST_ALIKE", "fitted_on_tuning", "kin_pairs", "main"]

MOST_ALIKE = 0.7
SHARES = (0.7, 0.9, 1.0)


def kin_pairs(tunes: list[JudgedTune]) -> list[KinPair]:
    """All pairs within the checked families of the tuning half."""
    found = []
    for family in families(tunes, "tuning", checked=True):
        pairs = list(combinations(family.members, 2))
        for one, other in pairs:
            query = encode_query(Phrase(tunes[one].melody, "passage"))
            notes = encode_notes(tunes[other].melody)
            found.append(KinPair(query, *notes, weight=1 / len(pairs)))
    return found


def fitted_on_tuning(
    tunes: list[JudgedTune], most_alike: float = MOST_ALIKE
) -> FittedCosts:
    """The costs, scaled so that phrases of 63 notes count in 8 bits."""
    return fit_costs(kin_pairs(tunes), most_alike=most_alike)


def main() -> None:
    """Print the costs for several shares."""
    tunes, _ = judged_corpus()
    for share in SHARES:
        found = fitted_on_tuning(tunes, share)
        odds = ", ".join(f"{value:.2f}" for value in found.odds)
        print(f"left out where more than {share} agree: {found.pairs} pairs")
        print(f"  {found.costs}")
        print(f"  log odds {odds}; of a gap {found.gap_odds:.2f}")


if __name__ == "__main__":
    main()
