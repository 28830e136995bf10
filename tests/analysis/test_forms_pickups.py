"""Sheets with pickups, and what is printed beside them; common practice, no source."""

from __future__ import annotations

import pytest

from melodex.analysis.piece import Analysis, analyse
from melodex.reading import read_data

HYMN = """X:1
T:Invented hymn
M:3/4
L:1/4
K:D
{mark}"D"A|"D"d2 f|"G"e2 d|"D"d2 c|"A"A2 A|"Bm"d2 f|"E7"e2 ^g|"A"a3-|a2 A|
"D"d2 f|"G"b2 a|"D/F#"f2 "G"g|"Em"e2 e|"D/A"f2 d|"A7"e2 c|"D"d3-|d2|]
"""
FREYGISH_TUNE = """X:1
T:Invented dance
M:2/4
L:1/16
K:{key}
P:A
"D"d2^f2 a2f2|"D"e2^f2 g2a2|"Gm"b2a2 g2f2|"D"^f4 d4|
"Cm"_e2g2 c'2g2|"Eb"_e2g2 _b2g2|"D"a2g2 ^f2_e2|"D"d8|
P:B
"Gm"_b4 g4|"Gm"d'2c'2 _b2a2|"D"a2_b2 a2g2|"D"^f8|
"Cm"c'4 g4|"Eb"_e'2d'2 c'2_b2|"D"a2g2 ^f2_e2|"D"d8|]
"""


def read(text: str) -> Analysis:
    """The analysis of a tune in ABC."""
    return analyse(read_data(text.encode(), "sheet.abc").tunes[0].melody)


@pytest.mark.parametrize("mark", ["", "P:A\n"])
def test_bars_are_counted_from_after_a_pickup(mark: str) -> None:
    # Counted from the pickup, four bars would begin and end on A.
    found = read(HYMN.format(mark=mark))
    assert [str(span.key) for span in found.spans] == ["D major"]
    assert str(found.key.key) == "D major"


def test_a_section_begins_after_the_pickup_that_its_mark_stands_before() -> None:
    verse = '"C"c2 e2|"F"f2 a2|"G"g2 d2|"C"e3'
    lift = '"Db"_d2 f2|"Gb"_g2 _b2|"Ab"_a2 _e2|"Db"f3'
    abc = f"X:1\nM:4/4\nL:1/4\nK:C\nP:A\n G|{verse} G|{verse}\nP:B\n _A|{lift} _A|{lift}|]"
    found = read(abc)
    told = [(span.first_bar, span.last_bar, str(span.key)) for span in found.spans]
    assert [key for _, _, key in told] == ["C major", "Db major"]
    assert told[1][0] == 9


@pytest.mark.parametrize("key", ["Dphr", "Gm", "D", "none"])
def test_a_freygish_tune_is_on_its_own_tonic_whatever_is_printed(key: str) -> None:
    found = read(FREYGISH_TUNE.format(key=key))
    assert str(found.key.key) == "D major"
    assert found.key.idiom == "freygish tune (phrygian dominant)"
    assert "left aside" not in found.key.remark
    assert not found.modal
    assert "borrowed chord" not in {device.kind for device in found.harmony.devices}


def test_a_minor_tune_that_ends_on_its_five_stays_minor() -> None:
    # The seventh of V leads home: D7 is no tonic.
    text = FREYGISH_TUNE.format(key="Gm").replace('"D"', '"D7"')
    assert str(read(text).key.key) == "G minor"


SIXTEEN = """X:1
T:Invented air
M:4/4
L:1/8
K:Eb
D EF|"Eb"G3F GcBG|"Ab"FEC2 zEGA|"Eb"B3c "Cm"BGEG|"F7"F4 "Bb7"zDEF|
"Eb"G3F "Eb7"GcBG|"Ab"FEC2 "Abm"zDEF|"Eb/Bb"G3A "Bb7"GFEF|"Eb"{middle}|
"Ab/Eb"e3d "Eb"dcBc|"Ab"BG "Eb"E2 zBcd|"Ab/Eb"e3d "Cm"dcBG|"F7"F4 "Bb7"zBBB|
"Eb"g3f "Ab"fece|"Eb"BG "Cm"E2 zDEF|"Eb/Bb"GcBG "Bb7"FECD|"Eb"E4 z|]
"""


def test_sixteen_bars_are_two_eights_where_the_tune_rests_between_them() -> None:
    rests, runs_on = (read(SIXTEEN.format(middle=m)) for m in ("E4 zBcd", "EFGA GBcd"))
    assert [(s.label, s.bars) for s in rests.sections] == [("A", 8), ("B", 8)]
    assert [s.bars for s in runs_on.sections] == [16]


def test_a_strain_of_four_bars_that_comes_back_at_the_end_is_told() -> None:
    # A B B A in fours, the plan of the Irish song in Essen's collection (I0551).
    air = """X:1
M:3/4
L:1/16
K:C
G2E2|G4C4E2G2|dcedc2A2G2E2|D2C2E4D4|C8c2d2|
e4f4e2c2|e4d2c2B2G2|d2c2e4d4|c8c2d2|
e4f4e2c2|e4d2c2B2G2|d2c2e4d4|c4A4G2E2|
G4C4E2G2|dcedc2A2G2E2|D2C2E4D4|C8|]
"""
    found = [(s.label.rstrip("'"), s.bars) for s in read(air).sections]
    assert found == [("A", 4), ("B", 8), ("A", 4)]


def test_a_tune_that_comes_in_a_bar_late_returns_under_its_letter() -> None:
    verse = "e2d2 c2e2|f2e2 d4|g2e2 f2d2|c6 c2"
    end = "a2g2 a4|b2a2 g4|c'2b2 a2g2|f2e2 d4|c2e2 g2c'2|a2f2 d2B2|c8"
    middle = "_a2g2 f2e2|_e4 d4|_a2g2 f2_e2|d8|_b2_a2 g2f2|_e4 c4|f2_e2 d2c2|B8"
    abc = f"X:1\nM:4/4\nL:1/8\nK:C\nz6 c2|{verse}|{middle}||{verse}|{end}|]"
    assert [s.label for s in read(abc).sections] == ["A", "A'"]


@pytest.mark.parametrize(
    ("back", "letters"), [(False, ["A", "A'"]), (True, ["A", "B", "A"])]
)
def test_a_last_verse_that_is_lifted_keeps_its_letter_and_a_bridge_does_not(
    back: bool, letters: list[str]
) -> None:
    verse = '"G"B2 d B|"C"e2 d c|"G"B2 A G|"D7"A4|"G"B2 d B|"C"e2 d c|"G"B "D7"A2 ^F|"G"G4'
    lifted = (
        '"Ab"c2 _e c|"Db"f2 _e _d|"Ab"c2 _B _A|"Eb7"_B4'
        '|"Ab"c2 _e c|"Db"f2 _e _d|"Ab"c "Eb7"_B2 G|"Ab"_A4'
    )
    strains = [verse, lifted, verse] if back else [verse, lifted]
    found = read("X:1\nM:4/4\nL:1/4\nK:none\n" + "||\n".join(strains) + "|]")
    assert [section.label for section in found.sections] == letters


def test_a_verse_that_stays_on_its_tonic_keeps_it_beside_a_chorus_in_the_relative() -> None:
    verse = '"Em7"e2 g2|"A7"a2 e2|"Em7"e2 g2|"A7"a2 e2'
    ends = f'{verse}|"Em7"e2 g2|"A7"a2 e2|"Em7"g2 f2|"Em7"e4'
    chorus = '"G"b2 g2|"D/F#"a2 f2|"Em7"g2 e2|"C"e2 g2|"G"b2 d2|"D"a2 f2|"C"g2 e2|"D"d4'
    found = read(f"X:1\nM:4/4\nL:1/4\nK:Em\n{ends}|\n{chorus}|\n{ends}|]")
    told = [(span.first_bar, str(span.key)) for span in found.spans]
    assert told == [(1, "E dorian"), (9, "G major"), (17, "E dorian")]


def test_strains_that_only_end_alike_are_two() -> None:
    ends = '"G"B>c dB|"C"e2 ec|"D7"AF DF|"G"G2 G2'
    polka = f'"G"B>c dB|"D7"A2 A2|"D7"c>d ec|"G"B2 Bd|{ends}:|\n|:"D7"f2 fe|"G"g2 d2'
    found = read(f'X:1\nM:2/4\nL:1/8\nK:G\n|:{polka}|"D7"f2 ef|"G"g2 dd|{ends}:|')
    assert [section.label for section in found.sections] == ["A", "B"]
