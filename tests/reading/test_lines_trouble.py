"""Scores that make trouble: nothing of them is passed over in silence.

Each part of such a score is a line of its own, a doubling that is named, or named among
what was left aside. The sheets are ours, small, and in MusicXML 4.0.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from melodex.corpus.reader import Corpus
from melodex.corpus.tunes.tune_rows import lines_of
from melodex.presentation.text.corpus import lines_text
from melodex.reading import Choice, FileReading, read_data
from melodex.tasks.adding.add import add_paths
from melodex.tasks.gather.counts import tunes_left_out

ALL = Choice(lines="all")
STEPS = "CDEFGAB"


def note(step: str, octave: int = 4, *, voice: str = "", chord: bool = False) -> str:
    """A quarter note."""
    return (
        f"<note>{'<chord/>' if chord else ''}<pitch><step>{step}</step>"
        f"<octave>{octave}</octave></pitch><duration>1</duration>"
        f"{f'<voice>{voice}</voice>' if voice else ''}</note>"
    )


def rest(voice: str = "") -> str:
    """A quarter rest."""
    said = f"<voice>{voice}</voice>" if voice else ""
    return f"<note><rest/><duration>1</duration>{said}</note>"


def melody(start: int, bars: int = 4) -> list[str]:
    """Bars of four quarters each, another melody for each start."""
    # Seven is prime to both factors, so that no two starts give the same steps.
    return [
        "".join(
            note(STEPS[(start + bar * 3 + beat * (1 + start % 5)) % 7], 3 + start % 3)
            for beat in range(4)
        )
        for bar in range(bars)
    ]


def sheet(parts: Sequence[tuple[str, Sequence[str]]]) -> bytes:
    """A score of some parts, by name and bars."""
    listed, bodies = "", ""
    for place, (name, bars) in enumerate(parts, 1):
        listed += f'<score-part id="P{place}"><part-name>{name}</part-name></score-part>'
        bodies += f'<part id="P{place}">'
        for number, bar in enumerate(bars, 1):
            signs = (
                "<attributes><divisions>1</divisions><time><beats>4</beats>"
                "<beat-type>4</beat-type></time></attributes>"
            )
            shown = signs if number == 1 else ""
            bodies += f'<measure number="{number}">{shown}{bar}</measure>'
        bodies += "</part>"
    return (
        '<?xml version="1.0" encoding="UTF-8"?><score-partwise version="4.0">'
        f"<movement-title>Trouble</movement-title><part-list>{listed}</part-list>"
        f"{bodies}</score-partwise>"
    ).encode()


def read(data: bytes) -> FileReading:
    """A sheet with all lines, which gives some."""
    reading = read_data(data, "trouble.musicxml", ALL)
    assert reading.tunes, reading.refusals
    return reading


def said(reading: FileReading) -> str:
    """All that is said of a file."""
    return " ".join(
        warning.text for tune in reading.tunes for warning in tune.warnings
    ) + " ".join(map(str, reading.refusals))


REST = rest() * 4
DRUM = (
    "<note><unpitched><display-step>E</display-step><display-octave>4</display-octave>"
    "</unpitched><duration>1</duration></note>"
)


def test_a_hundred_parts_are_lines_or_doublings_of_one_piece(tmp_path: Path) -> None:
    parts = [(f"Part {place}", melody(place)) for place in range(1, 101)]
    file = tmp_path / "hundred.musicxml"
    file.write_bytes(sheet(parts))
    reading = read(file.read_bytes())
    kept = {tune.line.part for tune in reading.tunes}
    doubled = {name for tune in reading.tunes for name in tune.line.doubled_by}
    assert kept | doubled == {name for name, _ in parts}
    assert all(tune.line.count == len(reading.tunes) for tune in reading.tunes)
    place = tmp_path / "c.melodex"
    assert add_paths(place, [file], choice=ALL).added == 1
    with Corpus.open(place) as corpus:
        assert corpus.tune_count == 1
        assert corpus.line_count == len(kept)
        rows = lines_of(corpus, corpus.resolve("Trouble"))
        shown = lines_text(rows)
        for name, _ in parts:
            assert name in shown
        hidden = tunes_left_out(corpus, f"part {rows[20].line.part}")
        assert len(hidden) == corpus.line_count - 1


def test_three_hundred_parts_are_kept_to_a_bound_and_the_rest_is_said() -> None:
    # Each with steps of its own: a number in base seven.
    def own(place: int) -> list[str]:
        digits = [(place // 7**power) % 7 for power in range(4)]
        tune = [STEPS[digit] for digit in [*digits, 0, 2, 4, *digits, 6, *digits]]
        return ["".join(map(note, tune[at : at + 4])) for at in range(0, 16, 4)]

    reading = read(sheet([(f"Part {n}", own(n)) for n in range(300)]))
    assert len(reading.tunes) <= 257
    assert "left aside beyond 256 lines" in said(reading)


def test_a_part_that_is_all_chords_gives_a_line_for_each_voice_of_them() -> None:
    triad = "".join(
        note(STEPS[beat], 5) + note(STEPS[(beat + 5) % 7], 4, chord=True)
        + note(STEPS[(beat + 3) % 7], 3, chord=True)
        for beat in range(4)
    )  # fmt: skip
    reading = read(sheet([("Flute", melody(1)), ("Guitar", [triad] * 3)]))
    names = [tune.line.name for tune in reading.tunes]
    assert names == [
        "Flute",
        "Guitar",
        "Guitar, note 2 of chords",
        "Guitar, note 3 of chords",
    ]
    assert [len(tune.melody) for tune in reading.tunes[1:]] == [12, 12, 12]


def test_percussion_is_left_aside_and_said() -> None:
    reading = read(sheet([("Snare", [DRUM * 4] * 4), ("Flute", melody(1))]))
    assert [tune.line.part for tune in reading.tunes] in (["Flute"], [""])
    assert "left aside Snare: percussion without pitch" in said(reading)
    alone = read_data(sheet([("Snare", [DRUM * 4] * 4)]), "drum.musicxml", ALL)
    assert not alone.tunes
    assert "percussion" in str(alone.refusals[0])


def test_a_voice_that_vanishes_and_returns_keeps_its_time() -> None:
    def bar(number: int) -> str:
        upper = "".join(note(STEPS[(number + beat) % 7], 5, voice="1") for beat in range(4))
        if number not in (1, 2, 9, 10):
            return upper
        back = "<backup><duration>4</duration></backup>"
        return (
            upper
            + back
            + "".join(
                note(STEPS[(number * 2 + beat * 3) % 7], 3, voice="2") for beat in range(4)
            )
        )

    reading = read(sheet([("Lute", [bar(number) for number in range(1, 13)])]))
    upper, lower = reading.tunes
    assert (upper.line.voice, lower.line.voice) == ("voice 1", "voice 2")
    assert len(upper.melody) == 48
    assert lower.melody.bar == tuple(b for b in (1, 2, 9, 10) for _ in range(4))
    quarter = upper.melody.duration_ticks[0]
    assert lower.melody.onset_ticks[8] == 32 * quarter


def test_signs_that_steer_a_terminal_are_taken_out_of_names(tmp_path: Path) -> None:
    # U+009B begins a control sequence, U+202E turns what follows around.
    file = tmp_path / "odd.musicxml"
    file.write_bytes(sheet([("Horn\u009b31m\u202e", melody(1)), ("Ho\trn\n2", melody(2))]))
    place = tmp_path / "c.melodex"
    assert add_paths(place, [file], choice=ALL).added == 1
    with Corpus.open(place) as corpus:
        shown = lines_text(lines_of(corpus, corpus.resolve("Trouble")))
    assert "\u009b" not in shown
    assert "\u202e" not in shown
    assert "Ho rn 2" in shown
    refused = read_data(sheet([("Horn&#27;[31m", melody(1))]), "esc.musicxml", ALL)
    assert not refused.tunes
    assert refused.refusals


def test_two_parts_of_one_name_are_two_lines() -> None:
    reading = read(sheet([("Voice", melody(1)), ("Voice", melody(2)), ("", melody(3))]))
    assert [(tune.line.part, tune.line.position) for tune in reading.tunes] == [
        ("Voice", 1),
        ("Voice", 2),
        ("part 3", 3),
    ]
    assert len({tune.melody.content_id() for tune in reading.tunes}) == 3


@pytest.mark.parametrize("empty", [[REST] * 4, [""] * 4, []])
def test_an_empty_staff_is_named(empty: list[str]) -> None:
    reading = read(sheet([("Flute", melody(1)), ("Oboe", empty), ("Bass", melody(2))]))
    assert [tune.line.part for tune in reading.tunes] == ["Flute", "Bass"]
    assert "left aside Oboe: it has no notes" in said(reading)


def test_a_few_notes_are_left_aside_by_name() -> None:
    few = note("C") + rest() * 3
    reading = read(sheet([("Flute", melody(1)), ("Bell", [few] * 4)]))
    assert [tune.line.part for tune in reading.tunes] == [""] or len(reading.tunes) == 1
    assert "left aside as too short: Bell (4 notes)" in said(reading)
