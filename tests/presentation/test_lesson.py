"""Sheets of a teaching set: what stands on them, what must not, and how they sound.

Outside witnesses: music21 for transposition (its own intervals) and for MusicXML, mido
for MIDI, poppler for PDF. What transposing instruments read is common practice.
"""

from __future__ import annotations

import html
import io
import json
import re
import shutil
import subprocess
import zipfile
from pathlib import Path

import mido
import pytest

from melodex.analysis.harmony.chords import parse_chord
from melodex.corpus.reader import Corpus
from melodex.errors import PresentationError
from melodex.melody import note_name
from melodex.presentation.lesson.pack import packed_set
from melodex.presentation.lesson.setting import SheetSetting, set_passage
from melodex.presentation.lesson.sheets import handout_page, worksheet_page
from melodex.presentation.lesson.sound import lesson_midi, worksheet_midi
from melodex.presentation.lesson.words import spelled
from melodex.presentation.report.page import Picture, Text, page_html
from melodex.presentation.report.paper import page_pdf
from melodex.tasks.demo import CORPUS_FILE
from melodex.tasks.lesson.keeping import found_by_hand, keep
from melodex.tasks.lesson.questions import Worksheet, worksheet
from melodex.tasks.lesson.sets import Lesson, annotate, new_lesson, open_lesson

PASSAGES = (
    ("Marl Pit Hornpipe", "1-4"),
    ("Old Copper Bell", "1-4"),
    ("Foghorn Samba", "1-4"),
    ("Fog over the Basin", "3-6"),
    ("The Clockmaker's Waltz", "7-12"),
    ("Mooring Lines", "9-12"),
)
UNKNOWN = "X:1\nT:Nobody's Own\nM:4/4\nL:1/4\nK:F#\nF A c B | A G F2 |]\n"


@pytest.fixture(scope="module")
def corpus_path(demo_folder: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("sheets")
    path = folder / CORPUS_FILE
    shutil.copyfile(demo_folder / CORPUS_FILE, path)
    other = folder / "unknown.abc"
    other.write_text(UNKNOWN, encoding="utf-8")
    new_lesson(path, "Sheet & <b>", topic="Borrowed chords", notes="Sing first.")
    with Corpus.open(path) as corpus:
        found = [found_by_hand(corpus, t, bars=b, reason="Fm is iv") for t, b in PASSAGES]
        found.append(found_by_hand(corpus, str(other)))
    keep(path, "Sheet & <b>", found)
    annotate(path, "Sheet & <b>", 1, "Hear the third.")
    return path


@pytest.fixture(scope="module")
def lesson(corpus_path) -> Lesson:
    with Corpus.open(corpus_path) as corpus:
        return open_lesson(corpus, "Sheet & <b>")


@pytest.fixture(scope="module")
def sheet(corpus_path, lesson) -> Worksheet:
    with Corpus.open(corpus_path) as corpus:
        return worksheet(corpus, lesson, ("degrees", "chords", "metre", "cadence"))


def text_of(pdf: bytes, tmp_path: Path, *options: str) -> str:
    """The text of a PDF by poppler; a missing tool fails."""
    path = tmp_path / "sheet.pdf"
    path.write_bytes(pdf)
    done = subprocess.run(
        ["pdftotext", "-layout", *options, str(path), "-"],
        capture_output=True,
        encoding="utf-8",
        check=True,
        timeout=60,
    )
    return done.stdout


def svg_texts(svg: str) -> str:
    """Every text of a picture, those for readers who do not see it too."""
    return html.unescape(" ".join(re.findall(r">([^<>]+)<", svg)))


def pictures(page, heading: str) -> list[Picture]:
    return [
        block
        for section in page.sections
        if section.heading == heading
        for block in section.blocks
        if isinstance(block, Picture)
    ]


# The handout.


def test_a_handout_shows_labels_makers_sources_and_rights(lesson, tmp_path):
    text = " ".join(text_of(page_pdf(handout_page(lesson)), tmp_path).split())
    for words in (
        "Sheet & <b>",
        "Borrowed chords",
        "Hear the third.",
        "Brannoch Ilvey, 1938",
        "Rights: CC0 1.0, written for this demonstration",
        "Rights: not known",
        "Rights not known: 7",
        "composer not known",
        "Check the rights of what you print or share",
        "never stood in this corpus",
    ):
        assert words in text, words


def test_a_handout_is_tagged_on_both_papers_and_always_the_same(lesson, tmp_path):
    page = handout_page(lesson)
    for paper, size in (("a4", "A4"), ("letter", "letter")):
        pdf = page_pdf(page, paper=paper)
        assert pdf == page_pdf(handout_page(lesson), paper=paper)
        path = tmp_path / "handout.pdf"
        path.write_bytes(pdf)
        done = subprocess.run(
            ["pdfinfo", str(path)],
            capture_output=True,
            encoding="utf-8",
            check=True,
            timeout=60,
        )
        assert "Tagged:          yes" in done.stdout
        assert size in done.stdout


def test_the_html_needs_no_network_and_escapes_titles(lesson, sheet):
    for page in (handout_page(lesson), worksheet_page(sheet)):
        text = page_html(page)
        assert "Sheet &amp; &lt;b&gt;" in text
        assert not re.search(r"(?:src|href)=\"https?:", text)


def test_an_empty_set_is_not_printed(corpus_path):
    new_lesson(corpus_path, "Empty")
    with Corpus.open(corpus_path) as corpus:
        empty = open_lesson(corpus, "Empty")
    for make in (handout_page, lesson_midi, packed_set):
        with pytest.raises(PresentationError, match="no passages yet"):
            make(empty)


# The worksheet.


def asked_about(sheet, kind: str):
    """Number and question of those that have a part of a kind."""
    found = [(n, q) for n, q in enumerate(sheet.questions, 1) if kind in q.kinds]
    assert found, kind
    return found


def test_a_worksheet_hides_what_it_asks_for_and_the_key_shows_it(sheet):
    asked = worksheet_page(sheet, answers="without")
    told = worksheet_page(sheet, answers="only")
    for kind, at in (("degrees", "note"), ("chords", "chord")):
        for number, question in asked_about(sheet, kind):
            heading = f"{number}. {question.heading}"
            (hidden,), (shown,) = pictures(asked, heading), pictures(told, heading)
            fields = [f for part in question.parts for f in part.fields if f.at == at]
            blank = '<path class="write"' if at == "note" else '<rect class="write"'
            assert hidden.svg.count(blank) == len(fields)
            assert 'class="write"' not in shown.svg
            assert "degree" not in svg_texts(hidden.svg).replace("degree 1", "") or (
                question.passages[0].given_notes
            )


def test_what_is_written_on_is_as_large_as_a_hand_needs(sheet):
    """8 mm for a blank, 12 by 8 mm for a box, staves of 7 to 8 mm, in both sizes."""
    for size, staff_mm in (("usual", 7.25), ("large", 8.0)):
        page = worksheet_page(sheet, answers="without", size=size)
        seen = set()
        for number, question in enumerate(sheet.questions, start=1):
            for drawn in pictures(page, f"{number}. {question.heading}"):
                mm = drawn.mm_a_pixel / 21
                assert 4 * 180 * mm == pytest.approx(staff_mm)
                width = float(re.findall(r'width="([\d.]+)"', drawn.svg)[0])
                assert width * drawn.mm_a_pixel <= 174.5
                for line in re.findall(
                    r'class="write"[^>]* d="M[\d. ]+h([\d.]+)"', drawn.svg
                ):
                    assert float(line) * mm >= 8
                    seen.add("line")
                for box in re.findall(r'<rect class="write"[^>]*>', drawn.svg):
                    assert float(re.findall(r' width="([\d.]+)"', box)[0]) * mm >= 12
                    assert float(re.findall(r'height="([\d.]+)"', box)[0]) * mm >= 8
                    seen.add("box")
        assert seen == {"line", "box"}
    with pytest.raises(PresentationError, match="usual, large"):
        worksheet_page(sheet, size="huge")


def test_the_choices_of_a_relative_have_no_titles(corpus_path, lesson):
    with Corpus.open(corpus_path) as corpus:
        sheet = worksheet(corpus, lesson, ("relative",))
    ((number, question), *_) = asked_about(sheet, "relative")
    page = worksheet_page(sheet, answers="without")
    drawn = pictures(page, f"{number}. {question.heading}")
    assert len(drawn) == 4
    for choice in question.passages[1:]:
        title = choice.excerpt.title
        assert not any(title in svg_texts(each.svg) + each.label for each in drawn)


def test_answers_stand_on_pages_of_their_own_numbered_apart(sheet, tmp_path):
    pages = text_of(page_pdf(worksheet_page(sheet)), tmp_path).split("\f")
    first = next(n for n, page in enumerate(pages) if "Answers" in page)
    assert pages[first].lstrip().startswith("Answers")
    assert "Answers 1" in pages[first]
    assert not any("Answers" in page for page in pages[:first])
    assert pages[0].rstrip().endswith("1")
    for words in ("Name", "Date", f"Points (of {sheet.points})"):
        assert words in pages[0]
    without = text_of(page_pdf(worksheet_page(sheet, answers="without")), tmp_path)
    assert "Answers" not in without
    assert "Check the rights" in without


def test_each_answer_stands_in_the_key_with_a_sentence_of_why(sheet):
    page = worksheet_page(sheet, answers="only")
    sections = {section.heading: section for section in page.sections}
    for number, question in enumerate(sheet.questions, start=1):
        section = sections[f"{number}. {question.heading}"]
        told = [p for b in section.blocks if isinstance(b, Text) for p in b.paragraphs]
        assert len(told) == len(question.parts)
        assert all(text.endswith(".") and len(text.split()) > 4 for text in told)


def test_a_page_that_checks_answers_holds_fields_and_no_lines_to_write_on(sheet):
    page = worksheet_page(sheet, answers="checked")
    text = page_html(page)
    data = json.loads(re.findall(r"data-answers>(.*?)</script>", text)[0])
    fields = [f for q in sheet.questions for part in q.parts for f in part.fields]
    assert sum(len(each["right"]) for each in data.values()) == len(fields)
    assert 'class="blank"' not in text
    assert f'data-total="{len(fields)}"' in text
    assert "://" not in re.sub(r"http://www.w3.org/[\w/]+", "", text)
    assert "data-answers" not in page_html(worksheet_page(sheet))


def test_a_choice_of_answers_that_is_none_is_refused(sheet):
    with pytest.raises(PresentationError, match="with, without, only, checked"):
        worksheet_page(sheet, answers="perhaps")


# Keys, instruments, clefs.


@pytest.mark.parametrize(
    ("setting", "interval"),
    [
        (SheetSetting(instrument="b-flat"), "M2"),
        (SheetSetting(instrument="e-flat"), "M6"),
    ],
)
def test_instruments_read_what_music21_transposes(lesson, setting, interval):
    from music21.interval import Interval
    from music21.pitch import Pitch

    for example in lesson.examples[:6]:
        moved = set_passage(example.excerpt, example.labels, setting)
        if abs(moved.fifths) > 3:
            continue  # spelled with flats in place of sharps, tested below
        for before, after in zip(
            zip(example.excerpt.midi, example.excerpt.fifths, strict=True),
            zip(moved.melody.midi, moved.melody.fifths, strict=True),
            strict=True,
        ):
            sounding = Pitch(note_name(*before).replace("b", "-"))
            read = Interval(interval).transposePitch(sounding)
            assert read.nameWithOctave == note_name(*after).replace("b", "-")


def test_one_common_key_moves_notes_signature_and_chords_and_no_label(lesson):
    for example in lesson.examples:
        moved = set_passage(example.excerpt, example.labels, SheetSetting(key="D"))
        tonic = example.labels.keys[0]
        assert moved.key_name(tonic.key) == f"D {tonic.mode}"
        degrees = [f - 2 for f in moved.melody.fifths]
        assert degrees == [f - tonic.tonic_fifths for f in example.excerpt.fifths]
        assert abs(moved.melody.midi[0] - example.excerpt.midi[0]) <= 6
        assert moved.labels == example.labels
        for old, new in zip(example.excerpt.chords, moved.melody.chords, strict=True):
            shift = parse_chord(new.text).root_fifths - parse_chord(old.text).root_fifths
            assert shift == moved.fifths


def test_too_many_signs_are_spelled_the_other_way(lesson):
    own = lesson.examples[6]
    assert own.excerpt.keys[0].signature_fifths == 6
    moved = set_passage(own.excerpt, own.labels, SheetSetting(instrument="e-flat"))
    assert moved.melody.keys[0].signature_fifths == -3
    assert (moved.melody.midi[0] - own.excerpt.midi[0]) == 9
    assert moved.key_name(own.labels.keys[0].key) == "Eb major"


@pytest.mark.parametrize(
    ("clef", "sign", "middle"),
    [("bass", "F", 50), ("alto", "C", 60), ("tenor", "C", 57), ("treble", "G", 71)],
)
def test_another_clef_brings_the_octave_that_suits_it(lesson, clef, sign, middle):
    for example in lesson.examples:
        moved = set_passage(example.excerpt, example.labels, SheetSetting(clef=clef))
        mean = sum(moved.melody.midi) / len(moved.melody)
        assert abs(mean - middle) <= 6
        assert (moved.melody.midi[0] - example.excerpt.midi[0]) % 12 == 0
        assert moved.clef is not None
        assert moved.clef[0] == sign


@pytest.mark.parametrize("wrong", [{"key": "H"}, {"instrument": "f"}, {"clef": "soprano"}])
def test_a_setting_that_is_none_is_refused(wrong):
    with pytest.raises(PresentationError, match="is no"):
        SheetSetting(**wrong)


def test_every_setting_can_be_printed(lesson, sheet):
    for setting in (
        SheetSetting("C", "b-flat"),
        SheetSetting("Gb", "e-flat", "bass"),
        SheetSetting("F#", clef="tenor"),
    ):
        assert page_html(handout_page(lesson, setting))
        assert page_html(worksheet_page(sheet, setting))


def test_names_of_notes_and_numerals_get_their_signs_and_words_do_not():
    assert spelled("Bbm is iv, Ebmaj7 is bVII7(b9)") == "B♭m is iv, E♭maj7 is ♭VII7(♭9)"
    assert spelled("Bb major, borrowed; C#") == "B♭ major, borrowed; C♯"


# Sound and files.


@pytest.mark.parametrize("key", ["own", "C"])
def test_the_midi_file_plays_every_example_after_its_marker(lesson, key):
    setting = SheetSetting(key=key, instrument="b-flat")
    file = mido.MidiFile(file=io.BytesIO(lesson_midi(lesson, setting)))
    conductor, notes = file.tracks
    clock, markers = 0, []
    for message in conductor:
        clock += message.time
        if message.type == "marker":
            markers.append((clock, message.text))
    heard, clock = [], 0
    for message in notes:
        clock += message.time
        if message.type == "note_on":
            heard.append((clock, message.note))
    assert [text for _, text in markers] == [
        f"{example.position}. {example.title}" for example in lesson.examples
    ]
    ends = [clock for clock, _ in markers[1:]] + [10**9]
    for (start, _), end, example in zip(markers, ends, lesson.examples, strict=True):
        sounding = set_passage(
            example.excerpt, example.labels, SheetSetting(key=key)
        ).melody
        inside = [(at, pitch) for at, pitch in heard if start <= at < end]
        assert [pitch for _, pitch in inside] == list(sounding.midi)
        first = inside[0][0]
        assert [at - first for at, _ in inside] == [
            onset - sounding.onset_ticks[0] for onset in sounding.onset_ticks
        ]


def test_a_worksheet_sounds_in_the_order_of_its_questions(sheet):
    played = mido.MidiFile(file=io.BytesIO(worksheet_midi(sheet)))
    markers = [m.text for m in played.tracks[0] if m.type == "marker"]
    assert markers == [f"Question {n}" for n in range(1, len(sheet.questions) + 1)]
    pitches = [m.note for m in played.tracks[1] if m.type == "note_on"]
    wanted = [
        p for q in sheet.questions for shown in q.passages for p in shown.excerpt.midi
    ]
    assert pitches == wanted


def test_the_packed_musicxml_is_read_by_music21_with_the_same_notes(lesson, tmp_path):
    from music21 import converter

    with zipfile.ZipFile(io.BytesIO(packed_set(lesson))) as package:
        names = [name for name in package.namelist() if name.endswith(".musicxml")]
        assert len(names) == len(lesson.examples)
        for name, example in zip(sorted(names), lesson.examples, strict=True):
            path = tmp_path / Path(name).name
            path.write_bytes(package.read(name))
            read = converter.parse(path, forceSource=True).stripTies()
            pitches = [n.pitch.midi for n in read.recurse().notes if hasattr(n, "pitch")]
            assert pitches == list(example.excerpt.midi)


def test_poppler_is_here():
    assert shutil.which("pdftotext"), "install poppler-utils"
