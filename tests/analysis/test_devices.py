"""Melody notes on chords, and harmonic devices; every fact is common practice."""

from dataclasses import dataclass, replace
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from melodex.analysis.harmony.chords import parse_chord, parse_chords
from melodex.analysis.harmony.devices.cadences import named_in_key
from melodex.analysis.harmony.devices.device import KINDS
from melodex.analysis.harmony.devices.finding import harmony
from melodex.analysis.harmony.devices.successions import find_two_five_ones
from melodex.analysis.harmony.lines import inner_lines
from melodex.analysis.harmony.placed import melody_on_chords, place_chords
from melodex.analysis.piece import analyse
from melodex.melody import (
    Bar,
    ChordSymbol,
    Melody,
    fifths_from_name,
    midi_of,
    pitch_class,
    pitch_class_name,
)
from melodex.reading.abc.reader import read_abc

BAR = 40320


@dataclass(frozen=True)
class Span:
    """A key centre with the fields that key spans have."""

    tonic_fifths: int = 0
    mode: str = "major"
    onset_ticks: int = 0


def tune(chords: str, notes: str = "", per_bar: int = 2) -> Melody:
    """One chord a bar; notes such as ``C5`` in equal lengths, ``per_bar`` to the bar."""
    texts, names = chords.split(), notes.split()
    length = BAR // per_bar
    spelled = [fifths_from_name(name[:-1]) for name in names]
    return Melody(
        midi=tuple(midi_of(f, int(n[-1])) for f, n in zip(spelled, names, strict=True)),
        fifths=tuple(spelled),
        onset_ticks=tuple(i * length for i in range(len(names))),
        duration_ticks=(length,) * len(names),
        bar=tuple(i // per_bar + 1 for i in range(len(names))),
        beat_strength=tuple(1.0 if i % per_bar == 0 else 0.5 for i in range(len(names))),
        phrase=(0,) * len(names),
        bars=tuple(Bar(i + 1, i * BAR, BAR) for i in range(len(texts))),
        chords=tuple(ChordSymbol(t, i + 1, i * BAR) for i, t in enumerate(texts)),
    )


def found(
    chords: str, notes: str = "", key: Span | None = None
) -> dict[str, list[tuple[int, int]]]:
    """Bars of each kind of device."""
    kinds: dict[str, list[tuple[int, int]]] = {}
    for device in harmony(tune(chords, notes), [key or Span()]).devices:
        kinds.setdefault(device.kind, []).append((device.first_bar, device.last_bar))
    return kinds


def rows(chords: str, notes: str, per_bar: int = 2, key: Span | None = None):
    """The melody on its chords."""
    melody = tune(chords, notes, per_bar)
    return melody_on_chords(melody, place_chords(melody, [key or Span()]))


def test_e_over_f_minor_in_c_is_the_major_seventh_on_the_minor_iv():
    row = rows("Fm", "E5", 1)[0]
    assert row.sentence == "major 7th on the minor iv"
    assert row.kind == "tension"


def test_c_sharp_over_g7_is_the_sharp_eleventh():
    row = rows("G7", "C#5", 1)[0]
    assert row.degree_name == "#11"
    assert row.sentence == "sharp 11th on the V 7"


def test_e_over_flat_seven_is_its_sharp_eleventh():
    assert rows("Bb7", "E5", 1)[0].sentence == "sharp 11th on the flat VII 7"


def test_the_major_seventh_of_b_flat_minor_is_a():
    row = rows("Bbm", "A4", 1, Span(fifths_from_name("F")))[0]
    assert row.sentence == "major 7th on the minor iv"


@pytest.mark.parametrize(
    ("chord", "note", "name", "kind"),
    [
        ("C", "E5", "3", "chord tone"),
        ("C", "A4", "6", "tension"),
        ("Cmaj7", "A4", "13", "tension"),
        ("C7", "F5", "11", "non-chord tone"),
        ("C", "F5", "11", "non-chord tone"),
        ("Cm7", "F5", "11", "tension"),
        ("C7", "Eb5", "#9", "tension"),
        ("C7", "D#5", "#9", "tension"),
        ("C7", "Db5", "b9", "tension"),
        ("Cmaj7", "Db5", "b9", "non-chord tone"),
        ("C7", "Ab4", "b13", "tension"),
        ("Cdim7", "A4", "bb7", "chord tone"),
        ("C7b5", "F#5", "b5", "chord tone"),
        ("C/D", "D5", "9", "tension"),
    ],
)
def test_a_note_is_named_above_its_chord(chord, note, name, kind):
    row = rows(chord, note, 1)[0]
    assert (row.degree_name, row.kind) == (name, kind)


@pytest.mark.parametrize(
    ("chords", "notes", "place", "figure"),
    [
        ("C", "C5 D5 E5 E5", 1, "passing note"),
        ("C", "E5 F5 E5 E5", 1, "neighbour note"),
        ("C", "G5 F5 G5 G5", 1, "neighbour note"),
        ("C", "C5 F5 E5 E5", 1, ""),
        ("C", "C5 C5 A5 G5", 2, "appoggiatura"),
        ("C", "E5 F5 C5 C5", 1, "escape note"),
    ],
)
def test_figures_are_told_by_how_a_note_is_approached_and_left(
    chords, notes, place, figure
):
    melody = tune(chords, notes, 4)
    strengths = (1.0, 0.25, 0.5, 0.25)
    melody = Melody(
        **{
            name: getattr(melody, name)
            for name in (
                "midi",
                "fifths",
                "onset_ticks",
                "duration_ticks",
                "bar",
                "phrase",
                "bars",
                "chords",
            )
        },
        beat_strength=strengths,
    )
    row = melody_on_chords(melody, place_chords(melody, [Span()]))[place]
    assert row.note == place
    assert row.figure == figure


def test_a_note_kept_from_the_last_chord_that_falls_by_step_is_a_suspension():
    row = next(r for r in rows("F G", "C5 C5 C5 B4") if r.note == 2)
    assert (row.degree_name, row.figure) == ("11", "suspension")


def test_a_note_that_the_next_chord_takes_up_is_an_anticipation():
    row = next(r for r in rows("G7 C", "D5 C5 C5 C5") if r.note == 1)
    assert row.figure == "anticipation"


def test_a_note_held_over_a_change_is_met_with_both_chords():
    melody = Melody(
        (60,),
        (0,),
        (0,),
        (2 * BAR,),
        (1,),
        (1.0,),
        (0,),
        bars=(Bar(1, 0, BAR), Bar(2, BAR, BAR)),
        chords=(ChordSymbol("C", 1, 0), ChordSymbol("Fm", 2, BAR)),
    )
    both = melody_on_chords(melody, place_chords(melody, [Span()]))
    assert [(r.chord, r.degree_name, r.held) for r in both] == [
        (0, "1", False),
        (1, "5", True),
    ]


@pytest.mark.parametrize(
    ("chords", "kind", "bars"),
    [
        ("C D7 G7 C", "secondary dominant", (2, 2)),
        ("C F#dim7 G7 C", "secondary leading tone", (2, 2)),
        ("C Gm7 C7 F", "related ii", (2, 2)),
        ("C Fm C", "borrowed chord", (2, 2)),
        ("C Fm(maj7) C", "borrowed chord", (2, 2)),
        ("C Ab Bb C", "modal mixture", (2, 3)),
        ("Dm7 Db7 Cmaj7", "tritone substitute", (2, 2)),
        ("C Fm7 Bb7 C F G7 C", "backdoor", (2, 4)),
        ("C Bb C", "flat VII to I", (2, 3)),
        ("C Fm7 Bb7 C", "backdoor cadence", (2, 4)),
        ("Dm7 Db7 Cmaj7", "authentic cadence", (2, 3)),
        ("Ab7 C/G G7 C", "augmented sixth", (1, 1)),
        ("C Db/F G7 C", "Neapolitan", (2, 2)),
        ("C Cdim7 C G", "common-tone diminished", (2, 2)),
        ("Em Ebdim7 Dm7 G", "passing diminished", (2, 2)),
        ("C D7#11 F C", "lydian dominant", (2, 2)),
        ("C7 F7 G7 C7", "blues seventh", (2, 2)),
        ("Dm7 G7b9 C", "altered dominant", (2, 2)),
        ("Dm7 G7 C", "ii V I", (1, 3)),
        ("Dm7 Gsus4 G7 C6", "ii V I", (1, 4)),
        ("Dm7 Db7 C", "ii V I", (1, 3)),
        ("Em A7 Dm G7 C", "circle of fifths", (1, 5)),
        ("C E F", "third relation", (1, 2)),
        ("F G7 C", "authentic cadence", (2, 3)),
        ("C Bdim C", "authentic cadence", (2, 3)),
        ("C F C", "plagal cadence", (2, 3)),
        ("F Fm C", "minor plagal cadence", (2, 3)),
        ("C F C F G G", "half cadence", (4, 5)),
        ("C G7 Am", "deceptive cadence", (2, 3)),
        ("C G7 Ab", "deceptive cadence", (2, 3)),
        ("C F Gsus4", "suspended ending", (3, 3)),
        ("C F Am", "ending off the tonic", (3, 3)),
        ("C G7 C6/9", "ending on a coloured tonic", (3, 3)),
        ("C/G F/G G7 C", "pedal bass", (1, 3)),
        ("C G/B Bb F/A C", "bass by half step", (1, 4)),
        ("Cm CmM7 Cm7 Cm6", "inner line over one root", (1, 4)),
        ("C E Am Gm", "inner line by half step", (1, 4)),
    ],
)
def test_each_device_is_found_where_it_stands(chords, kind, bars):
    assert bars in found(chords)[kind]


# Common practice, no source: the half cadence is where the phrase comes to rest on V.
def test_a_half_cadence_is_where_the_melody_rests_on_v() -> None:
    tune = (
        'X:1\nL:1/4\nM:4/4\nK:G\n"G"G B d B|"C"c e "G"d B|"Am"A B c e|"D7"{bar}|'
        '"G"G B d B|"C"c e "G"d B|"Am"A c "D7"A F|"G"G4|]'
    )

    def at_bar(bar: str, last: int) -> list[tuple[str, int]]:
        piece = analyse(read_abc(tune.replace("{bar}", bar)).tunes[0].melody)
        return [
            (d.kind, d.first_bar)
            for d in piece.harmony.devices
            if "cadence" in d.kind and d.last_bar == last
        ]

    assert at_bar("F A d c", 4) == []
    assert at_bar("A4", 4) == [("half cadence", 3)]
    # I begins the next phrase: that is no authentic cadence.
    assert at_bar("A4", 5) == []
    assert at_bar("A4", 8) == [("authentic cadence", 7)]


# Common practice, no source: V that goes home at once has not come to rest.
def test_a_v_that_goes_home_is_no_half_cadence() -> None:
    tune = (
        'X:1\nL:1/4\nM:4/4\nK:Bb\n"Bb"B d f d|"Gm"g f d B|"Cm7"c e g e|"F7"a f "Bb"B2|'
        '"Eb"e g b g|"Bb"f d B d|"Cm7"e c "F7"A c|"Bb"B4|]'
    )
    found = analyse(read_abc(tune).tunes[0].melody).harmony.devices
    assert [(d.kind, d.first_bar, d.last_bar) for d in found if "cadence" in d.kind] == [
        ("authentic cadence", 4, 4),
        ("authentic cadence", 7, 8),
    ]


def test_a_major_last_chord_in_minor_is_pointed_out():
    kinds = found("Cm G7 C", key=Span(0, "minor"))
    assert kinds["Picardy third"] == [(2, 3)]
    assert not {"authentic cadence", "borrowed chord"} & set(kinds)
    assert "minor plagal cadence" not in found("Cm Fm Cm", key=Span(0, "minor"))


# Common practice, no source: four chords in two bars, back to the first.
@pytest.mark.parametrize(
    "chords", ["C A7|Dm7 G7|C C", "Em7 A7|Dm7 Db7|C C", "Em7 Ebdim7|Dm7 G7|C C", "C Am|F C"]
)
def test_a_turnaround_is_quick(chords) -> None:
    bars = ["".join(f'"{c}"z2' for c in bar.split()) for bar in chords.split("|")]
    tune = f"X:1\nL:1/4\nM:4/4\nK:C\nC4|{'|'.join(bars)}|C4|]"
    found = analyse(read_abc(tune).tunes[0].melody).harmony.devices
    places = [(d.first_bar, d.last_bar) for d in found if d.kind == "turnaround"]
    assert places == ([] if "F" in chords else [(2, 3)])


def test_minor_ii_v_i_is_found_in_its_key():
    assert found("Dm7b5 G7 Cm", key=Span(0, "minor"))["ii V I"] == [(1, 3)]


def test_ii_v_i_of_another_key_is_not_called_one():
    assert "ii V I" not in found("Em7 A7 D")
    assert find_two_five_ones(parse_chords(["Em7", "A7", "D"]), [2, 2, 2]) == [(0, 2)]
    assert find_two_five_ones(parse_chords(["Em7", "A7", "D"]), [None] * 3) == []


def test_seventh_chords_of_one_key_alone_are_ii_v_i_in_any_key():
    assert "ii V I" in found("C Em7 A7 Dmaj7 G7 C")
    assert "ii V I" not in found("C Em7 A7 Dm7 F C")


def test_plain_chords_of_a_key_give_no_colour():
    kinds = set(found("C Am F G C"))
    assert not kinds & {
        "secondary dominant",
        "borrowed chord",
        "tritone substitute",
        "pedal bass",
        "bass by half step",
        "inner line by half step",
        "altered dominant",
        "third relation",
    }


def test_a_chain_of_sevenths_and_a_blues_are_no_inner_lines():
    for chords in ("E7 A7 D7 G7", "F7 C7 G7 F7 C7", "Cm6 Fm7 Cm6 Cm7", "Em7 Ebm7 Dm7 Dbm7"):
        assert "inner line by half step" not in found(chords)


def test_a_blues_that_turns_back_makes_no_half_cadence():
    assert "half cadence" not in found("C7 F7 C7 C7 F7 F7 C7 C7 G7 F7 C7 G7")


def test_five_to_one_in_passing_is_no_cadence():
    melody = tune("C G7 C G7 C F C F", "C5 C5 D5 D5 E5 E5 D5 D5 C5 C5 F5 F5 E5 E5 F5 F5")
    kinds = {d.kind for d in harmony(melody, [Span()]).devices}
    assert "authentic cadence" not in kinds


def test_a_long_telling_tension_is_pointed_out_with_its_note():
    devices = harmony(tune("C Fm C", "C5 C5 E5 C5 C5 C5"), [Span()]).devices
    colour = next(d for d in devices if d.kind == "colour note")
    assert colour.notes == (2,)
    assert colour.reason == "the E in the melody is the major 7th on the minor iv"


def test_reasons_are_one_sentence_and_name_the_chord():
    for device in harmony(tune("C A7 Dm7 Db7 C Fm C"), [Span()]).devices:
        assert device.reason
        assert "\n" not in device.reason
        assert not device.reason.endswith(".")


def test_without_chords_or_key_there_is_nothing_to_tell():
    assert harmony(Melody()).devices == ()
    nothing = harmony(tune("what? N.C. %"), [Span()])
    assert nothing.devices == ()
    assert [c.chord.understood for c in nothing.chords] == [False, True, False]
    no_key = harmony(tune("Dm7 G7 C", "D5 D5 F5 F5 E5 E5"))
    assert {d.kind for d in no_key.devices} <= set(KINDS)
    assert no_key.notes[0].sentence == "root on Dm7"


CHORDS = [
    "C",
    "Am7",
    "Fm6",
    "D7",
    "Db7",
    "Gsus4",
    "F/G",
    "Bdim7",
    "E7#9",
    "Ab",
    "C5",
    "F#m7b5",
    "N.C.",
    "?",
]


@given(
    st.lists(st.sampled_from(CHORDS), max_size=12),
    st.sampled_from(["major", "minor", "dorian"]),
)
def test_devices_stay_inside_the_piece_and_in_order(texts, mode):
    devices = harmony(tune(" ".join(texts)), [Span(0, mode)]).devices
    for device in devices:
        assert 1 <= device.first_bar <= device.last_bar <= len(texts)
        assert device.kind in KINDS
    assert [d.chords for d in devices] == sorted(d.chords for d in devices)


@given(st.lists(st.sampled_from(CHORDS[:-2]), min_size=1, max_size=10))
def test_inner_lines_are_the_longest_chains_of_half_steps(texts):
    chords = parse_chords(texts)
    for line in inner_lines(chords):
        classes = [pitch_class(note) for note in line.notes]
        steps = {(b - a) % 12 for a, b in pairwise(classes)}
        assert steps in ({1}, {11})
        for place, name in zip(
            range(line.first, line.last + 1), line.names.split(), strict=True
        ):
            assert pitch_class(fifths_from_name(name)) in held(chords[place])
        step = next(iter(steps))
        if line.last + 1 < len(chords):
            assert (classes[-1] + step) % 12 not in held(chords[line.last + 1])
        if line.first:
            assert (classes[0] - step) % 12 not in held(chords[line.first - 1])


def held(chord) -> set[int]:
    """Pitch classes of a chord without a foreign bass."""
    return {pitch_class(chord.root_fifths + degree) for degree in chord.degrees}


def test_names_of_notes_come_from_the_chord_that_holds_them():
    line = inner_lines(parse_chords(["Am", "AmM7", "Am7", "Am6"]))[0]
    assert line.names == "A G# G F#"
    assert pitch_class_name(parse_chord("Am").root_fifths) == "A"


def test_a_cadence_at_a_change_of_key_is_named_in_one_key() -> None:
    placed = place_chords(tune("C G7 C F"), [Span(0), Span(-1, onset_ticks=3 * BAR)])
    assert placed[2].numeral.text == "I"
    assert named_in_key(placed[2], placed[3]) == "V to I in F"
    assert named_in_key(placed[1], placed[2]) == "V7 to I in C"


def played(chords: str, key: Span, melody_notes: str = "") -> dict[str, list[str]]:
    """Sentences of each kind of device over chords that were worked out, one a bar."""
    printed = tune(chords, melody_notes, 1)
    worked = replace(printed, chords=(), phrase=(0,) * len(printed)).with_worked_chords(
        tuple(replace(symbol, certainty=0.9) for symbol in printed.chords)
    )
    told: dict[str, list[str]] = {}
    analysis = harmony(worked, [key])
    for device in analysis.devices:
        told.setdefault(device.kind, []).append(device.reason)
    return told


def test_a_played_four_over_the_bass_of_one_is_no_plagal_cadence():
    notes = "C5 D5 C5 C5"
    assert "plagal cadence" not in played("C G F/C C", Span(), notes)
    assert "plagal cadence" in played("C G F C", Span(), notes)


def test_a_played_half_cadence_stands_on_a_triad_in_root_position():
    assert "half cadence" in played("C F Dm G", Span(), "C5 A4 F4 G4")
    for last in ("G7", "G/B"):
        assert "half cadence" not in played(f"C F Dm {last}", Span(), "C5 A4 F4 G4")


def test_the_sixth_of_melodic_minor_is_borrowed_from_nowhere():
    minor = Span(0, "minor")
    assert "borrowed chord" not in played("Cm F G7 Cm", minor)
    assert "borrowed chord" in played("Cm F Cm Cm", minor)


def test_a_major_four_over_its_third_that_falls_a_fifth_in_minor_is_a_dominant():
    told = played("Am D/F# G C", Span(3, "minor"))
    assert "V6/bVII" in told["secondary dominant"][0]
