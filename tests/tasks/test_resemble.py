"""resemble: the tune comes up first, in any key, with the notes that are shared."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from melodex.corpus.reader import Corpus
from melodex.errors import PassageError, PhraseError, SettingsError, UnknownTuneError
from melodex.matching.chance.fit import Fit, Null
from melodex.matching.chance.sample import NULL_SAMPLE
from melodex.matching.contour import signs_of
from melodex.matching.engine.choice import ENGINE_VARIABLE
from melodex.matching.evidence.commonness import Commonness
from melodex.matching.query import encode_query
from melodex.matching.search import search
from melodex.presentation.text.forms import as_text
from melodex.presentation.text.style import Style
from melodex.settings import AlignmentCosts
from melodex.tasks.adding.add import add_paths
from melodex.tasks.resemble import how_sure, resemble, said_phrase


def titles(corpus: Corpus, text: str, **said: str) -> list[str]:
    found = resemble(corpus, said_phrase(corpus, text, **said))
    return [match.passage.whole.title for match in found.matches]


@pytest.mark.parametrize(
    "typed",
    [
        "1 3 5 4 3 2 3 4",  # scale degrees
        "+4 +3 -2 -1 -2 +2 +1",  # steps in semitones
        "K:Ab A c e d c B c d",  # ABC, a sixth away
    ],
)
def test_a_phrase_in_any_notation_and_key_finds_its_tune_first(
    corpus: Corpus, typed: str
) -> None:
    assert titles(corpus, typed)[0] in {"Salt Stair", "Slow Stair"}
    assert set(titles(corpus, typed)[:2]) == {"Salt Stair", "Slow Stair"}


def test_rhythm_decides_between_equal_pitches(corpus: Corpus) -> None:
    assert titles(corpus, "1*2 3*2 5*2 4*2 3*2 2*2")[0] == "Slow Stair"
    assert titles(corpus, "1*1 3*1 5*1 4*1 3*1 2*1")[0] == "Salt Stair"


def test_the_match_names_bars_notes_and_the_way_from_key_to_key(corpus: Corpus) -> None:
    found = resemble(corpus, said_phrase(corpus, "K:D D2 G G2 E"))
    match = found.matches[0]
    # Far Bell in E flat begins 1 5 5 3; the phrase is 1 4 4 2 in D: another degree.
    phrase = resemble(corpus, said_phrase(corpus, "K:D D2 A A2 F")).matches[0]
    assert phrase.passage.whole.title == "Far Bell"
    assert (phrase.passage.melody.bar[0], phrase.passage.melody.bar[-1]) == (1, 1)
    assert phrase.tune_notes == (0, 3)
    assert phrase.query_notes == (0, 3)
    assert phrase.likeness.transposition_semitones == 1
    assert phrase.likeness.same_function
    assert match.points <= phrase.points


def test_points_are_the_sum_over_the_pairs_shown(corpus: Corpus) -> None:
    # By hand: four equal pitches and lengths at 4 points each.
    found = resemble(corpus, said_phrase(corpus, "1*1 3*1 5*1 4*1"))
    assert found.matches[0].points == 16 == found.most_points


def test_the_same_steps_on_another_degree_are_said_to_be_so(corpus: Corpus) -> None:
    # 4 6 1' 7b of F major are the steps of 1 3 5 4: +4 +3 -2.
    found = resemble(corpus, said_phrase(corpus, "4 6 1' b7"))
    match = next(m for m in found.matches if m.passage.whole.title == "Salt Stair")
    assert not match.likeness.same_function
    assert {pair.relation for pair in match.likeness.pairs} == {"same shape"}


def test_a_passage_of_the_corpus_does_not_find_its_own_tune_unless_asked(
    corpus: Corpus,
) -> None:
    phrase = said_phrase(corpus, origin="Salt Stair, dark", bars="1-2")
    assert len(phrase.melody) == 8
    found = resemble(corpus, phrase)
    assert "Salt Stair, dark" not in [m.passage.whole.title for m in found.matches]
    with_self = resemble(corpus, phrase, include_self=True)
    assert with_self.matches[0].passage.whole.title == "Salt Stair, dark"
    assert with_self.matches[0].points == with_self.most_points


def test_a_contour_finds_every_tune_that_moves_so(corpus: Corpus) -> None:
    found = titles(corpus, "+ + - - - + + + + - - - + - -")
    assert set(found[:3]) >= {"Salt Stair", "Salt Stair, dark", "Slow Stair"}


def test_matches_with_the_same_notes_are_folded_and_a_commonplace_is_said_first(
    tmp_path: Path,
) -> None:
    text = "".join(
        f"X:{n}\nT:Tune {n}\nL:1/4\nK:C\nC D E G | {' '.join('ABcdefg'[n % 7 :])} c |]\n\n"
        for n in range(1, 8)
    )
    (tmp_path / "book.abc").write_text(text, encoding="utf-8")
    add_paths(tmp_path / "corpus", [tmp_path / "book.abc"])
    with Corpus.open(tmp_path / "corpus") as corpus:
        found = resemble(corpus, said_phrase(corpus, "1 2 3 5"))
        timed = resemble(corpus, said_phrase(corpus, "1*1 2*1 3*1 5*1"), explain=True)
    assert found.foreword[0].startswith("This phrase is a commonplace: 7 tunes hold all")
    lines = as_text(found, Style()).splitlines()
    assert lines[2].startswith("This phrase is a commonplace")
    assert "   The same in 6 more:" in lines
    assert sum(line.startswith("  degree") for line in lines) == 2
    for rank in range(2, 8):
        assert any(line.startswith(f"   {rank}  Tune ") for line in lines)
    # Whoever asks why sees each.
    assert "The same in" not in as_text(timed, Style())


def test_what_chance_may_well_bring_is_not_called_distinctive() -> None:
    common = Commonness(5, 0, 2, 60, "distinctive")
    assert common.beside(0.001).startswith("distinctive: 0 of 60")
    assert common.beside(None).startswith("distinctive: 0 of 60")
    assert common.beside(0.1).startswith("rare, yet not telling: 0 of 60")
    assert Commonness(5, 9, 9, 60, "stock figure").beside(4.0).startswith("stock figure")


def test_a_contour_finds_first_whatever_holds_it_wherever_it_stands(
    demo_corpus: Corpus,
) -> None:
    text = "+ + - - + - + +"
    signs = tuple({"+": 1, "-": -1}[sign] for sign in text.split())
    rows = demo_corpus.query("SELECT tune_id FROM tune")
    melodies = demo_corpus.melodies(row[0] for row in rows)
    holding = {
        tune_id
        for tune_id, tune in melodies.items()
        if any(
            signs_of(tune.midi[k : k + len(signs) + 1]) == signs
            for k in range(len(tune.midi) - len(signs))
        )
    }
    assert 3 <= len(holding) < len(melodies)
    found = resemble(demo_corpus, said_phrase(demo_corpus, text), limit=len(melodies))
    first = found.matches[: len(holding)]
    assert {match.tune_id for match in first} == holding
    assert [match.tune_id for match in first] == sorted(holding)
    for match in first:
        assert signs_of(match.passage.melody.midi) == signs
        assert match.points == found.most_points == 2 * len(signs)
        assert {pair.relation for pair in match.likeness.pairs} == {"same direction"}
        assert match.expected_by_chance is None
    others = found.matches[len(holding) :]
    assert all(match.points < found.most_points for match in others)
    assert any(
        pair.relation in {"other direction", "no partner"}
        for match in others
        for pair in match.likeness.pairs
    )
    lines = as_text(found, Style()).splitlines()
    assert any("● same direction" in line for line in lines[-4:])
    assert lines[4].split() == ["contour", *text.split()]
    assert "by chance is not worked out" in lines[-1]
    few = resemble(demo_corpus, said_phrase(demo_corpus, text), limit=2)
    assert few.foreword[0].startswith("More tunes than these 2 have all of the contour.")
    assert [m.tune_id for m in few.matches] == sorted(holding)[:2]


def test_the_same_question_gives_the_same_answer(corpus: Corpus) -> None:
    first = resemble(corpus, said_phrase(corpus, "1 3 5 4 3"))
    assert first == resemble(corpus, said_phrase(corpus, "1 3 5 4 3"))
    assert [match.rank for match in first.matches] == list(range(1, len(first.matches) + 1))


def test_the_order_of_the_alignment_is_that_of_points(corpus: Corpus) -> None:
    phrase = said_phrase(corpus, "K:C\nC E G F E")
    by_points = resemble(corpus, phrase, order="alignment")
    points = [match.points for match in by_points.matches]
    assert points == sorted(points, reverse=True)
    assert by_points.order == "alignment"
    assert {match.evidence for match in by_points.matches} == {None}
    by_evidence = resemble(corpus, phrase)
    assert by_evidence.order == "evidence"
    evidence = [match.evidence for match in by_evidence.matches]
    assert evidence == sorted(evidence, key=lambda value: -(value or 0.0))
    # The same tunes with the same points, in whatever order.
    assert sorted(points, reverse=True) == sorted(
        (match.points for match in by_evidence.matches), reverse=True
    )


def test_it_is_said_where_more_points_come_after_fewer(corpus: Corpus) -> None:
    # In three beats, as Kelp Round is; Salt Stair has the pitches and another metre.
    for text in ("K:F F2 G2 A2 c4 A2", "M:3/4\nK:C\nC E G F E D", "1 3 5 4 3 2"):
        found = resemble(corpus, said_phrase(corpus, text))
        points = [match.points for match in found.matches]
        told = any("more points" in remark for remark in found.remarks)
        assert told == (points != sorted(points, reverse=True)), text


def test_both_engines_give_the_same_order_and_evidence(
    corpus: Corpus, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = []
    for name in ("c", "numpy"):
        monkeypatch.setenv(ENGINE_VARIABLE, name)
        found.append(resemble(corpus, said_phrase(corpus, "K:C\nC E G F E"), explain=True))
    assert found[0] == found[1]
    assert all(match.explanation for match in found[0].matches)


def test_an_order_that_is_none_is_refused(corpus: Corpus) -> None:
    with pytest.raises(SettingsError, match="no order 'fame'"):
        resemble(corpus, said_phrase(corpus, "1 3 5"), order="fame")


def test_what_the_weights_do_not_fit_has_the_order_of_the_alignment(
    corpus: Corpus,
) -> None:
    def order_of(text: str, **settings: Any) -> str:
        return resemble(corpus, said_phrase(corpus, text), **settings).order

    assert order_of("K:C\nC E G F") == "evidence"
    assert order_of("K:C\nC E G F", costs=AlignmentCosts(gap=-2)) == "alignment"
    assert order_of("+ + - -") == "alignment"
    longest = "K:C\n" + "C E G F " * 10
    assert order_of(longest) == "evidence"
    assert order_of(longest + "C") == "alignment"


@pytest.mark.parametrize(
    ("said", "error", "message"),
    [
        ({}, PhraseError, "nothing to look for"),
        ({"text": "1 3 5", "origin": "Far Bell"}, PhraseError, "both named"),
        ({"text": "1 3 5", "bars": "1-2"}, PhraseError, "those of a tune"),
        ({"origin": "Far Bell", "bars": "7-9"}, PassageError, "it has bars 1 to 4"),
        ({"origin": "Far Bell", "notes": "10-99"}, PassageError, "it has notes 1 to"),
        ({"origin": "No Such Tune"}, UnknownTuneError, "No Such Tune"),
        ({"origin": "Salt"}, UnknownTuneError, "Salt Stair"),
    ],
)
def test_what_cannot_be_looked_for_is_said(
    corpus: Corpus, said: dict[str, Any], error: type[Exception], message: str
) -> None:
    with pytest.raises(error, match=message):
        said_phrase(corpus, said.pop("text", None), **said)


def test_a_tune_that_cannot_be_read_is_left_out_and_named(demo: Path) -> None:
    typed = "3 5 3 1 3 1 4 6 4 3 1"
    with Corpus.open(demo) as corpus:
        whole = resemble(corpus, said_phrase(corpus, typed), order="alignment")
    spoilt = whole.matches[1].passage.tune_id
    with closing(sqlite3.connect(demo)) as connection, connection:
        connection.execute("UPDATE tune SET melody = '{' WHERE tune_id = ?", [spoilt])
    with Corpus.open(demo) as corpus:
        found = resemble(corpus, said_phrase(corpus, typed), order="alignment")
    kept = [match.passage.tune_id for match in whole.matches]
    kept.remove(spoilt)
    assert [match.passage.tune_id for match in found.matches][: len(kept)] == kept
    assert any("Left out" in remark and spoilt in remark for remark in found.remarks)


@pytest.mark.parametrize("halved", [False, True])
@pytest.mark.parametrize("tunes", [NULL_SAMPLE, NULL_SAMPLE - 2])
def test_only_a_small_corpus_makes_expected_numbers_rough(
    corpus: Corpus, tunes: int, halved: bool
) -> None:
    # Of a phrase and of the phrase read backwards points are known of half the sample.
    part = Null((1,) * (tunes // 2), (20,) * (tunes // 2), 12)
    whole = Null((1,) * tunes, (20,) * tunes, 12)
    null = replace(part, turned=part) if halved else whole
    hits = search(corpus.chunks(), encode_query(said_phrase(corpus, "1 3 5 4 3 2 3 4")))
    told = how_sure(Fit(0.5, -2.0, null, (0.1, 0.0, 0.0)), hits)
    if tunes >= NULL_SAMPLE:
        assert told == []
    else:
        assert f"With only {tunes} tunes to measure chance on" in told[0]
        assert told[0].endswith("within a factor of about 1.4.")
