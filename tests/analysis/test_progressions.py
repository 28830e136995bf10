"""Progressions typed and found; equivalences are common practice."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from melodex.analysis.harmony.chords import parse_chord, transposed_text
from melodex.analysis.harmony.progression_search import (
    ADDED_CHORD,
    MISSING_CHORD,
    PARTING,
    alignments,
    chord_bytes,
    find_in_row,
    points_in_a_row,
    sift,
    transpositions,
)
from melodex.analysis.harmony.progressions import ChordToken, read_progression, token_of
from melodex.analysis.harmony.relations import relation
from melodex.errors import AnalysisError


def row(texts: str, tonic: int | None = None) -> list[ChordToken]:
    """The tokens of some chord symbols in a key."""
    return [
        token_of(parse_chord(text))._replace(tonic_fifths=tonic, first=place, last=place)
        for place, text in enumerate(texts.split())
    ]


def relations(progression: str, chords: str, **options) -> list[str]:
    """What the best find says of each pair."""
    matches = find_in_row(read_progression(progression), row(chords), **options)
    return [pair.relation for pair in matches[0].pairs] if matches else []


@pytest.mark.parametrize(
    ("numeral", "chord"),
    [
        # Each Roman numeral and the chord that it is in C; common practice.
        ("I", "C"),
        ("ii", "Dm"),
        ("ii7", "Dm7"),
        ("V7", "G7"),
        ("Imaj7", "Cmaj7"),
        ("bVI", "Ab"),
        ("bVII7", "Bb7"),
        ("♭III", "Eb"),
        ("iv", "Fm"),
        ("iv6", "Fm/Ab"),
        ("iiø7", "Dm7b5"),
        ("vii°7", "Bdim7"),
        ("viio7", "Bdim7"),
        ("I+", "C+"),
        ("V7/V", "D7"),
        ("V7/vi", "E7"),
        ("vii°7/ii", "C#dim7"),
        ("V65", "G7/B"),
        ("V42", "G7/F"),
        ("I64", "C/G"),
        ("I6", "C/E"),
        ("IV/5", "F/G"),
        ("I/b7", "C/Bb"),
        ("V7sus4", "G7sus4"),
        ("V7(b9)", "G7(b9)"),
        ("V7alt", "G7alt"),
        ("i(maj7)", "Cm(maj7)"),
        ("I(add6)", "C6"),
        ("#iv°7", "F#dim7"),
        ("bII", "Db"),
        ("V9", "G9"),
        ("V13", "G13"),
    ],
)
def test_a_typed_numeral_is_the_chord_that_it_names_in_c(numeral, chord):
    typed = read_progression(numeral).tokens[0]
    assert typed[1:6] == token_of(parse_chord(chord))[1:6]


@pytest.mark.parametrize(
    "text",
    [
        "Dm7 G7 Cmaj7",
        "Dm7 | G7 | Cmaj7",
        "Dm7, G7, Cmaj7",
        "Dm7 -> G7 → Cmaj7",
        "Dm7 - G7 - Cmaj7",
    ],
)
def test_chords_are_parted_in_the_usual_ways(text):
    progression = read_progression(text)
    assert progression.notation == "chords"
    assert [t.text for t in progression.tokens] == ["Dm7", "G7", "Cmaj7"]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "no progression was typed"),
        ("ii G7 I", "mixes Roman numerals and chord symbols"),
        ("Dm7 G7 Czz", "'Czz' is not understood"),
        ("Dm7 N.C.", "it is no chord"),
        ("ii Vzz", "mixes|not understood"),
        ("I " * 100, "too long"),
    ],
)
def test_what_cannot_be_looked_for_is_refused_with_a_reason(text, message):
    with pytest.raises(AnalysisError, match=message):
        read_progression(text)


@pytest.mark.parametrize("fifths", range(-5, 7))
def test_a_progression_is_found_exactly_in_every_key(fifths):
    moved = [
        transposed_text(parse_chord(t), fifths) for t in ("F", "Dm7", "G7", "Cmaj7", "F")
    ]
    for text in ("Dm7 G7 Cmaj7", "ii7 V7 Imaj7"):
        best = find_in_row(read_progression(text), row(" ".join(moved)))[0]
        assert best.exact
        assert (best.first, best.last, best.transposition_fifths) == (1, 3, fifths)


@pytest.mark.parametrize(
    ("progression", "chords", "expected"),
    [
        ("ii V I", "Dm7 G9 C6", ["with seventh", "with minor seventh", "extended"]),
        ("ii7 V7 I", "Dm7 Db7 C", ["same chord", "tritone substitute", "same chord"]),
        ("ii7 V7 I", "Dm7b5 G7b9 C", ["fifth lowered", "altered", "same chord"]),
        ("ii7 V7 I", "Dm7 Gsus4 C", ["same chord", "suspended", "same chord"]),
        (
            "ii V I",
            "Dm/F G C",
            ["same chord, over another bass", "same chord", "same chord"],
        ),
        ("I V7 I", "C Bdim7 C", ["same chord", "leading-tone chord", "same chord"]),
        ("IV V7 I", "F G7 Am", ["same chord", "same chord", "relative minor"]),
        ("ii7 V7 I", "Dm7 Am7 G7 C", ["same chord", "added", "same chord", "same chord"]),
    ],
)
def test_usual_substitutions_are_tolerated_and_named(progression, chords, expected):
    assert relations(progression, chords, least_share=0.6) == expected


def test_exact_search_takes_no_substitute_and_nothing_between():
    assert relations("ii7 V7 I", "Dm7 Db7 C", exact=True) == []
    assert relations("ii7 V7 I", "Dm7 Am7 G7 C", exact=True) == []
    assert relations("ii7 V7 I", "Dm7 G7/B C", exact=True) == [
        "same chord",
        "same chord, over another bass",
        "same chord",
    ]


def test_numerals_are_held_to_the_tonic_on_the_way_to_the_last_chord():
    progression = read_progression("ii V I")
    in_g = row("Dm G C", tonic=1)
    assert find_in_row(progression, in_g) == []
    assert len(find_in_row(progression, in_g, in_local_key=False)) == 1
    turning = [*row("Dm G", tonic=0), *row("C", tonic=1)]
    assert len(find_in_row(progression, turning)) == 1
    assert len(find_in_row(read_progression("Dm G C"), in_g)) == 1


def test_exact_finds_have_more_points_than_likely_ones():
    sought = read_progression("ii7 V7 I")
    (here,), (moved,), (likely,) = (
        find_in_row(sought, row(text)) for text in ("Dm7 G7 C", "Em7 A7 D", "Dm7 Db7 C")
    )
    assert [m.exact for m in (here, moved, likely)] == [True, True, False]
    assert here.points == moved.points > likely.points


def test_each_place_of_a_repeated_progression_is_one_find():
    found = find_in_row(read_progression("ii7 V7 I"), row("Dm7 G7 C Am Dm7 G7 C"))
    assert sorted((m.first, m.last) for m in found) == [(0, 2), (4, 6)]


CHORDS = [
    "C",
    "Dm7",
    "G7",
    "Fm",
    "Am7",
    "Db7",
    "Bdim7",
    "E7",
    "Gsus4",
    "Cmaj7",
    "F/G",
    "Abmaj7",
]
TYPED = ["ii7 V7 I", "I vi IV V", "bVI bVII I", "Dm7 G7 Cmaj7", "iv I"]


@given(st.lists(st.sampled_from(CHORDS), max_size=10), st.sampled_from(TYPED))
def test_points_are_the_sum_over_pairs_and_gaps(texts, typed):
    progression, tokens = read_progression(typed), row(" ".join(texts))
    for match in find_in_row(progression, tokens, least_share=0.4):
        total = 0.0
        for pair in match.pairs:
            if pair.wanted is None:
                total += ADDED_CHORD
            elif pair.found is None:
                total += MISSING_CHORD
            else:
                wanted, there = progression.tokens[pair.wanted], tokens[pair.found]
                total += relation(wanted, there, match.transposition_fifths)[0]
        assert match.points == pytest.approx(total, abs=2e-3)
        assert match.share <= 1


@given(
    st.lists(st.sampled_from(CHORDS), max_size=10),
    st.sampled_from(TYPED),
    st.integers(-4, 4),
)
def test_transposing_a_piece_moves_its_finds_and_changes_nothing_else(texts, typed, fifths):
    moved = [transposed_text(parse_chord(text), fifths) for text in texts]
    here = find_in_row(read_progression(typed), row(" ".join(texts)))
    there = find_in_row(read_progression(typed), row(" ".join(moved)))
    assert [(m.points, m.first, m.last, m.transposition_fifths + fifths) for m in here] == [
        (m.points, m.first, m.last, m.transposition_fifths) for m in there
    ]


@given(
    st.lists(st.sampled_from(CHORDS), min_size=1, max_size=6),
    st.integers(-4, 4),
    st.booleans(),
)
def test_the_sieve_lets_every_exact_find_through(texts, fifths, exact):
    moved = [transposed_text(parse_chord(text), fifths) for text in texts]
    data = bytes([PARTING]) + chord_bytes(row(" ".join(moved))) + bytes([PARTING])
    assert 1 in sift(read_progression(" ".join(texts)), data, exact=exact).tolist()


@pytest.mark.parametrize(
    "chords", ["Dm7 Db7 C", "Dm7b5 G7alt C6", "Dm Am7 G C", "D F Gm7 C7 F"]
)
def test_the_sieve_lets_substitutes_and_one_chord_between_through(chords):
    assert len(sift(read_progression("ii7 V7 I"), chord_bytes(row(chords))))


def test_the_sieve_keeps_out_what_shares_no_progression():
    data = chord_bytes(row("C F G Am"))
    assert sift(read_progression("ii7 V7 I"), data, exact=True).tolist() == []


@pytest.mark.parametrize("exact", [True, False])
def test_the_sieve_never_runs_from_one_piece_into_the_next(exact):
    parts = [chord_bytes(row(texts)) for texts in ("C Dm7 G7", "C Dm7", "G7 C")]
    data = bytes([PARTING]).join(parts)
    assert sift(read_progression("ii7 V7 I"), data, exact=exact).tolist() == []


@given(st.lists(st.sampled_from(CHORDS), max_size=10), st.sampled_from(TYPED))
def test_the_sieve_keeps_what_the_plain_way_keeps(texts, typed):
    tokens, wanted = row(" ".join(texts)), read_progression(typed).tokens
    plain = []
    for start in range(len(tokens)):
        for key in range(12):
            reached = {start}
            for place, token in enumerate(wanted):
                inside = (p for p in reached if p < len(tokens))
                held = {p for p in inside if stands(token, tokens[p], key)}
                last = place + 1 == len(wanted)
                reached = held if last else {p + s for p in held for s in (1, 2)}
            if reached:
                plain.append(start)
                break
    assert sift(read_progression(typed), chord_bytes(tokens)).tolist() == plain


def stands(wanted: ChordToken, found: ChordToken, key_semitones: int) -> bool:
    """Whether the family of a chord may stand for a wanted one, under any spelling."""
    bare = ChordToken("", found.root_fifths, found.family)
    return any(
        relation(wanted, bare, key)[0] > 0
        for key in range(-40, 41)
        if (7 * key - key_semitones) % 12 == 0
    )


@given(st.lists(st.sampled_from(CHORDS), max_size=8), st.sampled_from(TYPED))
def test_no_transposition_with_enough_points_is_passed_over(texts, typed):
    progression, tokens = read_progression(typed), row(" ".join(texts))
    least = 0.7 * 3.0 * len(progression.tokens)
    kept = transpositions(progression, tokens, least)
    for shift in range(-12, 13):
        if shift not in kept and any(
            True for _ in alignments(progression.tokens, tokens, shift, least)
        ):
            # Only a shift in which no root agrees as spelled may be left out.
            roots = {t.root_fifths for t in tokens}
            assert not any(w.root_fifths + shift in roots for w in progression.tokens)


@settings(deadline=None)
@given(
    st.lists(st.sampled_from(["C", "Dm7", "G7", "Am", "F", "E7", "Bb", "Fm"]), min_size=3)
)
def test_no_alignment_without_gaps_earns_more_than_its_chords_in_a_row(
    texts: list[str],
) -> None:
    progression, tokens = read_progression("ii V I"), row(" ".join(texts))
    data = chord_bytes(tokens)
    bound = points_in_a_row(progression, data, range(len(data))).tolist()
    for match in find_in_row(progression, tokens):
        found = [pair.found for pair in match.pairs]
        if None not in found and found == list(range(found[0] or 0, (found[0] or 0) + 3)):
            assert match.points <= bound[found[0] or 0] + 1e-6


def test_chords_past_the_end_and_over_a_parting_earn_nothing() -> None:
    data = chord_bytes(row("G7")) + bytes([PARTING]) + chord_bytes(row("C"))
    found = points_in_a_row(read_progression("V7 I"), data, [0, 2]).tolist()
    whole = points_in_a_row(read_progression("V7 I"), chord_bytes(row("G7 C")), [0])
    assert max(found) < whole[0]
