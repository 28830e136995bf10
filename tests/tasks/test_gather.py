"""gather: the planted features come up, and a wish narrows what another found."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from melodex.corpus.reader import Corpus
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import AnalysisError, CorpusError
from melodex.reading import read_bytes
from melodex.tasks.gather.gather import Wish, device_kinds, gather
from melodex.tasks.gather.progressions import progression_from_piece

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
    "Picardy third": Wish(device="Picardy third"),
    "augmented sixth": Wish(device="augmented sixth"),
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
    assert found.remarks[0] == "No tune meets 'device nonesuch'."
    kinds = dict(device_kinds(demo_corpus))
    most = max(kinds, key=lambda kind: kinds[kind])
    assert f"{most} ({kinds[most]})" in found.remarks[1]
    near = gather(demo_corpus, Wish(device="pedal base"))
    assert near.remarks[1].startswith("Devices in this corpus: pedal bass")
    assert dict(device_kinds(demo_corpus))["pedal bass"] > 0


@pytest.mark.parametrize(
    ("wish", "named"),
    [
        (Wish(mode="lydan"), "Modes in this corpus: "),
        (Wish(modal="blue"), "Modes that colour passages in this corpus: "),
        (Wish(returning="loop"), "Figures that return in this corpus: "),
        (Wish(key_change="sideways"), "Changes of key in this corpus: "),
        (Wish(collection="nowhere"), "Collections in this corpus: "),
        (Wish(tag="unused"), "Tags in this corpus: none."),
    ],
)
def test_a_name_that_the_corpus_does_not_know_brings_those_that_it_knows(
    demo_corpus: Corpus, wish: Wish, named: str
) -> None:
    found = gather(demo_corpus, wish)
    assert not found.tunes
    assert found.remarks[1].startswith(named)


def test_known_names_that_no_tune_has_together_bring_no_list(demo_corpus: Corpus) -> None:
    found = gather(demo_corpus, Wish(mode="major", key_change="relative", title="nonesuch"))
    assert not found.tunes
    assert found.remarks == ("No tune meets 'title nonesuch'.",)


def test_a_change_of_mode_over_one_tonic_is_found(demo_corpus: Corpus) -> None:
    # corpus_demo/PLANTED.json: from A minor to A major.
    found = gather(demo_corpus, Wish(mode_change=True))
    assert "Old Copper Bell" in {example.title for example in found.examples}
    assert all("change of mode" in example.reasons[0] for example in found.examples)


def test_the_chords_of_some_bars_find_their_own_tune_first(demo_corpus: Corpus) -> None:
    text = progression_from_piece(demo_corpus, "Fog over the Basin", "3-5")
    assert "Fm" in text.split()
    found = gather(demo_corpus, Wish(progression=text))
    best = max(example.points or 0.0 for example in found.examples)
    assert best == found.examples[0].points
    own = [e for e in found.examples if e.title == "Fog over the Basin"]
    assert best in {example.points for example in own}
    assert max(own, key=lambda example: example.points or 0.0).last_bar >= 3


def test_bars_without_chords_give_no_progression(demo_corpus: Corpus) -> None:
    bare = next(
        row.tune_id
        for row in demo_corpus.tunes()
        if not demo_corpus.melody(row.tune_id).chords
    )
    with pytest.raises(AnalysisError, match="has no chords"):
        progression_from_piece(demo_corpus, bare, None)


def test_progressions_come_in_the_order_of_their_points(demo_corpus: Corpus) -> None:
    points = [e.points for e in gather(demo_corpus, Wish(progression="ii V I")).examples]
    assert None not in points
    assert points == sorted(points, key=lambda value: -(value or 0.0))
    assert len(set(points)) > 1


def test_what_was_not_looked_at_closely_is_said(
    demo_corpus: Corpus, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("melodex.tasks.gather.gather.MOST_ALIGNED", 2)
    hasty = gather(demo_corpus, Wish(progression="ii V I"), limit=2)
    assert hasty.unsure > 0
    assert "looked at closely" in hasty.remarks[0]
    whole = gather(demo_corpus, Wish(progression="ii V I"), limit=2, thorough=True)
    assert not whole.unsure
    assert hasty.tunes <= whole.tunes <= hasty.tunes + hasty.unsure
    # The likeliest are looked at first, so the best is not missed.
    assert hasty.examples[0].points == whole.examples[0].points


def test_a_count_shows_nothing_and_counts_all(demo_corpus: Corpus) -> None:
    counted = gather(demo_corpus, Wish(metre="compound"), limit=0)
    assert counted.examples == ()
    assert counted.tunes == len(titles(demo_corpus, Wish(metre="compound")))


LABELLED = """\
X:1
T:Étude in Grey
C:Añil Roe
Z:Copyright 1931 Roe
M:4/4
L:1/4
K:C
C D E F | G A B c | c B A G | F E D C |]

X:2
T:Etude in Green
C:Bo Lind
M:6/8
L:1/8
K:G
GAB c2 d | e3 d3 | cBA G2 F | G6 |]
"""


@pytest.fixture
def labelled(tmp_path: Path) -> Iterator[Corpus]:
    """Two tunes, one of them tagged, with rights and a year."""
    path = tmp_path / "labelled.melodex"
    reading = read_bytes(LABELLED.encode(), "abc", "labelled.abc")
    first, second = reading.tunes
    by = replace(first.melody.credits, year=1931, rights="Copyright Roe")
    first = replace(first, melody=replace(first.melody, credits=by))
    with CorpusWriter.open(path) as writer:
        report = writer.add_reading(
            replace(reading, tunes=(first, second)), collection="studies"
        )
        writer.tag([report.added[0]], "class")
    with Corpus.open(path) as corpus:
        yield corpus


@pytest.mark.parametrize(
    ("wish", "found"),
    [
        (Wish(title="etude"), {"Étude in Grey", "Etude in Green"}),
        (Wish(title="etude", tag="class"), {"Étude in Grey"}),
        (Wish(composer="anil"), {"Étude in Grey"}),
        (Wish(rights="copyright"), {"Étude in Grey"}),
        (Wish(rights="copyright", tag="class", after=1931, before=1931), {"Étude in Grey"}),
        (Wish(rights="copyright", after=1932), set()),
        (Wish(before=1930), set()),
        (Wish(tag="class", metre="compound"), set()),
        (Wish(collection="studies", metre="compound"), {"Etude in Green"}),
        (Wish(collection="others"), set()),
    ],
)
def test_wishes_about_credits_combine(
    labelled: Corpus, wish: Wish, found: set[str]
) -> None:
    assert titles(labelled, wish) == found


def test_many_tunes_are_shown_in_the_order_of_few(
    demo_corpus: Corpus, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = gather(demo_corpus, Wish(mode="major"))
    monkeypatch.setattr("melodex.tasks.gather.gather.SORTED_AT_ONCE", 0)
    for limit in (1, 3, 500):
        shown = gather(demo_corpus, Wish(mode="major"), limit=limit)
        assert shown.examples == whole.examples[:limit]


def test_features_of_another_version_are_refused(
    labelled: Corpus, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("melodex.tasks.gather.gather.FACET_VERSION", 0)
    with pytest.raises(CorpusError, match="another version"):
        gather(labelled, Wish(mode="major"))
