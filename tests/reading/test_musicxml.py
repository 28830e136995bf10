"""MusicXML, construct by construct, on small sheets written for these tests.

Expected values are worked by hand from the MusicXML 4.0 specification (W3C Music
Notation Community Group, 2021), whose element is named in each test.
"""

import io
import zipfile

import pytest

from melodex.melody import TICKS_PER_QUARTER, Metre, note_name
from melodex.reading import Choice, read_bytes, read_path

HEAD = '<?xml version="1.0" encoding="UTF-8"?>\n'
DOCTYPE = (
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">\n'
)
START = (
    "<attributes><divisions>2</divisions><key><fifths>0</fifths><mode>major</mode></key>"
    "<time><beats>4</beats><beat-type>4</beat-type></time></attributes>"
)


def note(pitch, duration=2, extra="", voice="1", before=""):
    """A note such as C4, Bb3 or F#5; R is a rest. Two divisions are a quarter."""
    if pitch == "R":
        sounding = "<rest/>"
    else:
        alter = pitch.count("#") - pitch.count("b")
        sounding = (
            f"<pitch><step>{pitch[0]}</step><alter>{alter}</alter>"
            f"<octave>{pitch[-1]}</octave></pitch>"
        )
    return (
        f"<note>{before}{sounding}<duration>{duration}</duration>"
        f"<voice>{voice}</voice>{extra}</note>"
    )


def measure(*content, number=1, more=""):
    return f'<measure number="{number}"{more}>{"".join(content)}</measure>'


def sheet(*measures, head="", parts=None, listed=""):
    parts = parts or [("P1", "Flute", measures)]
    listed = listed or "".join(
        f'<score-part id="{key}"><part-name>{name}</part-name></score-part>'
        for key, name, _ in parts
    )
    bodies = "".join(f'<part id="{key}">{"".join(body)}</part>' for key, _, body in parts)
    return (
        f"{HEAD}{DOCTYPE}<score-partwise version='4.0'>{head}"
        f"<part-list>{listed}</part-list>{bodies}</score-partwise>"
    ).encode()


def read(data, choice=None, kind="musicxml"):
    reading = read_bytes(data, kind, "sheet.musicxml", choice)
    assert not reading.refusals, reading.refusals
    (tune,) = reading.tunes
    return tune


def melody_of(*measures, choice=None, **more):
    return read(sheet(*measures, **more), choice).melody


def refusal_of(data, choice=None, kind="musicxml"):
    reading = read_bytes(data, kind, "sheet.musicxml", choice)
    assert not reading.tunes
    (refusal,) = reading.refusals
    return str(refusal)


def names(melody):
    return " ".join(
        note_name(*pair) for pair in zip(melody.midi, melody.fifths, strict=True)
    )


def warnings_of(tune):
    return "; ".join(warning.text for warning in tune.warnings)


def test_pitch_length_bar_and_beat_strength_of_plain_notes():
    melody = melody_of(
        measure(START, note("C4"), note("Bb4", 3), note("F#5", 1), note("R", 2)),
        measure(note("E4", 8), number=2),
    )
    assert names(melody) == "C4 Bb4 F#5 E4"
    assert melody.onset_quarters == (0, 1, 2.5, 4)
    assert melody.duration_quarters == (1, 1.5, 0.5, 4)
    assert melody.bar == (1, 1, 1, 2)
    assert melody.beat_strength == (1, 0.25, 0.125, 1)
    assert [bar.duration_ticks for bar in melody.bars] == [4 * TICKS_PER_QUARTER] * 2


def test_divisions_may_change_in_the_middle_of_a_bar():
    melody = melody_of(
        measure(
            START,
            note("C4", 2),
            "<attributes><divisions>480</divisions></attributes>",
            note("D4", 240),
            note("E4", 720),
        )
    )
    assert melody.duration_quarters == (1, 0.5, 1.5)


def test_divisions_that_do_not_fit_ticks_drift_nowhere():
    start = START.replace("<divisions>2<", "<divisions>11<")
    bars = [
        measure(start if n == 1 else "", *[note("C4", 4)] * 11, number=n) for n in (1, 2, 3)
    ]
    melody = melody_of(*bars)
    assert [bar.onset_ticks for bar in melody.bars] == [
        i * 4 * TICKS_PER_QUARTER for i in range(3)
    ]
    assert melody.onset_ticks[22] == 8 * TICKS_PER_QUARTER


def test_missing_divisions_follow_from_the_first_note():
    start = START.replace("<divisions>2</divisions>", "")
    melody = melody_of(
        measure(start, note("C4", 960, "<type>quarter</type>"), note("D4", 480))
    )
    assert melody.duration_quarters == (1, 0.5)


def test_backup_and_forward_place_a_second_voice():
    tune = read(
        sheet(
            measure(
                START,
                note("C5", 4),
                note("D5", 4),
                "<backup><duration>8</duration></backup>",
                note("E4", 2, voice="2"),
                "<forward><duration>2</duration></forward>",
                note("F4", 4, voice="2"),
            )
        )
    )
    assert names(tune.melody) == "C5 D5"
    assert "read voice 1; left aside voice 2" in warnings_of(tune)


def test_a_chosen_voice_is_read():
    body = measure(
        START,
        note("C5", 8),
        "<backup><duration>8</duration></backup>",
        note("E4", 2, voice="2"),
        "<forward><duration>2</duration></forward>",
        note("F4", 4, voice="2"),
    )
    melody = melody_of(body, choice=Choice(voice="2"))
    assert names(melody) == "E4 F4"
    assert melody.onset_quarters == (0, 2)
    assert "has no voice '7'" in refusal_of(sheet(body), Choice(voice="7"))


def test_the_top_voice_is_the_highest_busy_one_of_the_first_staff():
    low = [note("C4", 2, "<staff>1</staff>")] * 4
    high = [note("G5", 2, "<staff>1</staff>", voice="2")] * 4
    lonely = note("C7", 2, "<staff>1</staff>", voice="3")
    bass = [note("G6", 2, "<staff>2</staff>", voice="5")] * 4
    back = "<backup><duration>8</duration></backup>"
    melody = melody_of(
        measure(
            START,
            *low,
            back,
            *high,
            back,
            lonely,
            "<backup><duration>2</duration></backup>",
        ).replace("</measure>", "".join(bass) + "</measure>")
    )
    assert names(melody) == "G5 G5 G5 G5"


def test_of_a_chord_the_top_note_is_kept_unless_told_otherwise():
    body = measure(
        START,
        note("C4", 4),
        note("G4", 4, before="<chord/>"),
        note("E4", 4, before="<chord/>"),
        note("D4", 4),
    )
    tune = read(sheet(body))
    assert names(tune.melody) == "G4 D4"
    assert tune.melody.onset_quarters == (0, 2)
    assert "of a chord only the top note is read (bar 1)" in warnings_of(tune)
    assert names(melody_of(body, choice=Choice(chord_note="bottom"))) == "C4 D4"


def test_ties_are_merged_across_the_bar_line():
    melody = melody_of(
        measure(START, note("C4", 4), note("D4", 4, '<tie type="start"/>')),
        measure(
            note("D4", 8, '<tie type="stop"/><tie type="start"/>'),
            number=2,
        ),
        measure(note("D4", 2, '<tie type="stop"/>'), note("D4", 6), number=3),
    )
    assert names(melody) == "C4 D4 D4"
    assert melody.duration_quarters == (2, 7, 3)
    assert melody.bar == (1, 1, 3)


def test_a_tie_without_a_second_note_is_said_and_merges_nothing():
    tune = read(sheet(measure(START, note("D4", 4, '<tie type="start"/>'), note("D4", 4))))
    assert names(tune.melody) == "D4 D4"
    assert "a tie has no second note (bar 1)" in warnings_of(tune)


def test_tuplets_are_found_with_and_without_brackets():
    ratio = (
        "<time-modification><actual-notes>3</actual-notes>"
        "<normal-notes>2</normal-notes></time-modification>"
    )
    begin = '<notations><tuplet type="start"/></notations>'
    end = '<notations><tuplet type="stop"/></notations>'
    start = START.replace("<divisions>2<", "<divisions>6<")
    melody = melody_of(
        measure(
            start,
            note("C4", 2, ratio + begin),
            note("D4", 2, ratio),
            note("E4", 2, ratio + end),
            note("F4", 4, ratio),
            note("R", 2, ratio),
            note("G4", 2, ratio),
            note("A4", 2, ratio),
            note("B4", 2, ratio),
            note("C5", 6),
        )
    )
    spans = [(t.first, t.last, t.actual, t.normal) for t in melody.tuplets]
    assert spans == [(0, 2, 3, 2), (3, 3, 3, 2), (4, 6, 3, 2)]
    assert [t.duration_ticks for t in melody.tuplets] == [TICKS_PER_QUARTER] * 3
    assert melody.duration_ticks[0] == TICKS_PER_QUARTER // 3


def test_a_triplet_rounded_to_256ths_is_read_as_the_triplet_that_is_declared():
    """Der Lindenbaum in music21's corpus: three notes of 85, 85 and 86 in 256."""
    triplet = (
        "<time-modification><actual-notes>3</actual-notes>"
        "<normal-notes>2</normal-notes></time-modification>"
    )
    melody = melody_of(
        measure(
            "<attributes><divisions>256</divisions></attributes>",
            *(
                note("C4", length, "<type>eighth</type>" + triplet)
                for length in (85, 85, 86)
            ),
            note("D4", 256),
        )
    )
    assert melody.duration_ticks == (3360, 3360, 3360, 10080)


def test_a_gap_shorter_than_any_note_value_is_closed():
    melody = melody_of(
        measure(
            "<attributes><divisions>480</divisions></attributes>",
            note("C4", 479),
            "<forward><duration>1</duration></forward>",
            note("D4", 480),
        )
    )
    assert melody.onset_quarters == (0, 1)
    assert melody.duration_quarters == (1, 1)


def test_grace_notes_stand_apart_and_cue_notes_are_said():
    grace = (
        '<note><grace slash="yes"/><pitch><step>B</step><octave>4</octave></pitch></note>'
    )
    tune = read(
        sheet(
            measure(
                START,
                note("C5", 4),
                grace,
                note("A4", 2),
                note("G5", 2, before="<cue/>"),
            )
        )
    )
    (found,) = tune.melody.graces
    assert (found.note, found.midi, found.slashed) == (1, 71, True)
    assert names(tune.melody) == "C5 A4"
    assert "cue notes are left out (bar 1)" in warnings_of(tune)
    assert tune.melody.bars[0].duration_ticks == 4 * TICKS_PER_QUARTER


TRANSPOSITIONS = [
    # B flat clarinet: written C sounds B flat (common practice, no source).
    ("<diatonic>-1</diatonic><chromatic>-2</chromatic>", "Bb3 A4", -2, "Bb7"),
    ("<chromatic>-2</chromatic>", "Bb3 A4", -2, "Bb7"),
    # Horn in F: a fifth lower.
    ("<diatonic>-4</diatonic><chromatic>-7</chromatic>", "F3 E4", -1, "F7"),
    # E flat alto saxophone: a major sixth lower.
    ("<diatonic>-5</diatonic><chromatic>-9</chromatic>", "Eb3 D4", -3, "Eb7"),
    # E flat clarinet: a minor third higher.
    ("<diatonic>2</diatonic><chromatic>3</chromatic>", "Eb4 D5", -3, "Eb7"),
    # Tenor voice or guitar: an octave lower, nothing else.
    (
        "<diatonic>0</diatonic><chromatic>0</chromatic><octave-change>-1</octave-change>",
        "C3 B3",
        0,
        "C7",
    ),
]


@pytest.mark.parametrize(("transpose", "expected", "fifths", "chord"), TRANSPOSITIONS)
def test_transposing_instruments_are_read_as_they_sound(transpose, expected, fifths, chord):
    start = START.replace(
        "</attributes>", f"<transpose>{transpose}</transpose></attributes>"
    )
    harmony = (
        "<harmony><root><root-step>C</root-step></root><kind>dominant</kind></harmony>"
    )
    melody = melody_of(measure(start, harmony, note("C4", 4), note("B4", 4)))
    assert names(melody) == expected
    assert melody.keys[0].signature_fifths == fifths
    assert melody.key.tonic_fifths == fifths
    assert melody.chords[0].text == chord


def test_a_pickup_is_bar_0_and_lies_at_the_end_of_its_bar():
    melody = melody_of(
        measure(START, note("G4", 2), number=0, more=' implicit="yes"'),
        measure(note("C5", 8), number=1),
    )
    assert melody.bar == (0, 1)
    assert melody.beat_strength == (0.25, 1)
    assert melody.onset_quarters == (0, 1)


def test_the_halves_of_a_split_bar_share_their_number():
    repeat = '<barline location="right"><repeat direction="backward"/></barline>'
    melody = melody_of(
        measure(START, note("C5", 8), number=1),
        measure(note("C5", 6), repeat, number=2),
        measure(note("G4", 2), number="X1", more=' implicit="yes"'),
        measure(note("C5", 8), number=3),
    )
    assert [bar.number for bar in melody.bars] == [1, 2, 2, 3]
    assert melody.beat_strength == (1, 1, 0.25, 1)


def test_repeats_endings_and_bar_lines_are_kept_as_structure():
    def line(place, content):
        return f'<barline location="{place}">{content}</barline>'

    melody = melody_of(
        measure(START, line("left", '<repeat direction="forward"/>'), note("C4", 8)),
        measure(
            line("left", '<ending number="1, 2" type="start">1.2.</ending>'),
            note("D4", 8),
            line(
                "right",
                '<bar-style>light-heavy</bar-style><ending number="1, 2" type="stop"/>'
                '<repeat direction="backward" times="3"/>',
            ),
            number=2,
        ),
        measure(
            line("left", '<ending number="3" type="start"/>'),
            note("E4", 8),
            line("right", "<bar-style>light-light</bar-style>"),
            number=3,
        ),
        measure(
            note("C4", 8), line("right", "<bar-style>light-heavy</bar-style>"), number=4
        ),
    )
    assert [bar.repeat_start for bar in melody.bars] == [True, False, False, False]
    assert [bar.repeat_times for bar in melody.bars] == [0, 3, 0, 0]
    assert [bar.ending for bar in melody.bars] == ["", "1,2", "3", ""]
    assert [bar.ending_end for bar in melody.bars][1] == "closed"
    assert [bar.line for bar in melody.bars] == ["", "", "double", "final"]
    assert names(melody) == "C4 D4 E4 C4"


KEYS = [
    ("<fifths>-3</fifths><mode>minor</mode>", "C minor", True),
    ("<fifths>2</fifths><mode>dorian</mode>", "E dorian", True),
    ("<fifths>2</fifths>", "D major", False),
    ("<fifths>1</fifths><mode>none</mode>", "no key", True),
    ("<key-step>F</key-step><key-alter>1</key-alter>", "no key", True),
]


@pytest.mark.parametrize(("key", "expected", "stated"), KEYS)
def test_keys_with_and_without_a_mode(key, expected, stated):
    start = START.replace("<fifths>0</fifths><mode>major</mode>", key)
    melody = melody_of(measure(start, note("C4", 8)))
    assert str(melody.key) == expected
    assert melody.keys[0].stated == stated


def test_key_and_metre_changes_stand_where_they_are_printed():
    change = (
        "<attributes><key><fifths>1</fifths><mode>major</mode></key>"
        '<time symbol="cut"><beats>2</beats><beat-type>2</beat-type></time></attributes>'
    )
    melody = melody_of(
        measure(START, note("C4", 8)), measure(change, note("G4", 8), number=2)
    )
    assert [(c.onset_ticks, str(c.key)) for c in melody.keys] == [
        (0, "C major"),
        (4 * TICKS_PER_QUARTER, "G major"),
    ]
    assert melody.metres[1].metre == Metre(2, 2, "C|")


TIMES = [
    ("<time><beats>3+2</beats><beat-type>8</beat-type></time>", Metre(5, 8, "", (3, 2))),
    (
        "<time><beats>2</beats><beat-type>4</beat-type>"
        "<beats>3</beats><beat-type>8</beat-type></time>",
        Metre(7, 8, "", (4, 3)),
    ),
    (
        '<time symbol="common"><beats>4</beats><beat-type>4</beat-type></time>',
        Metre(4, 4, "C"),
    ),
    ("<time><senza-misura/></time>", None),
    ("<time><beats>5</beats><beat-type>3</beat-type></time>", None),
]


@pytest.mark.parametrize(("time", "metre"), TIMES)
def test_metres_of_every_kind(time, metre):
    plain = "<time><beats>4</beats><beat-type>4</beat-type></time>"
    tune = read(sheet(measure(START.replace(plain, time), note("C4", 5))))
    assert tune.melody.metre == metre
    assert ("metre" in warnings_of(tune)) == (metre is None)


def test_chord_symbols_stand_at_their_place():
    def harmony(step, kind, more=""):
        return (
            f"<harmony><root><root-step>{step}</root-step></root>"
            f"<kind>{kind}</kind>{more}</harmony>"
        )

    melody = melody_of(
        measure(
            START,
            harmony("C", "major"),
            note("C4", 4),
            harmony("G", "dominant", "<offset>2</offset>"),
            note("D4", 4),
        ),
        measure(harmony("A", "minor-seventh"), note("E4", 8), number=2),
    )
    found = [(c.text, c.bar, c.onset_ticks / TICKS_PER_QUARTER) for c in melody.chords]
    assert found == [("C", 1, 0), ("G7", 1, 3), ("Am7", 2, 4)]


def test_rehearsal_marks_signs_and_section_words_are_marks():
    def direction(content):
        return f"<direction><direction-type>{content}</direction-type></direction>"

    melody = melody_of(
        measure(
            START,
            direction("<rehearsal>A</rehearsal>"),
            direction("<segno/>"),
            direction("<words>dolce</words>"),
            note("C4", 8),
        ),
        measure(direction("<words>D.S. al Fine</words>"), note("C4", 8), number=2),
    )
    assert [(m.text, m.bar) for m in melody.marks] == [
        ("A", 1),
        ("segno", 1),
        ("D.S. al Fine", 2),
    ]


def test_lyrics_keep_verse_and_hyphens():
    def lyric(number, syllabic, text):
        return (
            f'<lyric number="{number}"><syllabic>{syllabic}</syllabic>'
            f"<text>{text}</text></lyric>"
        )

    melody = melody_of(
        measure(
            START,
            note("C4", 4, lyric(1, "begin", "har") + lyric(2, "single", "sea")),
            note("D4", 4, lyric(1, "end", "bour")),
        )
    )
    assert [(w.note, w.text, w.verse) for w in melody.lyrics] == [
        (0, "har-", 1),
        (0, "sea", 2),
        (1, "bour", 1),
    ]


def test_titles_makers_and_rights_are_credited():
    head = (
        "<work><work-title>Four Harbours</work-title></work>"
        "<movement-title>Low Tide</movement-title><identification>"
        '<creator type="composer">Ada Example</creator>'
        '<creator type="lyricist">Ben Example</creator>'
        "<rights>Free to   copy</rights></identification>"
    )
    found = melody_of(measure(START, note("C4", 8)), head=head).credits
    assert found.title == "Four Harbours: Low Tide"
    assert (found.composer, found.lyricist) == ("Ada Example", "Ben Example")
    assert (found.rights, found.number, found.part) == ("Free to copy", "1", "Flute")


def test_a_printed_title_serves_where_no_field_states_one():
    words = "<credit-words>Low Tide</credit-words>"
    head = f"<credit><credit-type>title</credit-type>{words}</credit>"
    assert melody_of(measure(START, note("C4", 8)), head=head).title == "Low Tide"


TEMPI = [
    ('<sound tempo="96"/>', 96),
    (
        "<direction><direction-type><metronome><beat-unit>quarter</beat-unit>"
        "<beat-unit-dot/><per-minute>60</per-minute></metronome></direction-type></direction>",
        90,
    ),
    ('<direction><sound tempo="0"/></direction>', None),
    ('<sound tempo="1e999"/>', 1),
]


@pytest.mark.parametrize(("sign", "tempo"), TEMPI)
def test_tempo_is_in_quarters_a_minute(sign, tempo):
    melody = melody_of(measure(START, sign, note("C4", 8)))
    assert melody.tempo_quarters_per_minute == tempo


def parts_sheet():
    drum = (
        "<note><unpitched><display-step>E</display-step><display-octave>4</display-octave>"
        "</unpitched><duration>8</duration></note>"
    )
    harmony = "<harmony><root><root-step>C</root-step></root><kind>major</kind></harmony>"
    return sheet(
        parts=[
            ("P1", "Drums", [measure(START, drum)]),
            ("P2", "Silent", [measure(START, note("R", 8))]),
            ("P3", "Violin", [measure(START, note("G4", 8))]),
            ("P4", "Cello", [measure(START, harmony, note("C3", 8))]),
        ]
    )


def test_the_first_part_with_pitches_is_read_and_the_others_are_said():
    tune = read(parts_sheet())
    assert (names(tune.melody), tune.melody.credits.number) == ("G4", "3")
    assert "read part 3, Violin; left aside Drums, Silent, Cello" in warnings_of(tune)


def test_chord_symbols_of_another_part_belong_to_the_sheet():
    assert [c.text for c in read(parts_sheet()).melody.chords] == ["C"]


@pytest.mark.parametrize("wanted", ["cello", "4", "P4"])
def test_a_part_is_chosen_by_name_number_or_id(wanted):
    assert names(read(parts_sheet(), Choice(part=wanted)).melody) == "C3"


def test_a_part_that_cannot_be_chosen_is_refused_with_the_parts_listed():
    said = refusal_of(parts_sheet(), Choice(part="oboe"))
    assert "no part is called 'oboe'" in said
    assert "3 Violin" in said
    assert "Drums has no notes with a pitch" in refusal_of(
        parts_sheet(), Choice(part="Drums")
    )


def test_quarter_tones_are_refused_by_bar():
    body = note("C4", 8).replace("<alter>0</alter>", "<alter>0.5</alter>")
    said = refusal_of(sheet(measure(START, note("C4", 8)), measure(body, number=2)))
    assert "bar 2: C is altered by 0.5 semitones; only whole semitones are read" in said


def test_a_timewise_sheet_reads_as_its_partwise_twin():
    body = (START + note("C4", 8), note("D4", 8))
    data = (
        f"{HEAD}<score-timewise><part-list><score-part id='P1'><part-name>Flute</part-name>"
        f"</score-part></part-list>"
        f"<measure number='1'><part id='P1'>{body[0]}</part></measure>"
        f"<measure number='2'><part id='P1'>{body[1]}</part></measure></score-timewise>"
    ).encode()
    twin = sheet(measure(body[0]), measure(body[1], number=2))
    assert read(data).melody == read(twin).melody


def test_a_namespace_on_the_root_is_seen_through():
    plain = sheet(measure(START, note("C4", 8)))
    named = plain.replace(b"<score-partwise ", b"<score-partwise xmlns='urn:example:m' ")
    assert read(named).melody == read(plain).melody


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "latin-1"])
def test_encodings_other_than_plain_utf_8(encoding):
    text = sheet(
        measure(START, note("C4", 8)), head="<movement-title>Möwe</movement-title>"
    )
    declared = encoding.replace("utf-8-sig", "utf-8")
    text = text.decode().replace('encoding="UTF-8"', f'encoding="{declared}"')
    assert read(text.encode(encoding)).melody.title == "Möwe"


def packed(files):
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as package:
        for name, data in files.items():
            package.writestr(name, data)
    return buffer.getvalue()


def container(path):
    rootfile = f"<rootfile full-path='{path}'/>"
    return f"{HEAD}<container><rootfiles>{rootfile}</rootfiles></container>".encode()


def test_a_compressed_sheet_is_found_through_its_container(tmp_path):
    plain = sheet(measure(START, note("C4", 8)))
    data = packed(
        {
            "META-INF/container.xml": container("inner/low.xml"),
            "other.xml": b"<nothing/>",
            "inner/low.xml": plain,
        }
    )
    path = tmp_path / "low.mxl"
    path.write_bytes(data)
    (tune,) = read_path(path).tunes
    assert tune.melody.midi == read(plain).melody.midi
    assert tune.kept_format == "mxl"
    assert read_bytes(tune.kept, tune.kept_format, str(path)).tunes[0] == tune


def test_a_compressed_sheet_without_a_container_is_found_by_its_ending():
    plain = sheet(measure(START, note("C4", 8)))
    assert read(packed({"low.musicxml": plain}), kind="mxl").melody == read(plain).melody


def test_what_is_kept_reads_the_same_again():
    tune = read(parts_sheet(), Choice(part="Cello"))
    again = read_bytes(tune.kept, tune.kept_format, "sheet.musicxml", Choice(part="Cello"))
    assert again.tunes[0].melody.content_id() == tune.melody.content_id()


def test_an_empty_forward_and_a_sign_set_past_the_bar_line_lengthen_no_bar():
    segno = "<direction-type><segno/></direction-type><offset>99</offset>"
    sign = f"<direction>{segno}</direction>"
    melody = melody_of(
        measure(START, note("C4", 8), "<forward><duration>0</duration></forward>", sign),
        measure(note("D4", 8), number=2),
    )
    assert melody.onset_quarters == (0, 4)
    assert [(m.text, m.onset_ticks) for m in melody.marks] == [
        ("segno", 4 * TICKS_PER_QUARTER)
    ]
