"""What lines do: planted by hand and by seed, and well-known openings."""

from pathlib import Path

import music21
import pytest

from benchmarks.analysis.harmony.voices import Q, planted_piece, tune_of
from melodex.analysis.texture import LineFind, line_finds
from melodex.analysis.texture.together import MOST_FINDS
from melodex.melody import Bar, Melody, Metre, fifths_from_name, midi_of
from melodex.melody.texture import SoundingNote, Texture
from melodex.reading import read_path
from melodex.tasks.describe.describe import described
from tests.analysis.effort import calls_in

CORPUS = Path(music21.__file__).parent / "corpus"


def piece(**lines: str) -> tuple[Texture, Melody]:
    """Lines by name, the first the tune, in quarters: ``C4:2 -:1 D4:1``."""
    notes: list[SoundingNote] = []
    for number, line in enumerate(lines.values()):
        onset = 0.0
        for word in line.split():
            name, _, length = word.partition(":")
            lasts = float(length or 1)
            if name != "-":
                fifths = fifths_from_name(name[:-1])
                midi = midi_of(fifths, int(name[-1]))
                start = round(onset * Q)
                notes.append(SoundingNote(start, round(lasts * Q), midi, fifths, number))
            onset += lasts
    texture = Texture.of(notes, list(lines))
    count = max(note.end_ticks for note in notes) // (4 * Q) + 1
    bars = tuple(Bar(i + 1, i * 4 * Q, 4 * Q) for i in range(count))
    return texture, tune_of([n for n in texture.notes if n.line == 0], bars, Metre(4, 4))


def found(kind: str, **lines: str) -> list[LineFind]:
    """What of one kind is found."""
    return [find for find in line_finds(*piece(**lines)) if find.kind == kind]


def work_on(times: int) -> int:
    """Calls of functions that it takes to tell what lines do in a long piece."""
    # A figure that is answered, at odd places lest one answer goes on for ever, over a
    # Figures that are answered, over a bass of one note and beside a line that rests.
    figure = "C5 E5 D5 F5 E5 G5 F5 D5"
    leader = " ".join(f"{figure} -:{16 + n % 7}" for n in range(times))
    answer = " ".join(f"-:8 {figure} -:{8 + n % 7}" for n in range(times)).replace("5", "4")
    bass, rests = "C3:4 " * 6 * times, "E4 F4 G4 A4 " + f"-:{24 * times} E4"
    texture, melody = piece(soprano=leader, tenor=answer, bass=bass, alto=rests)
    return calls_in(lambda: line_finds(texture, melody))


def test_the_work_on_a_long_piece_grows_no_faster_than_its_length() -> None:
    work_on(8)  # Modules are imported once.
    assert work_on(160) < 4.4 * work_on(40)


def test_what_is_told_of_one_kind_is_bounded_with_tonal_answers() -> None:
    subject = "G4:2 D5 Bb4 A4 G4 F#4 A4 Bb4:2 G4 A4 Bb4:2 G4:2"
    answer = "-:8 D5:2 G5 F5 E5 D5 C#5 E5 D5:4"
    alto = f"{subject} -:16 " * (MOST_FINDS + 8)
    soprano = f"{answer} -:12 " * (MOST_FINDS + 8)
    assert len(found("imitation", alto=alto, soprano=soprano)) == MOST_FINDS


TUNE = "C5 E5 D5 F5 E5 G5 F5 D5 E5 C5 D5 B4 C5:4"


@pytest.mark.parametrize("seed", range(12))
def test_what_is_planted_is_found(seed: int) -> None:
    planted = planted_piece(seed, plant=True)
    assert any(
        find.kind == planted.kind
        and planted.line in (find.line, find.other)
        and find.onset_ticks < planted.end_ticks
        and find.end_ticks > planted.onset_ticks
        for find in line_finds(planted.texture, planted.melody)
    )


def test_a_second_voice_in_thirds_doubles_the_tune() -> None:
    below = "A4 C5 B4 D5 C5 E5 D5 B4 C5 A4 B4 G4 A4:4"
    (find,) = found("doubling", violin=TUNE, second=below)
    assert (find.line, find.other, find.interval, find.below) == (
        "second",
        "violin",
        "third",
        True,
    )
    assert find.count == 13


def test_octaves_are_counted() -> None:
    low = TUNE.replace("5", "3").replace("B4", "B2")
    (find,) = found("doubling", flute=TUNE, cello=low)
    assert find.interval == "two octaves"


def test_a_canon_is_told_with_its_distance_and_interval() -> None:
    lower = "-:4 " + TUNE.replace("5", "4").replace("B4", "B3")
    (find,) = found("imitation", soprano=TUNE, tenor=lower)
    assert (find.line, find.other, find.interval, find.below) == (
        "tenor",
        "soprano",
        "octave",
        True,
    )
    assert find.after_ticks == 4 * Q


def test_an_accompaniment_that_says_one_thing_again_imitates_nobody() -> None:
    figure = "C4:0.5 G4:0.5 E4:0.5 G4:0.5 D4:0.5 G4:0.5 F4:0.5 G4:0.5 "
    lines = {"left": figure * 4, "other": "-:4 " + figure * 3}
    assert found("imitation", tune="C6:4 D6:4 E6:4 F6:4", **lines) == []


def test_lines_of_a_chorale_that_meet_by_chance_imitate_nobody() -> None:
    # Bach, BWV 256 and 257: four voices note against note, in even steps up and down.
    for work in ("bach/bwv256.mxl", "bach/bwv257.mxl"):
        (read, *_) = read_path(CORPUS / work).tunes
        assert read.texture is not None
        told = line_finds(read.texture, read.melody)
        assert not [find for find in told if find.kind == "imitation"]


def test_a_tonal_answer_is_told() -> None:
    # 1 5 3 2 1 7 2 is answered by 5 1 7 6 5 4 6: the fifth by a fourth (common practice).
    subject = "G4:2 D5 Bb4 A4 G4 F#4 A4 Bb4:2 G4 A4 Bb4:2 G4:2"
    answer = "-:8 D5:2 G5 F5 E5 D5 C#5 E5 D5:4"
    (find,) = found("imitation", alto=subject, soprano=answer)
    assert (find.line, find.count, find.interval, find.tonal) == (
        "soprano",
        7,
        "fifth",
        True,
    )
    # A change in the middle is no answer.
    assert not found("imitation", alto=subject, soprano=answer.replace("E5 D5", "E5 E5"))


def test_the_answer_of_a_fugue_is_told() -> None:
    # Beethoven, op. 133: the second violin answers the first four bars into the fugue.
    (read, *_) = read_path(CORPUS / "beethoven/opus133.mxl").tunes
    assert read.texture is not None
    first = min(
        (find for find in line_finds(read.texture, read.melody) if find.count > 30),
        key=lambda find: find.onset_ticks,
    )
    assert (first.line, first.other) == ("2nd Violin", "1st Violin")
    assert (first.interval, first.below, first.tonal) == ("fourth", True, True)
    assert first.after_ticks == 4 * 4 * Q


def test_voices_that_move_in_fifths_are_no_doubling() -> None:
    fifths = "F4 A4 G4 B4 A4 C5 B4 G4 A4 F4 G4 E4 F4:4"
    assert found("doubling", violin=TUNE, second=fifths) == []


def test_a_bass_that_falls_by_half_steps_is_told() -> None:
    # The chromatic fourth of a lament; common practice, no source.
    (find,) = found(
        "line by step",
        tune="C5:2 D5:2 C5:2 D5:2 E5:4",
        bass="C3:2 B2:2 Bb2:2 A2:2 Ab2:2 G2:2",
    )
    assert find.below
    assert find.count == 6


def test_known_openings_are_told_as_their_scores_have_them(tmp_path: Path) -> None:
    # Beethoven, op. 18 no. 1: all four play the first bars in unison and octaves; Mozart,
    # K. 155: the second violin begins in thirds below the first (read from the scores).
    nowhere = tmp_path / "none.melodex"
    quartet = described(str(CORPUS / "beethoven/opus18no1/movement1.mxl"), nowhere)
    told = {f.sentence for f in quartet.finds if f.kind == "doubling" and f.first_bar == 1}
    assert told == {
        "Violin II doubles Violin I in unison",
        "Viola doubles Violin I, an octave below",
        "Cello doubles Violin I, an octave below",
    }
    other = described(str(CORPUS / "mozart/k155/movement1.mxl"), nowhere)
    assert any(
        f.sentence == "Violin II goes with Violin I in thirds below" and f.first_bar == 1
        for f in other.finds
    )


def test_a_corpus_says_the_same_of_a_score_as_its_file(tmp_path: Path) -> None:
    from melodex.corpus.writing.store import CorpusWriter
    from melodex.reading import read_path

    file, corpus = CORPUS / "bach/bwv269.mxl", tmp_path / "c.melodex"
    with CorpusWriter.open(corpus) as writer:
        (tune_id,) = writer.add_reading(read_path(file)).added
    kept = described(tune_id, corpus)
    again = described(str(file), tmp_path / "none.melodex")
    line_kinds = {"pedal", "line by step", "doubling", "imitation"}
    told = [
        sorted((f.sentence, f.first_bar) for f in each.finds if f.kind in line_kinds)
        for each in (kept, again)
    ]
    assert told[0] == told[1]
    assert told[0]
