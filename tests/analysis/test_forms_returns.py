"""Sections that come again have the key that they had, or are lifted with it.

Sheets are written for this test; what keys they are in is common practice, no source.
"""

from __future__ import annotations

import pytest

from melodex.analysis.keys import read_keys
from melodex.analysis.piece import analyse
from tests.analysis.forms.lead_sheets import melody_of, one

VERSE, CHORUS = "Am|F|Dm|E|Am|F|E|Am", "C|G|Am|F|C|G|F|C"
SHEETS = {
    "minor verse, major chorus, marked": (
        f"[Verse]{VERSE}|[Chorus]{CHORUS}|[Verse]{VERSE}|[Chorus]{CHORUS}",
        "1-8 A minor, 9-16 C major, 17-24 A minor, 25-32 C major",
    ),
    "dorian vamp with a bridge a half step up": (
        "|".join(["Dm7"] * 16 + ["Ebm7"] * 8 + ["Dm7"] * 8),
        "1-16 D dorian, 17-24 Eb dorian, 25-32 D dorian",
    ),
    "eight bars on IV are no other key": (
        "|".join(["C|Am|Dm7|G7|C|Am|Dm7 G7|C"] * 2 + ["F|Dm|Gm7|C7|F|Dm|Gm7 C7|F"]),
        None,
    ),
}


@pytest.mark.parametrize("name", SHEETS)
def test_sections_that_come_again_are_read_as_a_player_reads_them(name: str) -> None:
    chords, expected = SHEETS[name]
    printed = "D dorian" if "dorian" in name else ""
    found = read_keys(melody_of(one(name, chords, "C major", printed=printed)))
    said = ", ".join(f"{s.first_bar}-{s.last_bar} {s.key}" for s in found.spans)
    if expected is None:
        assert said.startswith("1-16 C major")
    else:
        assert said == expected


# Common practice, no source: a ii V of flat II, a ii V of flat III in minor.
@pytest.mark.parametrize(
    ("chords", "key", "bars", "expected"),
    [
        (
            "Bbmaj7|Gm7|Cm7|F7|Bbmaj7|Gm7|Cm7 F7|Bb6|C#m7 F#7|Bmaj7|Cm7|F7|Bb6|Bb6",
            "Bb major",
            (9, 10),
            "ii7/bII V7/bII bIImaj7",
        ),
        (
            "Dm|Gm|A7|Dm|Gm7b5|C7|Fmaj7|A7|Dm|Gm|A7|Dm",
            "D minor",
            (5, 7),
            "iiø7/bIII V7/bIII bIIImaj7",
        ),
    ],
)
def test_a_ii_and_its_dominant_are_named_by_where_they_go(
    chords: str, key: str, bars: tuple[int, int], expected: str
) -> None:
    found = analyse(melody_of(one("", chords, key, printed=key)))
    here = [c for c in found.harmony.chords if bars[0] <= c.bar <= bars[1]]
    assert " ".join(chord.numeral.text for chord in here) == expected
