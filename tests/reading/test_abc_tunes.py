"""Whole ABC tunes: golden cases worked by hand, and what is kept of real ones.

Each case of ``tests/tunes`` holds a reason, a tune and a table of its notes.
"""

from pathlib import Path

import music21
import pytest

from melodex.melody import degree_name, note_name
from melodex.reading import read_bytes, read_path
from melodex.reading.abc.reader import read_abc
from melodex.reading.decoding import decode

CASES = sorted((Path(__file__).parents[1] / "tunes").glob("*.txt"))
COLLECTIONS = Path(music21.__file__).parent / "corpus"


def named(degree: int | None) -> str:
    return "none" if degree is None else degree_name(degree)


@pytest.mark.parametrize("case", CASES, ids=lambda path: path.stem)
def test_a_tune_worked_by_hand_is_read_so(case):
    _, text, table = case.read_text(encoding="utf-8").split("\n\n")
    (tune,) = read_abc(text, case.name).tunes
    melody = tune.melody
    assert not tune.warnings
    rows = [line.split() for line in table.splitlines()]
    assert rows[0] == ["note", "bar", "degree", "strength"]
    assert [
        [note_name(midi, fifths), str(bar), named(degree), f"{strength:g}"]
        for midi, fifths, bar, degree, strength in zip(
            melody.midi,
            melody.fifths,
            melody.bar,
            melody.degrees(),
            melody.beat_strength,
            strict=True,
        )
    ] == rows[1:]


def test_there_are_cases():
    assert len(CASES) >= 2


@pytest.mark.parametrize(
    "name", ["airdsAirs/book3.abc", "oneills1850/0201-0300.abc", "essenFolksong/lot.abc"]
)
def test_what_is_kept_of_a_real_tune_reads_as_the_same_melody(name):
    reading = read_path(COLLECTIONS / name)
    assert len(reading.tunes) > 50
    for tune in reading.tunes[::5]:
        (again,) = read_bytes(tune.kept, tune.kept_format, "again").tunes
        assert again.melody.content_id() == tune.melody.content_id()


def test_latin_1_utf_8_and_utf_16_files_read_alike():
    text = "X:1\r\nT:Für Åse\r\nK:C\r\nCDE|\r\n"
    for encoding in ("latin-1", "utf-8", "utf-8-sig", "utf-16"):
        (tune,) = read_abc(decode(text.encode(encoding))).tunes
        assert tune.melody.title == "Für Åse"


@pytest.mark.parametrize("page", ["cp437", "cp850"])
@pytest.mark.parametrize("twice", [False, True])
def test_a_text_typed_under_dos_is_read_as_it_was_meant(page, twice):
    # Both code pages have the letters of German and French at the same places.
    text = "X:1\nT:Der Jäger, das Mädchen und die Königin grüßen\nK:C\nC|\n"
    data = text.encode(page)
    if twice:  # taken for Latin-1 by a program, and written as UTF-8
        data = data.decode("latin-1").encode()
    (tune,) = read_abc(decode(data)).tunes
    assert tune.melody.title == "Der Jäger, das Mädchen und die Königin grüßen"


def test_a_text_typed_under_windows_keeps_its_quotation_marks():
    title = "The “Merry” Maid’s – Delight, Café"
    text = f"X:1\nT:{title}\nK:C\nC|\n"
    for data in (text.encode("cp1252"), text.encode("cp1252").decode("latin-1").encode()):
        (tune,) = read_abc(decode(data)).tunes
        assert tune.melody.title == title


def test_no_control_sign_is_left_whatever_the_bytes():
    for byte in range(0x80, 0xA0):
        text = decode(b"X:1\nT:a" + bytes([byte]) + b" b\nK:C\nC|\n")
        assert not any(0x80 <= ord(sign) < 0xA0 for sign in text)


def test_a_declared_charset_is_used():
    text = "%%abc-charset iso-8859-2\nX:1\nT:Dvořák\nK:C\nC|\n"
    (tune,) = read_abc(decode(text.encode("iso-8859-2"))).tunes
    assert tune.melody.title == "Dvořák"
