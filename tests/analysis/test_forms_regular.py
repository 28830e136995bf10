"""One chorus is counted in eights or twelves: progressions of the trade, nothing marked.

Sheets are written for this test; the lengths are common practice, no source.
"""

from __future__ import annotations

import pytest

from melodex.analysis.form import sections
from tests.analysis.forms.lead_sheets import FORMS, STEPS, Form, bars_of, melody_of, one
from tests.analysis.forms.sections import SECTIONS

A = "Ebmaj7|Bbm7 Eb7|Abmaj7|Abm7 Db7|Ebmaj7 Cm7|Fm7 Bb7"
MINOR = "Cm7|F7|Bbmaj7|Ebmaj7|Am7b5|D7|Gm6|Gm6"
WALTZ = "D|D7|G|D|D|A7|D|D"
TURN = "C6|Am7|Dm7|G7|Em7|A7"
SONG = "A|F#m|D|E|A|F#m|D E|A|D|E|A|F#m|D|E|A|A"
BLUES = "F7|Bb7|F7|F7|Bb7|Bb7|F7|D7|Gm7|C7"
SHEETS = {
    "AABA with two endings": (
        f"{A}|Gm7 C7|Fm7 Bb7|{A}|Eb6|Eb6|Bbm7|Eb7|Abmaj7|%|Am7|D7|F7|Bb7|{A}|Eb6|Eb6",
        "A 8, A' 8, B 8, A' 8",
    ),
    "AABC": (
        f"{MINOR}|{MINOR}|Am7b5|D7|Gm6|Gm6|Cm7|F7|Bbmaj7|Ebmaj7|Am7b5|D7|Gm7 C7|Fm7 Bb7|"
        "Am7b5|D7|Gm6|Gm6",
        "A 8, A 8, B 8, C 8",
    ),
    "waltz": (
        f"D|D7|G|D|D|D|A7|A7|{WALTZ}|G|G|D|D|E7|E7|A7|A7|{WALTZ}",
        "A 8, A' 8, B 8, A' 8",
    ),
    "two choruses of a blues": (f"{BLUES}|F7 D7|Gm7 C7|{BLUES}|F7|F7", "A 12, A 12"),
    "minor blues": ("Am7|%|%|%|Dm7|%|Am7|%|F7|E7|Am7|E7", "A 12"),
    "four chords": (
        "Am|F|C|G|Am|F|C|G|Am|F|C|G|Am|F|C|G|F|G|Am|C|F|G|Am|G|Am|F|C|G|Am|F|C|G",
        "A 8, A 8, B 8, A 8",
    ),
    "sixteen-bar blues": ("G7|%|%|%|C7|%|G7|%|D7|C7|D7|C7|D7|C7|G7|D7", "A 16"),
    "AABA with a tag": (
        f"{TURN}|Dm7|G7|{TURN}|Dm7 G7|C6|Fmaj7|Fm7 Bb7|Cmaj7|A7|D7|%|Dm7|G7|{TURN}|Dm7|G7|"
        "Em7|A7|Dm7|G7|C6|C6",
        "A 8, A' 8, B 8, A' 14",
    ),
    "eights between an introduction and an ending": (
        "A|D|A|E|" + f"{SONG}|" * 2 + "D|Dm|A|A",
        "A 4, B 8, C 8, B 8, C 8, D 4",
    ),
    "verse of sixteen, chorus of eight": (
        "C|Am|F|G|C|Am|F|G|Dm|G|Em|Am|D7|D7|G|G|F|G|Em|Am|F|G|C|C",
        None,
    ),
}


@pytest.mark.parametrize("name", SHEETS)
def test_a_chorus_has_the_lengths_that_it_is_counted_in(name: str) -> None:
    chords, expected = SHEETS[name]
    found = sections(melody_of(one(name, chords, "C major")))
    if expected is None:
        assert all(part.bars % 8 == 0 for part in found)
    else:
        assert ", ".join(f"{part.label} {part.bars}" for part in found) == expected


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.name)
def test_sections_of_a_form_are_counted_as_a_player_counts_them(form: Form) -> None:
    wanted = SECTIONS.get(form.name, f"A {len(bars_of(form.chords))}").split(", ")
    for step in STEPS:
        found = sections(melody_of(form, step))
        said = [f"{section.label} {section.bars}" for section in found]
        open_letters = [
            f"({each.split()[-1]})" if told.startswith("(") else each
            for each, told in zip(said, wanted, strict=False)
        ]
        assert open_letters == wanted, step
        assert len(said) == len(wanted), step
