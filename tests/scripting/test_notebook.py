"""What a notebook is given: pictures that are whole, tables, and no text unescaped."""

from __future__ import annotations

import base64
import re
import runpy
from collections.abc import Callable
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

import melodex

DEMO = Path(__file__).parents[2] / "corpus_demo"
SHOWN: dict[str, Callable[[melodex.Corpus], Any]] = {
    "resemble": lambda c: c.resemble("3 5 3 1 3 1 4 6 4 3 1 2 4 2", limit=2),
    "contour": lambda c: c.resemble("+ - - + - + + - - - + + -", limit=2),
    "compare": lambda c: c.compare("Marl Pit Hornpipe", "The Eel Trap", bars="1-4,1-4"),
    "audit": lambda c: c.audit(DEMO / "own" / "own_song.abc", limit=2),
    "whole": lambda c: c.audit_whole(limit=2),
    "describe": lambda c: c.describe("Fog over the Basin"),
    "gather": lambda c: c.gather(progression="ii V I", limit=2),
    "tune": lambda c: c.tune("The Eel Trap"),
    "bars": lambda c: c.tune("The Eel Trap", bars=(1, 4)),
    "lesson": lambda c: c.gather(progression="ii V I", limit=2).keep("Two five one"),
}
PICTURES = {"resemble": 2, "contour": 2, "audit": 3, "whole": 2, "gather": 2, "lesson": 2}
"""In a cell; one where nothing is said."""

SOURCE = r'src="data:image/svg\+xml;base64,([^"]+)"'


@pytest.mark.parametrize("name", SHOWN)
def test_a_cell_shows_engraved_pictures_and_a_table(name, corpus):
    html = SHOWN[name](corpus)._repr_html_()
    pictures = [base64.b64decode(data) for data in re.findall(SOURCE, html)]
    assert len(pictures) == PICTURES.get(name, 1)
    for picture in pictures:
        assert ElementTree.fromstring(picture).tag == "{http://www.w3.org/2000/svg}svg"
    assert ("<table>" in html) == (name not in {"tune", "bars"})


@pytest.mark.parametrize("name", sorted(set(SHOWN) - {"whole", "gather", "lesson"}))
def test_a_picture_alone_is_one_svg(name, corpus):
    svg = SHOWN[name](corpus)._repr_svg_()
    assert ElementTree.fromstring(svg).tag == "{http://www.w3.org/2000/svg}svg"


def test_nothing_found_has_no_picture_and_says_so(corpus):
    nothing = corpus.gather(title="no tune is called so", mode="minor")
    assert "<img" not in nothing._repr_html_()
    assert "0 of 61 tunes" in nothing._repr_html_()


def test_text_of_a_file_reaches_a_notebook_escaped(tmp_path):
    file = tmp_path / "hostile.abc"
    file.write_text(
        "X:1\nT:<script>alert(1)</script>\nC:<img src=x onerror=alert(2)>\nK:C\n"
        '"<b>C"CDEF|"Dm"GABc|"G7"cBAG|"C"FEDC|]\n',
        "utf-8",
    )
    corpus = melodex.open(tmp_path / "tunes.melodex")
    corpus.add(file)
    (tune,) = corpus
    shown: list[Any] = [
        tune,
        corpus.tunes(),
        corpus.describe(tune),
        corpus.resemble(tune, include_self=True),
        corpus.compare(tune, tune),
        corpus.audit(tune),
        corpus.gather(progression="ii V I"),
    ]
    for each in shown:
        html = each._repr_html_()
        assert "<script" not in html
        assert "onerror" not in re.sub(r"&lt;img src=x onerror=alert\(2\)&gt;", "", html)
        for data in re.findall(SOURCE, html):
            assert b"<script" not in base64.b64decode(data)


def test_a_picture_that_cannot_be_drawn_leaves_all_else_standing(corpus, monkeypatch):
    from melodex.errors import PresentationError
    from melodex.scripting import notebook

    def refuse(*_):
        raise PresentationError("the engraver is out")

    monkeypatch.setattr(notebook, "passage_svg", refuse)
    html = corpus.gather(progression="ii V I", limit=2)._repr_html_()
    assert html.count("No picture: the engraver is out") == 2
    assert "<table>" in html


def test_the_walk_through_of_the_demo_runs_cell_by_cell(capsys):
    names = runpy.run_path(str(DEMO / "walk_through.py"))
    said = capsys.readouterr().out
    assert said.startswith("<AddResult: 61 added")
    assert "Marl Pit Hornpipe, bars 1-4" in said
    assert (DEMO / "walk_through.py").read_text("utf-8").count("# %% ") == 7
    assert len(names["lesson"]) == 3
