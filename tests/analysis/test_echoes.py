"""Answers to a figure in the other lines of a piece, each put there on purpose.

Common practice, no source: canon at an interval, by inversion, augmentation, diminution.
"""

import json

import pytest
from click.testing import CliRunner

from melodex.analysis.texture.echoes import echoes
from melodex.analysis.texture.lines import TextureLine
from melodex.cli import melodex
from melodex.melody import TICKS_PER_QUARTER as QUARTER
from melodex.melody import fifths_of, midi_of
from melodex.melody.texture import SoundingNote

STEPS = (0, 1, 2, 4, 3, 1)
LENGTHS = (1, 1, 2, 1, 1, 2)
LETTERS = "CDEFGAB"


def line(*figures):
    """A line of figures, each (from which beat, steps, lengths), naturals from C4 on."""
    notes = []
    for start, steps, lengths in figures:
        place = start * QUARTER
        for step, length in zip(steps, lengths, strict=True):
            octave, letter = divmod(step, 7)
            fifths = fifths_of(LETTERS[letter])
            ticks = round(length * QUARTER)
            midi = midi_of(fifths, 4 + octave)
            notes.append(SoundingNote(round(place), ticks, midi, fifths))
            place += ticks
    return TextureLine("a line", False, tuple(notes))


FIGURE = line((0, STEPS, LENGTHS))
DOUBLED = tuple(2 * length for length in LENGTHS)
HALVED = tuple(length / 2 for length in LENGTHS)
DOWN = tuple(-step for step in STEPS)

WAYS = {
    "a fifth below": ((4, [s - 4 for s in STEPS], LENGTHS), "", "fifth", True),
    "an octave above": ((4, [s + 7 for s in STEPS], LENGTHS), "", "octave", False),
    "inverted": ((8, DOWN, LENGTHS), "upside down", "unison", False),
    "augmented": ((8, STEPS, DOUBLED), "in doubled lengths", "unison", False),
    "diminished": ((8, STEPS, HALVED), "in halved lengths", "unison", False),
    "both": (
        (8, [s + 2 for s in DOWN], DOUBLED),
        "upside down, in doubled lengths",
        "third",
        False,
    ),
}


@pytest.mark.parametrize("name", WAYS)
def test_each_way_of_answering_is_told(name):
    answer, way, interval, below = WAYS[name]
    (found,) = echoes([FIGURE, line(answer)], 0, 0, 5)
    assert (found.way, found.interval, found.below) == (way, interval, below)
    assert found.after_ticks == answer[0] * QUARTER
    assert found.notes == 6


def test_what_is_nearly_alike_or_begins_together_is_none():
    changed = line((4, (0, 1, 2, 4, 3, 2), LENGTHS))
    uneven = line((4, STEPS, (1, 1, 2, 1, 1.5, 2)), (16, (0, 0, 1), (1, 1, 1)))
    together = line((0, [s - 7 for s in STEPS], LENGTHS))
    assert not [e for e in echoes([FIGURE, changed], 0, 0, 5) if e.notes >= 6]
    assert len(echoes([FIGURE, uneven], 0, 0, 5)) == 0
    assert not echoes([FIGURE, together], 0, 0, 5)


def test_a_note_said_again_and_again_is_no_figure():
    same = line((0, (0,) * 6, (1,) * 6))
    assert not echoes([same, line((4, (0,) * 6, (1,) * 6))], 0, 0, 5)


def test_the_command_says_where_a_canon_goes(tmp_path):
    tune = "4c 4d 4e 4g|4f 4d 2c|4e 4f 4g 4b|4a 4f 2e"
    rows = ["**kern\t**kern", '*I"Second\t*I"First', "*M4/4\t*M4/4"]
    bars = tune.split("|")
    for number in range(5):
        rows.append(f"={number + 1}\t={number + 1}")
        upper = bars[number].split() if number < 4 else ["1r"]
        lower = bars[number - 1].upper().replace("R", "r").split() if number else ["1r"]
        places = [at_beats(part) for part in (lower, upper)]
        for beat in sorted({*places[0], *places[1]}):
            rows.append("\t".join(part.get(beat, ".") for part in places))
    rows += ["==\t==", "*-\t*-"]
    path = tmp_path / "canon.krn"
    path.write_text("\n".join(rows) + "\n")
    asked = ["resemble", "--from", str(path), "--bars", "1-2", "--in-piece"]
    said = CliRunner().invoke(melodex, asked)
    assert said.exit_code == 0, said.output
    assert "Second, bars 2-3: 1 bar later, an octave below; 14 notes alike" in said.output
    data = json.loads(CliRunner().invoke(melodex, [*asked, "--format", "json"]).output)
    assert [answer["line"] for answer in data["answers"]] == ["Second"] * 2


def at_beats(tokens):
    """Tokens of a bar by their beat."""
    place, found = 0, {}
    for token in tokens:
        found[place] = token
        place += 4 // int(token[0])
    return found
