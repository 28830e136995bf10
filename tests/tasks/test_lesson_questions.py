"""Worksheets: each answer against music21, a count by hand, or a table of the trade.

music21 8 or later counts intervals and scale degrees and reads Roman numerals; the tables
of metres and closes are common practice, no source. Relatives are those that were planted
in the demo's tunes and noted in its PLANTED.json when the tunes were written.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from music21 import interval, key, pitch, roman, scale

from melodex.corpus.reader import Corpus
from melodex.errors import LessonError
from melodex.melody import note_name, pitch_class_name
from melodex.tasks.demo import tunes_folder
from melodex.tasks.gather.gather import Wish, gather
from melodex.tasks.lesson.asking.cutting import is_double
from melodex.tasks.lesson.asking.facts import MODE_STEPS
from melodex.tasks.lesson.asking.proofs import Pitch, numeral_spellings, read_numeral
from melodex.tasks.lesson.asking.records import plain_words
from melodex.tasks.lesson.keeping import finds_of, found_by_hand, keep
from melodex.tasks.lesson.questions import KINDS, worksheet
from melodex.tasks.lesson.sets import open_lesson

BOATS = (
    ("Marl Pit Hornpipe", "1-4"),
    ("Old Copper Bell", "1-4"),
    ("Foghorn Samba", "1-4"),
    ("Fog over the Basin", "3-6"),
    ("Rope and Pulley", "9-16"),
    ("The Eel Trap", "1-4"),
    ("The Clockmaker's Waltz", "7-12"),
    ("Mooring Lines", "9-12"),
)


def kept(path: Path, passages, name: str = "Sheet") -> None:
    with Corpus.open(path) as corpus:
        found = [found_by_hand(corpus, title, bars=bars) for title, bars in passages]
    keep(path, name, found, create=True)


def gathered(path: Path, name: str = "Sheet", limit: int = 8, **wishes):
    with Corpus.open(path) as corpus:
        found = finds_of(corpus, gather(corpus, Wish(**wishes), limit=limit))
    keep(path, name, found, create=True)
    return asked(path, name=name)


def asked(path: Path, kinds=(), name: str = "Sheet", **options):
    with Corpus.open(path) as corpus:
        return worksheet(corpus, open_lesson(corpus, name), kinds, **options)


def parts_of(sheet, kind: str):
    found = [(q, p) for q in sheet.questions for p in q.parts if p.kind == kind]
    assert found, f"no question about {kind}"
    return found


def m21(name: str) -> pitch.Pitch:
    return pitch.Pitch(name.replace("b", "-"))


def above(root: str, note: str) -> str:
    """The interval of a note above a root, within the octave."""
    low, high = m21(root), m21(note)
    low.octave, high.octave = 3, 5
    return interval.Interval(low, high).semiSimpleName


def root_of(symbol: str) -> str:
    return symbol[: 2 if symbol[1:2] in {"b", "#"} else 1]


def tonic_and_mode(shown, onset: int):
    held = [k for k in shown.labels.keys if k.onset_ticks <= onset]
    return held[-1].key if held else shown.labels.keys[0].key


def test_degrees_are_those_that_music21_counts(demo):
    kept(demo, BOATS)
    for question, part in parts_of(asked(demo, ("degrees",)), "degrees"):
        (shown,) = question.passages
        melody = shown.excerpt
        for field in part.fields:
            here = tonic_and_mode(shown, melody.onset_ticks[field.index])
            tonic = m21(pitch_class_name(here.tonic_fifths))
            major = scale.MajorScale(tonic)
            name = note_name(melody.midi[field.index], melody.fifths[field.index])
            number, sign = major.getScaleDegreeAndAccidentalFromPitch(m21(name))
            change = int(sign.alter) if sign else 0
            signs = "#" * change if change > 0 else "b" * -change
            assert plain_words(field.accepted[0]) == f"{signs}{number}"


def test_every_accepted_numeral_has_the_root_that_music21_gives_it(demo):
    kept(demo, BOATS)
    checked = 0
    for question, part in parts_of(asked(demo, ("chords",)), "chords"):
        (shown,) = question.passages
        for field in part.fields:
            symbol = shown.excerpt.chords[field.index]
            here = tonic_and_mode(shown, symbol.onset_ticks)
            name = pitch_class_name(here.tonic_fifths).replace("b", "-")
            for accepted in field.accepted:
                text = plain_words(accepted)
                if "(" in text or "ø" in text or text.startswith("N"):
                    continue
                # Only where the flat is left out is a numeral counted from minor.
                natural = here.mode == "minor" and text.startswith(("III", "VI"))
                tonic = key.Key(name, "minor" if natural else "major")
                head = text.replace("maj7", "7").replace("M7", "7").replace("°", "o")
                root = roman.RomanNumeral(head, tonic).root().name.replace("-", "b")
                assert root == root_of(symbol.text), (symbol.text, text)
                checked += 1
    assert checked > 20


@pytest.mark.parametrize("wish", ["b9 on V", "7 on iv", "3 on I"])
def test_a_gathered_set_is_asked_about_what_it_was_gathered_for(demo, wish):
    sheet = gathered(demo, note_on_chord=wish)
    assert sheet.lesson.row.topic == f"Note on chord: {wish}"
    parts = [part for question in sheet.questions for part in question.parts]
    assert 2 * sum(part.is_topical for part in parts) >= len(parts)
    degree = wish.split()[0]
    for question, part in parts_of(sheet, "note on chord"):
        (shown,) = question.passages
        assert plain_words(part.fields[0].accepted[0]) == degree
        (note,) = shown.marked_notes
        chord = max(shown.marked_chords)
        symbol = shown.excerpt.chords[chord].text
        found = above(root_of(symbol), pitch_class_name(shown.excerpt.fifths[note]))
        assert found == {"b9": "m2", "7": "M7", "3": "M3"}[degree]
        spans = shown.labels.topic.spans
        bar = shown.excerpt.bar[note]
        assert any(first <= bar <= last for first, last in spans)


def test_a_find_question_names_every_note_that_there_is_to_find(demo):
    sheet = gathered(demo, note_on_chord="7 on iv")
    for question, part in parts_of(sheet, "find"):
        (shown,) = question.passages
        melody = shown.excerpt
        found = []
        for place, symbol in enumerate(melody.chords):
            if not shown.labels.numerals[place].startswith("iv"):
                continue
            after = melody.chords[place + 1 :]
            end = after[0].onset_ticks if after else melody.end_ticks
            for note, onset in enumerate(melody.onset_ticks):
                name = pitch_class_name(melody.fifths[note])
                is_seventh = above(root_of(symbol.text), name) == "M7"
                if symbol.onset_ticks <= onset < end and is_seventh:
                    found += [str(melody.bar[note]), name]
        assert [plain_words(field.accepted[0]) for field in part.fields] == found


def test_the_same_music_stands_on_a_sheet_once_and_is_named_where_it_returns(demo):
    sheet = gathered(demo, note_on_chord="7 on iv")
    shown = [p.excerpt for q in sheet.questions for p in q.passages]
    assert not any(is_double(a, b) for n, a in enumerate(shown) for b in shown[n + 1 :])
    assert any("bars 11-14" in q.also for q in sheet.questions)
    assert any("same music" in remark for remark in sheet.remarks)


def test_a_change_of_key_has_two_bars_of_each_key_and_accepts_shared_chords(demo):
    sheet = gathered(demo, key_change="relative")
    for question, part in parts_of(sheet, "key change"):
        (shown,) = question.passages
        before, after = shown.labels.keys
        bars = {bar.number for bar in shown.excerpt.bars}
        assert len([bar for bar in bars if bar < after.bar]) >= 2
        assert len([bar for bar in bars if bar >= after.bar]) >= 2
        accepted = {int(plain_words(words)) for words in part.fields[2].accepted}
        assert after.bar in accepted
        assert not shown.has_key_names
        assert plain_words(part.fields[1].accepted[0]) == str(after.key)
        assert before.key != after.key


def test_a_mode_is_asked_only_where_no_other_mode_has_the_notes(demo):
    sheet = gathered(demo, mode="dorian")
    for question, part in parts_of(sheet, "mode"):
        (shown,) = question.passages
        tonic = m21(pitch_class_name(shown.labels.keys[0].tonic_fifths))
        held = {pitch_class_name(f) for f in shown.excerpt.fifths}
        fits = []
        for name, steps in MODE_STEPS.items():
            notes = scale_names(tonic, steps)
            if held <= notes and name != "locrian":
                fits.append(name)
        assert fits == [plain_words(part.fields[0].accepted[0])] == ["dorian"]


def scale_names(tonic: pitch.Pitch, steps: str) -> set[str]:
    major = scale.MajorScale(tonic).getPitches()
    found = set()
    for step in steps.split():
        note = pitch.Pitch(major[int(step[-1]) - 1].name)
        change = step.count("#") - step.count("b")
        note.accidental = pitch.Accidental(
            change + (note.accidental.alter if note.accidental else 0)
        )
        found.add(note.name.replace("-", "b"))
    return found


def test_the_planted_relatives_are_the_answers_and_rivals_are_far(demo):
    planted = json.loads((tunes_folder() / "PLANTED.json").read_text("utf-8"))["likenesses"]
    checked = 0
    for number, pair in enumerate(pair for pair in planted if not pair.get("hard")):
        first, last = pair["a"]["bars"]
        kept(demo, [(pair["a"]["title"], f"{first}-{min(last, first + 3)}")], f"P{number}")
        try:
            sheet = asked(demo, ("relative",), name=f"P{number}")
        except LessonError:
            continue
        ((question, part),) = parts_of(sheet, "relative")
        letter = plain_words(part.fields[0].accepted[0])
        chosen = next(p for p in question.passages if p.letter == letter)
        assert chosen.excerpt.title == pair["b"]["title"]
        titles = [passage.excerpt.title for passage in question.passages]
        assert len(set(titles)) == 4
        checked += 1
    assert checked >= 2


def test_the_same_set_gives_the_same_questions_and_any_can_be_left_out(demo):
    kept(demo, BOATS)
    sheet = asked(demo)
    assert asked(demo) == sheet
    names = [question.name for question in sheet.questions]
    assert len(set(names)) == len(names)
    assert [q.name for q in asked(demo, leave_out=names[:2]).questions] == names[2:]
    with pytest.raises(LessonError, match="no question of this sheet is called 'abc'"):
        asked(demo, leave_out=["abc"])


def test_a_level_asks_nothing_harder(demo):
    kept(demo, BOATS)
    parts = [part for q in asked(demo, level="first").questions for part in q.parts]
    assert parts
    assert all(part.level == 1 for part in parts)
    with pytest.raises(LessonError, match="'tenth' is no level"):
        asked(demo, level="tenth")


def test_what_no_question_fits_is_said_and_the_rest_asked(demo):
    kept(demo, [("Fog over the Basin", "3-6")])
    sheet = asked(demo, ("degrees", "shared notes"))
    assert any("shared notes" in remark for remark in sheet.remarks)
    with pytest.raises(LessonError, match="nothing can be asked"):
        asked(demo, ("shared notes",))
    with pytest.raises(LessonError, match="'riddles' is no kind"):
        asked(demo, ("riddles",))


def test_right_spellings_of_a_numeral_are_all_accepted():
    assert numeral_spellings("V7/V", "II7", "major")[:2] == ("V7/V", "II7")
    assert "VI" in numeral_spellings("bVI", "bVI", "minor")
    assert "VI" not in numeral_spellings("bVI", "bVI", "major")
    assert "iim7b5" in numeral_spellings("iiø7", "iiø7", "minor")
    assert "N" in numeral_spellings("bII", "bII", "minor")


@pytest.mark.parametrize("text", ["Ger6", "V7sus4", "IV over 5", "hello", "V7/Ger6"])
def test_what_has_several_names_is_not_read_as_a_numeral(text):
    assert read_numeral(text, Pitch(0, 0)) is None


def test_every_kind_is_a_kind_that_something_makes():
    assert len(set(KINDS)) == len(KINDS)


def test_dictation_is_asked_with_the_rhythm_the_pitches_or_nothing_given(demo):
    kept(demo, [("Cut and Carry", "1-2"), ("Paper Swans", "1-3"), ("The Eel Trap", "1-2")])
    sheet = asked(demo, ("dictation",))
    seen = {}
    for question, part in parts_of(sheet, "dictation"):
        (shown,) = question.passages
        seen[shown.heard] = part
        count = len(shown.excerpt)
        assert f"{count} notes" in plain_words(part.task)
        told = plain_words(part.fields[0].accepted[0]).split()
        assert len(told) == count
        if shown.heard == "pitches":
            first, *others = (int(number) for number in told)
            unit = shown.excerpt.duration_ticks[0] / first
            assert [n * unit for n in others] == list(shown.excerpt.duration_ticks[1:])
    assert {"rhythm", "nothing"} <= set(seen)


def test_no_task_that_needs_no_music_is_set_twice(demo):
    sheet = gathered(demo, metre="compound")
    tasks = [plain_words(part.task) for _, part in parts_of(sheet, "write another")]
    assert len(tasks) > 2
    assert len(set(tasks)) == len(tasks)
