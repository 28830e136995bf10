"""A passage among the other lines of its piece: found, cut, drawn, heard, and read back.

The pieces are ours. What is written is read again by music21 (MusicXML) and by mido (MIDI).
"""

import io

import mido
import music21
import pytest

from melodex.errors import PassageError
from melodex.melody import TICKS_PER_QUARTER as QUARTER
from melodex.presentation.pages import rendered
from melodex.tasks.adding.add import add_paths
from melodex.tasks.describe.surroundings import find_surroundings

TUNE = "4g 4a 4b 4cc|2dd 2b|4a 4b 4cc 4a|1g|4b 4cc 4dd 4ee|1g"
UNDER = "2e 2g|1g|2f 2e|1d|2g 2g|1B"
LATE = "1r|1r|1r|1r|2G 2c|1G"
CLEFS = {"Upper": "*clefG2", "Middle": "*clefC3", "Lower": "*clefF4"}


def kern(*lines):
    """Lines from the top of the score, as a file."""
    shown = lines[::-1]
    rows = [
        ["**kern"] * len(shown),
        [f'*I"{name}' for name, _ in shown],
        [CLEFS[name] for name, _ in shown],
        ["*M4/4"] * len(shown),
    ]
    bars = [music.split("|") for _, music in shown]
    for number in range(len(bars[0])):
        rows.append([f"={number + 1}"] * len(shown))
        rows += in_time([part[number].split() for part in bars])
    rows += [["=="] * len(shown), ["*-"] * len(shown)]
    return "!!!OTL: Three at the gate\n" + "\n".join("\t".join(row) for row in rows) + "\n"


def in_time(parts):
    """The tokens of a bar, those that sound together in a row."""
    places = []
    for tokens in parts:
        place, held = 0, {}
        for token in tokens:
            held[place] = token
            place += 16 // int(token.strip("[]")[0])
        places.append(held)
    onsets = sorted({onset for held in places for onset in held})
    return [[held.get(onset, ".") for held in places] for onset in onsets]


PIECE = kern(("Upper", TUNE), ("Middle", UNDER), ("Lower", LATE))


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "gate.krn"
    path.write_text(PIECE)
    return path


@pytest.fixture
def corpus(tmp_path, file):
    place = tmp_path / "c.melodex"
    add_paths(place, [file])
    return place


def test_the_lines_that_sound_stand_around_a_passage(file, tmp_path):
    found = find_surroundings(tmp_path / "none", str(file), bars="2-3")
    assert [line.name for line in found.lines] == ["Upper", "Middle"]
    assert found.own == 0
    assert found.resting == ("Lower",)
    assert found.lines[1].melody.midi == (67, 65, 64)
    assert found.lines[0].matched == tuple(range(6))
    assert "Lower" in found.sentence


def test_all_lines_stand_there_where_that_is_asked(file, tmp_path):
    found = find_surroundings(tmp_path / "none", str(file), bars="2-3", lines="all")
    assert [line.name for line in found.lines] == ["Upper", "Middle", "Lower"]
    assert not len(found.lines[2].melody)
    assert len(found.lines[2].melody.bars) == 2


def test_a_corpus_keeps_what_its_pieces_are_read_again_from(corpus, file):
    file.unlink()
    found = find_surroundings(corpus, "Three at the gate", bars="5-6")
    assert [line.name for line in found.lines] == ["Upper", "Middle", "Lower"]
    assert found.passage.in_corpus


@pytest.mark.parametrize("form", ["svg", "html", "musicxml", "midi"])
def test_every_form_holds_every_line(file, tmp_path, form):
    found = find_surroundings(tmp_path / "none", str(file), bars="3-5", lines="all")
    made = rendered(found, form)
    if form == "midi":
        assert isinstance(made, bytes)
        tracks = mido.MidiFile(file=io.BytesIO(made)).tracks[1:]
        assert [track.name for track in tracks] == ["Upper", "Middle", "Lower"]
    elif form == "musicxml":
        score = music21.converter.parseData(made, format="musicxml")
        assert isinstance(score, music21.stream.Score)
        assert [part.partName for part in score.parts] == ["Upper", "Middle", "Lower"]
        sounding = list(score.recurse().notes)
        assert len(sounding) == sum(len(line.melody) for line in found.lines)
        lower = list(score.parts[2].recurse().notes)
        assert [float(note.getOffsetInHierarchy(score)) for note in lower] == [8.0, 10.0]
    else:
        for name in ("» Upper", "Middle", "Lower"):
            assert name in made


def test_a_note_that_sounds_into_the_passage_is_there(tmp_path):
    path = tmp_path / "held.krn"
    text = kern(("Upper", TUNE), ("Middle", "4e 4e 4e [4g|1g]|2f 2e|1d|2g 2g|1B"))
    path.write_text(text)
    found = find_surroundings(tmp_path / "none", str(path), bars="2")
    held = found.lines[1].melody
    assert (held.midi, held.onset_ticks) == ((67,), (4 * QUARTER,))
    assert held.duration_ticks == (4 * QUARTER,)


def test_a_piece_of_one_line_says_so(tmp_path):
    path = tmp_path / "one.krn"
    path.write_text(kern(("Upper", TUNE)))
    with pytest.raises(PassageError, match="one line"):
        find_surroundings(tmp_path / "none", str(path), bars="2")


def test_a_hundred_parts_are_drawn(tmp_path):
    columns = ["4c\t" * 99 + "4c"] * 12
    head = "\t".join(["**kern"] * 100) + "\n" + "\t".join(["*M4/4"] * 100) + "\n"
    body = "\n".join(columns[:4]) + "\n" + "\t".join(["="] * 100) + "\n"
    # Each part moves at its own pitch, so that none doubles another.
    rows = [
        "\t".join(f"4{'cdefgab'[(p * (b + 2) + b) % 7]}" for p in range(100))
        for b in range(8)
    ]
    body += "\n".join(rows) + "\n" + "\t".join(["*-"] * 100) + "\n"
    path = tmp_path / "many.krn"
    path.write_text(head + body)
    found = find_surroundings(tmp_path / "none", str(path), lines="all")
    assert len(found.lines) > 4
    assert "svg" in rendered(found, "svg")[:200]
