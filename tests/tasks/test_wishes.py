"""Wishes as musicians say them, and what is said where no tune meets them.

Metre, kind, key, range and tempo of the tunes here are written in their ABC fields, whose
meaning is that of the ABC standard 2.1, sections 3.1 (M:, R:, Q:, K:); which words name
one kind is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from melodex.corpus.reader import Corpus
from melodex.corpus.rows import kind_of
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import AnalysisError
from melodex.reading import read_path
from melodex.tasks.audit.whole import audit_whole
from melodex.tasks.gather.counts import tunes_left_out, tunes_said
from melodex.tasks.gather.gather import Wish, gather
from melodex.tasks.gather.wish import wish_said
from melodex.tasks.resemble import resemble, said_phrase

BOOK = """\
X:1
T:One
C:Ada Wren
R:Jigs
M:6/8
L:1/8
Q:3/8=80
K:G
GAB dBG|ABc BGE|GAB dBG|AFD G3|
w: green are the meadows
X:2
T:Two
C:Bo Larch
R:SLIP JIG
M:9/8
L:1/8
K:Em
EFG B2e e2d|BAG FED E3|
X:3
T:Three
S:1931
R:Valse
M:3/4
L:1/4
Q:1/4=150
K:Bb
B2d|f2d|c2A|B3|
X:4
T:The Hornpipe of Four
M:C
L:1/8
K:D
DFAd fdAF|GBdg bgdB|AFDF EGFE|D2F2D4|
X:5
T:Five
R:reel
M:4/4
L:1/8
K:Gmix
GABc d2BG|FGAF DEFA|GABc d2BG|AGFA G4|
"""


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Corpus]:
    folder = tmp_path_factory.mktemp("book")
    (folder / "book.abc").write_text(BOOK, encoding="utf-8")
    with CorpusWriter.open(folder / "corpus.melodex") as writer:
        writer.add_reading(read_path(folder / "book.abc"), collection="Book")
    with Corpus.open(folder / "corpus.melodex") as corpus:
        yield corpus


def met(corpus: Corpus, **wishes: str) -> str:
    """The titles that meet some wishes, by their first words."""
    found = gather(corpus, Wish(**wishes))  # type: ignore[arg-type]
    return " ".join(sorted(example.title.split()[-1] for example in found.examples))


MET = [
    ({"metre": "6/8"}, "One"),
    ({"metre": "6 / 8"}, "One"),
    ({"metre": "C"}, "Five Four"),
    ({"metre": "common time"}, "Five Four"),
    ({"metre": "compound"}, "One Two"),
    ({"kind": "jig"}, "One Two"),
    ({"kind": "JIGS"}, "One Two"),
    ({"kind": "slip jig"}, "Two"),
    ({"kind": "Waltzes"}, "Three"),
    ({"kind": "hornpipe"}, "Four"),
    ({"key": "G"}, "One"),
    ({"key": "G mixolydian"}, "Five"),
    ({"key": "E minor"}, "Two"),
    ({"key": "em"}, "Two"),
    ({"key": "B flat major"}, "Three"),
    ({"tonic": "g"}, "Five One"),
    ({"highest": "B5"}, "Four"),
    ({"lowest": "D4"}, "Five Four One Two"),
    ({"range": "D4-E5"}, "Five One Two"),
    ({"range": "up to d5"}, "Five One"),
    ({"range": "from A4"}, "Three"),
    ({"tempo": "120"}, "One"),
    ({"tempo": "140-160"}, "Three"),
    ({"tempo": "from 100"}, "One Three"),
    ({"length": "2"}, "Two"),
    ({"length": "up to 3"}, "Two"),
    ({"lyrics": "meadows green"}, "One"),
    ({"maker": "larch"}, "Two"),
    ({"title": "four hornpipe"}, "Four"),
    ({"collection": "book"}, "Five Four One Three Two"),
    ({"metre": "6/8", "key": "G", "kind": "jig"}, "One"),
]


@pytest.mark.parametrize(("wishes", "titles"), MET, ids=str)
def test_wishes_find_what_their_words_mean(
    book: Corpus, wishes: dict[str, str], titles: str
) -> None:
    assert met(book, **wishes) == titles


@pytest.mark.parametrize(
    ("wishes", "said"),
    [
        ({"metre": "5/8"}, ["No tune meets 'metre 5/8'.", "3/4 (1)"]),
        ({"kind": "polka"}, ["Kinds in this corpus: jig (2), reel (1)"]),
        ({"key": "A"}, ["the nearest first: D major (1)"]),
        ({"tempo": "61"}, ["The nearest tempos", "120 (1)"]),
        ({"highest": "C7"}, ["The nearest highest notes", "B5 (1)"]),
        ({"range": "C4-C4"}, ["The smallest range"]),
        ({"decade": "1930s"}, ["No tune meets 'decade 1930s'."]),
        ({"maker": "Ada Wrenn"}, ["The nearest names: Ada Wren"]),
        ({"title": "the hornpype of four"}, ["The nearest titles: The Hornpipe of Four"]),
        (
            {"metre": "6/8", "kind": "reel"},
            ["none meets all: metre 6/8 (1), kind reel (1)", "Without "],
        ),
    ],
    ids=str,
)
def test_what_no_tune_meets_is_explained(
    book: Corpus, wishes: dict[str, str], said: list[str]
) -> None:
    found = gather(book, Wish(**wishes))  # type: ignore[arg-type]
    assert found.tunes == 0
    for words in said:
        assert words in " ".join(found.remarks)


@pytest.mark.parametrize(
    "wishes",
    [
        *({"metre": "six"}, {"key": "H"}, {"key": "G flux"}, {"tonic": "G major"}),
        *({"range": "low"}, {"range": "C6-C4"}, {"highest": "B"}, {"tempo": "fast"}),
        *({"length": "2 bars long"}, {"decade": "thirties"}, {"plan": "--"}),
    ],
    ids=str,
)
def test_a_wish_that_is_not_understood_is_refused(
    book: Corpus, wishes: dict[str, str]
) -> None:
    with pytest.raises(AnalysisError, match=r"is no|before it|more than"):
        gather(book, Wish(**wishes))  # type: ignore[arg-type]


def test_wishes_are_read_back_as_they_are_told() -> None:
    wish = Wish(metre="6/8", key="E minor", before=1900, odd_sections=True)
    assert wish_said("; ".join(wish.told())) == wish
    for text in ("banana 3", "key", "before soon", "", ";"):
        with pytest.raises(AnalysisError):
            wish_said(text)


def test_a_search_within_looks_at_no_other_tune(book: Corpus) -> None:
    jigs = tunes_said(book, "kind jig")
    outside = tunes_left_out(book, within="kind jig")
    assert len(jigs) == 2
    assert len(outside) == 3
    assert tunes_left_out(book, without="kind jig") == jigs
    found = resemble(book, said_phrase(book, "1 2 3 5 3 1"), exclude=outside)
    assert {match.tune_id for match in found.matches} <= jigs
    assert (found.corpus_tunes, found.heading.count("2 tunes searched")) == (2, 1)
    with pytest.raises(AnalysisError, match="no tune meets"):
        tunes_left_out(book, within="kind polka")
    with pytest.raises(AnalysisError, match="no tune is left"):
        tunes_left_out(book, without="collection book")


def test_two_books_are_compared_with_each_other_alone(demo_corpus: Corpus) -> None:
    whole = audit_whole(demo_corpus, limit=50)
    pairs = {(pair.one.tune_id, pair.other.tune_id) for pair in whole.pairs}
    one, other = sorted(pairs)[0]
    sides = frozenset({one}), frozenset({other})
    (pair,) = audit_whole(demo_corpus, limit=5, sides=sides).pairs
    assert {pair.one.tune_id, pair.other.tune_id} == {one, other}
    alone = audit_whole(demo_corpus, limit=5, sides=(sides[0], sides[0]))
    assert not alone.pairs
    assert not alone.duplicates.groups


def test_the_limit_counts_groups_and_pairs_together(demo_corpus: Corpus) -> None:
    whole = audit_whole(demo_corpus, limit=1)
    assert len(whole.duplicates.groups) + len(whole.pairs) == 1
    assert whole.groups_in_all + whole.pairs_in_all > 1


def test_kinds_are_one_however_they_are_written() -> None:
    assert {kind_of(text) for text in ("Jig", "JIGS", " jigs ", "jig.")} == {"jig"}
    assert kind_of("Marches") == "march"
    assert kind_of("Blues") == "blues"
