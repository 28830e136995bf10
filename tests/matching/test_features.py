"""Features worked by hand, and what must not change them; the order that they make."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import pytest

from melodex.corpus.chunks import encode_notes
from melodex.matching.align import align
from melodex.matching.chance.fit import Fit, Null
from melodex.matching.evidence.features import (
    FEATURES,
    USUAL_DECAY,
    features_of,
    question_of,
)
from melodex.matching.evidence.ngrams import ngrams_of, overlap
from melodex.matching.evidence.ranking import (
    WEIGHTS_IN_TIME,
    WEIGHTS_OF_PITCH,
    WEIGHTS_WITHOUT_METRE,
    explained,
    ranked,
    reorder,
)
from melodex.matching.query import encode_query
from melodex.matching.search import Hit
from melodex.melody import Melody, Phrase
from melodex.reading.abc.reader import read_abc
from melodex.settings import NGRAM_LENGTH, AlignmentCosts

COSTS = AlignmentCosts()
HEAD = "X:1\nT:Salt Stair\nM:4/4\nL:1/4\n"
TUNE = "K:C\nC E G F | E D E F | G A G F | D E D C |]\n"
FIT = Fit(0.3, -2.0, Null((10,) * 50, (40,) * 50, 8), (0.0, 0.0, 0.0))


def melody(text: str) -> Melody:
    return read_abc(HEAD + text).tunes[0].melody


def hit_of(phrase: Phrase, tune: Melody, tune_id: str = "00000000000a0000") -> Hit:
    found = align(encode_query(phrase), *encode_notes(tune), COSTS)
    assert found is not None
    return Hit(
        tune_id,
        found.points,
        found.transposition_semitones,
        found.query_span,
        found.tune_span,
        found,
        0,
        len(tune),
    )


def counts_of(phrase: Phrase, tunes: int = 5) -> dict[tuple[int, ...], int]:
    return dict.fromkeys(ngrams_of(encode_query(phrase).pitch), tunes)


def weighed(phrase: Phrase, tune: Melody) -> dict[str, float]:
    question = question_of(phrase, encode_query(phrase), FIT, counts_of(phrase), 1000)
    values = features_of(question, hit_of(phrase, tune), tune)
    return dict(zip(FEATURES, values, strict=True))


def passage(text: str = TUNE, first: int = 0, last: int = 7) -> Phrase:
    return Phrase(melody(text).excerpt(first, last), "passage", first_note=first)


def test_a_passage_agrees_with_its_own_tune_in_everything() -> None:
    found = weighed(passage(), melody(TUNE))
    for name in ("function", "metre", "beats", "rhythm", "figures", "opening", "place"):
        assert found[name] == pytest.approx(1), name
    # Seven steps between eight notes.
    assert found["spacing"] == found["contour"] == pytest.approx(7 / 8)
    for name in ("merging", "phrasing"):
        assert found[name] == 0, name


@pytest.mark.parametrize(
    "moved",
    [
        "K:Eb\nE G B A | G F G A | B c B A | F G F E |]\n",
        "K:A\nA, C E D | C B, C D | E F E D | B, C B, A, |]\n",
    ],
)
def test_a_tune_in_another_key_is_as_good(moved: str) -> None:
    assert weighed(passage(), melody(moved)) == weighed(passage(), melody(TUNE))


def test_a_split_note_is_known_as_one() -> None:
    # The sixth note is struck twice, half as long each time: one note is left over.
    split = melody("K:C\nC E G F | E D/ D/ E F | G A G F | D E D C |]\n")
    assert weighed(passage(), split)["merging"] == 1 / 8
    # A note that was put in and takes its time is not part of its neighbour.
    added = melody("K:C\nC E G F | E D D E F | G A G F | D E D C |]\n")
    assert weighed(passage(), added)["merging"] == 0


def test_a_phrase_without_rhythm_says_nothing_of_time() -> None:
    typed = replace(passage(), notation="degrees", has_rhythm=False)
    found = weighed(typed, melody(TUNE))
    for name in ("metre", "beats", "rhythm", "spacing", "merging"):
        assert found[name] == 0, name
    assert found["opening"] == found["place"] == 0
    assert found["function"] == 1


def test_a_phrase_without_a_tonic_says_nothing_of_function() -> None:
    assert weighed(replace(passage(), has_tonic=False), melody(TUNE))["function"] == 0


def test_the_same_shape_on_another_degree_is_another_function() -> None:
    # 1 3 5 4 of C as 4 6 8 7 flat of G: the same steps.
    found = weighed(passage(last=3), melody("M:3/4\nK:G\nC E G | =F G A | B3 |]\n"))
    assert (found["function"], found["metre"]) == (-1, -1)
    assert found["contour"] == 3 / 4


def test_shared_figures_weigh_what_the_overlap_says() -> None:
    phrase = passage()
    tune = melody("K:C\nC E G F | E D E G | C E G F | E C C C |]\n")
    query = encode_query(phrase)
    counts = {n: 3 * k for k, n in enumerate(sorted(ngrams_of(query.pitch)), start=1)}
    question = question_of(phrase, query, None, counts, 1000)
    values = features_of(question, hit_of(phrase, tune), tune)
    found = dict(zip(FEATURES, values, strict=True))
    share = overlap(query.pitch, encode_notes(tune)[0], counts, 1000).share
    assert found["figures"] == pytest.approx(share)
    assert 0 < found["repeats"] < found["figures"]
    assert len(ngrams_of(query.pitch)) == 8 - NGRAM_LENGTH


def test_phrases_that_begin_together_speak_for_each_other() -> None:
    # By hand: the second phrase begins at the same note, or one note before it.
    def parted(place: int) -> Melody:
        tune = melody(TUNE)
        return replace(tune, phrase=tuple(int(n >= place) for n in range(len(tune))))

    phrase = Phrase(parted(4).excerpt(0, 7), "passage")
    assert weighed(phrase, parted(4))["phrasing"] == 1 / 8
    assert weighed(phrase, parted(3))["phrasing"] == -2 / 8
    assert weighed(phrase, melody(TUNE))["phrasing"] == 0


def test_another_place_in_the_tune_is_further_off() -> None:
    # The last four notes of the second line are those of the first, four bars later.
    tune = melody("K:C\nC E G F | G A B c | d c B A | G2 G2 | C E G F |]\n")
    found = weighed(passage(last=3), tune)
    later = weighed(Phrase(tune.excerpt(14, 17), "passage", first_note=14), tune)
    assert (found["opening"], found["place"]) == (1, 1)
    assert later["opening"] == -1
    assert later["place"] == pytest.approx(math.exp(-4 / 2))
    assert found["repeats"] == 0


def test_where_chance_is_unknown_points_and_length_stand_for_it() -> None:
    phrase, tune = passage(), melody(TUNE)
    question = question_of(phrase, encode_query(phrase), None, counts_of(phrase), 9)
    values = features_of(question, hit_of(phrase, tune), tune)
    found = dict(zip(FEATURES, values, strict=True))
    # 32 points for eight notes, 16 notes in the tune.
    expected = (USUAL_DECAY * 32 - math.log(16)) / math.log(10)
    assert found["chance"] == pytest.approx(expected)


def test_chance_is_the_decades_of_what_is_expected() -> None:
    found = weighed(passage(), melody(TUNE))
    expected = FIT.log_alignments(32, 16)
    assert 10 ** -found["chance"] == pytest.approx(math.exp(expected))


def test_evidence_is_the_sum_that_is_explained() -> None:
    phrase, tune = passage(), melody(TUNE)
    question = question_of(phrase, encode_query(phrase), FIT, counts_of(phrase), 1000)
    entry = ranked(question, hit_of(phrase, tune), tune)
    assert set(WEIGHTS_IN_TIME) | set(WEIGHTS_OF_PITCH) == set(FEATURES)
    first, *lines = explained(entry)
    assert first.startswith(f"evidence {entry.evidence:.2f}")
    parts = [float(line.split("=")[0]) for line in lines]
    assert sum(parts) == pytest.approx(entry.evidence, abs=0.01 * len(parts))
    assert all(abs(a) >= abs(b) for a, b in pairwise(parts))


def test_the_weights_go_with_what_is_known_of_the_phrase() -> None:
    def weights_of(phrase: Phrase) -> object:
        query, counts = encode_query(phrase), counts_of(phrase)
        question = question_of(phrase, query, FIT, counts, 1000)
        return ranked(question, hit_of(phrase, melody(TUNE)), melody(TUNE)).weights

    free = replace(passage().melody, metres=())
    assert weights_of(passage()) is WEIGHTS_IN_TIME
    assert weights_of(Phrase(free, "degrees")) is WEIGHTS_WITHOUT_METRE
    assert weights_of(Phrase(free, "degrees", has_rhythm=False)) is WEIGHTS_OF_PITCH


def test_equal_evidence_keeps_the_order_of_the_alignment() -> None:
    phrase, tune = passage(), melody(TUNE)
    question = question_of(phrase, encode_query(phrase), FIT, counts_of(phrase), 1000)
    other = melody("M:3/4\nK:F\nc A/ G/ ^F ^G | A3 | c A B | d3 |]\n")
    hits = [hit_of(phrase, other, "1" * 12), *(hit_of(phrase, tune, c * 12) for c in "cab")]
    melodies = {hit.tune_id: tune for hit in hits} | {"1" * 12: other}
    found = [entry.hit.tune_id[0] for entry in reorder(question, hits, melodies)]
    assert found == ["c", "a", "b", "1"]
