"""One tune as a sheet: what stands on it, how wide its systems are, what is read back."""

from __future__ import annotations

import io
import re
from itertools import pairwise

import mido
import music21
import pytest

from melodex.errors import PresentationError
from melodex.melody import Melody
from melodex.presentation.engraving.pictures import engrave_sheet
from melodex.presentation.notation.abc import abc_text
from melodex.presentation.notation.musicxml.document import musicxml_text
from melodex.presentation.pages import rendered
from melodex.reading import read_bytes
from melodex.reading.common.carried import restored
from melodex.tasks.compare.compare import compare
from melodex.tasks.passage import Passage, Span, passage_of

SONG = """X:7
T:The Long & the Short of it
C:Ida Quill
B:A Book
S:dated 1911
R:song
%%abc-copyright CC0, written for this test
M:3/4
L:1/4
Q:1/4=97
K:Dm
A|
w:When
P:A
|:"Dm"d2 e|"Gm"f>e d/c/|(3B/c/d/ A2-|A2 z|
w:long a-go we sail-ed far a-way __
[K:F] "F"c2 f|{/g}a2 g|1 "C7"e3-|e2 A:|2 "F"f3-|f2 z||
w:and no one ev-er_ knew the
!D.C.! [M:4/4] "Bb"B2 d2 | f4 |]
"""


@pytest.fixture
def song() -> Melody:
    (tune,) = read_bytes(SONG.encode(), "abc", "song.abc").tunes
    return tune.melody


def whole(melody: Melody) -> Passage:
    return Passage(melody, melody, 0, melody.content_id(), False)


def texts(svg: str, kind: str) -> list[str]:
    groups = re.findall(rf'<g class="{kind}"[^>]*>(.*?)</g>', svg, flags=re.DOTALL)
    return [re.sub("<[^>]*>", "", group) for group in groups]


@pytest.mark.parametrize("form", ["abc", "musicxml"])
def test_an_export_read_again_is_the_same_tune_under_the_same_id(song, form):
    text = abc_text(song) if form == "abc" else musicxml_text(song)
    (again,) = read_bytes(text.encode(), form, "export").tunes
    assert again.melody.content_text() == song.content_text()
    assert again.melody.content_id() == song.content_id()
    # The notation says most of it by itself.
    plain = re.sub(r"(?m)^.*melodex-keeps.*\n", "", text)
    (bare,) = read_bytes(plain.encode(), form, "export").tunes
    assert bare.melody.credits.rights == song.credits.rights
    assert bare.melody.credits.year == 1911
    assert [w.text for w in bare.melody.lyrics] == [w.text for w in song.lyrics]
    assert bare.melody.keys == song.keys


@pytest.mark.parametrize("form", ["abc", "musicxml"])
def test_an_export_that_was_changed_is_read_as_it_stands(song, form):
    text = abc_text(song) if form == "abc" else musicxml_text(song)
    changed = text.replace('"Gm"', '"G"') if form == "abc" else text.replace("Ida", "Ada")
    assert changed != text
    (again,) = read_bytes(changed.encode(), form, "export").tunes
    bare = re.sub(r"(?m)^.*melodex-keeps.*\n", "", changed)
    (plain,) = read_bytes(bare.encode(), form, "export").tunes
    assert again.melody.content_text() == plain.melody.content_text()


def test_what_a_file_carries_is_checked_before_it_counts(song):
    reads = song.content_id()
    for hostile in (
        "",
        "[" * 100_000,
        f'{{"reads":"{reads}","phrase":[0]}}',
        f'{{"reads":"{reads}","bars":[[1,-5,10,false,0,"",""]]}}',
        f'{{"reads":"{reads}","bars":[["<b>",0,10,false,0,"",""]]}}',
        f'{{"reads":"{reads}","keys":[[0,[1e9,"major"],0,true]]}}',
        f'{{"reads":"{reads}","lyrics":[[99999,"x",1]]}}',
        f'{{"reads":"{reads}","credits":{{"source":"/etc"}}}}',
        f'{{"reads":"{reads}","tempo_quarters_per_minute":NaN}}',
        f'{{"reads":"{reads}","metres":[[0,[4,0,"",[]]]]}}',
    ):
        assert restored(song, hostile) == song
    good = f'{{"reads":"{reads}","phrase":{[1] * len(song)}}}'
    assert restored(song, good).phrase == (1,) * len(song)


def test_a_sheet_shows_words_chords_sections_keys_and_directions(song):
    svg = str(rendered(whole(song), "svg"))
    for said in ("The Long &amp; the Short of it", "Ida Quill, 1911", "A Book"):
        assert said in svg
    assert texts(svg, "key") == ["D minor", "F major"]
    assert texts(svg, "section") == ["A"]
    assert texts(svg, "signpost") == ["D.C."]
    assert {"When", "long", "far", "ev", "er"} <= set(re.findall(r">([A-Za-z.]+)</t", svg))


def test_systems_are_spread_to_the_full_width(song):
    longer = (
        read_bytes(
            (
                "X:1\nT:t\nM:4/4\nL:1/8\nK:G\n"
                + "GABc dedB | dedB dedB | c2ec B2dB | c2A2 A2z2 |\n" * 6
            ).encode(),
            "abc",
            "x.abc",
        )
        .tunes[0]
        .melody
    )
    drawn = engrave_sheet(longer)
    systems = drawn.svg.split('<g class="system"')[1:]
    assert len(systems) == 6
    ends = [
        max(float(x) for _, x in re.findall(r"M\d+ (\d+) L(\d+) \1\b", system))
        for system in systems
    ]
    assert all(abs(a - b) <= 0.01 * a for a, b in pairwise(ends))


def bytes_of(what, form, **settings) -> bytes:
    made = rendered(what, form, **settings)
    assert isinstance(made, bytes)
    return made


def test_a_png_is_a_picture_and_bars_can_be_chosen(song):
    part = passage_of(song, "", False, bars=Span(1, 4), fewest=1)
    assert bytes_of(part, "png").startswith(b"\x89PNG")
    assert "bars 1-3 of 12" in str(rendered(part, "svg"))
    with pytest.raises(PresentationError, match="no csv form"):
        rendered(part, "csv")


def test_music21_and_mido_hear_the_same_notes(song):
    """music21 reads the MusicXML, mido the MIDI; both libraries are not ours."""
    score = music21.converter.parse(musicxml_text(song), format="musicxml")
    notes = [n for n in score.flatten().notes if isinstance(n, music21.note.Note)]
    sounding = [
        n for n in notes if not n.duration.isGrace and not (n.tie and n.tie.type != "start")
    ]
    assert [n.pitch.midi for n in sounding] == list(song.midi)
    file = mido.MidiFile(file=io.BytesIO(bytes_of(whole(song), "midi")))
    now, heard = 0, []
    for message in file.tracks[1]:
        now += message.time
        if message.type == "note_on" and message.velocity:
            heard.append((message.note, now))
    assert heard == list(zip(song.midi, song.onset_ticks, strict=True))


def test_a_comparison_is_written_in_one_key_in_every_format(read_tune):
    a = read_tune("X:1\nT:a\nM:4/4\nL:1/4\nK:C\nCDEF | G4 |]")
    b = read_tune("X:1\nT:b\nM:4/4\nL:1/4\nK:D\nDEFG | A4 |]")
    found = compare(*(Passage(m, m, 0, m.content_id(), False) for m in (a, b)))
    first, second = read_bytes(str(rendered(found, "abc")).encode(), "abc", "").tunes
    assert first.melody.midi == second.melody.midi == a.midi
    assert "it stands in D major" in str(rendered(found, "abc"))
    assert "it stands in D major" in str(rendered(found, "musicxml"))
    file = mido.MidiFile(file=io.BytesIO(bytes_of(found, "midi", tempo=60)))
    assert [m.tempo for m in file.tracks[0] if m.type == "set_tempo"] == [1_000_000]
    begun = []
    for track in file.tracks[1:]:
        now, times, places = 0, [], set()
        for message in track:
            now += message.time
            if message.type == "control_change" and message.control == 10:
                places.add(message.value)
            if message.type == "note_on" and message.velocity:
                times.append((now, message.note))
        begun.append((times, places))
    (left, place_a), (right, place_b) = begun
    assert [note for _, note in left] == [note for _, note in right] == [*a.midi, *a.midi]
    # A alone, B alone, then both at once; each on its side.
    assert left[4][0] < right[0][0] < left[5][0] == right[5][0]
    assert max(place_a) < 64 < min(place_b)
