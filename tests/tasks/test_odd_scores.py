"""Scores that hold little or too much: said, and nothing invented."""

from pathlib import Path

import pytest

from melodex.errors import ReadingError
from melodex.tasks.describe.describe import Description, described

REST = '<note><rest measure="yes"/><duration>4</duration></note>'
STROKE = (
    "<note><unpitched><display-step>E</display-step><display-octave>4</display-octave>"
    "</unpitched><duration>4</duration></note>"
)


def note(step: str, octave: int, *, chord: bool = False, alter: str = "0") -> str:
    """A whole note as MusicXML."""
    return (
        f"<note>{'<chord/>' * chord}<pitch><step>{step}</step><alter>{alter}</alter>"
        f"<octave>{octave}</octave></pitch><duration>4</duration></note>"
    )


def told(folder: Path, *parts: str) -> Description:
    """What is said of parts of one bar each."""
    listed = "".join(
        f'<score-part id="P{i}"><part-name>Part {i}</part-name></score-part>'
        for i in range(len(parts))
    )
    bodies = "".join(
        f'<part id="P{i}"><measure number="1"><attributes><divisions>1</divisions><time>'
        "<beats>4</beats><beat-type>4</beat-type></time></attributes>"
        f"{part}</measure></part>"
        for i, part in enumerate(parts)
    )
    path = folder / "odd.musicxml"
    path.write_text(
        f'<score-partwise version="4.0"><part-list>{listed}</part-list>{bodies}'
        "</score-partwise>"
    )
    return described(str(path), folder / "none.melodex")


def chords(found: Description) -> list[str]:
    """Every chord that is told."""
    return [text for bar in found.grid for text, _ in bar.chords]


def test_of_one_voice_no_harmony_and_no_texture_is_told(tmp_path: Path) -> None:
    found = told(tmp_path, note("C", 4))
    assert not chords(found)
    assert not found.thickness.bars
    assert "There are no chord symbols, so nothing is said of harmony." in found.unsaid


def test_percussion_and_an_empty_staff_add_no_voice(tmp_path: Path) -> None:
    plain = told(tmp_path, note("C", 5), note("E", 4))
    assert [bar.lines for bar in plain.thickness.bars] == [2]
    for extra in (STROKE, REST):
        found = told(tmp_path, note("C", 5), extra, note("E", 4))
        assert [bar.lines for bar in found.thickness.bars] == [2]
        assert chords(found) == chords(plain)
    with pytest.raises(ReadingError, match="percussion without pitch"):
        told(tmp_path, STROKE, STROKE)


def test_a_cluster_is_a_chord_of_which_one_is_not_sure(tmp_path: Path) -> None:
    others = "".join(note(step, 4, chord=True) for step in "DEFGAB")
    found = told(tmp_path, note("C", 5), note("C", 4) + others)
    assert all(certainty < 0.5 for bar in found.grid for certainty, _ in bar.doubts)
    assert any("less than 50% sure" in said for said in found.unsaid)


def test_a_hundred_parts_are_one_chord(tmp_path: Path) -> None:
    parts = [note("CEG"[i % 3], 3 + i % 3) for i in range(100)]
    found = told(tmp_path, *parts)
    assert chords(found) == ["C"]
    assert [bar.lines for bar in found.thickness.bars] == [100]


def test_a_part_in_quarter_tones_keeps_nobody_from_hearing_the_others(
    tmp_path: Path,
) -> None:
    found = told(tmp_path, note("C", 5), note("E", 4, alter="0.5"), note("G", 3))
    assert [bar.lines for bar in found.thickness.bars] == [2]
    # C and G alone: major or minor cannot be told.
    assert all(certainty < 0.6 for bar in found.grid for certainty, _ in bar.doubts)
