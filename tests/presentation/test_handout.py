"""Handouts, checked with poppler."""

from __future__ import annotations

import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from melodex.errors import PresentationError
from melodex.presentation.report.page import Caution, Facts, Page, Section, Table, Text
from melodex.presentation.report.paper import handout_pdf


def poppler(tool: str, *arguments: str) -> str:
    """What one of poppler's tools prints; a missing tool fails."""
    done = subprocess.run(
        [tool, *arguments], capture_output=True, encoding="utf-8", check=True, timeout=60
    )
    return done.stdout


@pytest.fixture(scope="module")
def pdf(comparison, tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("handout") / "comparison.pdf"
    path.write_bytes(handout_pdf(comparison))
    return path


def test_it_is_a_tagged_pdf_with_its_title(pdf):
    info = poppler("pdfinfo", str(pdf))
    assert "Tagged:          yes" in info
    assert "Harbour <b>Lamps</b> & Co" in info
    assert "A4" in info
    metadata = poppler("pdfinfo", "-meta", str(pdf))
    assert "pdfuaid:part" in metadata
    structure = poppler("pdfinfo", "-struct", str(pdf))
    for tag in ("H1", "H2", "Figure", "Table", "TH"):
        assert tag in structure


def test_its_fonts_are_inside(pdf):
    rows = poppler("pdffonts", str(pdf)).splitlines()[2:]
    assert rows
    for row in rows:
        embedded, subset, unicode_map = row.split()[-5:-2]
        assert (embedded, subset, unicode_map) == ("yes", "yes", "yes")


def test_its_text_is_text(pdf):
    text = poppler("pdftotext", "-layout", str(pdf), "-")
    for words in ("same step, other inflection", "B♭ minor", "Harbour <b>Lamps</b> & Co"):
        assert words in text
    assert "Check the rights" in text


def test_nothing_of_the_music_is_left_blank(pdf, tmp_path):
    """The first page, drawn at 40 dots an inch, has ink where the staves stand."""
    poppler(
        "pdftoppm", "-r", "40", "-gray", "-f", "1", "-l", "1", str(pdf), str(tmp_path / "p")
    )
    (picture,) = tmp_path.glob("p*.pgm")
    header, _, pixels = picture.read_bytes().partition(b"255\n")
    width, height = map(int, header.split()[1:3])
    rows = [pixels[y * width : (y + 1) * width] for y in range(height)]
    inked = [sum(value < 200 for value in row) for row in rows[height // 5 : height // 2]]
    assert sum(count > 20 for count in inked) > 25


def test_letter_and_a4_differ_and_each_repeats(comparison, pdf):
    letter = handout_pdf(comparison, paper="letter")
    assert letter == handout_pdf(comparison, paper="letter")
    assert pdf.read_bytes() == handout_pdf(comparison)
    target = pdf.parent / "letter.pdf"
    target.write_bytes(letter)
    assert "612 x 792 pts (letter)" in poppler("pdfinfo", str(target))


def test_long_music_breaks_between_systems(read_tune, as_passage, tmp_path):
    from melodex.tasks.compare.compare import compare

    bars = ["CDEF GABc", "c2 G2 E2 C2", "dcBA G4", "E2 F2 G4"]
    text = "X:1\nT:long\nM:4/4\nL:1/8\nK:{}\n" + " | ".join(bars * 10) + " |"
    found = compare(
        as_passage(read_tune(text.format("C"))), as_passage(read_tune(text.format("Cm")))
    )
    target = tmp_path / "long.pdf"
    target.write_bytes(handout_pdf(replace(found, whole=True)))
    pages = poppler("pdfinfo", str(target))
    assert int(pages.split("Pages:")[1].split()[0]) >= 4


def test_texts_are_never_read_as_markup(tmp_path):
    hostile = '#import "x.typ" *bold* _em_ $x$ @ref <label> \\ // /* `raw` ]['
    page = Page(
        hostile,
        hostile,
        (hostile,),
        (
            Section(
                hostile,
                (
                    Text((hostile,)),
                    Caution((hostile,)),
                    Facts(((hostile, hostile),)),
                    Table(hostile, (hostile,), ((hostile,),)),
                ),
                note=hostile,
            ),
        ),
        (hostile,),
    )
    target = tmp_path / "hostile.pdf"
    target.write_bytes(handout_pdf(page))
    text = poppler("pdftotext", str(target), "-").replace("\n", " ")
    assert "*bold* _em_ $x$ @ref <label>" in text


def test_a_sign_that_no_font_has_is_named():
    """An ancient script that no usual machine prints: refused, not left blank."""
    page = Page("\U0001e6c0 title", "k", (), (Section("s", (Text(("w",)),)),))
    with pytest.raises(PresentationError, match="no font on this machine has a sign for"):
        handout_pdf(page)


def test_signs_that_steer_a_device_print_as_nothing(tmp_path):
    page = Page("Ti\x07t\x94le", "k", (), (Section("s", (Text(("one\x1b word",)),)),))
    target = tmp_path / "controls.pdf"
    target.write_bytes(handout_pdf(page))
    text = poppler("pdftotext", str(target), "-")
    assert "Title" in text
    assert "one word" in text


def test_what_has_no_handout_is_refused(comparison):
    with pytest.raises(PresentationError, match="there is no page for a list"):
        handout_pdf([])
    with pytest.raises(PresentationError, match="'a3' is no paper size"):
        handout_pdf(comparison, paper="a3")
