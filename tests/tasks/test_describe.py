"""describe: what is planted in the demo's tunes is said, and what cannot be said too."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest

from melodex.analysis.harmony.heard.sounding import harmonised
from melodex.analysis.piece import analyse
from melodex.analysis.texture import line_finds
from melodex.corpus.reader import Corpus
from melodex.melody import Melody
from melodex.presentation.data.forms import as_json
from melodex.presentation.text.forms import as_text
from melodex.presentation.text.style import Style
from melodex.reading.abc.reader import read_abc
from melodex.tasks.describe.describe import Description, describe, described
from melodex.tasks.describe.finds import finds_of
from melodex.tasks.describe.sentences import key_sentence
from melodex.tasks.passage import Passage, find_passage


def alone(text: str) -> Description:
    melody: Melody = read_abc(text).tunes[0].melody
    return describe(Passage(melody, melody, 0, melody.content_id(), False))


def test_the_minor_subdominant_and_the_melody_on_its_seventh_are_told(
    demo_corpus: Corpus,
) -> None:
    # corpus_demo/PLANTED.json: E over F minor in C, bars 4, 12 and 28.
    found = describe(find_passage("Fog over the Basin", demo_corpus), demo_corpus)
    borrowed = [f for f in found.finds if f.kind == "borrowed chord"]
    assert [f.first_bar for f in borrowed] == [4, 12, 28]
    assert "minor iv" in borrowed[0].sentence
    colour = [f for f in found.finds if f.kind == "colour note"]
    assert "major 7th on the minor iv" in colour[0].sentence
    grid = {bar.number: bar for bar in found.grid}
    assert grid[4].chords == (("Fm", "iv"),)
    assert grid[4].degrees == ("3", "2", "1", "b6")


def test_the_rarest_finds_come_first(demo_corpus: Corpus) -> None:
    found = describe(find_passage("Fog over the Basin", demo_corpus), demo_corpus)
    counts = [find.tunes for find in found.finds]
    assert counts == sorted(counts, key=lambda count: count or 0)
    assert all(count is not None and count >= 1 for count in counts)


def test_key_centres_are_told_with_their_bars(demo_corpus: Corpus) -> None:
    found = describe(find_passage("Paper Swans", demo_corpus), demo_corpus)
    spans = [(s.first_bar, s.last_bar, str(s.key)) for s in found.analysis.spans]
    assert spans == [(1, 16, "G major"), (17, 24, "A major")]
    assert any("A major" in sentence for sentence in found.summary)


@pytest.mark.parametrize(
    ("tune", "said"),
    [
        ("X:1\nT:Bare\nL:1/4\nK:C\nC D E F | G A B c |]\n", "no chord symbols"),
        ("X:1\nT:Free\nM:none\nL:1/4\nK:C\nC D E F G A B c |]\n", "Without a metre"),
        ("X:1\nT:Short\nL:1/4\nM:4/4\nK:C\nC D E F |]\n", "One bar is too little"),
        ('X:1\nT:Odd\nL:1/4\nM:4/4\nK:C\n"Cx!?"C D E F | G A B c |]\n', ""),
    ],
)
def test_what_cannot_be_said_is_said_with_its_reason(tune: str, said: str) -> None:
    found = alone(tune)
    assert said in " ".join(found.unsaid)
    assert as_text(found, Style(width=60))


def test_text_and_json_of_every_demo_tune_can_be_made(demo_corpus: Corpus) -> None:
    for row in demo_corpus.tunes():
        found = describe(find_passage(row.tune_id, demo_corpus), demo_corpus)
        assert len(found.grid) == len({bar.number for bar in found.passage.melody.bars})
        text = as_text(found, Style(width=80))
        assert max(len(line) for line in text.splitlines() if "|" not in line) <= 80
        assert '"grid"' in as_json(found)


def test_a_piece_is_described_without_any_corpus(demo_folder: Path, tmp_path: Path) -> None:
    found = described(str(demo_folder / "own" / "own_song.abc"), tmp_path / "none.melodex")
    assert found.corpus_tunes is None
    assert all(find.tunes is None for find in found.finds)


def test_phrases_peak_and_figures_are_told(demo_corpus: Corpus) -> None:
    # corpus_demo: bars 1-6 of the first section are those of the second, 9-14.
    found = describe(find_passage("Fog over the Basin", demo_corpus), demo_corpus)
    text = as_text(found, Style(width=80))
    assert "Phrases, as marked: bars 1-4, 5-8" in text
    assert "it peaks on E5 in bar 4" in text
    assert "bars 1-6 come again note for note in bars 9-14" in text
    data = json.loads(as_json(found))
    assert data["phrases"][0] | {"certainty": 1} == {
        "first_note": 0,
        "last_note": 15,
        "first_bar": 1,
        "last_bar": 4,
        "certainty": 1,
        "how": "marked",
    }
    assert data["compass"]["highest"] == "E5"
    assert [[1, 6], [9, 14]] in [figure["bars"] for figure in data["figures"]]


def test_a_printed_key_that_the_notes_contradict_is_said() -> None:
    # Common practice, no source: two sharps, and all turns about B with its leading note.
    tune = "X:1\nT:Dark\nL:1/4\nM:4/4\nK:D\nB ^A B d | c B ^A c | F B d f | e c B2 |\n"
    found = alone(tune + "B ^A B d | c B ^A F | B d c ^A | B4 |]\n")
    assert str(found.analysis.key.key) == "B minor"
    assert "B minor (harmonic), under the signature of D major." in found.summary[0]
    assert json.loads(as_json(found))["key"]["agrees_with_printed"] is False


def test_a_key_is_told_as_surely_as_it_is_known() -> None:
    found = alone("X:1\nT:Two\nL:1/4\nM:4/4\nK:none\nG d G d | d G d G | G d d G |]\n")
    assert 0.5 < found.analysis.key.certainty < 0.8
    assert found.summary[0].startswith("Probably in G minor")
    doubtful = replace(found.analysis.key, certainty=0.45)
    told = key_sentence(found.passage.melody, replace(found.analysis, key=doubtful))
    assert told == "Perhaps in G minor (45% certain), else G major (27%)."


TURNS = (
    ("C", "A7", "C", "G"),
    ("Dm", "B7", "D", "F"),
    ("Em", "C7", "E", "E"),
    ("F", "D7", "F", "D"),
    ("G", "E7", "G", "B"),
    ("Am", "G7", "A", "G"),
)


def test_many_finds_of_one_kind_are_folded() -> None:
    bars = " | ".join(f'"{a}"{n}2 "{b}"{m}2' for a, b, n, m in TURNS)
    found = alone(f'X:1\nT:Turns\nL:1/4\nM:4/4\nK:C\n{bars} | "C"C4 |]\n')
    text = as_text(found, Style(width=200))
    lines = text.splitlines()
    kinds = [line for line in lines if line in {find.kind for find in found.finds}]
    assert len(kinds) == len(set(kinds)) > 1
    place = lines.index("secondary dominant")
    assert re.match(r"  \d+\. bar", lines[place + 1])
    assert re.match(r"  \d+\. bar", lines[place + 2])


@pytest.mark.parametrize("metre", ["M:none", "M:4/4"])
def test_no_length_is_odd_where_none_can_be_relied_on(metre: str) -> None:
    found = alone(f"X:1\nT:Short\n{metre}\nL:1/4\nK:C\nC E G c |]\n")
    assert "Sections in bars: A 1." in found.summary
    assert "odd section" not in {find.kind for find in found.finds}


def test_one_bar_among_others_is_one_bar() -> None:
    found = alone("X:1\nT:Lead in\nM:4/4\nL:1/4\nK:C\nC E G c|:c B A G|F E D C:|\n")
    sentences = [find.sentence for find in found.finds if find.kind == "odd section"]
    assert sentences == ["section A has 1 bar", "section B has 2 bars"]


@pytest.mark.parametrize(
    ("written", "shown"),
    [
        ("Bbm6: iv in F", "B♭m6: iv in F"),
        ("Ebmaj7 F#m7b5", "E♭maj7 F♯m7♭5"),
        ("D7b9 (V7(b9)) C13b9 Gb7b9", "D7♭9 (V7(♭9)) C13♭9 G♭7♭9"),
        ("bVII, b7, #11", "♭VII, ♭7, ♯11"),
        ("Abbey, Ebb, the b", "Abbey, Ebb, the b"),
        ("2b812d5b7b9", "2b812d5b7b9"),
    ],
)
def test_signs_stand_in_names_of_chords_and_not_in_words(written: str, shown: str) -> None:
    assert Style().spelled_key(written) == shown


def test_a_chord_that_goes_on_over_a_bar_line_stands_in_brackets() -> None:
    voices = "\n".join(
        f"V:{at}\n{line}"
        for at, line in enumerate(
            ("c8|c4B4|c8|", "G8|G8|G8|", "E8|E4D4|E8|", "C8|C4G,4|C8|")
        )
    )
    read = read_abc(f"X:1\nT:Held\nM:4/4\nL:1/8\nK:C\n{voices}\n").tunes[0]
    melody = harmonised(read)
    found = describe(Passage(melody, melody, 0, melody.content_id(), False))
    assert [bar.held for bar in found.grid] == [(), ("C", "I"), ()]
    assert "(C) G" in as_text(found, Style())


def test_a_pedal_under_chords_that_do_not_have_it_is_told_once() -> None:
    # D lies under i, vii° and iv in D minor; only i and iv have it for their bass.
    voices = "d2f2|e4|g2g2|e4|d4|", "A2A2|G4|B2B2|G4|A4|", "F2D2|^C4|D2D2|^C4|F4|"
    text = "X:1\nM:4/4\nL:1/4\nK:Dm\nV:1\nV:2\nV:3\nV:4 name=Pedal\n" + "".join(
        f"[V:{place}] {notes}\n"
        for place, notes in enumerate((*voices, "D,4|" * 5), start=1)
    )
    (read,) = read_abc(text).tunes
    assert read.texture is not None
    melody = harmonised(read)
    lines = line_finds(read.texture, melody)
    told = [f for f in finds_of(melody, analyse(melody), lines) if "pedal" in f.kind]
    assert [(f.kind, f.first_bar, f.last_bar) for f in told] == [("pedal", 1, 5)]
