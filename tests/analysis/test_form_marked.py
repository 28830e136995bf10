"""Form where it is printed: what a musician counts, and what the words over the music say.

The cases are shapes met in Ryan's Mammoth Collection, Maple Leaf Rag and the chorales as
music21's corpus holds them, and invented tunes. Common practice, no other source.
"""

from __future__ import annotations

from pathlib import Path

import music21
import pytest

from melodex.analysis.form import phrases, sections
from melodex.analysis.form.words import names_section
from melodex.melody import Melody
from melodex.reading import read_path
from melodex.reading.abc.reader import read_abc
from melodex.reading.result import Choice

CORPUS = Path(music21.__file__).parent / "corpus"
SEVEN = "CDEF|GAGF|EDCD|E2D2|CDEF|GAGF|EDEF|"
OTHER = "gecg|afca|gece|d2G2|gecg|afca|gfed|"


def abc(body: str, metre: str = "4/4") -> Melody:
    text = f"X:1\nT:Invented\nM:{metre}\nL:1/4\nK:C\n{body}\n"
    return read_abc(text, "invented.abc", Choice()).tunes[0].melody


def said(melody: Melody) -> list[tuple[str, int]]:
    return [(section.label, section.bars) for section in sections(melody)]


def corpus_tunes(folder: str) -> list[Melody]:
    return [
        tune.melody
        for path in sorted((CORPUS / folder).glob("*.abc"))
        for tune in read_path(path).tunes
    ]


@pytest.mark.parametrize(
    "body",
    [
        pytest.param(f"|:{SEVEN}C4:|:e|{OTHER}c3:|", id="pickup after a repeat"),
        pytest.param(f"|:{SEVEN}C4:|:e|{OTHER}c4:|", id="pickup that nothing makes up for"),
        pytest.param(f"{SEVEN}C4||ef|{OTHER}c2|]", id="pickup after a double line"),
        pytest.param(f"{SEVEN}C4|]e|]{OTHER}c4|]", id="pickup between two lines"),
        pytest.param(f"|:{SEVEN}C4:|:efg|{OTHER}c:|", id="pickup of three beats"),
        pytest.param(f"EFG|:{SEVEN}C4:|:{OTHER}c4:|", id="long pickup before a repeat"),
        pytest.param(f"{SEVEN[:-1]}C4||{OTHER}c4|]", id="two bars in one"),
        pytest.param(f"|:{SEVEN}C4:|:{OTHER}c2|c2:|", id="a bar in two"),
        pytest.param(f"|:e|{SEVEN}C2|C:|:{OTHER}c4:|", id="a bar in two less the pickup"),
        pytest.param(f"{SEVEN}C4||{OTHER}c4||c2|]", id="half a bar to end on"),
        pytest.param(f"|:{SEVEN}[1C4:|[2C2c2||{OTHER}c4|]", id="two endings"),
        pytest.param(f"|:{SEVEN}C4:|[2C2c2|:{OTHER}c4:|", id="a second ending alone"),
        pytest.param(f"|:{SEVEN}[1C4:|C2c2|:{OTHER}c4:|", id="a first ending alone"),
        pytest.param(f"|:{SEVEN}[1C4:|[2C2c2|{OTHER}c4|]", id="nothing after the endings"),
        pytest.param(f"!segno!{SEVEN}C4||{OTHER}c4!fine!|]", id="signs to jump to"),
        pytest.param(f"C\nP:Segue\nDEF|{SEVEN[5:]}C4||{OTHER}c4|]", id="words inside"),
        pytest.param(f"CDEF|\nP:Segue\n{SEVEN[5:]}C4||{OTHER}c4|]", id="words at a line"),
        pytest.param(f"{SEVEN}C4||\nP:Allegro\n{OTHER}c4|]", id="words at a section"),
    ],
)
def test_two_sections_of_eight_bars_are_counted_so(body: str) -> None:
    assert said(abc(body)) == [("A", 8), ("B", 8)]


def test_bars_are_those_that_are_printed_where_most_are_twice_the_metre() -> None:
    double = "CDEFGAGF|EDCDE2D2|CDEFGAGF|C8||gecgafca|gecge2d2|gecgafca|c8|]"
    assert said(abc(double, "2/2")) == [("A", 4), ("B", 4)]
    assert said(abc(double)) == [("A", 4), ("B", 4)]


def test_three_bars_and_a_long_bar_before_them_are_four() -> None:
    assert said(abc("DEF|GAGF|EDCD|C4|]gecg|afca|gece|c4|]")) == [("A", 4), ("B", 4)]
    assert said(abc("DEF|GAGF|EDCD|E2D2|C4|]gecg|afca|gece|c4|]")) == [("A", 4), ("B", 4)]


def test_a_name_over_a_pickup_starts_with_the_bar_after() -> None:
    found = sections(abc(f"P:A\n{SEVEN}C3\nP:B\ne|{OTHER}c4|]"))
    assert [(s.label, s.first_bar, s.bars) for s in found] == [("A", 1, 8), ("B", 9, 8)]


def test_a_late_name_does_not_name_the_first_section() -> None:
    assert said(abc("CDEF|\nP:B\nGAGF|EDCD|C4|]")) == [("A", 1), ("B", 3)]


def test_what_stands_before_a_printed_a_is_the_introduction() -> None:
    body = f"C4|D4|E4|F4|\nP:A\n{SEVEN}C4|\nP:B\n{OTHER}c4|]"
    assert said(abc(body)) == [("Intro", 4), ("A", 8), ("B", 8)]


def test_an_unnamed_return_has_the_printed_letter_and_a_new_section_another() -> None:
    new = "E2G2|F2A2|E2G2|F4|E2G2|F2A2|G2F2|"
    body = f"P:A\n{SEVEN}C4|\nP:B\n{OTHER}c4||{SEVEN}C4||{new}E4|]"
    assert said(abc(body)) == [("A", 8), ("B", 8), ("A", 8), ("C", 8)]


def test_the_last_sign_of_the_coda_starts_it() -> None:
    body = f"{SEVEN}!coda!C4|{OTHER}c4||\n!coda!cGEC|G4|C4|C4|]"
    assert said(abc(body)) == [("A", 16), ("Coda", 4)]


def test_letters_after_z_are_doubled() -> None:
    steps = "CDEFGABcdefgab"
    parts = [f"{steps[k % 14]}{steps[k // 14]}{steps[k % 9]}z|z4|" for k in range(60)]
    labels = [section.label for section in sections(abc("|".join(parts)))]
    assert len(labels) == 60
    assert labels[25:28] == ["Z", "AA", "BB"]
    assert labels[51:53] == ["ZZ", "AAA"]


# Common practice, no source.
@pytest.mark.parametrize("text", ["A", "F", "P", "17", "Verse 2", "Bridge", "Solo", "Trio"])
def test_names_name_sections(text: str) -> None:
    assert names_section(text)


@pytest.mark.parametrize(
    "text",
    [
        *(
            "Fine",
            "(FINE)",
            "D.C.",
            "D.S. al Coda",
            "Da Capo",
            "To Coda",
            "SEGUE.",
            "Segno",
        ),
        *("Allegro ma non troppo", "Medium Swing", "rit.", "a tempo", "Play 3 times"),
        *("x2", "mf", "", " "),
    ],
)
def test_words_of_performance_name_none(text: str) -> None:
    assert not names_section(text)


def test_odd_sections_of_ryan_are_odd_as_printed() -> None:
    """Before pickups and endings were counted so, 186 of 2,274 were called odd."""
    found = [part for tune in corpus_tunes("ryansMammoth") for part in sections(tune)]
    odd = [part.bars for part in found if part.odd]
    assert len(found) > 2000
    assert len(odd) < 0.02 * len(found)
    assert odd.count(9) <= 5


def test_maple_leaf_rag_is_five_strains_of_sixteen() -> None:
    """A A B B A C C D D (common practice), each repeat written once; C is the trio."""
    melody = read_path(CORPUS / "joplin" / "maple_leaf_rag.mxl").tunes[0].melody
    assert said(melody) == [("A", 16), ("B", 16), ("A", 16), ("TRIO", 16), ("C", 16)]


def test_fermatas_end_the_phrases_of_the_first_chorale() -> None:
    """Riemenschneider 1 is BWV 269; the bars are read off the printed fermatas."""
    melody = read_path(CORPUS / "bach" / "bwv269.mxl").tunes[0].melody
    found = phrases(melody)
    assert [phrase.last_bar for phrase in found] == [4, 7, 10, 14, 18, 21]
    assert {phrase.how for phrase in found} == {"marked"}


def test_fermatas_end_the_phrases_of_chorales() -> None:
    """music21's own reading of the fermatas over the first voice is the witness."""
    seen = 0
    for number in ("10.7", "101.7", "102.7", "103.6", "104.6"):
        path = CORPUS / "bach" / f"bwv{number}.mxl"
        melody = read_path(path).tunes[0].melody
        sheet = music21.converter.parse(path)
        assert isinstance(sheet, music21.stream.Score)
        notes = sheet.parts[0].flatten().stripTies().getElementsByClass(music21.note.Note)
        held = [
            float(note.offset)
            for note in notes
            if any(isinstance(e, music21.expressions.Fermata) for e in note.expressions)
        ]
        ends = [melody.onset_quarters[p.last_note] for p in phrases(melody)]
        assert ends == sorted({*held, melody.onset_quarters[-1]})
        seen += len(held)
    assert seen > 25


def test_four_bars_between_a_last_ending_and_a_sign_are_a_section() -> None:
    tune = abc(
        "|:ABAB|ccBB|eedd|e4|ddcc|eecc|BBcc|[1A4:|[2A4|"
        "aaee|eegg|ddee|cBA2:|ABcc|ABcc|eeBc|A4:|"
    )
    assert [section.bars for section in sections(tune)] == [8, 4, 4]
