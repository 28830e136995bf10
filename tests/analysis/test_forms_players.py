"""What a player would correct in a reading of chords; common practice, no source."""

from __future__ import annotations

from dataclasses import replace

import pytest

from melodex.analysis.form import sections
from melodex.analysis.keys import read_keys
from melodex.analysis.piece import Analysis, analyse
from melodex.melody import TICKS_PER_QUARTER, Bar, Key, KeyChange, Melody
from melodex.reading import read_data
from tests.analysis.forms.lead_sheets import bars_of, melody_of, one


def reading_of(chords: str, key: str = "") -> Analysis:
    """The analysis of a sheet."""
    return analyse(melody_of(one("", chords, key or "C major", printed=key)))


@pytest.mark.parametrize(
    "chords",
    [
        # A turnaround, a V7 that leads to the first I, a vamp on two chords.
        "C6|A7|Dm7|G7|C6|A7|Dm7|G7|F|Fm|C A7|Dm7 G7",
        "C7|F7|C7|C7|F7|F7|C7|C7|G7|F7|C7|G7",
        "Cm7|F7|Cm7|F7|Cm7|F7|Cm7|F7|Cm7|F7|Cm7|F7",
    ],
)
def test_chords_that_lead_back_to_the_beginning_are_no_ending(chords: str) -> None:
    kinds = {device.kind for device in reading_of(chords).harmony.devices}
    assert "ending off the tonic" not in kinds


def test_an_ending_on_the_sixth_is_one_off_the_tonic() -> None:
    found = reading_of("C|F|G7|C|C|F|G7|C|F|C|G7|C|F|Dm|C|Am").harmony.devices
    assert "ending off the tonic" in {device.kind for device in found}


def test_nothing_is_the_dominant_of_a_diminished_chord_that_does_not_come() -> None:
    found = reading_of("C|C|F#7|F#7|Gm|Gm|C|C|Dm|G7|C|C", "C major").harmony.chords
    assert {chord.numeral.text for chord in found if chord.bar in {3, 4}} == {"#IV7"}


def test_the_dominant_of_the_key_that_comes_goes_there() -> None:
    lift = "[A]C|F|G7|C|F|G7|C|A7|[A]G|D|A7|D|G|A7|D|D"
    devices = reading_of(lift).harmony.devices
    reasons = [d.reason for d in devices if d.first_bar == 8]
    assert any(
        "the dominant of D" in reason and "and goes there" in reason for reason in reasons
    )


def test_a_goal_is_named_as_its_dominant_is() -> None:
    chords = "Db6|Gb6|Ab7|Db6|A7|Dmaj7|Ebm7 Ab7|Db6|Gb6|Ab7|Db6|Db6"
    reasons = [d.reason for d in reading_of(chords, "Db major").harmony.devices]
    assert any("the dominant of D (bII)" in reason for reason in reasons)
    assert not any("Ebb" in reason for reason in reasons)


def test_the_seventh_of_iv_in_a_blues_is_no_dorian() -> None:
    sheet = melody_of(one("", "A7|D7|A7|A7|D7|D7|A7|A7|E7|D7|A7|E7", "A major"))
    thirds = {4, 5, 9}
    notes = [
        (number * 4 * TICKS_PER_QUARTER + beat * TICKS_PER_QUARTER, pitch, fifths)
        for number in range(12)
        for beat, (pitch, fifths) in enumerate(
            [(60, 0), (62, 2), (60, 0), (62, 2)] if number in thirds else [(69, 3)] * 4
        )
    ]
    tune = Melody(
        midi=tuple(pitch for _, pitch, _ in notes),
        fifths=tuple(fifths for _, _, fifths in notes),
        onset_ticks=tuple(onset for onset, _, _ in notes),
        duration_ticks=(TICKS_PER_QUARTER,) * len(notes),
        bar=tuple(i // 4 + 1 for i in range(len(notes))),
        beat_strength=(1.0, 0.25, 0.5, 0.25) * 12,
        phrase=(0,) * len(notes),
        bars=sheet.bars,
        chords=sheet.chords,
        keys=(KeyChange(0, Key(3, "major"), 3),),
        metres=sheet.metres,
    )
    found = analyse(tune)
    assert found.key.idiom == "blues"
    assert not found.modal


def test_a_strain_that_stands_alone_elsewhere_is_told_inside_a_longer_one() -> None:
    first = [60, 64, 67, 64, 65, 69, 67, 60]
    second = [62, 65, 69, 62, 67, 71, 74, 60]
    bridge = [70, 68, 67, 65, 63, 68, 72, 67]
    roots = {60: "C", 64: "Em", 67: "G", 65: "F", 69: "Am", 62: "Dm", 71: "G", 74: "G"}
    roots |= {70: "Bb", 68: "Ab", 63: "Eb", 72: "Ab"}
    pitches = first + second + bridge + first + second
    sheet = melody_of(one("", "|".join(roots[p] for p in pitches), "C major"))
    length = 4 * TICKS_PER_QUARTER
    fifths = {0: 0, 2: 2, 3: -3, 4: 4, 5: -1, 7: 1, 8: -4, 9: 3, 10: -2, 11: 5}
    tune = Melody(
        midi=tuple(p for p in pitches for _ in range(2)),
        fifths=tuple(fifths[p % 12] for p in pitches for _ in range(2)),
        onset_ticks=tuple(i * length // 2 for i in range(2 * len(pitches))),
        duration_ticks=(length // 2,) * (2 * len(pitches)),
        bar=tuple(i // 2 + 1 for i in range(2 * len(pitches))),
        beat_strength=(1.0, 0.5) * len(pitches),
        phrase=(0,) * (2 * len(pitches)),
        bars=tuple(Bar(i + 1, i * length, length) for i in range(len(pitches))),
        chords=sheet.chords,
        metres=sheet.metres,
    )
    assert len(bars_of("|".join(roots[p] for p in pitches))) == 40
    assert [(s.label, s.bars) for s in sections(tune)] in (
        [("A", 8), ("B", 8), ("C", 8), ("A", 8), ("B", 8)],
        [("A", 16), ("B", 8), ("A", 16)],
    )


def arpeggios(bars: int, worked_out: bool) -> Melody:
    """Broken chords in sixteenths, twice a bar, with a chord to each bar."""
    sheet = melody_of(
        one("", "|".join(["C", "F", "G7", "C", "Am"] * (bars // 5)), "C major")
    )
    shapes = {"C": (60, 64, 67), "F": (60, 65, 69), "G7": (59, 65, 67), "Am": (60, 64, 69)}
    names = {0: 0, 4: 4, 7: 1, 5: -1, 9: 3, 11: 5}
    step = TICKS_PER_QUARTER // 4
    notes = [
        (
            symbol.onset_ticks + half * 2 * TICKS_PER_QUARTER + place * step,
            shapes[symbol.text][place % 3],
        )
        for symbol in sheet.chords
        for half in range(2)
        for place in range(2, 8)
    ]
    tune = Melody(
        midi=tuple(midi for _, midi in notes),
        fifths=tuple(names[midi % 12] for _, midi in notes),
        onset_ticks=tuple(onset for onset, _ in notes),
        duration_ticks=(step,) * len(notes),
        bar=tuple(onset // (4 * TICKS_PER_QUARTER) + 1 for onset, _ in notes),
        beat_strength=(0.5, 0.125, 0.25, 0.125, 0.25, 0.125) * (2 * bars),
        phrase=(0,) * len(notes),
        bars=sheet.bars,
        chords=sheet.chords,
        metres=sheet.metres,
    )
    return tune.with_worked_chords(tune.chords) if worked_out else tune


def test_figures_of_half_a_bar_are_told_as_no_phrases() -> None:
    found = analyse(arpeggios(30, worked_out=False))
    assert found.phrases == ()
    assert found.returns == ()


def test_what_nothing_prints_makes_no_section_of_a_score_odd() -> None:
    found = analyse(arpeggios(35, worked_out=True))
    assert len(found.sections) > 1
    assert not any(section.odd for section in found.sections)
    assert all(section.bars >= 4 for section in found.sections)


@pytest.mark.parametrize(
    ("chords", "told"),
    [
        ("Cmaj7|Am7|Dm7|G7|Cmaj7|Am7|Dm7 G7|Cmaj7", False),
        ("C|Am|F|G7|C|Am|F G7|C6", True),
        ("Cmaj7|Am7|Dm7|G7|Cmaj7|Am7|Dm7 G7|C6", True),
    ],
)
def test_a_colour_that_the_tonic_has_all_through_is_no_ending(
    chords: str, told: bool
) -> None:
    kinds = {device.kind for device in reading_of(chords).harmony.devices}
    assert ("ending on a coloured tonic" in kinds) == told


@pytest.mark.parametrize(
    ("chords", "told"),
    [
        # V7 for two bars inside a strain only goes home; at the end of an eight it rests.
        (
            "G|G7|C|C|D7|D7|G|D7|G|G7|C|A7|D7|D7|G|G7|C|C|G|G|A7|A7|D7|D7|G|G7|C|A7|D7|D7|G|G",
            [
                "authentic 6-7",
                "authentic 14-15",
                "plagal 18-19",
                "half 22-23",
                "authentic 30-31",
            ],
        ),
        # A suspended V fills its bar; ii V only turns around.
        ("[A]C|F|C|G7sus4 G7|[B]Am|F|G7|C", ["half 3-4", "authentic 7-8"]),
        ("[A]C|Am|Dm7|G7|[A]C|Am|Dm7 G7|C", ["authentic 7-8"]),
        # I is reached, and becomes something else in its bar.
        ("[A]C|F|F G7|C Ab7|[A]Db|Gb|Gb Ab7|Db", ["authentic 3-4", "authentic 7-8"]),
        # Sixteen bars in two eights.
        (
            "Am6|Am6|Dm6|Dm6|E7|E7|Am6|Am6|Dm6|Dm6|Am6|Am6|E7|Bb7|Am6|E7",
            ["authentic 6-7"],
        ),
    ],
)
def test_chords_alone_come_to_rest_where_sections_and_eights_end(
    chords: str, told: list[str]
) -> None:
    found = [
        f"{d.kind.removesuffix(' cadence')} {d.first_bar}-{d.last_bar}"
        for d in reading_of(chords).harmony.devices
        if d.kind.endswith(" cadence")
    ]
    assert found == told


def test_chords_after_the_last_note_come_to_rest_too() -> None:
    sheet = melody_of(one("", "[A]C|F|G7|C|[B]F|C|D7 G7|C", "C major"))
    length = 4 * TICKS_PER_QUARTER
    tune = Melody(
        midi=(67, 69, 71, 72),
        fifths=(1, 3, 5, 0),
        onset_ticks=tuple(range(0, 4 * length, length)),
        duration_ticks=(length,) * 4,
        bar=(1, 2, 3, 4),
        beat_strength=(1.0,) * 4,
        phrase=(0,) * 4,
        bars=sheet.bars,
        chords=sheet.chords,
        marks=sheet.marks,
        metres=sheet.metres,
    )
    found = [d for d in analyse(tune).harmony.devices if d.kind == "authentic cadence"]
    assert [(d.first_bar, d.last_bar) for d in found] == [(3, 4), (7, 8)]


def test_eight_bars_of_the_parallel_major_are_a_centre_where_nothing_is_marked() -> None:
    minor, major = "Dm|Gm|A7|Dm|Dm|Gm|A7|Dm", "D|G|A7|D|D|Em|A7|D"
    found = reading_of(f"{minor}|{major}|{minor}", "D minor").spans
    assert [(s.first_bar, s.last_bar, s.mode) for s in found] == [
        (1, 8, "minor"),
        (9, 16, "major"),
        (17, 24, "minor"),
    ]


@pytest.mark.parametrize(
    ("chords", "told"),
    [
        (
            "Dm|A7|Dm|A7|Gm|Dm|E7|A7|F|C7|F|C7|Bb|F|G7|C7|Dm|A7|Dm|A7|Gm|Dm|A7|Dm",
            ["A 8", "B 8", "A' 8"],
        ),
        ("C|B7|E7|A7|D7|G7|C|C|F|F#dim7|C/G|A7|D7|G7|C|C", ["A 16"]),
    ],
)
def test_eights_that_nothing_marks_part_where_a_key_centre_begins(
    chords: str, told: list[str]
) -> None:
    assert [f"{s.label} {s.bars}" for s in reading_of(chords).sections] == told


def test_a_bridge_that_begins_on_vi_and_leads_back_stays_in_the_key() -> None:
    first = "C|C7|F|Fm|C/G A7|Dm7|G7|C"
    bridge = "Am|Em|F|E7|Am|D7|G Dm7|G7"
    found = reading_of(f"[A]{first}|[A]{first}|[B]{bridge}|[A]{first}", "C major")
    assert [(s.first_bar, s.last_bar, s.mode) for s in found.spans] == [(1, 32, "major")]


def reasons(chords: str, key: str, kind: str) -> list[str]:
    """What is said of one kind of device."""
    devices = reading_of(chords, key).harmony.devices
    return [d.reason for d in devices if d.kind == kind]


def test_iv_or_ii_over_the_bass_of_v_is_a_dominant_that_closes() -> None:
    for five in ("F/G", "Dm7/G"):
        sheet = f"C|F|Am|{five}|F|Am|{five}|{five}|C|F|Am|G7|F|C|{five}|C"
        found = reading_of(sheet, "C major").harmony.devices
        kinds = {(d.kind, d.last_bar) for d in found if "cadence" in d.kind}
        assert {("half cadence", 7), ("authentic cadence", 16)} <= kinds
        assert ("plagal cadence", 16) not in kinds


def test_a_dominant_goes_to_its_goal_by_way_of_the_ii_of_that() -> None:
    (said,) = reasons("Cm|Fm|Ab7|Dm7b5|G7|Cm|Fm|Cm", "C minor", "tritone substitute")
    assert said.endswith("and goes there")
    (said,) = reasons("Cm|Fm|Ab7|Fm|G7|Cm|Fm|Cm", "C minor", "tritone substitute")
    assert said.endswith("without going there")


def test_the_last_dominant_leads_back_to_the_first_chord() -> None:
    (said,) = reasons("Cm7|Fm7|Cm7|Ab7 Db7", "C minor", "tritone substitute")[-1:]
    assert said.endswith("and goes there")
    (said,) = reasons("Dm7|G7|Cmaj7|A7", "C major", "secondary dominant")
    assert said.endswith("and goes there")


def test_a_seventh_at_rest_is_no_altered_dominant() -> None:
    sheet = "E7#9|E7#9|A13|E7#9|A13|A13|E7#9|E7#9|B7#9|A13|B7#9|E7#9"
    found = [d for d in reading_of(sheet).harmony.devices if d.kind == "altered dominant"]
    assert {d.first_bar for d in found} == {11}


def test_the_fourth_before_an_applied_dominant_is_of_it() -> None:
    found = reading_of("Am|E7|Am|Am|Am|F|G7sus4|G7|C|Am|E7|Am", "A minor").harmony.chords
    assert [c.numeral.text for c in found if c.bar in {7, 8}] == ["V7sus4/bIII", "V7/bIII"]


def test_suspended_chords_tell_the_flat_seventh() -> None:
    found = reading_of("Dsus4|Csus2|G|D|Dsus4|Csus2|G|D")
    assert str(found.key.key) == "D mixolydian"
    assert "borrowed chord" not in {d.kind for d in found.harmony.devices}


def read(text: str) -> Melody:
    """A tune in ABC."""
    return read_data(text.encode(), "tune.abc").tunes[0].melody


LEADS_ON = """X:1
M:4/4
L:1/8
K:C
C2E2 G2E2|F2A2 G2E2|D2E2 F2D2|E2G2 G4|C2E2 G2E2|F2A2 G2E2|D2E2 F2A2|G8||
{after}
"""


def test_a_strain_that_ends_before_another_printed_key_need_not_end_on_its_tonic() -> None:
    on_five = "[K:G]G2A2 B2d2|e2d2 B2G2|A2B2 c2A2|B8|d2c2 B2A2|G2B2 d2g2|f2e2 d2F2|G8|]"
    tune = read(LEADS_ON.format(after=on_five))
    assert [str(span.key) for span in read_keys(tune).spans] == ["C major", "G major"]
    alone = read(LEADS_ON.format(after=""))
    assert [str(span.key) for span in read_keys(alone).spans] == ["G mixolydian"]


def test_tensions_of_applied_dominants_are_no_colour_of_a_mode() -> None:
    flat_ninths = '"Eb"G4|"C7"_d4|"Fm7"c4|"Bb7"A4|"Eb"G4|"C7"_d4|"Fm7"c2 "Bb7"A2|"Eb"E4|]'
    abc = f"X:1\nM:4/4\nL:1/4\nK:Eb\n{flat_ninths}"
    assert not analyse(read(abc)).modal


def named_sections(chords: str) -> str:
    """The sections of a sheet on which nothing is marked."""
    found = sections(melody_of(one("", chords, "C major")))
    return ", ".join(f"{part.label} {part.bars}" for part in found)


BOLERO = "Dm|Dm|Gm|Gm|Gm|A7|Dm|Dm|D7|D7|Gm|Gm|E7|A7|Dm|Dm"


@pytest.mark.parametrize(
    ("chords", "expected"),
    [
        (f"{BOLERO}|Gm|Dm|A7|Dm|Gm|Dm|E7|A7|{BOLERO}", "A 16, B 8, A 16"),
        ("C|G7|G7|C|C|G7|G7|C" + "|A7|Dm|G7|C|F|C|G7|C" * 2, "A 8, B 8, B 8"),
        (
            "Am|Bm7b5 E7|Am|Bm7b5 E7|Am|Dm7 G7|Cmaj7|A7|Dm7|G7|C6|Fmaj7|Bm7b5|E7|Am|"
            "Bm7b5 E7|Am|Bm7b5 E7|Am|Bm7b5 E7|Em7b5|A7|Dm|Dm|Dm|Bm7b5 E7|Am|Fmaj7|Bm7b5|"
            "E7|Am|Am|Dm7 Am7|Dm7 Am7|Dm7 Em7|Am",
            "A 8, B 8, A' 8, C 12",
        ),
        (
            "Em6|B7|B7|Em|E7|Am|D7|Gmaj7|Cmaj7|F#m7b5|B7|Em|E7|Am|D7|G|Cmaj7|Am6|"
            "F#m7b5 B7|Em",
            "A 4, B 8, B' 8",
        ),
        (
            "C|C7|F|C|C|Am|D7|G7|C|C7|F|F#dim7|C/G|A7|D7 G7|C|Db|Db7|Gb|Db|Db|Bbm|Eb7|Ab7|"
            "Db|Db7|Gb|Gdim7|Db/Ab|Bb7|Eb7 Ab7|Db",
            "A 8, A' 8, A 8, A' 8",
        ),
        (
            "G6 E7|Am7 D7|G6 E7|Am7 D7|G7|C Cm|G E7|Am7 D7|G6 E7|Am7 D7|G6 E7|Am7 D7|G7|"
            "C Cm|G D7|G|B7|B7|E7|E7|A7|A7|D7|D7|G6 E7|Am7 D7|G6 E7|Am7 D7|G7|C Cm|G E7|"
            "Am7 D7|Bm7 E7|Am7 D7|G|G",
            "A 8, A' 8, B 8, A' 12",
        ),
    ],
)
def test_strains_of_a_sheet_of_chords_are_told_by_their_return(
    chords: str, expected: str
) -> None:
    assert named_sections(chords) == expected


def test_a_section_that_turns_around_closes_on_the_i_before() -> None:
    eight = "C6|C6|D7|D7|Dm7|G7|C6"
    found = reading_of(f"[A]{eight}|Dm7 G7|[A]{eight}|C6").harmony.devices
    told = [(d.first_bar, d.last_bar) for d in found if d.kind == "authentic cadence"]
    assert told == [(6, 7), (14, 15)]


def test_a_close_is_told_once_where_a_dominant_comes_bars_later() -> None:
    chords = "F7|F7|F7|F7|Bb7|Bb7|Bb7|Bb7|Eb7|Eb7|Eb7|Eb7|Ab|Ab|Ab|C7"
    end = "Fm|C7|Fm|C7|Ab F7|Bb7 Eb7|Ab|Ab"
    found = reading_of(f"{chords}|{'|'.join(chords.split('|')[:8])}|{end}", "Ab major")
    told = [
        (d.first_bar, d.last_bar)
        for d in found.harmony.devices
        if d.kind == "authentic cadence"
    ]
    assert told == [(12, 13), (30, 31)]


@pytest.mark.parametrize(
    ("chords", "key", "source"),
    [
        ("Gm7|C7|Gm7|C7|Ebmaj7|F|Gm7|Gm7", "G dorian", "natural minor on the same"),
        ("G|F|G|F|Cmaj7|Em|Gmaj7|G", "G mixolydian", "major on the same tonic"),
    ],
)
def test_a_chord_beside_a_mode_comes_from_the_nearest(
    chords: str, key: str, source: str
) -> None:
    found = reading_of(chords, key)
    assert str(found.key.key) == key
    told = [d.reason for d in found.harmony.devices if d.kind == "borrowed chord"]
    assert told
    assert all(f"borrowed from {source}" in reason for reason in told)


def test_a_diminished_chord_that_passes_down_stands_on_a_lowered_degree() -> None:
    found = reading_of("Db|Fm7 Edim7|Ebm7 Ab7|Db|Db|Fm7 Edim7|Ebm7 Ab7|Db", "Db major")
    texts = [chord.numeral.text for chord in found.harmony.chords if chord.bar == 2]
    assert texts == ["iii7", "biii°7"]


def test_a_strain_of_chords_that_begins_a_bar_later_in_another_is_no_return() -> None:
    # So it is where a tune comes in after a bar of what accompanies it.
    first = "Ab|Eb7|Ab|Eb7|Ab|Ab7|Db|Eb7|Ab|Eb7|Ab|Eb7|Db|Ab|Eb7|Ab"
    second = "Eb7|Ab|Eb7|Ab|Bb7|Eb7|Bb7|Eb7|Eb7|Ab|Eb7|Ab|Db|Fm|Bb7|Eb7"
    found = melody_of(one("", f"[-]{first}|[-]{second}", "Ab major"))
    unnamed = replace(
        found,
        marks=(),
        bars=tuple(
            replace(bar, line="double") if bar.number == 16 else bar for bar in found.bars
        ),
    )
    assert [part.label for part in sections(unnamed)] == ["A", "B"]


def test_a_strain_in_the_relative_needs_no_printed_key_where_another_prints_one() -> None:
    minor = "Am|E7|Am|A7|Dm|Am|B7|E7|Am|E7|Am|A7|Dm|Am|B7 E7|Am"
    major = "C|G7|G7|C|A7|Dm|D7|G7|C|G7|C|A7 Dm|F Fm|C A7|D7 G7|C"
    last = "A|F#7|Bm|E7|A|A7|D|D|Dm|A|F#7|Bm|B7|E7|A|A"
    sheet = melody_of(one("", f"[A]{minor}|[B]{major}|[A]{minor}|[C]{last}", "A minor"))
    onset = 48 * 4 * TICKS_PER_QUARTER
    printed = (KeyChange(0, Key(3, "minor"), 0), KeyChange(onset, Key(3, "major"), 3))
    found = analyse(replace(sheet, keys=printed))
    assert [(s.first_bar, s.last_bar, str(s.key)) for s in found.spans] == [
        (1, 16, "A minor"),
        (17, 32, "C major"),
        (33, 48, "A minor"),
        (49, 64, "A major"),
    ]


def test_a_loop_that_ends_on_vi_has_no_deceptive_cadence() -> None:
    devices = reading_of("F|C|G|Am|" * 5 + "F|C|G|C", "C major").harmony.devices
    assert "deceptive cadence" not in {device.kind for device in devices}


def test_the_major_chord_on_the_sixth_deceives_nobody() -> None:
    sheet = "[A]C|F|G|C|F|C|G|A|[B]Dm|G|C|F|Dm|G7|C|C"
    kinds = {device.kind for device in reading_of(sheet, "C major").harmony.devices}
    assert "deceptive cadence" not in kinds


def test_mediants_that_go_back_to_i_lead_nowhere() -> None:
    found = reading_of("C|E|C|Ab|C|A|C|F|G7|E|Am|A|Dm|G7|C|C", "C major").harmony.chords
    texts = [chord.numeral.text for chord in found]
    assert [texts[place] for place in (1, 5, 9, 11)] == ["III", "VI", "V/vi", "V/ii"]


MINOR_STRAIN = "Dm|A7|A7|Dm|Dm|D7|Gm|Gm|Gm|Dm|A7|Dm|Bb7|A7|Dm|Dm"
MAJOR_TRIO = "F|F|C7|C7|C7|C7|F|F|F|F7|Bb|Bbm|F|C7|F|A7"
VERSE_ON_SIX = "Gm|D7|Gm|D7|Gm|Cm|D7|D7|Gm|D7|Gm|D7|C7|C7|F7|F7"
REFRAIN = "Bb|Bb|F7|F7|F7|F7|Bb|Bb|Eb|Eb|Bb|Bb|C7|C7|F7|F7"
PARALLEL = "[Verse]Em|C|Am|B7|Em|C|Am|B7|[Chorus]E|A|B|E|C#m|A|B|"
POLONAISE = "C|G7|C|G7|C|F|D7|G|C|G7|C|A7|Dm|C|G7|C"
TURNS = "C Am|F G7|C Am|F G7|C Am|F G7|C F|C"
ONE_UP = "Db Bbm|Gb Ab7|Db Bbm|Gb Ab7|Db Bbm|Gb Ab7|Db Gb|Db"
TWO_UP = "D Bm|G A7|D Bm|G A7|D Bm|G A7|D G|D"


@pytest.mark.parametrize(
    ("chords", "expected"),
    [
        (
            f"[A]{MINOR_STRAIN}|[A]{MINOR_STRAIN}|[Trio]{MAJOR_TRIO}|[A]{MINOR_STRAIN}",
            ["1-32 D minor", "33-48 F major", "49-64 D minor"],
        ),
        (
            f"[Verse]{VERSE_ON_SIX}|[Refrain]{REFRAIN}|{REFRAIN[:-5]}Bb|Bb",
            ["1-12 G minor", "13-48 Bb major"],
        ),
        (
            f"{PARALLEL}B7|{PARALLEL}E",
            ["1-8 E minor", "9-16 E major", "17-24 E minor", "25-32 E major"],
        ),
        (
            f"{TURNS} Ab7|{ONE_UP} A7|{TWO_UP}",
            ["1-8 C major", "9-16 Db major", "17-24 D major"],
        ),
        (
            f"[A]{POLONAISE}|[Trio]F|C7|F|C7|F|Bb|G7|C|F|C7|F|D7|Gm|F|C7|F|[A]{POLONAISE}",
            ["1-16 C major", "17-32 F major", "33-48 C major"],
        ),
        (
            "[Verse]G|C|G|C|G|C|D|D|[Chorus]Em|C|G|D|Em|C|G|D|[Bridge]F|C|G|G|F|C|D|E7"
            "|[Chorus]F#m|D|A|E|F#m|D|A|E|[Outro]A|D|A|D|A|D|A|A",
            ["1-24 G major", "25-40 A major"],
        ),
    ],
)
def test_sections_that_are_in_another_key_are_told_from_end_to_end(
    chords: str, expected: list[str]
) -> None:
    told = [f"{s.first_bar}-{s.last_bar} {s.key}" for s in reading_of(chords).spans]
    assert told == expected


@pytest.mark.parametrize(
    ("chords", "key"),
    [
        ("C6|C6|D7|Db7|C6|C6|D7|Db7|C6|C6", "C major"),
        ("Cm|Cm|D7|Dbmaj7|G7|G7|Cm|Cm|Cm|Cm", "C minor"),
    ],
)
def test_ii7_before_flat_ii_is_the_dominant_of_five(chords: str, key: str) -> None:
    found = reading_of(chords, key).harmony.chords
    assert {chord.numeral.text for chord in found if chord.bar == 3} == {"V7/V"}


CAROL = """X:1
M:4/4
L:1/4
K:Em
E|"Em"EBBA|"C"GF"B7"EF|"Em"GA"Am"BA|"B7"B3E|"Em"EBBA|"C"GF"B7"EF|"Em"GA"B7"GF|"Em"E3B|
"G"d2dB|"C"e2dc|"G"B2"D7"A2|"G"G3B|"G"d2dB|"Am"c2BA|"Em"G2"B7"F2|"Em"E3|]
"""


def test_a_piece_that_comes_home_to_its_first_key_ends_on_its_tonic() -> None:
    found = analyse(read_data(CAROL.encode(), "carol.abc").tunes[0].melody)
    assert [str(span.key) for span in found.spans] == ["E minor", "G major"]
    assert "ending off the tonic" not in {d.kind for d in found.harmony.devices}
