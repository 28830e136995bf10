"""What was composed into the demo corpus is there, by another program's reading.

The notes, lengths and bars are those that music21 reads (ABC 2.1 rules, chord
symbols taken out first); chord symbols are counted in the source text. Chord tones,
scales and the meaning of devices are tables of this file: common practice, no source.
"""

from __future__ import annotations

import json
import re
import zipfile
from fractions import Fraction
from itertools import accumulate, pairwise
from pathlib import Path
from typing import NamedTuple

import pytest
from music21 import converter, meter, stream
from music21.abcFormat import ABCFile, translate

from melodex.melody import TICKS_PER_QUARTER, Melody
from melodex.reading import read_path

FOLDER = Path(__file__).parents[1] / "corpus_demo"
PLANTED = json.loads((FOLDER / "PLANTED.json").read_text(encoding="utf-8"))
SHEETS = {".abc", ".musicxml", ".mxl"}
LETTERS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
CHORD_TONES = {
    "": (0, 4, 7),
    "m": (0, 3, 7),
    "6": (0, 4, 7, 9),
    "m6": (0, 3, 7, 9),
    "7": (0, 4, 7, 10),
    "maj7": (0, 4, 7, 11),
    "m7": (0, 3, 7, 10),
    "m(maj7)": (0, 3, 7, 11),
    "m7b5": (0, 3, 6, 10),
    "dim7": (0, 3, 6, 9),
    "7b9": (0, 4, 7, 10, 1),
    "7#9": (0, 4, 7, 10, 3),
    "7#5": (0, 4, 8, 10),
    "sus4": (0, 5, 7),
    "7sus4": (0, 5, 7, 10),
}
SCALES = {
    "major": (0, 2, 4, 5, 7, 9, 11),
    "minor": (0, 2, 3, 5, 7, 8, 10, 11),
    "aeolian": (0, 2, 3, 5, 7, 8, 10),
    "dorian": (0, 2, 3, 5, 7, 9, 10),
    "phrygian": (0, 1, 3, 5, 7, 8, 10),
    "lydian": (0, 2, 4, 6, 7, 9, 11),
    "mixolydian": (0, 2, 4, 5, 7, 9, 10),
}
TELLING = {"dorian": 9, "phrygian": 1, "lydian": 6, "mixolydian": 10, "aeolian": 8}
"""The degree, in semitones, that parts a mode from major or minor."""
ALTERATIONS = {"b9": 1, "#9": 3, "#5": 8, "#11": 6}
DOMINANTS = ("7", "7b9", "7#9", "7#5")
MINORS = ("m", "m7", "m6", "m7b5", "m(maj7)")


class Note(NamedTuple):
    """A note as music21 reads it, in quarters."""

    midi: int
    onset: Fraction
    duration: Fraction
    bar: int


class Chord(NamedTuple):
    """A chord symbol: pitch classes of root and bass, quality, place."""

    text: str
    root: int
    quality: str
    bass: int
    bar: int
    onset: Fraction


class Tune(NamedTuple):
    """One tune: how melodex reads it, and the notes and bars of music21."""

    melody: Melody
    notes: list[Note]
    bars: list[stream.Measure]
    chords: list[Chord]
    sheet: stream.Stream  # held, because music21's bars know it by weak reference only

    def span(self, place: dict) -> list[Note]:
        """The notes of a planted passage (counted from 1)."""
        first, last = place["notes"]
        return self.notes[first - 1 : last]

    def within(self, first: int, last: int) -> list[Note]:
        """The notes that start in some bars."""
        return [note for note in self.notes if first <= note.bar <= last]

    def chords_in(self, first: int, last: int) -> list[Chord]:
        """The chord symbols of some bars."""
        return [chord for chord in self.chords if first <= chord.bar <= last]

    def chord_under(self, note: Note) -> Chord | None:
        """The chord that holds where a note starts."""
        return next((c for c in reversed(self.chords) if c.onset <= note.onset), None)


BARS_OF_CHANGING_METRE = {"Threshing Floor": [3, 4] * 8}
"""In quarters; music21 passes over a metre inside a line of ABC."""


def pitch_class(name: str) -> int:
    """C is 0; sharps and flats follow the letter."""
    return (LETTERS[name[0]] + name.count("#") - name[1:].count("b")) % 12


def chord_of(text: str, bar: int, onset_ticks: int) -> Chord:
    found = re.fullmatch(r"([A-G][#b]?)([^/]*)(?:/([A-G][#b]?))?", text)
    assert found, f"{text} is no chord symbol"
    assert found[2] in CHORD_TONES, text
    onset = Fraction(onset_ticks, TICKS_PER_QUARTER)
    root = pitch_class(found[1])
    return Chord(text, root, found[2], pitch_class(found[3] or found[1]), bar, onset)


def abc_streams(path: Path) -> list[stream.Score]:
    """Every tune of an ABC file through music21, chord symbols taken out."""
    text = re.sub(r'"[^"]*"', "", path.read_text(encoding="utf-8"))
    tunes = ABCFile(abcVersion=(2, 1, 0)).readstr(text).splitByReferenceNumber()
    return [translate.abcToStreamScore(t) for n, t in tunes.items() if n is not None]


def score_of(path: Path) -> stream.Score:
    sheet = converter.parse(path, forceSource=True)
    assert isinstance(sheet, stream.Score)
    return sheet


def streams(path: Path) -> list[stream.Score]:
    if path.suffix == ".abc":
        return abc_streams(path)
    return [score_of(path).toSoundingPitch()]


def tune_of(melody: Melody, sheet: stream.Score) -> Tune:
    """Lay music21's first part out; its bars count from 0 in ABC, so they are recounted."""
    part = sheet.parts[0]
    bars = [b for b in part.getElementsByClass(stream.Measure) if b.duration.quarterLength]
    has_pickup = bars[0].duration.quarterLength < bars[0].barDuration.quarterLength
    starts = [Fraction(bar.offset) for bar in bars]
    if melody.title in BARS_OF_CHANGING_METRE:
        widths = BARS_OF_CHANGING_METRE[melody.title]
        starts = [Fraction(at) for at in accumulate([0, *widths])][:-1]
    notes = []
    for note in part.flatten().stripTies().getElementsByClass("Note"):
        onset = Fraction(note.offset)
        place = sum(start <= onset for start in starts)
        bar = place - has_pickup
        notes.append(Note(note.pitch.midi, onset, Fraction(note.quarterLength), bar))
    chords = [chord_of(c.text, c.bar, c.onset_ticks) for c in melody.chords]
    return Tune(melody, notes, bars, chords, sheet)


def sheets(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.suffix in SHEETS)


def read_all(paths: list[Path]) -> list[Tune]:
    tunes = []
    for path in paths:
        reading = read_path(path)
        assert not reading.refusals
        pairs = zip(reading.tunes, streams(path), strict=True)
        tunes += [tune_of(ours.melody, theirs) for ours, theirs in pairs]
    return tunes


@pytest.fixture(scope="module")
def corpus() -> dict[str, Tune]:
    """The tunes of the corpus by title, without the two own songs."""
    paths = [path for path in sheets(FOLDER) if path.parent.name != "own"]
    tunes = read_all(paths)
    by_title = {tune.melody.title: tune for tune in tunes}
    assert len(by_title) == len(tunes), "two tunes share a title"
    return by_title


@pytest.fixture(scope="module")
def own() -> dict[str, Tune]:
    return {tune.melody.title: tune for tune in read_all(sheets(FOLDER / "own"))}


def features(kind: str) -> list[dict]:
    found = [feature for feature in PLANTED["features"] if feature["kind"] == kind]
    assert found, f"no {kind} was planted"
    return found


def likenesses(kind: str) -> list[dict]:
    found = [pair for pair in PLANTED["likenesses"] if pair["kind"] == kind]
    assert len(found) >= 1, f"no {kind} was planted"
    return found


def both(corpus: dict[str, Tune], pair: dict) -> tuple[list[Note], list[Note]]:
    a, b = corpus[pair["a"]["title"]], corpus[pair["b"]["title"]]
    return a.span(pair["a"]), b.span(pair["b"])


def pitches(notes: list[Note]) -> list[int]:
    return [note.midi for note in notes]


def lengths(notes: list[Note]) -> list[Fraction]:
    return [note.duration for note in notes]


def steps(notes: list[Note]) -> list[int]:
    return [b.midi - a.midi for a, b in pairwise(notes)]


def sign(number: int) -> int:
    return (number > 0) - (number < 0)


# The whole


def test_there_are_enough_tunes_in_both_notations(corpus: dict[str, Tune]) -> None:
    suffixes = [Path(t.melody.credits.source).suffix for t in corpus.values()]
    assert suffixes.count(".abc") >= 40
    assert len(suffixes) - suffixes.count(".abc") >= 14
    assert suffixes.count(".mxl") >= 3


def test_at_least_half_of_the_tunes_have_chord_symbols(corpus: dict[str, Tune]) -> None:
    with_chords = [tune for tune in corpus.values() if tune.chords]
    assert 2 * len(with_chords) >= len(corpus)


def test_every_tune_states_maker_year_collection_and_rights(
    corpus: dict[str, Tune], own: dict[str, Tune]
) -> None:
    for tune in [*corpus.values(), *own.values()]:
        assert tune.melody.credits.title
        assert tune.melody.credits.composer
        assert tune.melody.credits.year
        assert tune.melody.credits.rights.startswith("CC0 1.0")
    assert len({tune.melody.credits.collection for tune in corpus.values()}) == 5


def test_music21_and_melodex_read_the_same_notes(
    corpus: dict[str, Tune], own: dict[str, Tune]
) -> None:
    for title, tune in (corpus | own).items():
        assert pitches(tune.notes) == list(tune.melody.midi), title
        onsets = [int(note.onset * TICKS_PER_QUARTER) for note in tune.notes]
        assert onsets == list(tune.melody.onset_ticks), title
        durations = [int(note.duration * TICKS_PER_QUARTER) for note in tune.notes]
        assert durations == list(tune.melody.duration_ticks), title
        assert [note.bar for note in tune.notes] == list(tune.melody.bar), title


def chord_count(path: Path) -> int:
    """Chord symbols by searching the source text alone."""
    if path.suffix == ".mxl":
        with zipfile.ZipFile(path) as package:
            return package.read(f"{path.stem}.musicxml").count(b"<harmony>")
    mark = r'"[^"]*"' if path.suffix == ".abc" else "<harmony>"
    return len(re.findall(mark, path.read_text(encoding="utf-8")))


def test_every_chord_symbol_in_the_files_is_read(corpus: dict[str, Tune]) -> None:
    for path in sheets(FOLDER):
        if path.parent.name != "own":
            melodies = [tune.melody for tune in read_path(path).tunes]
            assert sum(len(melody.chords) for melody in melodies) == chord_count(path), path


def test_every_bar_is_full(corpus: dict[str, Tune], own: dict[str, Tune]) -> None:
    short = {
        (title, place)
        for title, tune in (corpus | own).items()
        for place, bar in enumerate(tune.bars)
        if title not in BARS_OF_CHANGING_METRE
        and bar.duration.quarterLength != bar.barDuration.quarterLength
    }
    for title, lengths_in_quarters in BARS_OF_CHANGING_METRE.items():
        bars = corpus[title].melody.bars
        assert [b.duration_ticks / TICKS_PER_QUARTER for b in bars] == lengths_in_quarters
    # A pickup of one beat, and the last bar that lacks it.
    assert short == {("The Clockmaker's Waltz", 0), ("The Clockmaker's Waltz", 24)}


def steps_within_sections(tune: Tune) -> list[int]:
    """Steps between notes that no double bar or repeat sign parts."""
    ends = {bar.number for bar in tune.melody.bars if bar.line or bar.repeat_times}
    pairs = pairwise(tune.notes)
    return [b.midi - a.midi for a, b in pairs if a.bar == b.bar or a.bar not in ends]


def test_every_tune_is_of_a_length_and_range_to_sing_or_play(
    corpus: dict[str, Tune], own: dict[str, Tune]
) -> None:
    for title, tune in (corpus | own).items():
        assert 8 <= len(tune.melody.bars) <= 32, title
        highest, lowest = max(pitches(tune.notes)), min(pitches(tune.notes))
        assert lowest >= 57, f"{title} goes below A3"
        assert highest <= 79, f"{title} goes above G5"
        assert highest - lowest <= 21, title
        assert max(map(abs, steps_within_sections(tune))) <= 12, title


def places_of_weight(tune: Tune, note: Note) -> bool:
    """Whether a note starts on a beat that carries the chord."""
    bar = max((b for b in tune.bars if b.offset <= note.onset), key=lambda b: b.offset)
    inside = note.onset - Fraction(bar.offset)
    metre = bar.timeSignature or bar.getContextByClass(meter.TimeSignature)
    assert metre
    if metre.numerator in {6, 9, 12}:
        return inside % Fraction(3, 2) == 0
    return inside in ({0, 2} if metre.numerator == 4 else {0})


def is_tension(chord: Chord, interval: int) -> bool:
    """Ninth and thirteenth; the sevenths and elevenths that the quality allows."""
    more = {2, 9}
    if chord.quality in {"", "6", "maj7"}:
        more |= {11}
    elif chord.quality in DOMINANTS:
        more |= {6}
    elif chord.quality in MINORS:
        more |= {5, 10, 11}
    return interval in more


def test_the_harmony_fits_the_melody(corpus: dict[str, Tune], own: dict[str, Tune]) -> None:
    for title, tune in (corpus | own).items():
        if not tune.chords:
            continue
        weighty = [
            (place, note)
            for place, note in enumerate(tune.notes)
            if places_of_weight(tune, note) and tune.chord_under(note)
        ]
        foreign = []
        for place, note in weighty:
            chord = tune.chord_under(note)
            assert chord
            interval = (note.midi - chord.root) % 12
            if interval not in CHORD_TONES[chord.quality]:
                following = tune.notes[place + 1].midi - note.midi
                assert is_tension(chord, interval) or abs(following) <= 2, (title, note)
                foreign.append(note)
        assert len(foreign) <= 0.2 * len(weighty), (title, foreign)


def test_every_tune_with_chords_ends_on_its_tonic_or_is_said_not_to(
    corpus: dict[str, Tune],
) -> None:
    elsewhere = {f["title"] for f in features("suspended ending")}
    for centres in features("key centres"):
        elsewhere.add(centres["title"])
    for title, tune in corpus.items():
        if tune.chords and title not in elsewhere:
            tonic = (7 * tune.melody.key.tonic_fifths) % 12
            assert tune.chords[-1].root == tonic, title


# Planted likenesses


def test_planted_places_name_the_notes_and_bars_that_they_say(
    corpus: dict[str, Tune],
) -> None:
    places = [
        pair[side]
        for pair in PLANTED["likenesses"] + PLANTED["alike_only"]
        for side in ("a", "b")
    ]
    for place in places:
        tune = corpus[place["title"]]
        notes = tune.span(place)
        assert [notes[0].bar, notes[-1].bar] == place["bars"]
        assert tune.melody.credits.source.endswith(place["source"])
        assert tune.melody.credits.number == place["number"]


def test_transposed_pairs_have_the_same_intervals_and_lengths(
    corpus: dict[str, Tune],
) -> None:
    pairs = likenesses("transposed")
    assert len(pairs) >= 2
    for pair in pairs:
        a, b = both(corpus, pair)
        assert [p + pair["transposition_semitones"] for p in pitches(a)] == pitches(b)
        assert lengths(a)[:-1] == lengths(b)[:-1]


def test_pairs_in_other_modes_differ_in_inflections_only(corpus: dict[str, Tune]) -> None:
    for pair in likenesses("other mode"):
        a, b = both(corpus, pair)
        modes = [corpus[pair[side]["title"]].melody.key.mode for side in ("a", "b")]
        assert modes == ["major", "minor"]
        shift = pair["transposition_semitones"]
        changes = {y - x - shift for x, y in zip(pitches(a), pitches(b), strict=True)}
        assert changes == {0, -1}
        lowered = {
            (x - 7 * corpus[pair["a"]["title"]].melody.key.tonic_fifths) % 12
            for x, y in zip(pitches(a), pitches(b), strict=True)
            if y - x - shift == -1
        }
        assert lowered <= {4, 9, 11}
        assert lengths(a)[:-1] == lengths(b)[:-1]


def test_ornamented_pairs_keep_every_note_in_its_place(corpus: dict[str, Tune]) -> None:
    pairs = likenesses("ornamented")
    assert len(pairs) >= 2
    for pair in pairs:
        a, b = both(corpus, pair)
        starts = [
            next(bar for bar in corpus[pair[s]["title"]].notes if bar.bar == 1).onset
            for s in ("a", "b")
        ]
        plain = {(n.onset - starts[0], n.midi + pair["transposition_semitones"]) for n in a}
        ornate = {(n.onset - starts[1], n.midi) for n in b}
        assert plain <= ornate
        assert len(b) >= len(a) + 3


@pytest.mark.parametrize("kind", ["other rhythm", "other metre"])
def test_pairs_in_other_rhythm_or_metre_have_the_same_intervals(
    corpus: dict[str, Tune], kind: str
) -> None:
    pairs = likenesses(kind)
    assert len(pairs) >= 2
    for pair in pairs:
        a, b = both(corpus, pair)
        assert [p + pair["transposition_semitones"] for p in pitches(a)] == pitches(b)
        assert len({y / x for x, y in zip(lengths(a), lengths(b), strict=True)}) > 1
        metres = {str(corpus[pair[side]["title"]].melody.metre) for side in ("a", "b")}
        assert len(metres) == (2 if kind == "other metre" else 1)


def test_split_pairs_start_in_different_parts_of_the_bar(corpus: dict[str, Tune]) -> None:
    for pair in likenesses("split over a bar line"):
        a, b = both(corpus, pair)
        assert [p + pair["transposition_semitones"] for p in pitches(a)] == pitches(b)
        assert lengths(a)[:-1] == lengths(b)[:-1]
        assert [a[0].onset % 4, b[0].onset % 4] == [Fraction(0), Fraction(2)]


def test_phrases_inside_another_tune_start_one_and_not_the_other(
    corpus: dict[str, Tune],
) -> None:
    pairs = likenesses("one phrase inside another tune")
    assert len(pairs) >= 2
    for pair in pairs:
        a, b = both(corpus, pair)
        assert [p + pair["transposition_semitones"] for p in pitches(a)] == pitches(b)
        assert lengths(a)[:-1] == lengths(b)[:-1]
        assert pair["a"]["notes"][0] == 1
        assert pair["b"]["bars"][0] > 4


def test_augmented_pairs_double_every_length(corpus: dict[str, Tune]) -> None:
    for pair in likenesses("augmentation"):
        a, b = both(corpus, pair)
        assert steps(a) == steps(b)
        assert [2 * length for length in lengths(a)] == lengths(b)


def test_the_stock_figure_stands_in_ten_tunes_and_nowhere_unsaid(
    corpus: dict[str, Tune],
) -> None:
    figure = PLANTED["stock_figure"]["interval_semitones"]
    stated = {
        (tune["title"], tuple(span))
        for tune in PLANTED["stock_figure"]["tunes"]
        for span in tune["notes"]
    }
    found = {
        (title, (i + 1, i + 1 + len(figure)))
        for title, tune in corpus.items()
        for i in range(len(tune.notes) - len(figure))
        if steps(tune.notes[i : i + len(figure) + 1]) == figure
    }
    assert found == stated
    assert len({title for title, _ in found}) >= 10
    for title, (_, last) in found:
        ending = corpus[title].notes[last - 1].midi
        assert (ending - 7 * corpus[title].melody.key.tonic_fifths) % 12 == 0, title


def test_pairs_that_only_look_alike_share_contour_or_rhythm_but_not_notes(
    corpus: dict[str, Tune],
) -> None:
    kinds = set()
    for pair in PLANTED["alike_only"]:
        a, b = both(corpus, pair)
        kinds.add(pair["kind"])
        if pair["kind"].startswith("same contour"):
            assert [*map(sign, steps(a))] == [*map(sign, steps(b))]
        else:
            assert lengths(a) == lengths(b)
        same = sum(x == y for x, y in zip(steps(a), steps(b), strict=True))
        assert same <= len(steps(a)) / 2
    assert len(kinds) == 2


# Planted features


def scale(key: str) -> set[int]:
    tonic, mode = key.split()
    return {(pitch_class(tonic) + degree) % 12 for degree in SCALES[mode]}


def share(notes: list[Note], classes: set[int]) -> float:
    return sum(note.midi % 12 in classes for note in notes) / len(notes)


def test_key_centres_hold_where_they_are_said_to(corpus: dict[str, Tune]) -> None:
    counts = set()
    for feature in features("key centres"):
        tune = corpus[feature["title"]]
        spans = feature["centres"]
        counts.add(len({span["key"] for span in spans}))
        for before, after in pairwise(spans):
            assert before["bars"][1] + 1 == after["bars"][0]
            assert before["key"] != after["key"]
        for span in spans:
            notes = tune.within(*span["bars"])
            fit = share(notes, scale(span["key"]))
            assert fit >= 0.85, (feature["title"], span)
            assert all(fit >= share(notes, scale(other["key"])) for other in spans), span
            tonic, mode = span["key"].split()
            triads = [
                c
                for c in tune.chords_in(*span["bars"])
                if c.root == pitch_class(tonic)
                and (c.quality in MINORS) == (mode == "minor")
            ]
            assert triads, (feature["title"], span)
    assert {2, 3, 4} <= counts


def test_key_centres_stand_in_the_stated_relations(corpus: dict[str, Tune]) -> None:
    relations = {}
    for feature in features("key centres"):
        first, second = (span["key"].split() for span in feature["centres"][:2])
        distance = (pitch_class(second[0]) - pitch_class(first[0])) % 12
        relations[feature["title"]] = (distance, first[1], second[1])
    assert relations["The Clockmaker's Waltz"] == (9, "major", "minor")  # relative
    assert relations["Behind the Curtain"] == (3, "minor", "major")  # relative
    assert relations["Paper Swans"] == (2, "major", "major")  # up a tone
    assert relations["Blue Lantern"] == (4, "major", "major")  # a third


def marks_to_lengths(tune: Tune) -> list[int]:
    """Lengths of sections by marks, else by double bar lines, in bars."""
    last = tune.melody.bars[-1].number
    starts = [mark.bar for mark in tune.melody.marks]
    if not starts:
        ends = [bar.number for bar in tune.melody.bars if bar.line == "double"]
        starts = [1, *(end + 1 for end in ends)]
    return [b - a for a, b in pairwise([*starts, last + 1])]


def test_sections_have_the_odd_lengths_that_are_stated(corpus: dict[str, Tune]) -> None:
    seen = set()
    for feature in features("section lengths"):
        assert marks_to_lengths(corpus[feature["title"]]) == feature["lengths"]
        seen |= set(feature["lengths"])
    assert {5, 7, 9, 11} <= seen


def test_metres_are_those_stated(corpus: dict[str, Tune]) -> None:
    seen = set()
    for feature in features("compound metre") + features("irregular metre"):
        metre = str(corpus[feature["title"]].melody.metre)
        assert metre == feature["metre"]
        seen.add(metre)
    assert {"6/8", "9/8", "12/8", "5/4", "7/8"} <= seen
    for feature in features("changing metre"):
        metres = [str(m.metre) for m in corpus[feature["title"]].melody.metres]
        assert sorted(set(metres)) == feature["metres"]


def test_modal_tunes_keep_to_their_scale_and_show_its_telling_note(
    corpus: dict[str, Tune],
) -> None:
    modes = set()
    for feature in features("mode"):
        tonic, mode = feature["mode"].split()
        notes = corpus[feature["title"]].notes
        assert share(notes, scale(feature["mode"])) == 1
        telling = (pitch_class(tonic) + TELLING[mode]) % 12
        assert any(note.midi % 12 == telling for note in notes)
        assert notes[-1].midi % 12 == pitch_class(tonic)
        modes.add(mode)
    assert {"dorian", "phrygian", "lydian", "mixolydian", "aeolian"} <= modes


def test_the_modal_passage_shows_the_natural_sixth_and_the_rest_does_not(
    corpus: dict[str, Tune],
) -> None:
    for feature in features("modal passage"):
        tune = corpus[feature["title"]]
        inside = tune.within(*feature["bars"])
        telling = pitch_class(feature["note"])
        tonic = pitch_class(feature["mode"].split()[0])
        assert (telling - tonic) % 12 == TELLING["dorian"]
        assert share(inside, scale(feature["mode"])) == 1
        bars = {note.bar for note in inside if note.midi % 12 == telling}
        assert len(bars) >= 2
        outside = [note for note in tune.notes if note not in inside]
        assert all(note.midi % 12 != telling for note in outside)


COLOURS = [
    ("minor subdominant with the melody on its major 7th", 11, 5, 5),
    ("sharp 11th on the flat VII 7", 6, 10, 3),
]


@pytest.mark.parametrize(("kind", "interval", "degree", "fewest_tunes"), COLOURS)
def test_the_melody_stands_on_the_stated_colour_of_the_chord(
    corpus: dict[str, Tune], kind: str, interval: int, degree: int, fewest_tunes: int
) -> None:
    found = features(kind)
    assert len({feature["title"] for feature in found}) >= fewest_tunes
    for feature in found:
        tune = corpus[feature["title"]]
        tonic = 7 * tune.melody.key.tonic_fifths % 12
        note, chord = colour(tune, feature)
        assert tune.melody.key.mode == "major"
        assert (chord.root - tonic) % 12 == degree
        assert (note.midi - chord.root) % 12 == interval
        assert (chord.quality in MINORS) == (degree == 5)
        assert places_of_weight(tune, note)


def colour(tune: Tune, feature: dict) -> tuple[Note, Chord]:
    """The stated note of the stated bar, and the chord that it stands on."""
    note = next(
        note
        for note in tune.within(*feature["bars"])
        if note.midi % 12 == pitch_class(feature["note"])
    )
    chord = tune.chord_under(note)
    assert chord is not None
    assert chord.text == feature["chord"], feature
    return note, chord


def test_altered_dominants_have_their_alteration_in_the_melody(
    corpus: dict[str, Tune],
) -> None:
    seen = set()
    for feature in features("altered dominant"):
        note, chord = colour(corpus[feature["title"]], feature)
        assert chord.quality in DOMINANTS
        assert (note.midi - chord.root) % 12 == ALTERATIONS[feature["alteration"]]
        seen.add(feature["alteration"])
    assert seen == {"b9", "#9", "#5"}


def following(tune: Tune, feature: dict) -> tuple[Chord, Chord]:
    """The stated chord of the first stated bar, and the next other chord."""
    first = feature["bars"][0]
    place = next(
        i
        for i, c in enumerate(tune.chords)
        if c.bar == first and c.text == feature["chord"]
    )
    chord = tune.chords[place]
    after = next(c for c in tune.chords[place + 1 :] if c.text != chord.text)
    assert after.text == feature["resolves_to"], feature
    return chord, after


def test_secondary_dominants_and_tritone_substitutes_resolve(
    corpus: dict[str, Tune],
) -> None:
    for kind, fall in (("secondary dominant", 7), ("tritone substitute", 1)):
        found = features(kind)
        assert len({feature["title"] for feature in found}) >= 2
        for feature in found:
            tune = corpus[feature["title"]]
            chord, after = following(tune, feature)
            assert chord.quality in DOMINANTS
            assert (chord.root - after.root) % 12 == fall
            tonic = 7 * tune.melody.key.tonic_fifths % 12
            assert (after.root == tonic) == (kind == "tritone substitute"), feature


def test_a_pedal_bass_lies_under_moving_chords(corpus: dict[str, Tune]) -> None:
    for feature in features("pedal bass"):
        chords = corpus[feature["title"]].chords_in(*feature["bars"])
        assert {chord.bass for chord in chords} == {pitch_class(feature["bass"])}
        assert len({chord.root for chord in chords}) >= 2


def test_inner_lines_descend_by_half_steps_through_chord_tones(
    corpus: dict[str, Tune],
) -> None:
    for feature in features("inner line descending by half steps"):
        line = [pitch_class(name) for name in feature["line"]]
        assert len(line) >= 4
        assert all((a - b) % 12 == 1 for a, b in pairwise(line))
        chords = corpus[feature["title"]].chords_in(*feature["bars"])
        for chord, member in zip(chords, line, strict=True):
            tones = CHORD_TONES[chord.quality]
            assert (member - chord.root) % 12 in tones, (feature["title"], chord)


PROGRESSIONS = {
    "authentic cadence": [7, 0],
    "half cadence": [7],
    "deceptive cadence": [7, 8],
    "plagal cadence": [5, 0],
    "Picardy third": [7, 0],
    "minor plagal cadence": [5, 0],
    "flat VI - flat VII - I": [8, 10, 0],
    "ii - V - I": [2, 7, 0],
    "ii - V - I in minor": [2, 7, 0],
    "flat II": [1, 7, 0],
}
"""Roots above the local tonic in semitones (common practice, no source)."""
IN_ANOTHER_KEY = {
    ("Tidal Clock", 5): "Eb",
    ("Tidal Clock", 9): "Gb",
    ("Tidal Clock", 13): "A",
    ("Behind the Curtain", 22): "G",
}


@pytest.mark.parametrize("kind", PROGRESSIONS)
def test_progressions_have_the_stated_chords_on_the_stated_degrees(
    corpus: dict[str, Tune], kind: str
) -> None:
    for feature in features(kind):
        tune = corpus[feature["title"]]
        chords = tune.chords_in(*feature["bars"])
        texts = [chord.text for chord in chords]
        wanted = feature["chords"]
        ends = range(len(wanted), len(texts) + 1)
        at = [end for end in ends if texts[end - len(wanted) : end] == wanted]
        assert at, (feature, texts)
        key = IN_ANOTHER_KEY.get((feature["title"], feature["bars"][0]))
        tonic = pitch_class(key) if key else 7 * tune.melody.key.tonic_fifths % 12
        run = chords[at[-1] - len(wanted) : at[-1]]
        roots = [(chord.root - tonic) % 12 for chord in run]
        expected = PROGRESSIONS[kind]
        if kind == "deceptive cadence" and tune.melody.key.mode == "major":
            expected = [7, 9]
        if feature["title"] == "Candles on the Cut" and kind == "half cadence":
            expected = [2, 7]
        assert roots[-len(expected) :] == expected, feature


def test_minor_plagal_cadences_borrow_the_subdominant(corpus: dict[str, Tune]) -> None:
    for feature in features("minor plagal cadence"):
        tune = corpus[feature["title"]]
        assert tune.melody.key.mode == "major"
        subdominant = tune.chords_in(*feature["bars"])[0]
        assert subdominant.quality in MINORS


def test_a_picardy_third_is_major_at_the_end_of_a_piece_in_minor(
    corpus: dict[str, Tune],
) -> None:
    for feature in features("Picardy third"):
        tune = corpus[feature["title"]]
        assert tune.melody.key.mode == "minor"
        assert tune.chords[-1].quality == ""


def test_an_augmented_sixth_opens_out_to_the_octave_of_the_dominant(
    corpus: dict[str, Tune],
) -> None:
    for feature in features("augmented sixth"):
        tune = corpus[feature["title"]]
        chord, after = following(tune, feature)
        tonic = 7 * tune.melody.key.tonic_fifths % 12
        assert (after.root - tonic) % 12 == 7
        assert (chord.root - after.root) % 12 == 1
        assert (pitch_class(feature["note"]) - after.root) % 12 == 11
        assert feature["note"].endswith("#")
        first, last = feature["bars"]
        inside = [n.midi % 12 for n in tune.notes if first <= n.bar <= last]
        assert pitch_class(feature["note"]) in inside


def test_suspended_endings_never_resolve(corpus: dict[str, Tune]) -> None:
    found = features("suspended ending")
    assert len(found) >= 2
    for feature in found:
        tune = corpus[feature["title"]]
        assert tune.chords[-1].quality.endswith("sus4")
        assert (tune.notes[-1].midi - tune.chords[-1].root) % 12 == 5


def test_blues_are_twelve_bars_with_the_subdominant_in_the_fifth(
    corpus: dict[str, Tune],
) -> None:
    for feature in features("twelve-bar blues"):
        tune = corpus[feature["title"]]
        tonic = 7 * tune.melody.key.tonic_fifths % 12
        firsts = [tune.chords_in(bar, bar)[0] for bar in (1, 5, 7, 10)]
        assert [(chord.root - tonic) % 12 for chord in firsts] == [0, 5, 0, 7]
        assert [bar.number for bar in tune.melody.bars if bar.ending] == [11, 13]


def test_the_pickup_is_bar_nought(corpus: dict[str, Tune]) -> None:
    for feature in features("pickup"):
        assert corpus[feature["title"]].melody.bars[0].number == 0


def written_pitches(path: Path) -> list[int]:
    part = score_of(path).parts[0]
    return [n.pitch.midi for n in part.flatten().stripTies().getElementsByClass("Note")]


def test_transposing_instruments_sound_where_they_are_said_to(
    corpus: dict[str, Tune],
) -> None:
    for feature in features("transposing instrument"):
        written = written_pitches(FOLDER / feature["source"])
        sounding = corpus[feature["title"]].melody.midi
        assert {s - w for s, w in zip(sounding, written, strict=True)} == {
            feature["sounds_semitones"]
        }


def test_second_parts_are_left_aside(corpus: dict[str, Tune]) -> None:
    for feature in features("second part"):
        sheet = score_of(FOLDER / feature["source"])
        assert [part.partName for part in sheet.parts][1] == feature["part"]
        assert corpus[feature["title"]].melody.credits.part != feature["part"]


# The two own songs


def test_the_own_song_borrows_transposed_and_in_another_rhythm(
    corpus: dict[str, Tune], own: dict[str, Tune]
) -> None:
    plant = next(plant for plant in PLANTED["own_songs"] if plant["kind"] == "borrowed")
    mine = own[plant["own"]["title"]].span(plant["own"])
    theirs = corpus[plant["from"]["title"]].span(plant["from"])
    shift = plant["transposition_semitones"]
    assert [p + shift for p in pitches(theirs)] == pitches(mine)
    assert len(mine) >= 12
    assert lengths(mine) != lengths(theirs)


def longest_shared_run(a: list[int], b: list[int]) -> int:
    """Longest run of intervals in common, by the plain table."""
    best, row = 0, [0] * (len(b) + 1)
    for x in a:
        row = [0, *(row[j] + 1 if x == y else 0 for j, y in enumerate(b))]
        best = max(best, *row)
    return best


def test_the_clean_song_shares_no_long_run_of_intervals(
    corpus: dict[str, Tune], own: dict[str, Tune]
) -> None:
    plant = next(plant for plant in PLANTED["own_songs"] if plant["kind"] == "clean")
    mine = steps(own[plant["own"]["title"]].notes)
    runs = [longest_shared_run(mine, steps(tune.notes)) for tune in corpus.values()]
    assert max(runs) <= 5
