"""Fermatas: where they mark phrases, in each format that prints them."""

from __future__ import annotations

from melodex.melody import Melody
from melodex.reading.abc.reader import read_abc
from melodex.reading.common.fermatas import phrases_held
from melodex.reading.musicxml.reader import read_musicxml
from melodex.reading.result import Choice


def abc(body: str, fields: str = "") -> Melody:
    text = f"X:1\nT:Invented\n{fields}M:4/4\nL:1/4\nK:C\n{body}\n"
    return read_abc(text, "invented.abc", Choice()).tunes[0].melody


def test_a_phrase_ends_with_a_held_note() -> None:
    held = [False, True, False, False, True, False, True]
    assert phrases_held(held) == (0, 0, 1, 1, 1, 2, 2)


def test_notes_after_the_last_fermata_are_a_phrase() -> None:
    assert phrases_held([True, True, False, True, False]) == (0, 0, 1, 1, 2)


def test_fermatas_that_are_few_or_far_apart_mark_nothing() -> None:
    assert phrases_held([]) == ()
    assert phrases_held([True] * 2) == ()
    assert phrases_held([True, True, True, *[False] * 33]) == ()


# The ABC music standard 2.1, sections 4.14 and 4.16: H and !fermata!; U: redefines.
def test_fermatas_of_abc_mark_phrases() -> None:
    assert abc("CD!fermata!E2|F HF GHA|]").phrase == (0, 0, 0, 1, 1, 2, 2)
    assert abc("CD!invertedfermata!E2-|E2 GHA|FHE|]").phrase == (0, 0, 0, 1, 1, 2, 2)
    assert abc("CD!fermata!E2|F2 GA|]").phrase == (0,) * 6
    assert abc("CDHE2|F2HF GHA|]", "U:H=!trill!\n").phrase == (0,) * 7
    assert abc("CDTE2|FTF GTA|]", "U:T=!fermata!\n").phrase == (0, 0, 0, 1, 1, 2, 2)


def test_fermatas_of_musicxml_mark_phrases() -> None:
    note = (
        "<note><pitch><step>{}</step><octave>4</octave></pitch><duration>1</duration>"
        "<type>quarter</type>{}</note>"
    )
    hold = "<notations><fermata/></notations>"
    music = "".join(note.format(step, hold * (step in "DFA")) for step in "CDEFGA")
    text = (
        '<score-partwise><part-list><score-part id="P1"><part-name/></score-part>'
        '</part-list><part id="P1"><measure number="1"><attributes><divisions>1</divisions>'
        f"</attributes>{music}</measure></part></score-partwise>"
    )
    tune = read_musicxml(text.encode(), "invented.musicxml", Choice()).tunes[0]
    assert tune.melody.phrase == (0, 0, 1, 1, 2, 2)
