"""ABC, construct by construct, on lines written for these tests.

Expected values are worked by hand from the ABC music standard 2.1 (December 2011);
its section is named beside each test. 'Common practice' marks what it leaves open.
"""

import pytest

from melodex.melody import TICKS_PER_QUARTER as QUARTER
from melodex.melody import note_name
from melodex.reading.abc.reader import read_abc
from melodex.reading.result import Choice

EIGHTH = QUARTER // 2


def tune(music, head="M:4/4\nL:1/8\nK:C", choice=None, above=""):
    reading = read_abc(f"{above}X:1\nT:t\n{head}\n{music}\n", "a.abc", choice)
    assert not reading.refusals, reading.refusals
    return reading.tunes[0]


def melody(music, head="M:4/4\nL:1/8\nK:C", choice=None):
    return tune(music, head, choice).melody


def names(music, head="M:4/4\nL:1/8\nK:C", choice=None):
    read = melody(music, head, choice)
    return " ".join(note_name(m, f) for m, f in zip(read.midi, read.fifths, strict=True))


def lengths(music, head="M:4/4\nL:1/8\nK:C"):
    return [ticks / EIGHTH for ticks in melody(music, head).duration_ticks]


def warnings(music, head="M:4/4\nL:1/8\nK:C"):
    return [(w.text, w.line, w.column) for w in tune(music, head).warnings]


# 4.1 Pitch


def test_octave_marks_raise_and_lower():
    assert names("C, C c c' C,, c''") == "C3 C4 C5 C6 C2 C7"
    assert names("C' c,") == "C5 C4"


# 4.2 Accidentals, 11.3 their reach


def test_accidentals_hold_to_the_bar_line_in_every_octave():
    assert names("^F F f F, | F") == "F#4 F#4 F#5 F#3 F4"


def test_accidentals_hold_in_their_octave_only_if_the_tune_says_so():
    head = "M:4/4\nL:1/8\n%%propagate-accidentals octave\nK:C"
    assert names("^F f F | F", head) == "F#4 F5 F#4 F4"
    assert names("^F F", head.replace("octave", "not")) == "F#4 F4"


def test_double_accidentals_and_naturals():
    assert names("^^F __B =B", "L:1/8\nK:G") == "F##4 Bbb4 B4"


def test_a_line_end_is_no_bar_line_for_accidentals():
    assert names("^F2\nF2 | F2") == "F#4 F#4 F4"


def test_a_microtone_is_warned_about_and_goes_to_the_nearest_semitone():
    assert names("^/F ^3/2G _3/4A") == "F4 G#4 Ab4"
    assert (
        "^/F4 is no whole semitone; the nearest one is taken (bar 1)",
        6,
        1,
    ) in warnings("^/F4 G4")


# 4.3 Note lengths, 4.4 broken rhythm


def test_lengths_multiply_the_unit():
    assert lengths("A A2 A/ A/2 A3/2 A// A/4 A3/") == [1, 2, 0.5, 0.5, 1.5, 0.25, 0.25, 1.5]


def test_broken_rhythm_dots_one_note_and_halves_the_other():
    assert lengths("A>B A<B A>>B A<<B A>>>B") == [
        *(1.5, 0.5, 0.5, 1.5, 1.75, 0.25, 0.25, 1.75, 1.875, 0.125)
    ]


@pytest.mark.parametrize(
    "music", ["A>(B", "(A>B)", "A>{c}B", "A > B", "A>!trill!B", 'A>"G"B', "A>.B", "A>~B"]
)
def test_broken_rhythm_reaches_over_what_stands_between_two_notes(music):
    assert lengths(music) == [1.5, 0.5]


def test_broken_rhythm_works_on_chords_and_rests():
    assert lengths("[CE]>[DF]") == [1.5, 0.5]
    assert melody("z>A").onset_ticks == (EIGHTH * 3 // 2,)


def test_a_chain_of_broken_rhythm_keeps_its_length():
    # Common practice, no source: the standard speaks of two notes.
    assert lengths("A>B>c") == [1.5, 1, 0.5]


# 4.5 Rests


def test_rests_are_gaps_and_spacers_are_nothing():
    read = melody("A z B x2 c y2 d")
    assert [onset // EIGHTH for onset in read.onset_ticks] == [0, 2, 5, 6]


def test_a_rest_of_bars_makes_bars():
    read = melody("A8 | Z3 | B8 |]")
    assert read.bar == (1, 5)
    assert [bar.number for bar in read.bars] == [1, 2, 3, 4, 5]


# 4.6 Clefs and transposition


@pytest.mark.parametrize(
    ("key", "expected"),
    [
        ("K:C bass", "C4 Bb4"),
        ("K:C clef=treble-8", "C3 Bb3"),
        ("K:C treble+8", "C5 Bb5"),
        ("K:C octave=-1", "C3 Bb3"),
        ("K:C transpose=-2", "Bb3 Ab4"),
        ("K:C transpose=3", "Eb4 Db5"),
    ],
)
def test_clefs_move_octaves_only_with_an_8_and_transposition_sounds(key, expected):
    assert names("C _B", f"L:1/8\n{key}") == expected


def test_transposition_moves_the_key_along():
    read = melody("D", "L:1/8\nK:D transpose=-2")
    assert str(read.key) == "C major"
    assert read.keys[0].signature_fifths == 0


# 4.8 to 4.10 Bar lines, repeats, endings


@pytest.mark.parametrize("sign", ["::", ":|:", ":||:", ":| |:", ":|\n|:"])
def test_every_spelling_of_a_double_repeat_ends_one_and_starts_one(sign):
    read = melody(f"|: c8 {sign} d8 :|")
    assert [note_name(m, f) for m, f in zip(read.midi, read.fifths, strict=True)] == [
        "C5",
        "D5",
    ]
    assert [(bar.repeat_start, bar.repeat_times) for bar in read.bars] == [(True, 2)] * 2


def test_a_double_repeat_without_spaces_swallows_no_note():
    assert names("c2d2::e2f2") == "C5 D5 E5 F5"


@pytest.mark.parametrize(
    "music", ["|: c8 |1 d8 :|2 e8 |]", "|: c8 [1 d8 :| [2 e8 |]", "|:c8|[1d8:|[2e8|]"]
)
def test_endings_stand_on_their_bars(music):
    read = melody(music)
    assert [bar.ending for bar in read.bars] == ["", "1", "2"]
    assert [bar.repeat_times for bar in read.bars] == [0, 2, 0]


def test_endings_for_several_times_keep_their_text():
    read = melody("|: c8 |1,3 d8 :|2 e8 :|[4-6 f8 |]")
    assert [bar.ending for bar in read.bars] == ["", "1,3", "2", "4-6"]


def test_bar_lines_keep_their_look():
    read = melody("c8 | d8 || e8 [|] f8 |]")
    assert [bar.line for bar in read.bars] == ["", "double", "none", "final"]


def test_a_colon_apart_from_its_bar_line_is_a_repeat_and_warned_about():
    found = tune('c8 | d8 :"^Fine"|]')
    assert found.melody.bars[1].repeat_times == 2
    assert "colon" in found.warnings[0].text


# Bar numbers (common practice, no source)


def test_a_pickup_is_bar_nought_and_its_beats_are_weak():
    read = melody("G2 | c8 | d8 |]")
    assert read.bar == (0, 1, 2)
    assert read.beat_strength == (0.25, 1.0, 1.0)


def test_the_halves_of_a_bar_that_a_repeat_splits_share_a_number():
    read = melody("G2 | c8 | d6 :| e2 | f8 |]")
    assert read.bar == (0, 1, 2, 2, 3)
    assert read.beat_strength[3] == 0.25


def test_bars_that_are_full_at_a_line_end_are_closed_without_a_bar_line():
    read = melody("c4 d4\ne4 f4 | g8 |]")
    assert read.bar == (1, 1, 2, 2, 3)


# 4.11 Ties and slurs


def test_ties_merge_across_bars_and_keep_their_accidental():
    read = melody("^F8- | F2 F2")
    assert [note_name(m, f) for m, f in zip(read.midi, read.fifths, strict=True)] == [
        "F#4",
        "F4",
    ]
    assert read.duration_ticks[0] == 10 * EIGHTH


def test_a_tie_between_different_notes_is_a_slur_and_said():
    assert lengths("A-B") == [1, 1]
    assert warnings("A-B") == [
        ("a tie between different notes is read as a slur (bar 1)", 6, 3)
    ]


def test_chords_tie_as_a_whole_or_by_their_notes():
    assert lengths("[CE]2-[CE]2") == [4]
    assert lengths("[CE-]2[CE]2") == [4]


def test_slurs_are_no_tuplets():
    assert lengths("(A(B)c) .(d e)") == [1] * 5


# 4.12 Grace notes


def test_grace_notes_stand_apart_and_know_their_note():
    read = melody("A {/g}B {cd}c")
    assert len(read) == 3
    assert [(g.note, g.midi, g.slashed) for g in read.graces] == [
        (1, 79, True),
        (2, 72, False),
        (2, 74, False),
    ]


# 4.13 Tuplets


@pytest.mark.parametrize(
    ("music", "metre", "expected"),
    [
        ("(3ABc", "4/4", [2 / 3] * 3),
        ("(2AB", "6/8", [3 / 2] * 2),
        ("(4ABcd", "6/8", [3 / 4] * 4),
        ("(6ABcdef", "4/4", [1 / 3] * 6),
        ("(5ABcde", "4/4", [2 / 5] * 5),
        ("(5ABcde", "6/8", [3 / 5] * 5),
        ("(3:2:4ABcd e", "4/4", [2 / 3] * 4 + [1]),
        ("(3::4ABcd e", "4/4", [2 / 3] * 4 + [1]),
        ("(3:4:2AB c", "4/4", [4 / 3, 4 / 3, 1]),
    ],
)
def test_tuplets_put_p_notes_in_the_time_of_q_for_r_notes(music, metre, expected):
    assert lengths(music, f"M:{metre}\nL:1/8\nK:C") == pytest.approx(expected)


def test_a_tuplet_keeps_its_span_and_counts_rests():
    read = melody("c (3zAB d")
    (tuplet,) = read.tuplets
    assert (tuplet.first, tuplet.last, tuplet.actual, tuplet.normal) == (1, 2, 3, 2)
    assert (tuplet.onset_ticks, tuplet.duration_ticks) == (EIGHTH, 2 * EIGHTH)


def test_tuplets_of_eleven_add_up_although_ticks_do_not_divide():
    read = melody("(11:8:11" + "A" * 11 + " c")
    assert read.onset_ticks[-1] == 8 * EIGHTH


def test_broken_rhythm_inside_a_tuplet():
    assert lengths("(3A>Bc d") == pytest.approx([1, 1 / 3, 2 / 3, 1])


# 4.14 to 4.16 Decorations


def test_decorations_leave_the_notes_alone():
    assert names("~A .B HcuvA !trill!B +trill+c TAMBPcSd") == (
        "A4 B4 C5 A4 B4 C5 A4 B4 C5 D5"
    )
    assert warnings("~A .B HcuvA !trill!B +trill+c TAMBPcSd") == []


def test_a_letter_without_meaning_is_warned_about_and_one_defined_is_not():
    assert warnings("hA2") == [("the letter h stands for nothing here (bar 1)", 6, 1)]
    assert warnings("hA2", "L:1/8\nU:h=!trill!\nK:C") == []


def test_signs_to_jump_to_are_marks():
    read = melody("A8 | !segno!B8 | !D.S.!c8 |]")
    assert [(m.text, m.bar) for m in read.marks] == [("segno", 2), ("D.S.", 3)]


# 4.17 Chords


def test_of_a_chord_the_top_note_is_the_melody_or_the_bottom_if_chosen():
    assert names("[CEG]2 [c2E]") == "G4 C5"
    assert names("[CEG]2", choice=Choice(chord_note="bottom")) == "C4"
    assert lengths("[CEG]2 [C2E2G2] [C2E2]3") == [2, 2, 6]


def test_the_old_spelling_of_chords_is_read_and_warned_about():
    assert names("+CEG+2") == "G4"
    assert "old spelling" in warnings("+CEG+")[0][0]


# 4.18 and 4.19 Chord symbols and annotations


def test_chord_symbols_have_bar_and_onset_and_annotations_are_none():
    read = melody('"Am7"A4 "^slow"B4 | "G/B"c4 "_x""F#m7b5"d4 |]')
    assert [(c.text, c.bar, c.onset_ticks // EIGHTH) for c in read.chords] == [
        ("Am7", 1, 0),
        ("G/B", 2, 8),
        ("F#m7b5", 2, 12),
    ]


def test_a_chord_symbol_over_a_rest_or_a_tied_note_is_kept():
    read = melody('"C"A4- "F"A4 | "G"z8 |]')
    assert [(c.text, c.onset_ticks // EIGHTH) for c in read.chords] == [
        ("C", 0),
        ("F", 4),
        ("G", 8),
    ]


def test_an_unclosed_quotation_mark_is_warned_about_and_notes_go_on():
    found = tune('A2 "Am B2\nc2 |]')
    assert found.melody.midi[-1] == 72
    assert any(
        "never closed" in w.text and (w.line, w.column) == (6, 4) for w in found.warnings
    )


# 3.1.14 Keys


@pytest.mark.parametrize(
    ("text", "key", "fifths"),
    [
        ("C", "C major", 0),
        ("Am", "A minor", 0),
        ("A minor", "A minor", 0),
        ("AMin", "A minor", 0),
        ("EM", "E minor", 1),
        ("F#m", "F# minor", 3),
        ("Bb", "Bb major", -2),
        ("D Dorian", "D dorian", 0),
        ("Ddor", "D dorian", 0),
        ("G MIX", "G mixolydian", 0),
        ("E phr", "E phrygian", 0),
        ("FLyd", "F lydian", 0),
        ("B loc", "B locrian", 0),
        ("A aeolian", "A minor", 0),
        ("C ionian", "C major", 0),
        ("C#", "C# major", 7),
        ("Cb", "Cb major", -7),
        ("Es", "Eb major", -3),
        ("H", "B major", 5),
        ("none", "no key", 0),
        ("", "no key", 0),
        ("Hp", "A mixolydian", 2),
        ("HP", "A mixolydian", 0),
    ],
)
def test_keys_in_every_spelling(text, key, fifths):
    read = melody("C8", f"L:1/8\nK:{text}")
    shown = str(read.key)
    assert shown.replace("aeolian", "minor").replace("ionian", "major") == key
    assert read.keys[0].signature_fifths == fifths


def test_a_bare_tonic_leaves_the_mode_unstated():
    assert [melody("C", f"K:{k}").keys[0].stated for k in ("G", "Gmaj", "Em")] == [
        *(False, True, True)
    ]


def test_accidentals_of_a_key_change_its_signature():
    assert names("F B e", "L:1/8\nK:D Phr ^f") == "F#4 Bb4 Eb5"
    assert names("F B E", "L:1/8\nK:D exp _b _e ^f") == "F#4 Bb4 Eb4"
    assert names("c f g", "L:1/8\nK:HP") == "C#5 F#5 G5"


def test_keys_change_in_the_tune_and_in_the_line():
    read = melody("F8 | [K:D]F8 |\nK:F\nB8 |]")
    assert [note_name(m, f) for m, f in zip(read.midi, read.fifths, strict=True)] == [
        *("F4", "F#4", "Bb4")
    ]
    assert [(c.onset_ticks // EIGHTH, str(c.key)) for c in read.keys] == [
        *((0, "C major"), (8, "D major"), (16, "F major"))
    ]


def test_a_wrong_key_is_warned_about_with_its_line():
    assert warnings("C2", "L:1/8\nK:Gxyz") == [
        ("'xyz' in the key 'Gxyz' is not understood", 4, 3)
    ]


# 3.1.6 to 3.1.8 Metre, unit length, tempo


@pytest.mark.parametrize(
    ("text", "shown", "unit"),
    [
        ("M:C", "C", 1),
        ("M:C|", "C|", 1),
        ("M:6/8", "6/8", 1),
        ("M:2/4", "2/4", 0.5),
        ("M:3/4", "3/4", 1),
        ("M:(2+3+2)/8", "2+3+2/8", 1),
        ("M:none", "None", 1),
        ("M:1/4", "1/4", 0.5),
    ],
)
def test_metres_and_the_unit_length_that_goes_with_them(text, shown, unit):
    read = melody("C", f"{text}\nK:C")
    assert str(read.metre) == shown
    assert read.duration_ticks[0] / EIGHTH == unit


def test_without_a_metre_the_tune_is_free_and_counts_its_bars_from_one():
    read = melody("C2 | C3 |]", "K:C")
    assert read.metre is None
    assert read.bar == (1, 2)
    assert read.beat_strength == (0.5, 0.5)


def test_metre_and_unit_change_in_the_line():
    read = melody("C8 | [M:3/4][L:1/4]C3 | C3 |]")
    assert [m.metre.bar_ticks // QUARTER for m in read.metres] == [4, 3]
    assert [d // QUARTER for d in read.duration_ticks] == [4, 3, 3]


@pytest.mark.parametrize(
    ("text", "speed"),
    [("1/4=120", 120), ('"Allegro" 3/8=60', 90), ('1/2=50 "x"', 100), ("120", 60)],
)
def test_tempo_is_in_quarters_a_minute(text, speed):
    read = melody("C", f"L:1/8\nQ:{text}\nK:C")
    assert read.tempo_quarters_per_minute == speed


# 3.1.9 Parts


def test_parts_in_the_body_are_marks():
    read = melody("P:A\nC8 |\nP:B\nD8 | [P:C]E8 |]", "P:AABB\nM:4/4\nL:1/8\nK:C")
    assert [(m.text, m.bar) for m in read.marks] == [("A", 1), ("B", 2), ("C", 3)]


# 5 Lyrics


def test_words_stand_under_their_notes():
    read = melody("C2 D2 E2 F2 | G4 A4 |]\nw:hap-py_ end|so~be *\nw:zwei-te Stro-phe")
    assert [(w.note, w.text, w.verse) for w in read.lyrics] == [
        (0, "hap-", 1),
        (1, "py", 1),
        (3, "end", 1),
        (4, "so be", 1),
        (0, "zwei-", 2),
        (1, "te", 2),
        (2, "Stro-", 2),
        (3, "phe", 2),
    ]


def test_words_skip_rests_and_grace_notes_and_can_be_continued():
    read = melody("C2 z2 {d}E2 F2 |]\nw:one two\n+:three")
    assert [(w.note, w.text) for w in read.lyrics] == [(0, "one"), (1, "two"), (2, "three")]


def test_syllables_without_notes_are_warned_about():
    assert ("2 syllables have no note", 7, 3) in warnings("C8 |]\nw:a b c")


# 7 Voices


VOICES = 'V:1 name="Air"\nV:2 name=Low clef=bass octave=-1\nM:4/4\nL:1/8\nK:C'


def test_the_first_voice_is_read_unless_another_is_chosen():
    music = "V:1\nc8 | d8 |]\nV:2\nC8 | D8 |]"
    assert names(music, VOICES) == "C5 D5"
    assert tune(music, VOICES).melody.credits.part == "Air"
    for wanted in ("2", "Low"):
        assert names(music, VOICES, Choice(voice=wanted)) == "C3 D3"


def test_voices_may_change_within_a_line():
    assert names("[V:1]c8|[V:2]C8|\n[V:1]d8|[V:2]D8|", VOICES) == "C5 D5"


def test_a_voice_without_notes_is_passed_over():
    assert names("V:1\nz8 |]\nV:2\nC8 |]", VOICES) == "C3"


def test_a_voice_that_is_not_there_is_refused_with_those_that_are():
    reading = read_abc(f"X:1\n{VOICES}\nV:1\nc8|\nV:2\nC8|\n", "a.abc", Choice(voice="9"))
    assert "no voice 9" in reading.refusals[0].reason
    assert reading.refusals[0].hint == "it has the voices 1, 2"


def test_of_an_overlay_the_first_layer_is_read():
    assert names("c4 d4 & E8 | e8 |]") == "C5 D5 E5"
    assert names("c8 | d8 && (E8 | F8) | g8 |]") == "C5 D5 G5"


# 2.2 and 3: files and fields


def test_a_file_header_holds_for_every_tune_and_is_kept():
    reading = read_abc("M:3/4\nC:Somebody\n\nX:1\nT:a\nK:C\nCDE|\n\nX:2\nT:b\nK:C\nEDC|\n")
    assert [str(t.melody.metre) for t in reading.tunes] == ["3/4", "3/4"]
    assert reading.tunes[1].melody.credits.composer == "Somebody"
    again = read_abc(reading.tunes[1].kept.decode())
    assert again.tunes[0].melody.content_id() == reading.tunes[1].melody.content_id()


def test_comments_free_text_and_typeset_text_are_no_music():
    text = (
        "just words about CDE\n\nX:1\nT:a % not this\nL:1/8\nK:C\n"
        "CD% EF\n%%begintext\nABC\n\nDEF\n%%endtext\nE\n\nmore words\n"
    )
    (found,) = read_abc(text).tunes
    assert found.melody.midi == (60, 62, 64)
    assert found.melody.title == "a"


def test_a_backslash_joins_lines_and_other_line_ends_are_phrases():
    assert melody("C2 \\\nD2\nE2").phrase == (0, 0, 1)


def test_credits_come_from_their_fields():
    head = (
        "C:Ann Other (1787)\nR:jig\nO:Nowhere\nB:Green Book\nZ:Typed, \\u00a9 2001 One\n"
        "M:6/8\nK:C"
    )
    found = melody("C3 |]", head).credits
    assert (found.composer, found.year, found.rhythm) == ("Ann Other (1787)", 1787, "jig")
    assert (found.origin, found.collection, found.number) == ("Nowhere", "Green Book", "1")
    assert found.source == "a.abc"


@pytest.mark.parametrize(
    ("fields", "year"),
    [
        ("S:Green Songs, Vol. 2, Wexford 1928", 1928),
        ("S:The Green Collection (1883)", 1883),
        ("B:From a 1549 ms.", 1549),
        ("B:Smith's 1728", None),
        ("B:Smith’s 1728\nS:Smith’s Book (1903)", 1903),
        ("S:1728 Smith's Book", None),
        ("B:Green Book no. 1728", None),
        ("S:One <one:at:somewhere> 2003-3-7", None),
    ],
)
def test_a_number_in_a_book_is_no_year(fields, year):
    assert melody("C3 |]", f"{fields}\nK:C").credits.year == year


def test_stated_copyright_is_the_rights():
    assert melody("C", "%%abc-copyright Mine\nK:C").credits.rights == "Mine"
    assert melody("C", "Z:Copyright 1999 X\nK:C").credits.rights == "Copyright 1999 X"
    assert melody("C", "Z:typed by X\nK:C").credits.rights == ""


def test_a_title_is_not_turned_round():
    assert read_abc("X:1\nT:Lads, The\nK:C\nC\n").tunes[0].melody.title == "Lads, The"


def test_accents_are_read():
    (found,) = read_abc("X:1\nT:Caf\\'e &eacute; \\u00fc\nK:C\nC").tunes
    assert found.melody.title == "Café é ü"


# Texture


def test_all_notes_of_chords_are_heard():
    # Oom-pah in the left hand: the melody has one note at a time, the texture all.
    text = (
        "X:1\nM:3/4\nL:1/4\nK:C\nV:1\nV:2\n"
        "[V:1] e3|d3|\n[V:2] C,[EG][EGc]-|[EGc]2 (3[DF][EG]z|\n"
    )
    (read,) = read_abc(text).tunes
    assert read.texture is not None
    low = [
        (
            n.onset_ticks / QUARTER,
            round(n.duration_ticks / QUARTER, 2),
            note_name(n.midi, n.fifths),
        )
        for n in read.texture.notes
        if n.line == 1
    ]
    assert low == [
        (0, 1, "C3"), (1, 1, "E4"), (1, 1, "G4"), (2, 3, "E4"), (2, 3, "G4"), (2, 3, "C5"),
        (5, 0.67, "D4"), (5, 0.67, "F4"), (pytest.approx(5.667, abs=0.01), 0.67, "E4"),
        (pytest.approx(5.667, abs=0.01), 0.67, "G4"),
    ]  # fmt: skip


def test_chords_of_one_voice_are_heard_too():
    (read,) = read_abc("X:1\nM:4/4\nL:1/4\nK:C\n[CEG]4|[B,DG]4|[CEG]4|\n").tunes
    assert read.texture is not None
    assert len(read.texture.notes) == 9
    (alone,) = read_abc("X:1\nM:4/4\nL:1/4\nK:C\nC4|[DF]D D2|C4|\n").tunes
    assert alone.texture is None


# Refusals


def test_a_tune_without_key_or_notes_is_refused_and_the_others_go_on():
    reading = read_abc(
        "X:7\nT:no key\nabc\n\nX:8\nT:empty\nK:C\n\nX:9\nT:good\nK:C\nC\n", "mine.abc"
    )
    assert [t.melody.title for t in reading.tunes] == ["good"]
    assert [(r.number, r.line) for r in reading.refusals] == [("7", 1), ("8", 5)]
    assert "mine.abc, tune 7, line 1: it has no K: field" in str(reading.refusals[0])


def test_a_tune_without_number_is_read_with_a_warning():
    (found,) = read_abc("T:a\nK:C\nCDE|\n").tunes
    assert found.warnings[0].text == "the tune has no X: field"


def test_a_byte_order_mark_is_no_obstacle():
    assert len(read_abc("\ufeffX:1\nK:C\nC\n").tunes) == 1


@pytest.mark.parametrize("text", ["", "\n\n", "no music here at all", "\x00\x01\x02"])
def test_a_file_without_tunes_is_refused(text):
    assert "no ABC tune" in read_abc(text, "x.abc").refusals[0].reason
