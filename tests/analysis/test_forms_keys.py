"""Keys of standard progressions and forms in twelve keys; common practice, no source."""

from __future__ import annotations

import pytest

from melodex.analysis.keys import read_keys
from melodex.melody import pitch_class
from tests.analysis.effort import calls_in
from tests.analysis.forms.lead_sheets import (
    FORMS,
    HIGHEST,
    LOWEST,
    STEPS,
    Form,
    bars_of,
    key_named,
    melody_of,
    one,
)


def test_there_are_enough_forms_and_each_is_covered_by_its_centres() -> None:
    assert len(FORMS) >= 40
    assert len({form.name for form in FORMS}) == len(FORMS)
    for form in FORMS:
        bars = [bar for a, b, _ in form.centres for bar in range(a, b + 1)]
        assert bars == list(range(1, len(bars_of(form.chords)) + 1)), form.name


@pytest.mark.parametrize("form", FORMS, ids=lambda form: form.name)
def test_key_centres_of_a_form_are_read_in_twelve_keys(form: Form) -> None:
    for step in STEPS:
        found = read_keys(melody_of(form, step))
        said = [
            (s.first_bar, s.last_bar, pitch_class(s.tonic_fifths), s.mode)
            for s in found.spans
        ]
        keys = [(a, b, key_named(name, step)) for a, b, name in form.centres]
        assert said == [(a, b, pitch_class(k.tonic_fifths), k.mode) for a, b, k in keys], (
            step
        )
        # A tonic is spelled as it is written; in far keys that is another name.
        if LOWEST <= keys[0][2].tonic_fifths <= HIGHEST:
            assert found.reading.key in {key for _, _, key in keys}, step
        assert found.reading.key in {span.key for span in found.spans}
        assert found.reading.idiom == form.idiom, step


def work_on(sections: int) -> int:
    """Calls of functions that it takes to read the keys of a chart of many sections."""
    eights = "[A]F|F|C7|F|F|G7|C7|F|[B]Bb|F7|Bb|Eb|Bb|C7|F7|Bb"
    centres = "[C]Ebm7|Ab7|Dbmaj7|Dbmaj7|F|Gm7 C7|F|F|[D]Am7|D7|Gmaj7|Gmaj7|F|F|C7|F"
    melody = melody_of(one("", "|".join([eights, centres] * (sections // 4)), "F major"))
    return calls_in(lambda: read_keys(melody))


def test_the_work_on_a_long_chart_grows_no_faster_than_its_length() -> None:
    work_on(8)  # Tables are read once.
    assert work_on(320) < 4.4 * work_on(80)
