"""The map of a corpus: tunes in clusters, each point a link, the same picture each time."""

from __future__ import annotations

import re
from itertools import combinations

import numpy as np
import pytest
from sklearn.metrics import silhouette_score

from melodex.corpus.reader import Corpus
from melodex.presentation.map.corpus import REACH, clear_of, likeness_svg, pushed_apart
from melodex.presentation.report.forms import report_html
from melodex.presentation.report.holdings import CorpusMap, panels_of
from melodex.presentation.report.paper import handout_pdf
from melodex.tasks.audit.whole import audit_whole
from melodex.tasks.collection.holdings import holdings
from melodex.tasks.collection.likeness import (
    LikenessMap,
    distances,
    grouped,
    likeness_map,
    scaled,
    silhouette,
)


@pytest.fixture
def demo_map(demo_corpus: Corpus) -> LikenessMap:
    """The tunes of the demo corpus by likeness."""
    return likeness_map(demo_corpus)


def test_every_tune_is_a_point_that_leads_to_its_row(
    demo_corpus: Corpus, demo_map: LikenessMap
) -> None:
    assert {p.row.tune_id for p in demo_map.points} == {
        row.tune_id for row in demo_corpus.tunes()
    }
    assert sum(cluster.tunes for cluster in demo_map.clusters) == len(demo_map.points)
    assert len({cluster.name for cluster in demo_map.clusters}) == len(demo_map.clusters)
    page = report_html(CorpusMap(holdings(demo_corpus), demo_map))
    leads = re.findall(r'href="#(tune-\w+)"', page)
    assert sorted(leads) == sorted(re.findall(r'<tr id="(tune-\w+)"', page))
    assert len(leads) == len(demo_map.points)


def test_waltzes_lie_with_waltzes(demo_map: LikenessMap) -> None:
    homes = {
        point.cluster
        for point in demo_map.points
        if point.row.metre == "3/4" and point.row.key.endswith("major")
    }
    assert len(homes) == 1
    assert "3/4" in demo_map.clusters[homes.pop()].name


def test_silhouettes_are_those_of_a_library(demo_corpus: Corpus) -> None:
    # scikit-learn's silhouette_score, of Rousseeuw (1987).
    random = np.random.default_rng(5)
    tunes = [bytes(random.integers(0, 5, 40).tolist()) for _ in range(30)]
    facts = [{"metre": str(k % 3), "mode": "major"} for k in range(30)]
    apart = distances(tunes, facts)
    for groups in ([k % 3 for k in range(30)], [k // 8 for k in range(30)]):
        assert silhouette(apart, groups) == pytest.approx(
            silhouette_score(apart, groups, metric="precomputed")
        )
    assert set(grouped(scaled(apart), apart)) == {1, 2, 3}


def test_the_picture_is_the_same_each_time_and_no_point_hides_another(
    demo_corpus: Corpus, demo_map: LikenessMap
) -> None:
    drawn = likeness_svg(demo_map, "#{}".format)
    assert drawn == likeness_svg(likeness_map(demo_corpus), "#{}".format)
    places = pushed_apart([(0.5, 0.5)] * 12 + [(0.1, 0.2), (0.9, 0.9)])
    assert min(np.hypot(a - c, b - d) for (a, b), (c, d) in combinations(places, 2)) > 10


def test_a_name_stands_where_it_covers_no_point() -> None:
    # A column of points, and one beside it where there is room between them.
    column = [(100.0, y) for y in np.arange(60.0, 180.0, 16.0)]
    beside = [(130.0, 100.0), (130.0, 160.0)]
    y = clear_of([*column, *beside], 100.0, 40.0, 90.0)
    assert y < 60 - REACH or y > 172 + REACH
    y = clear_of(beside, 100.0, 40.0, 100.0)
    assert all(abs(y - 4.5 - py) >= 7.5 + REACH for _, py in beside)
    assert abs(y - 100.0) <= 20
    assert clear_of([], 100.0, 40.0, 90.0) == 90.0


def test_a_corpus_of_three_tunes_has_no_plane(demo_corpus: Corpus) -> None:
    assert likeness_map(demo_corpus, most=3).points == ()


def test_panels_count_what_the_corpus_holds(demo_corpus: Corpus) -> None:
    held = holdings(demo_corpus)
    panels = dict(panels_of(held))
    assert sum(count.tune_count for count in panels["Key"]) == demo_corpus.tune_count
    decades = [count.value for count in panels["Decade"]]
    assert decades == sorted(decades)


def test_a_whole_audit_has_a_page_and_paper(demo_corpus: Corpus) -> None:
    found = audit_whole(demo_corpus, limit=2)
    page = report_html(found)
    for said in ("Near-duplicates", "Procession of Lamps", "Notes that run alike"):
        assert said in page
    assert page.count("<svg") > 2
    assert handout_pdf(found) == handout_pdf(found)
