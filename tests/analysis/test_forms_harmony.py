"""Numerals, cadences and devices of standard forms in many keys; common practice.

Keys in which a sheet would write a chord by its other name are left out here; key
centres are tested in all twelve.
"""

from __future__ import annotations

import pytest

from melodex.analysis.harmony.chords import parse_chord
from melodex.analysis.piece import analyse
from melodex.melody import Melody
from tests.analysis.effort import calls_in
from tests.analysis.forms.harmony import HARMONY
from tests.analysis.forms.lead_sheets import FORMS, STEPS, Form, melody_of, one

TOLD = {
    "augmented sixth",
    "Neapolitan",
    "Picardy third",
    "common-tone diminished",
    "passing diminished",
    "secondary leading tone",
    "backdoor",
    "flat VII to I",
    "turnaround",
    "related ii",
    "tritone substitute",
    "inner line over one root",
    "inner line by half step",
    "suspended ending",
}
"""Devices that the table names, beside every cadence."""


def test_every_form_has_its_harmony() -> None:
    assert set(HARMONY) == {form.name for form in FORMS}


def keeps_its_spelling(form: Form, step: int) -> bool:
    """Whether no chord of a sheet is written by another name in a far key."""
    here, there = (roots(melody_of(form, move)) for move in (0, step))
    return [root + step for root in here] == there


def roots(melody: Melody) -> list[int]:
    """Roots of the chord symbols on the line of fifths."""
    return [parse_chord(symbol.text).root_fifths for symbol in melody.chords]


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.name)
def test_numerals_and_cadences_of_a_form_are_named_in_the_keys_that_spell_it(
    form: Form,
) -> None:
    numerals, finds = HARMONY[form.name]
    steps = [step for step in STEPS if keeps_its_spelling(form, step)]
    assert len(steps) >= 5
    for step in steps:
        found = analyse(melody_of(form, step)).harmony
        bars: dict[int, list[str]] = {}
        for chord in found.chords:
            bars.setdefault(chord.bar, []).append(chord.numeral.text)
        assert "|".join(" ".join(texts) for texts in bars.values()) == numerals, step
        told = [
            f"{device.kind} {device.first_bar}-{device.last_bar}"
            for device in found.devices
            if "cadence" in device.kind or device.kind in TOLD
        ]
        assert ", ".join(told) == finds, step


def work_on(bars: int) -> int:
    """Calls of functions that it takes to tell the harmony of a chart on one root."""
    melody = melody_of(one("", "|".join(["C", "Csus4"] * (bars // 2)), "C major"))
    return calls_in(lambda: analyse(melody))


def test_the_work_on_a_long_pedal_grows_no_faster_than_its_length() -> None:
    work_on(16)  # Tables are read once.
    assert work_on(1600) < 4.4 * work_on(400)
