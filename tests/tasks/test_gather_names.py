"""Devices, degrees, modes and progressions by the names that musicians use.

Synonyms are common practice, no source; British and American names of cadences beside
each other.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from melodex.analysis.harmony.devices.device import KINDS
from melodex.analysis.harmony.progressions import read_progression
from melodex.analysis.texture.lines import LINE_KINDS
from melodex.corpus.reader import Corpus
from melodex.errors import AnalysisError
from melodex.tasks.adding.add import add_paths
from melodex.tasks.gather.gather import Wish, gather
from melodex.tasks.gather.names import SYNONYMS, degree_named, device_named

SHEET = """X:1
T:Lock Gate
L:1/4
M:4/4
K:C
"C"e g e c|"Fm7"_a f "Bb7#11"_a e|"C"e4|"Am"c e a e|"D7#11"^g ^f "D7"a ^f|
"G7"g f "Db7"f _d|"C"c4|"C"c4|]

X:2
T:Weir Keeper
L:1/4
M:4/4
K:Cm
"Cm"c =B c g|"Ab7"^f4|"G"g4|"Cm"e d c2|"Db/F"f _d f2|"G7"=B d f d|"C"=e4|"C"=e4|]

X:3
T:Paddle Gear
L:1/4
M:4/4
K:C
"C"e g "A7"^c e|"Dm7"d f "G7"=B d|"C"c e "Fm(maj7)"e c|"C"c4|"Cm"=B c d e|"C"c4|]
"""


@pytest.fixture(scope="module")
def corpus(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Corpus]:
    folder: Path = tmp_path_factory.mktemp("names")
    (folder / "sheets.abc").write_text(SHEET, encoding="utf-8")
    add_paths(folder / "names.melodex", [folder / "sheets.abc"])
    with Corpus.open(folder / "names.melodex") as opened:
        yield opened


def titles(corpus: Corpus, **wish: Any) -> set[str]:
    return {example.title for example in gather(corpus, Wish(**wish)).examples}


@pytest.mark.parametrize(
    ("name", "title"),
    [
        ("picardy", "Weir Keeper"),
        ("Picardy third", "Weir Keeper"),
        ("Neapolitan", "Weir Keeper"),
        ("neapolitan sixth", "Weir Keeper"),
        ("augmented sixth", "Weir Keeper"),
        ("German sixth", "Weir Keeper"),
        ("backdoor", "Lock Gate"),
        ("Backdoor progression", "Lock Gate"),
        ("tritone sub", "Lock Gate"),
        ("lydian dominant", "Lock Gate"),
        ("turnaround", "Paddle Gear"),
        ("minor iv", "Paddle Gear"),
        ("perfect cadence", "Lock Gate"),
    ],
)
def test_a_device_answers_by_any_of_its_names(corpus, name, title) -> None:
    assert title in titles(corpus, device=name)


def test_a_french_sixth_is_not_a_german_one(corpus) -> None:
    assert titles(corpus, device="French sixth") == set()


def test_every_synonym_means_kinds_that_there_are() -> None:
    for name, (kinds, _) in SYNONYMS.items():
        assert kinds, name
        assert set(kinds) <= {*KINDS, *LINE_KINDS}, name
    for kind in KINDS:
        assert kind in device_named(kind.upper()).kinds


@pytest.mark.parametrize(
    ("asked", "title"),
    [
        ("#11 on V/V", "Lock Gate"),
        ("sharp 11th on V7/V", "Lock Gate"),
        ("7 on iv", "Paddle Gear"),
        ("maj7 on iv", "Paddle Gear"),
        ("major 7th on the minor iv", "Paddle Gear"),
        ("7 on Cm", "Paddle Gear"),
        ("maj7 on Fm", "Paddle Gear"),
        ("root on V", "Lock Gate"),
    ],
)
def test_a_note_on_a_chord_answers_however_it_is_written(corpus, asked, title) -> None:
    assert title in titles(corpus, note_on_chord=asked)


def test_an_applied_chord_is_not_the_dominant_itself(corpus) -> None:
    found = gather(corpus, Wish(note_on_chord="#11 on V"))
    assert all("/" not in reason for e in found.examples for reason in e.reasons)


@pytest.mark.parametrize(
    ("asked", "hint"),
    [("7 on iq", "such as iv"), ("seven on iv", "such as 7"), ("7", "7 on iv")],
)
def test_what_is_not_understood_says_what_to_write(corpus, asked, hint) -> None:
    with pytest.raises(AnalysisError) as told:
        gather(corpus, Wish(note_on_chord=asked))
    assert hint in (told.value.hint or "")


@pytest.mark.parametrize(("mode", "kept"), [("ionian", "major"), ("Aeolian", "minor")])
def test_modes_answer_by_their_other_names(corpus, mode, kept) -> None:
    assert titles(corpus, mode=mode) == titles(corpus, mode=kept) != set()


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("I-V-vi-IV", ["I", "V", "vi", "IV"]),
        ("ii–V–I", ["ii", "V", "I"]),
        ("C-G-Am-F", ["C", "G", "Am", "F"]),
        ("C-7 F7", ["C-7", "F7"]),
        ("IV over 5 I", ["IV/5", "I"]),
    ],
)
def test_hyphens_part_chords_and_minor_dashes_do_not(typed, words) -> None:
    assert [token.text for token in read_progression(typed).tokens] == words


def test_names_of_chords_are_typed_as_they_are_shown() -> None:
    sixth, five = read_progression("Ger6 V").tokens
    assert (sixth.root_fifths, sixth.family, five.root_fifths) == (-4, "dominant", 1)
    assert read_progression("N6 V").tokens[0].bass_fifths == -1
    major = read_progression("IVmaj65").tokens[0]
    assert (major.sevenths, major.bass_fifths) == (("7",), 3)


@pytest.mark.parametrize("typed", ["1-5-6-4", "2 5 1", "251"])
def test_arabic_numbers_say_what_to_write(typed) -> None:
    with pytest.raises(AnalysisError) as told:
        read_progression(typed)
    assert "ii V I" in (told.value.hint or "")


@pytest.mark.parametrize(
    ("text", "degree"),
    [("min7", "b7"), ("9th", "9"), ("♯11", "#11"), ("flat 9", "b9"), ("fifth", "5")],
)
def test_degrees_have_many_names(text, degree) -> None:
    assert degree_named(text) == degree
