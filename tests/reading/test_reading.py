"""Which reader a file goes to, and what is said when there is none."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from melodex.errors import ReadingError
from melodex.reading import SUFFIXES, read_bytes, read_path

ABC = b"X:1\nT:Low Tide\nM:4/4\nL:1/4\nK:G\nGABc|d4|\n"
SHEET = (
    b"<score-partwise><part-list><score-part id='P1'/></part-list><part id='P1'>"
    b"<measure number='1'><attributes><divisions>1</divisions></attributes><note><pitch>"
    b"<step>C</step><octave>4</octave></pitch><duration>4</duration></note></measure></part>"
    b"</score-partwise>"
)
BODY = bytes((0, 0x90, 60, 64, 96, 60, 0, 0, 0xFF, 0x2F, 0))
MIDI = (
    b"MThd"
    + bytes((0, 0, 0, 6, 0, 0, 0, 1, 0, 96))
    + b"MTrk\0\0\0"
    + bytes((len(BODY),))
    + BODY
)


@pytest.mark.parametrize(
    ("name", "data", "kept_format"),
    [
        ("a.abc", ABC, "abc"),
        ("a.ABC", ABC, "abc"),
        ("a.xml", SHEET, "musicxml"),
        ("a.musicxml", b"\xef\xbb\xbf" + SHEET, "musicxml"),
        ("a.mid", MIDI, "midi"),
        ("misnamed.xml", MIDI, "midi"),
        ("misnamed.mid", SHEET, "musicxml"),
        ("unnamed", ABC, "abc"),
        ("tune.txt", ABC, "abc"),
    ],
)
def test_a_file_goes_to_the_reader_of_what_it_holds(tmp_path, name, data, kept_format):
    path = tmp_path / name
    path.write_bytes(data)
    reading = read_path(path)
    assert not reading.refusals, reading.refusals
    (tune,) = reading.tunes
    assert tune.kept_format == kept_format
    assert tune.melody.credits.source == reading.source == str(path)
    again = read_bytes(tune.kept, tune.kept_format, str(path))
    assert again.tunes[0].melody == tune.melody


@pytest.mark.parametrize("suffix", sorted(SUFFIXES))
@pytest.mark.parametrize("data", [b"", b"  \n", b"\x93\x01\xff noise \x00" * 40])
def test_an_empty_file_and_a_file_of_noise_are_refused_not_raised(tmp_path, suffix, data):
    path = tmp_path / f"a{suffix}"
    path.write_bytes(data)
    reading = read_path(path)
    assert not reading.tunes
    assert reading.refusals
    assert str(reading.refusals[0]).startswith(str(path))


def test_a_file_of_another_kind_is_refused(tmp_path):
    path = tmp_path / "notes.txt"
    path.write_text("Remember the milk.")
    (refusal,) = read_path(path).refusals
    assert "neither ABC nor MusicXML nor MIDI" in refusal.reason


def test_a_missing_file_a_folder_and_a_pipe_raise(tmp_path):
    with pytest.raises(ReadingError, match=r"lost\.abc: there is no such file"):
        read_path(tmp_path / "lost.abc")
    with pytest.raises(ReadingError, match="this is not a file"):
        read_path(tmp_path)
    os.mkfifo(tmp_path / "pipe.abc")
    with pytest.raises(ReadingError, match="this is not a file"):
        read_path(tmp_path / "pipe.abc")


def test_a_file_that_may_not_be_opened_raises(tmp_path, monkeypatch):
    path = tmp_path / "secret.abc"
    path.write_bytes(ABC)

    def forbidden(self, *args, **kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", forbidden)
    with pytest.raises(
        ReadingError, match=r"secret\.abc: cannot be read: Permission denied"
    ):
        read_path(path)


def test_an_unknown_format_is_our_callers_mistake():
    with pytest.raises(ReadingError, match="no format is called 'papyrus'"):
        read_bytes(ABC, "papyrus", "a")


def test_typing_a_phrase_loads_no_reader_of_files():
    code = (
        "import sys; from melodex.reading.phrase.reader import read_phrase; "
        "read_phrase('5 1 2 b3 2 1'); "
        "heavy = {'music21', 'numpy', 'scipy', 'defusedxml', 'zipfile', 'xml.etree'}; "
        "print(sorted(heavy & set(sys.modules)))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, encoding="utf-8", check=True
    )
    assert done.stdout.strip() == "[]"
