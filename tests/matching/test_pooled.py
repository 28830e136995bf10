"""The rule that judges kinship, and the measures of pooled judgements."""

from __future__ import annotations

from dataclasses import replace
from random import Random

import pytest
from sklearn.metrics import average_precision_score

from benchmarks.retrieval.judged.measures import average_precision
from benchmarks.retrieval.judged.pooled import READINGS, bpref
from benchmarks.retrieval.judged.rule import (
    DOUBTFUL,
    KIN,
    NOT_KIN,
    evidence_of,
    holds,
    judged,
    laid_out,
)
from melodex.melody import Melody
from melodex.melody.moving import transposed
from melodex.reading.abc.reader import read_abc

TUNE = "DEFG|Adc2|dcAG|F2E2|DEFA|GFED|CDEF|D4|A2cA|GAFG|E2CE|D4|"
OTHER = "c2GE|F3A|G2EC|B,4|E2GB|c2AF|GEDB,|C4|G2ec|d2BG|c2AF|G4|"
ORNAMENTED = TUNE.replace("A2cA", "A>Bc/B/A").replace("F2E2", "FEE2").replace("D4", "D3D")


def melody(notes: str, metre: str = "4/4", unit: str = "1/4", key: str = "Ddor") -> Melody:
    text = f"X:1\nT:A\nM:{metre}\nL:{unit}\nK:{key}\n{notes}\n"
    return read_abc(text, "a.abc").tunes[0].melody


def said(one: Melody, other: Melody) -> str:
    return judged(evidence_of(laid_out(one), laid_out(other)))


def test_a_tune_is_kin_to_itself_in_any_key_ornament_and_note_value():
    assert said(melody(TUNE), melody(TUNE)) == KIN
    assert said(melody(TUNE), transposed(melody(TUNE), 5, -1)) == KIN
    assert said(melody(TUNE), melody(ORNAMENTED)) == KIN
    halves = TUNE.replace("|", " ")
    two = "|".join(halves.split())
    assert said(melody(two), melody(two, unit="1/8", metre="2/4")) == KIN


def test_another_tune_is_none_and_one_strain_in_common_is_doubtful():
    assert said(melody(TUNE), melody(OTHER)) == NOT_KIN
    strain = "|".join(TUNE.split("|")[:4]) + "|"
    rest = "|".join(OTHER.split("|")[:4]) + "|"
    more = "|".join(OTHER.split("|")[4:8]) + "|"
    assert said(melody(strain + more), melody(strain + rest)) in {DOUBTFUL, KIN}


def test_bars_of_a_tune_are_found_in_another_key_and_not_in_another_tune():
    own = laid_out(melody(TUNE))
    assert holds(own, laid_out(replace(melody(ORNAMENTED))), 4, 7)
    assert not holds(own, laid_out(melody(OTHER)), 0, 3)


def test_bpref_counts_judged_tunes_alone():
    # Buckley and Voorhees (2004): a kin below all others that are judged brings nothing.
    assert bpref([1, 2, 9, 8], {1, 2}, {8, 9}) == 1
    assert bpref([9, 8, 1, 2], {1, 2}, {8, 9}) == 0
    assert bpref([7, 9, 1, 6, 2, 8], {1, 2}, {8, 9}) == pytest.approx(0.5)
    assert bpref([1], {1, 2}, {8, 9}) == 0.5


def test_average_precision_is_that_of_scikit_learn():
    dice = Random(2)
    for _ in range(50):
        ranking = dice.sample(range(40), 40)
        kin = set(dice.sample(range(40), dice.randint(1, 9)))
        scores = [-ranking.index(tune) for tune in range(40)]
        truth = [tune in kin for tune in range(40)]
        wanted = average_precision_score(truth, scores)
        assert average_precision(ranking, kin) == pytest.approx(wanted)


def test_three_hundred_pairs_of_all_classes_were_read():
    import json

    rows = json.loads(READINGS.read_text(encoding="utf-8"))
    classes = [row[2] for row in rows["pairs"]]
    assert len(classes) >= 300
    assert all(classes.count(name) >= 50 for name in (KIN, DOUBTFUL, NOT_KIN))
    assert {row[3] for row in rows["pairs"]} == set(rows["reasons"])
