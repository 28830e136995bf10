"""Phrases out of inner lines of real scores, found, named, asked for, seen and heard.

The scores are the MusicXML sheets that the installed music21 package carries; nothing of
them is copied. Which bars the phrases are from, and what they are called, is read in the
sheets themselves by music21.
"""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import mido
import music21
import pytest
from click.testing import CliRunner

import melodex
from melodex.cli import melodex as command
from melodex.corpus.reader import Corpus
from melodex.errors import AnalysisError
from melodex.presentation.text.forms import as_text
from melodex.presentation.text.style import Style
from melodex.reading import Choice
from melodex.tasks.adding.add import add_paths
from melodex.tasks.audit.audit import audit
from melodex.tasks.describe.describe import describe
from melodex.tasks.gather.counts import remaining, tunes_left_out
from melodex.tasks.gather.gather import gather
from melodex.tasks.gather.lines import lines_meeting, words_of_part
from melodex.tasks.gather.wish import Wish, wish_said
from melodex.tasks.passage import find_passage, read_span
from melodex.tasks.resemble import resemble, said_phrase

SHEETS = Path(music21.__file__).parent / "corpus"
QUARTET = "beethoven/opus18no1/movement3.mxl"
CHORALE = "bach/bwv66.6.mxl"
PIANO = "schumann_clara/polonaise_op1n3.mxl"
TRIO = "corelli/opus3no1/1grave.xml"
CONCERT = "weber/concertino_clarinet.mxl"
MADRIGAL = "monteverdi/madrigal.3.1.mxl"
OTHERS = ("bach/bwv1.6.mxl", "bach/bwv10.7.mxl", "haydn/opus74no1/movement3.mxl")
SUNG = "trecento/PMFC_13_15-Gloria.xml"

PHRASES = {
    "second violin": ("op.18 no.1 mvmnt.3", "Violin II", 5, (31, 36)),
    "tenor": ("bwv66.6", "Tenor", 2, (1, 4)),
    "left hand": ("polonaise_op1n3", "Piano, voice 5", 2, (9, 12)),
    "bass": ("Sonata da Chiesa", "Violone e Organo", 7, (1, 4)),
}
"""Title, part, how far the phrase is moved in semitones, and bars."""


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    place = tmp_path_factory.mktemp("scores") / "scores.melodex"
    names = (QUARTET, CHORALE, PIANO, TRIO, CONCERT, SUNG, *OTHERS)
    sheets = [SHEETS / name for name in names]
    assert not add_paths(place, sheets, choice=Choice(lines="all")).refusals
    return place


@pytest.fixture
def corpus(path: Path) -> Iterator[Corpus]:
    with Corpus.open(path) as opened:
        yield opened


def line_named(corpus: Corpus, title: str, part: str) -> str:
    """The id of a line, by its piece and part."""
    rows = corpus.query(
        "SELECT tune.tune_id, part_name || CASE voice_name WHEN '' THEN '' "
        "ELSE ', ' || voice_name END AS name, title || source FROM place "
        "JOIN tune ON tune.id = place.tune"
    )
    (found,) = [tune_id for tune_id, name, said in rows if name == part and title in said]
    return str(found)


def steps_of(corpus: Corpus, kind: str) -> tuple[str, list[int]]:
    """A phrase as steps in semitones, one of its notes changed by a tone; and its line."""
    title, part, moved, bars = PHRASES[kind]
    tune_id = line_named(corpus, title, part)
    passage = find_passage(tune_id, corpus, bars=read_span(f"{bars[0]}-{bars[1]}"))
    pitches = [midi + moved for midi in passage.melody.midi[:14]]
    pitches[6] += 2
    return tune_id, [after - before for before, after in pairwise(pitches)]


@pytest.mark.parametrize("kind", PHRASES)
def test_a_phrase_of_an_inner_line_comes_first_with_piece_part_and_bars(
    corpus: Corpus, kind: str
) -> None:
    title, part, _, (first, last) = PHRASES[kind]
    tune_id, steps = steps_of(corpus, kind)
    typed = " ".join(f"{step:+}" if step else "0" for step in steps)
    found = resemble(corpus, said_phrase(corpus, typed, notation="steps"), limit=3)
    best = found.matches[0]
    lines = {best.tune_id, *(passage.tune_id for passage in best.also)}
    assert tune_id in lines
    label = next(
        passage.label
        for passage in (best.passage, *best.also)
        if passage.tune_id == tune_id
    )
    assert title in label
    assert f"{part} (line" in label
    assert first <= best.passage.bars[0] <= best.passage.bars[1] <= last + 1


@pytest.mark.parametrize("kind", PHRASES)
def test_it_is_seen_and_heard_in_its_surroundings(
    path: Path, corpus: Corpus, kind: str, tmp_path: Path
) -> None:
    title, part, _, bars = PHRASES[kind]
    tune_id = line_named(corpus, title, part)
    with melodex.open(path) as opened:
        around = opened.around(tune_id, bars=bars)
        assert part in {row["line"] for row in around.rows() if row["own"]}
        assert len(around.rows()) >= 3
        drawn = around.save(tmp_path / "score.svg").read_text("utf-8")
        assert drawn.count("<svg") == 1
        assert part.partition(",")[0] in drawn
        heard = mido.MidiFile(
            file=io.BytesIO(around.save(tmp_path / "score.mid").read_bytes())
        )
        own = [row for row in around.rows() if row["notes"]]
        sounding = [
            track for track in heard.tracks if any(m.type == "note_on" for m in track)
        ]
        assert len(sounding) == len(own)
        sheet = around.save(tmp_path / "score.musicxml")
        read_back = music21.converter.parse(sheet)
        assert isinstance(read_back, music21.stream.Score)
        assert len(read_back.parts) == len(around.rows())
        assert part in str(around)
    done = CliRunner().invoke(
        command,
        ["--corpus", str(path), "print", tune_id, "--bars", f"{bars[0]}-{bars[1]}",
         "--around", "all", "--output", str(tmp_path / "by_command.svg")],
    )  # fmt: skip
    assert done.exit_code == 0, done.output


def test_a_wish_about_a_piece_keeps_all_its_lines(corpus: Corpus) -> None:
    hidden = tunes_left_out(corpus, "metre 3/4")
    kept = {row[0] for row in corpus.query("SELECT tune_id FROM tune")} - hidden
    lines = corpus.query(
        "SELECT count(*) FROM place JOIN tune AS main ON main.tune_id = place.piece "
        "WHERE main.metre = '3/4'"
    )
    assert len(kept) == lines[0][0] > 8
    found = resemble(corpus, said_phrase(corpus, "1 2 3 5 6 5"), outside=hidden)
    assert found.corpus_lines == len(kept)
    assert {match.tune_id for match in found.matches} <= kept


@pytest.mark.parametrize(
    ("wish", "parts"),
    [
        ("part bass", {"Bass"}),
        ("part violin 2", {"Violin II", "Violin 2", "Violino II."}),
        ("part cello", {"Cello", "Violoncello"}),
        ("part left hand", {"Piano"}),
        ("instrument klarinette", {"Bb Clarinet"}),
        ("sung", {"Cantus", "Contratenor"}),
    ],
)
def test_lines_are_asked_for_by_part_instrument_and_words(
    corpus: Corpus, wish: str, parts: set[str]
) -> None:
    rows = lines_meeting(corpus, wish_said(wish))
    found = {
        name
        for row, name in corpus.query("SELECT tune, part_name FROM place")
        if row in rows
    }
    assert found >= parts or parts >= found
    assert found & parts
    kept = {row[0] for row in corpus.query("SELECT tune_id FROM tune")}
    kept -= tunes_left_out(corpus, wish)
    assert len(kept) == len(rows)
    hits = resemble(
        corpus,
        said_phrase(corpus, "1 2 3 4 5 4 3 2"),
        outside=tunes_left_out(corpus, wish),
    )
    assert {match.tune_id for match in hits.matches} <= kept
    assert not any({p.tune_id for p in match.also} - kept for match in hits.matches)


def test_top_bottom_and_main_are_places_in_the_score(corpus: Corpus) -> None:
    count = len(lines_meeting(corpus, Wish(part="main")))
    assert count == corpus.tune_count
    top = lines_meeting(corpus, Wish(part="top line"))
    bottom = lines_meeting(corpus, Wish(part="lowest"))
    assert len(top) == len(bottom) == count
    assert not set(top) & set(bottom)


def test_a_part_that_is_not_there_is_said_with_the_nearest(
    path: Path, corpus: Corpus
) -> None:
    with pytest.raises(AnalysisError, match="no tune meets 'part tenors'") as refused:
        tunes_left_out(corpus, "part tenors")
    assert "Tenor (" in str(refused.value.hint)
    with melodex.open(path) as opened:
        assert "Violin II" in str(opened.gather(part="violin iii"))


def test_gathering_a_phrase_in_a_part_gives_the_line_that_holds_it(corpus: Corpus) -> None:
    found = gather(corpus, Wish(phrase="5 4 3 2", part="tenor"))
    assert found.examples
    for example in found.examples:
        assert corpus.melody(example.tune_id).line.part in {"Tenor"}
        assert "in Tenor (line 3 of" in example.reasons[0]
    both = Wish(phrase="5 4 3 2", part="tenor")
    assert remaining(corpus, both).tunes == found.tunes == gather(corpus, both).tunes
    whole = gather(corpus, Wish(part="continuo or organ".partition(" or ")[2]))
    assert [example.reasons for example in whole.examples] == [
        ("Violone e Organo (line 3 of 3)",)
    ]


def test_words_of_parts_are_one_in_several_languages() -> None:
    assert words_of_part("Violino II.") == words_of_part("2nd Violin")
    assert words_of_part("B.") == words_of_part("Bassus")
    # A letter beside other words is none of the four voices.
    assert "alto" not in words_of_part("Clarinet in A")


def test_keys_of_a_line_are_those_of_its_piece(corpus: Corpus) -> None:
    tune_id = line_named(corpus, "op.18 no.1 mvmnt.3", "Viola")
    piece = corpus.query("SELECT piece FROM place JOIN tune ON tune.id = place.tune "
                         "WHERE tune_id = ?", [tune_id])[0][0]  # fmt: skip
    assert corpus.tune(tune_id).key == corpus.tune(piece).key == "F major"
    assert corpus.melody(tune_id).centres == corpus.melody(piece).centres
    assert corpus.melody(tune_id).centres
    tenor = find_passage(line_named(corpus, "bwv66.6", "Tenor"), corpus)
    soprano = find_passage(line_named(corpus, "bwv66.6", "Soprano"), corpus)
    assert describe(tenor, corpus).summary[0] == describe(soprano, corpus).summary[0]
    assert "n F# minor" in describe(tenor, corpus).summary[0]


def test_an_audit_names_other_lines_that_are_as_close(corpus: Corpus) -> None:
    """The openings of movements stand in several parts of a quartet."""
    own = find_passage(line_named(corpus, "op.18 no.1 mvmnt.3", "Violin I"), corpus)
    stretch = find_passage(own.tune_id, corpus, bars=read_span("1-40"))
    alone = melodex.Tune.of(stretch.melody).passage
    found = audit(corpus, alone, threshold=1000.0, limit=40)
    same = [f for f in found.findings if "mvmnt.3" in f.tune.whole.title]
    assert same
    assert any(finding.also for finding in found.findings)
    for finding in found.findings:
        for passage in finding.also:
            assert passage.tune_id != finding.tune.tune_id
            assert passage.whole.title == finding.tune.whole.title
    said = as_text(audit(corpus, own, threshold=1.0), Style(80))
    assert said.startswith("op.18 no.1 mvmnt.3, Violin I (line 1 of 4): ")
    narrowed = audit(
        corpus, alone, outside=tunes_left_out(corpus, "part viola"), threshold=1000.0
    )
    assert {f.tune.whole.line.part for f in narrowed.findings} <= {"Viola"}
    assert "lines." in " ".join(narrowed.remarks)


# music21 finds a bar of the sheet too full when it reads it for the first time.
@pytest.mark.filterwarnings("ignore:.*overfull")
def test_a_clarinet_is_written_as_its_player_reads_it(path: Path, tmp_path: Path) -> None:
    """Against music21, which reads both pitches of both sheets."""
    score: Any = music21.converter.parse(SHEETS / CONCERT)
    whole = score.parts[0]

    def names(part: Any) -> list[str]:
        notes = part.measures(38, 45).flatten().notes
        return [n.nameWithOctave for n in notes if not n.duration.isGrace]

    def read_again(sheet: str) -> Any:
        read: Any = music21.converter.parseData(sheet, format="musicxml")
        return read.parts[0]

    with melodex.open(path) as opened:
        line = opened.tune("Concertino, line 1", bars="38-45")
        sheet = line.to_musicxml(written=True)
        plain = line.to_musicxml()
    again, sounding = read_again(sheet), names(whole.toSoundingPitch())
    assert names(again) == names(whole) != sounding
    assert names(again.toSoundingPitch()) == names(read_again(plain)) == sounding
    asked = ["--corpus", str(path), "print"]
    svg = str(tmp_path / "part.svg")
    done = CliRunner().invoke(
        command,
        [
            *asked,
            "Concertino, line 1",
            "--bars",
            "38-45",
            "--written",
            "--output",
            str(svg),
        ],
    )
    assert done.exit_code == 0, done.output
    assert "as written, sounds down a major second" in Path(svg).read_text("utf-8")
    done = CliRunner().invoke(command, [*asked, "bwv66.6", "--written", "--format", "svg"])
    assert done.exit_code == 1
    assert "sounds as it is written" in done.output


def test_all_lines_of_a_file_are_read_and_described_by_script() -> None:
    lines = melodex.read(SHEETS / CHORALE, lines="all")
    assert [line.line.partition(" ")[0] for line in lines] == [
        "Soprano", "Alto", "Tenor", "Bass",
    ]  # fmt: skip
    said = melodex.describe(lines[0]).summary
    assert said == melodex.describe(SHEETS / CHORALE).summary
    assert any(sentence.startswith("Texture") for sentence in said)


def test_answers_of_other_lines_are_asked_by_script(path: Path) -> None:
    with melodex.open(path) as opened:
        found = opened.answers("Sonata da Chiesa, line 1", bars="1-3")
        assert "answered" in repr(found)
        assert len(found.rows()) == len(found)
        assert json.loads(found.to_json())["lines"] == 3


def test_a_set_and_its_pack_say_which_line_a_passage_is_of(
    path: Path, tmp_path: Path
) -> None:
    own = tmp_path / "own.melodex"
    with melodex.open(path) as opened:
        opened.backup(own)
    with melodex.open(own) as opened:
        lesson = opened.gather(phrase="5 4 3 2", part="tenor").keep("Tenors")
        said = str(lesson)
        packed = lesson.pack(tmp_path / "tenors.zip")
    assert "Tenor (line 3 of" in said
    with melodex.open(tmp_path / "other.melodex") as other:
        other.add("corpus_demo/reed_cutters.abc")
        assert "Tenor (line 3 of" in str(other.unpack(packed))
