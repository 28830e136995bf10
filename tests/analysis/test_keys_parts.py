"""Keys of music in parts: minor under an old signature, and how a piece begins and ends.

Outside checks: the keys of Bach's chorale BWV 66.6 and of the chorale on "Meine Seele
erhebt", which end with a Picardy third (scores in music21's corpus; common practice).
"""

from __future__ import annotations

from pathlib import Path

import music21
import pytest

from melodex.analysis.harmony.chords import Chord, parse_chords
from melodex.analysis.harmony.heard.sounding import harmonised
from melodex.analysis.keys import read_keys
from melodex.analysis.keys.closes import ON_DOMINANT, ON_TONIC, ROOTED, told_by_closes
from melodex.analysis.keys.home import Home
from melodex.analysis.keys.parts import (
    at_home,
    in_minor,
    with_relatives_at_home,
    without_glances,
)
from melodex.analysis.keys.spans import BarNumbers, KeySpan
from melodex.analysis.piece import analyse
from melodex.melody import Key, KeyChange, Melody
from melodex.reading import read_path

CORPUS = Path(music21.__file__).parent / "corpus"
NO_BARS = BarNumbers(Melody())
D_DORIAN = Home(Key(2, "dorian"), 0.9, "melody and chords")


def heard(work: str) -> Melody:
    """A piece of the corpus over the chords that its notes make."""
    return harmonised(read_path(CORPUS / work).tunes[0])


def every_bar(names: list[str]) -> list[tuple[int, Chord]]:
    """Chords that are a hundred ticks long."""
    return list(zip(range(0, 100 * len(names), 100), parse_chords(names), strict=True))


def span(first: int, last: int, key: Key) -> KeySpan:
    """A span whose bars are a hundred ticks long."""
    tonic, ticks = key.tonic_fifths, (100 * first, 100 * last + 100)
    return KeySpan(first, last, *ticks, tonic, key.mode, 0.9, "chords")


@pytest.mark.parametrize(
    ("work", "last"), [("bach/bwv66.6.mxl", "F# minor"), ("bach/bwv10.7.mxl", "G minor")]
)
def test_a_minor_chorale_ends_in_its_key_though_its_last_chord_is_major(work, last):
    keys = read_keys(heard(work))
    assert str(keys.spans[-1].key) == last == str(keys.reading.key)


def test_leading_notes_make_minor_of_dorian():
    chords = list(parse_chords(["Dm", "A7", "Dm", "G", "A", "Dm"]))
    assert in_minor(D_DORIAN, chords, None).key == Key(2, "minor")


def test_a_minor_fifth_degree_leaves_dorian():
    chords = list(parse_chords(["Dm", "Am", "G", "Am", "A", "Dm", "Am"]))
    assert in_minor(D_DORIAN, chords, None).key == Key(2, "dorian")


def test_a_dorian_that_is_printed_stays():
    chords = list(parse_chords(["Dm", "A7", "Dm", "A7", "Dm"]))
    printed = KeyChange(0, Key(2, "dorian"), 0, True)
    assert in_minor(D_DORIAN, chords, printed).key == Key(2, "dorian")


def test_a_short_last_key_gives_way_to_home_under_its_tonic():
    home = Key(3, "minor")
    spans = [span(0, 7, home), span(8, 9, Key(2, "minor"))]
    assert [s.key for s in at_home(spans, every_bar(10 * ["A"]), home, NO_BARS)] == [home]
    assert len(at_home(spans, every_bar([*9 * ["A"], "D"]), home, NO_BARS)) == 2


def test_a_long_last_key_stays():
    home = Key(3, "minor")
    spans = [span(0, 4, home), span(5, 9, Key(2, "minor"))]
    assert len(at_home(spans, every_bar(10 * ["A"]), home, NO_BARS)) == 2


@pytest.mark.parametrize(
    ("opening", "ends"),
    [("Am C G7 C", [100, 400, 1600]), ("Am C F C", [1600]), ("C C G7 C", [400, 1600])],
)
def test_a_short_first_key_stays_where_a_cadence_tells_it(opening, ends):
    home = Key(3, "minor")
    spans = [span(0, 3, Key(0, "major")), span(4, 15, home)]
    chords = every_bar([*opening.split(), *12 * ["Am"]])
    assert [s.end_ticks for s in at_home(spans, chords, home, NO_BARS)] == ends


def test_a_chorale_turns_with_its_cadences():
    # Bach, chorale 13 of Riemenschneider: as the analysis in music21's corpus has it, the
    # first phrase goes to C major and the second comes back to A minor.
    keys = read_keys(heard("bach/bwv33.6.mxl"))
    assert [str(s.key) for s in keys.spans][:3] == ["A minor", "C major", "A minor"]
    assert (keys.spans[1].first_bar, keys.spans[1].last_bar) == (1, 3)
    assert str(keys.reading.key) == "A minor"


def test_a_slow_movement_turns_to_its_keys():
    # Beethoven, op. 18 no. 1, second movement: D minor, F major, D minor, D major.
    keys = [str(s.key) for s in read_keys(heard("beethoven/opus18no1/movement2.mxl")).spans]
    assert keys[0] == keys[-1] == "D minor"
    assert {"F major", "D major"} <= set(keys)


def test_dominants_of_other_degrees_are_no_colour_of_a_mode():
    # Bach, prelude BWV 846: D7 in bar 10 leads to G, C7 in bar 31 to F.
    found = analyse(heard("bach/bwv846.mxl")).modal
    assert not any(p.first_bar <= bar <= p.last_bar for p in found for bar in (10, 22, 31))


def test_a_dominant_that_goes_home_makes_no_third_relation():
    from tests.analysis.test_devices import found

    assert "third relation" not in found("C F C E Am Dm G C")
    assert "third relation" in found("C E F")


@pytest.mark.parametrize(
    ("chords", "told"),
    [
        ("Cm Fm G7 Cm Fm G7 C", True),
        ("Cm Fm Ab Cm Fm G7 C/E", False),
    ],
)
def test_a_picardy_third_stands_over_its_root(chords, told):
    from tests.analysis.test_devices import Span, found

    assert ("Picardy third" in found(chords, key=Span(mode="minor"))) is told


def test_a_relative_key_that_is_at_home_as_long_is_none():
    placed = every_bar(["Eb", "Ab", "C7", "Fm", "Ab", "Db", "C7", "Fm", "Eb7", "Ab"])
    home = Key(-4, "major")
    spans = [span(0, 7, Key(-1, "minor")), span(8, 9, home)]
    assert with_relatives_at_home(spans, placed, home) == [span(0, 9, home)]


def test_a_relative_key_that_rests_on_its_own_tonic_stays():
    placed = every_bar(["Fm", "Bbm", "C7", "Fm", "Ab", "C7", "Fm", "Fm", "Eb7", "Ab"])
    home = Key(-4, "major")
    spans = [span(0, 7, Key(-1, "minor")), span(8, 9, home)]
    assert with_relatives_at_home(spans, placed, home) == spans


def test_a_hymn_that_begins_on_its_dominant_is_in_its_key():
    keys = read_keys(heard("johnson_j_r/lift_every_voice.mxl"))
    assert str(keys.spans[0].key) == "Ab major" == str(keys.reading.key)


@pytest.mark.parametrize(
    ("chords", "centres"),
    [
        # A bar of the minor subdominant is a colour; a cadence makes a centre of it.
        ("C F Abm Ebm Abm G7 C G7", ["C major"]),
        ("C F Abm Eb7 Abm G7 C G7", ["C major", "Ab minor", "C major"]),
    ],
)
def test_a_glance_at_another_key_is_a_centre_where_a_cadence_tells_it(chords, centres):
    row = list(enumerate(parse_chords(chords.split())))
    placed = [(60 * place, chord) for place, chord in row]
    c_major, minor = Key(0, "major"), Key(-4, "minor")
    spans = [
        KeySpan(1, 2, 0, 120, 0, "major", 0.9, "chords"),
        KeySpan(2, 3, 120, 300, -4, "minor", 0.9, "chords"),
        KeySpan(4, 5, 300, 480, 0, "major", 0.9, "chords"),
    ]
    names = {c_major: "C major", minor: "Ab minor"}
    found = without_glances(spans, placed, 100)
    assert [names[span.key] for span in found] == centres


# Common practice, no source.
@pytest.mark.parametrize(
    ("chords", "ends", "most"),
    [
        ("C F G C", {3}, (0, "major")),
        ("Am E Am", {2}, (3, "minor")),
        ("Dm G Am E Am", {3}, (3, "minor")),
        ("Dm G A E A", {3}, (3, "major")),
        ("Am Dm E A", {3}, (3, "minor")),
    ],
)
def test_a_close_speaks_for_the_key_of_its_tonic_and_a_rest_for_that_of_its_dominant(
    chords, ends, most
):
    points: dict[tuple[int, str], float] = {}
    for _, tonic, mode, nats in told_by_closes(list(parse_chords(chords.split())), ends):
        points[tonic, mode] = points.get((tonic, mode), 0.0) + nats
    assert points[most] >= max(ROOTED, ON_TONIC, ON_DOMINANT)


@pytest.mark.parametrize("chords", ["C Am Dm F", "C G7/B C/E Am", "C G F Em"])
def test_within_a_phrase_only_a_rooted_dominant_that_goes_home_speaks(chords):
    assert told_by_closes(list(parse_chords(chords.split())), ()) == []


def test_a_passage_in_the_parallel_of_home_is_at_home_where_its_tonic_chord_is() -> None:
    # C. Schumann, Polonaise op. 1 no. 3 in D: I is major until bar 8, with vii of ii and V.
    keys = read_keys(heard("schumann_clara/polonaise_op1n3.mxl"))
    assert str(keys.spans[0].key) == "D major" == str(keys.reading.key)
    assert keys.spans[0].last_bar >= 8
    # The trio, in D minor, has D major as V of its iv.
    trio = [span for span in keys.spans if span.first_bar <= 30 <= span.last_bar]
    assert [str(span.key) for span in trio] == ["D minor"]
