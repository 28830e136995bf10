"""The search: the exhaustive result, whatever is left unaligned."""

from __future__ import annotations

import random
from array import array
from collections.abc import Callable
from dataclasses import replace
from types import SimpleNamespace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from melodex.corpus.chunks import PackedChunk, TuneNotes
from melodex.corpus.packing import pack, unpack
from melodex.errors import DamagedCorpusError, EmptyMelodyError, PhraseError, SettingsError
from melodex.matching.contour import CONTOUR_COSTS, search_contour, signs_of
from melodex.matching.engine.choice import ENGINE_VARIABLE, Engine, engine
from melodex.matching.evidence.figures import count_figures, figure_of_steps, tunes_holding
from melodex.matching.evidence.ngrams import ngrams_of, overlap
from melodex.matching.query import EncodedQuery
from melodex.matching.search import Hit, search
from melodex.settings import AlignmentCosts
from tests.plain.plain_alignment import plain_contour, plain_holding, plain_search

Melodies = Callable[[int, int], tuple[bytes, bytes]]


@settings(max_examples=40, deadline=None)
@given(data=st.data())
def test_best_tunes_are_those_of_aligning_every_tune(
    data: st.DataObject, drawn: SimpleNamespace
) -> None:
    query, costs = data.draw(drawn.queries), data.draw(drawn.costs)
    chunk = data.draw(drawn.corpora)
    limit = data.draw(st.integers(1, 6))
    left_out = frozenset(t.tune_id for t in unpack(chunk)[: data.draw(st.integers(0, 3))])
    hits = search([chunk], query, limit=limit, costs=costs, exclude=left_out)
    expected = plain_search([chunk], query, limit, costs, left_out)
    assert [(hit.tune_id, hit.alignment) for hit in hits] == expected


@pytest.mark.parametrize("length", [5, 12, 24, 40, 80])
def test_melodies_are_ranked_as_if_all_had_been_aligned(
    length: int, each_engine: Engine, walks: list[PackedChunk], melody: Melodies
) -> None:
    query = EncodedQuery(*melody(40 + length, length))
    costs = AlignmentCosts()
    tunes = [tune for chunk in walks for tune in unpack(chunk)]
    points = each_engine.best([(t.pitch, t.length_class) for t in tunes], query, costs)
    ranking = sorted(
        (-found[0], tune.tune_id) for found, tune in zip(points, tunes, strict=True)
    )
    hits = search(walks, query, limit=20, costs=costs)
    assert [(-hit.points, hit.tune_id) for hit in hits] == ranking[:20]
    assert [hit.runner_up_points for hit in hits] == [-p for p, _ in ranking[1:21]]


def test_both_engines_give_the_same_hits(
    walks: list[PackedChunk], melody: Melodies, monkeypatch: pytest.MonkeyPatch
) -> None:
    for seed in range(12):
        query = EncodedQuery(*melody(seed, 6 + 4 * seed))
        found: dict[str, list[Hit]] = {}
        for name in ("c", "numpy"):
            monkeypatch.setenv(ENGINE_VARIABLE, name)
            assert engine().name == name
            found[name] = search(walks, query, limit=15)
        assert found["c"] == found["numpy"]
        assert len(found["c"]) == 15


def test_order_of_tunes_and_chunks_changes_no_ranking(
    walks: list[PackedChunk], melody: Melodies, each_engine: Engine
) -> None:
    query = EncodedQuery(*melody(9, 12))
    tunes = [tune for chunk in walks for tune in unpack(chunk)]
    random.Random(4).shuffle(tunes)
    mixed = [pack(tunes[:17]), pack(tunes[17:500]), pack(tunes[500:])]
    assert search(mixed, query) == search(walks, query)


def test_a_copy_in_another_key_comes_first(
    walks: list[PackedChunk], melody: Melodies, each_engine: Engine
) -> None:
    pitch, classes = melody(123, 60)
    query = EncodedQuery(bytes(p + 5 for p in pitch[20:34]), classes[20:34])
    copy = pack([TuneNotes("0000000000ff0000", pitch, classes)])
    hit = search([*walks, copy], query, exclude=frozenset({f"{123 * 104729:012x}0000"}))[0]
    assert hit.tune_id == "0000000000ff0000"
    assert (hit.transposition_semitones, hit.tune_span) == (-5, (20, 33))
    assert hit.points == 14 * 4
    assert hit.note_count == 60


def test_equal_points_fall_to_the_lower_tune_id(
    melody: Melodies, each_engine: Engine
) -> None:
    notes = melody(5, 30)
    ids = [f"{n:012x}0000" for n in (900, 3, 77, 12)]
    chunks = [pack([TuneNotes(tune_id, *notes)]) for tune_id in ids]
    query = EncodedQuery(notes[0][:10], notes[1][:10])
    hits = search(chunks, query, limit=3)
    assert [hit.tune_id for hit in hits] == sorted(ids)[:3]
    assert hits[-1].runner_up_points == hits[-1].points


def test_a_damaged_chunk_is_named_and_the_others_answer(
    walks: list[PackedChunk], melody: Melodies, each_engine: Engine
) -> None:
    query = EncodedQuery(*melody(9, 12))
    bad = replace(walks[1], notes=walks[1].notes[:-3], number=8)
    chunks = [walks[0], bad, walks[2]]
    with pytest.raises(DamagedCorpusError, match="chunk 8"):
        search(chunks, query)
    damage: list[DamagedCorpusError] = []
    hits = search(chunks, query, on_damage=damage.append)
    assert [error.where for error in damage] == ["chunk 8"]
    assert hits == search([walks[0], walks[2]], query)


def test_a_corpus_without_tunes_has_no_matches(each_engine: Engine) -> None:
    query = EncodedQuery(bytes([60, 62]), bytes(2))
    assert search([], query) == []
    assert search([pack([]), pack([TuneNotes("00000000000a0000", b"", b"")])], query) == []


@pytest.mark.parametrize(
    ("name", "tune_notes", "phrase_notes"),
    [("c", 100_000, 200), ("c", 5000, 1000), ("numpy", 2000, 50)],
)
def test_long_phrases_and_long_tunes_work(
    name: str,
    tune_notes: int,
    phrase_notes: int,
    melody: Melodies,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv(ENGINE_VARIABLE, name)
    pitch, classes = melody(1, tune_notes)
    long_tune = TuneNotes("00000000000a0000", pitch, classes)
    short = [TuneNotes(f"{n + 11:012x}0000", *melody(n, 50)) for n in range(2, 40)]
    first = tune_notes * 7 // 10
    part = slice(first, first + phrase_notes)
    query = EncodedQuery(pitch[part], classes[part])
    hit = search([pack([long_tune, *short])], query, limit=1)[0]
    assert hit.points == 4 * phrase_notes
    assert hit.tune_span == (first, first + phrase_notes - 1)


def test_a_phrase_too_long_for_its_costs_is_refused(melody: Melodies) -> None:
    costs = replace(AlignmentCosts(), same_pitch=(50, 40, 30, 40))
    with pytest.raises(PhraseError, match="at most 655 notes"):
        search([], EncodedQuery(*melody(1, 700)), costs=costs)


def test_no_matches_asked_for_is_a_mistake(melody: Melodies) -> None:
    with pytest.raises(SettingsError, match="at least one"):
        search([], EncodedQuery(*melody(1, 7)), limit=0)
    with pytest.raises(SettingsError, match="at least one"):
        search_contour([], [1, -1], limit=0)


def test_figures_are_counted_in_one_pass(
    walks: list[PackedChunk], each_engine: Engine
) -> None:
    figures = [figure_of_steps(steps) for steps in ([2, 2], [0, 2, -1, 3], [5, -5, 0, 1])]
    tunes = [tune for chunk in walks for tune in unpack(chunk)]
    for figure, count in zip(figures, count_figures(walks, figures), strict=True):
        levels = [plain_holding(tune.pitch, figure) for tune in tunes]
        assert count.exact == levels.count(2)
        assert count.near == levels.count(2) + levels.count(1)
        assert count.tunes == len(tunes)
        holding = [t.tune_id for t, n in zip(tunes, levels, strict=True) if n == 2]
        assert tunes_holding(walks, figure) == sorted(holding)
        assert len(tunes_holding(walks, figure, allow_change=True)) == count.near


@pytest.mark.parametrize("length", [5, 12, 64, 70, 200])
def test_parts_of_a_phrase_are_counted_together_as_one_by_one(
    walks: list[PackedChunk], each_engine: Engine, melody: Melodies, length: int
) -> None:
    phrase = melody(5, length)[0]
    cuts = [phrase[first : first + 5] for first in range(0, length - 4, 7)]
    cuts += [phrase[-6:], phrase[:9], bytes([60, 66, 61, 67]), phrase[:5]]
    moved = [bytes(note + 1 for note in cuts[0]), *cuts]
    alone = [count_figures(walks[:1], [figure])[0] for figure in moved]
    assert count_figures(walks[:1], moved) == alone
    assert count_figures(walks[:1], moved, within=phrase) == alone
    assert count_figures(walks[:1], [], within=phrase) == []


@pytest.mark.parametrize(
    ("figure", "error"), [(bytes(1), EmptyMelodyError), (bytes(65), PhraseError)]
)
def test_figures_of_one_note_or_too_many_are_refused(
    figure: bytes, error: type[Exception]
) -> None:
    with pytest.raises(error, match=r"at least two|too long"):
        count_figures([], [figure])


def test_rare_shared_figures_weigh_more(walks: list[PackedChunk]) -> None:
    tune = unpack(walks[0])[0]
    phrase = tune.pitch[3:15]
    steps = sorted(ngrams_of(phrase))
    counted = count_figures(walks, [figure_of_steps(ngram) for ngram in steps])
    counts = {ngram: count.exact for ngram, count in zip(steps, counted, strict=True)}
    tunes = counted[0].tunes
    assert tunes == 600
    own = overlap(phrase, tune.pitch, counts, tunes)
    assert own.share == pytest.approx(1.0)
    assert [entry.tunes for entry in own.shared] == sorted(counts.values())
    weights = [entry.weight for entry in own.shared]
    assert weights == sorted(weights, reverse=True)
    other = overlap(phrase, unpack(walks[1])[5].pitch, counts, tunes)
    assert 0 <= other.share < 1


def test_contour_search_is_exhaustive_and_pairs_notes(
    walks: list[PackedChunk], each_engine: Engine, melody: Melodies
) -> None:
    pitch, _ = melody(77, 60)
    signs = signs_of(pitch[10:30])
    tunes = [tune for chunk in walks for tune in unpack(chunk)]
    codes = [sign + 1 for sign in signs]
    ranking = sorted(
        (-plain_contour(t.pitch, codes, CONTOUR_COSTS), t.tune_id) for t in tunes
    )
    hits = search_contour(walks, signs, limit=10)
    assert [(-hit.points, hit.tune_id) for hit in hits] == ranking[:10]
    for hit in hits:
        paired = [pair for pair in hit.alignment.pairs if None not in pair]
        assert len(paired) > hit.points // 2
        assert hit.query_span == (paired[0][0], paired[-1][0])


@pytest.mark.parametrize("signs", [[1], [2, 1], [1] * 5000])
def test_contours_that_are_none_are_refused(signs: list[int]) -> None:
    with pytest.raises((EmptyMelodyError, PhraseError), match="contour"):
        search_contour([], signs)


def test_thread_count_changes_no_result(
    walks: list[PackedChunk], melody: Melodies, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(ENGINE_VARIABLE, "c")
    query = EncodedQuery(*melody(31, 16))
    one = search(walks, query)
    monkeypatch.setattr(engine(), "thread_count", 1, raising=False)
    assert search(walks, query) == one
    monkeypatch.setattr(engine(), "thread_count", 5, raising=False)
    assert search(walks, query) == one
    assert array("H", engine().bounds([walks[0]], [()], query, AlignmentCosts())[0])
