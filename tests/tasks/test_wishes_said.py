"""Wishes as people say them: in other words and languages, several at once, none of these.

What is expected is counted in plain SQL, or is what the plain form of the wish finds.
"""

from __future__ import annotations

from typing import Any

import pytest

from melodex.corpus.reader import Corpus
from melodex.errors import AnalysisError
from melodex.tasks.gather.counts import tunes_inside
from melodex.tasks.gather.gather import gather
from melodex.tasks.gather.reasons import why_none
from melodex.tasks.gather.wish import Wish, wish_said


def of_one(name: str, value: str) -> Wish:
    asked: dict[str, Any] = {name: value}
    return Wish(**asked)


@pytest.mark.parametrize(
    ("name", "said", "plain"),
    [
        ("metre", "3/4 time", "3/4"),
        ("metre", "in 3/4", "3/4"),
        ("metre", "waltz time", "3/4"),
        ("metre", "six eight", "6/8"),
        ("metre", "Twelve-eight", "12/8"),
        ("key", "d-moll", "D minor"),
        ("key", "B-Dur", "Bb"),
        ("key", "Es dur", "Eb"),
        ("key", "ré mineur", "D minor"),
        ("key", "si bémol majeur", "Bb"),
        ("key", "mi♭ maggiore", "Eb"),
        ("key", "sol", "G"),
        ("tonic", "fa", "F"),
        ("mode", "moll", "minor"),
        ("mode", "Dorian mode", "dorian"),
        ("length", "32 bars", "32"),
        ("plan", "ABA form", "ABA"),
        ("key_change", "up a tone", "up a whole tone"),
        ("returning", "Sequences", "sequence"),
        ("key_change", "up a whole step", "up a whole tone"),
    ],
)
def test_a_wish_in_other_words_finds_what_the_plain_one_finds(
    demo_corpus: Corpus, name: str, said: str, plain: str
) -> None:
    expected = tunes_inside(demo_corpus, of_one(name, plain))
    assert expected
    assert tunes_inside(demo_corpus, of_one(name, said)) == expected


def test_one_of_several_and_none_of_them_are_all_tunes(demo_corpus: Corpus) -> None:
    for name, one, other in (("metre", "6/8", "3/4"), ("kind", "jig", "reel")):
        first, second = (tunes_inside(demo_corpus, of_one(name, x)) for x in (one, other))
        assert first
        assert second
        for said in (f"{one} or {other}", f"{one}, {other}"):
            assert tunes_inside(demo_corpus, of_one(name, said)) == first | second
        rest = tunes_inside(demo_corpus, of_one(name, f"not {one} or {other}"))
        assert not rest & (first | second)
        assert len(rest) + len(first | second) == demo_corpus.tune_count


def test_a_title_may_have_such_words_itself(demo_corpus: Corpus) -> None:
    assert gather(demo_corpus, Wish(title="slack or water")).tunes == 0


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("kind jig and key D", ("kind jig", "key D")),
        ("metre 6/8, key G", ("metre 6/8", "key G")),
        ("key: D minor", ("key D minor",)),
        ("kind=jig", ("kind jig",)),
        ("jigs in D", ("kind jigs", "key D")),
        ("6/8; minor", ("metre 6/8", "mode minor")),
        ("E minor", ("key E minor",)),
        ("1930s; G", ("key G", "decade 1930s")),
        ("not kind jig", ("kind not jig",)),
        ("title Lock and key in D; mode minor", ("mode minor", "title Lock and key in D")),
        ("maker Smith and key Jones", ("maker Smith and key Jones",)),
    ],
)
def test_wishes_in_one_line_are_parted_and_named_as_meant(
    text: str, told: tuple[str, ...]
) -> None:
    assert sorted(wish_said(text).told()) == sorted(told)


@pytest.mark.parametrize("key", ["cs dur", "hs moll", "bs-Dur"])
def test_a_german_name_that_is_none_is_no_key(demo_corpus: Corpus, key: str) -> None:
    """It ended in a traceback."""
    with pytest.raises(AnalysisError, match="is no key"):
        gather(demo_corpus, Wish(key=key))


def test_what_is_no_wish_says_how_to_write_one() -> None:
    with pytest.raises(AnalysisError, match="kind jig; key D"):
        wish_said("nice ones")


def test_why_there_are_none_agrees_with_what_a_wish_finds(demo_corpus: Corpus) -> None:
    (_, kinds) = why_none(demo_corpus, Wish(kind="jigg"))
    assert f"jig ({gather(demo_corpus, Wish(kind='jig')).tunes})" in kinds
    (_, lyrics) = why_none(demo_corpus, Wish(lyrics="lantern"))
    assert lyrics == "No tune of this corpus has words that are sung."
    assert any(
        "nearest" in said for said in why_none(demo_corpus, Wish(key="h-moll or C#"))
    )
