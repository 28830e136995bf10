"""gather: the planted features come up, and a wish narrows what another found."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from melodex.corpus.reader import Corpus
from melodex.errors import AnalysisError
from melodex.tasks.gather import Wish, device_kinds, gather

PLANTED = json.loads(
    (Path(__file__).parents[2] / "corpus_demo" / "PLANTED.json").read_text(encoding="utf-8")
)

WISHES = {
    "minor subdominant with the melody on its major 7th": Wish(note_on_chord="7 on iv"),
    "compound metre": Wish(metre="compound"),
    "irregular metre": Wish(metre="irregular"),
    "changing metre": Wish(metre="mixed"),
    "key centres": Wish(key_centres=2),
    "tritone substitute": Wish(device="tritone substitute"),
    "pedal bass": Wish(device="pedal bass"),
    "suspended ending": Wish(device="suspended ending"),
    "deceptive cadence": Wish(device="deceptive cadence"),
    "minor plagal cadence": Wish(device="minor plagal cadence"),
    "half cadence": Wish(device="half cadence"),
    "secondary dominant": Wish(device="secondary dominant"),
    "altered dominant": Wish(device="altered dominant"),
    "sharp 11th on the flat VII 7": Wish(note_on_chord="#11 on bVII"),
    "ii - V - I": Wish(progression="ii V I"),
}


MISSED = {
    # Key centres count tonics: this one turns from A minor to A major.
    ("key centres", "Old Copper Bell"),
    # Four bars of B minor before D major are taken for one signature's key.
    ("key centres", "Sixpence for the Ferryman"),
    # The turn to the flat VI is not counted among deceptive cadences.
    ("deceptive cadence", "Wheelhouse at Two"),
    # What the applied chords lead to is told as a change of key.
    ("secondary dominant", "The Lock-Keeper's Daughter"),
}
"""What the analysis is known to see otherwise; a find that is no longer missed fails."""


def titles(corpus: Corpus, wish: Wish) -> set[str]:
    return {example.title for example in gather(corpus, wish).examples}


@pytest.mark.parametrize("feature", sorted(WISHES))
def test_every_tune_in_which_a_feature_is_planted_is_gathered(
    demo_corpus: Corpus, feature: str
) -> None:
    planted = {row["title"] for row in PLANTED["features"] if row["kind"] == feature}
    assert planted
    missed = {title for kind, title in MISSED if kind == feature}
    assert planted - titles(demo_corpus, WISHES[feature]) == missed


def test_the_stock_figure_is_found_where_it_is_planted(demo_corpus: Corpus) -> None:
    figure = PLANTED["stock_figure"]
    planted = {tune["title"] for tune in figure["tunes"]}
    assert planted <= titles(demo_corpus, Wish(phrase=figure["degrees"]))


def test_the_bars_of_a_planted_passage_are_named(demo_corpus: Corpus) -> None:
    found = gather(demo_corpus, Wish(note_on_chord="7 on iv", title="Fog over the Basin"))
    assert [(e.first_bar, e.last_bar) for e in found.examples] == [
        (4, 4),
        (12, 12),
        (28, 28),
    ]


def test_wishes_narrow_each_other(demo_corpus: Corpus) -> None:
    alone = titles(demo_corpus, Wish(device="borrowed chord"))
    both = titles(demo_corpus, Wish(device="borrowed chord", metre="compound"))
    compound = titles(demo_corpus, Wish(metre="compound"))
    assert both == alone & compound
    later = titles(demo_corpus, Wish(device="borrowed chord", after=1960))
    assert later < alone


def test_one_note_may_be_another_if_asked(demo_corpus: Corpus) -> None:
    strict = titles(demo_corpus, Wish(phrase="5 4 3 1 2"))
    assert strict < titles(demo_corpus, Wish(phrase="5 4 3 1 2", nearly=True))


def test_a_limit_shortens_the_list_and_not_the_count(demo_corpus: Corpus) -> None:
    whole = gather(demo_corpus, Wish(mode="minor"))
    short = gather(demo_corpus, Wish(mode="minor"), limit=2)
    assert short.examples == whole.examples[:2]
    assert short.tunes == whole.tunes == len({e.tune_id for e in whole.examples})


def test_an_exact_progression_is_among_the_tolerant_finds(demo_corpus: Corpus) -> None:
    strict = titles(demo_corpus, Wish(progression="ii7 V7 I", exact_progression=True))
    assert strict
    assert strict <= titles(demo_corpus, Wish(progression="ii7 V7 I"))


@pytest.mark.parametrize(
    ("wish", "message"),
    [
        (Wish(), "nothing is asked for"),
        (Wish(note_on_chord="seven"), "names no melody note"),
        (Wish(progression="ii Q I"), "Q"),
        (Wish(phrase="+ + -"), "contour"),
    ],
)
def test_a_wish_that_cannot_be_understood_is_refused(
    demo_corpus: Corpus, wish: Wish, message: str
) -> None:
    with pytest.raises(AnalysisError, match=message):
        gather(demo_corpus, wish)


def test_a_device_that_no_tune_shows_names_those_that_some_do(demo_corpus: Corpus) -> None:
    found = gather(demo_corpus, Wish(device="nonesuch"))
    assert not found.examples
    assert "pedal bass" in found.remarks[0]
    assert dict(device_kinds(demo_corpus))["pedal bass"] > 0
