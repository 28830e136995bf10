"""ABC: read back by abc2midi, and by our own reader."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

import mido
import pytest

from melodex.errors import PresentationError
from melodex.melody import TICKS_PER_QUARTER as Q
from melodex.melody import Melody
from melodex.presentation.notation.abc import abc_text, comparison_abc
from melodex.reading.abc.reader import read_abc
from melodex.reading.result import Choice


def by_abc2midi(text: str, home: Path) -> list[tuple[float, int]]:
    """Onset in quarters and pitch of each note, by another program."""
    source, target = home / "tune.abc", home / "tune.mid"
    source.write_text(text, "utf-8")
    done = subprocess.run(
        ["abc2midi", str(source), "-o", str(target), "-NGUI"],
        capture_output=True,
        encoding="utf-8",
        check=False,
        timeout=30,
    )
    assert target.exists(), done.stdout + done.stderr
    assert "Error" not in done.stdout, done.stdout
    file = mido.MidiFile(target)
    out = []
    for track in file.tracks:
        place = 0
        for message in track:
            place += message.time
            if message.type == "note_on" and message.velocity:
                out.append((place / file.ticks_per_beat, message.note))
    return sorted(out)


def test_abc2midi_plays_real_tunes_as_they_are(real_tunes: list[Melody], tmp_path: Path):
    """Pitches and onsets, of tunes without repeats and grace notes, which it plays."""
    checked = 0
    for melody in real_tunes:
        plain = not melody.graces and all(
            not bar.repeat_times and not bar.repeat_start and not bar.ending
            for bar in melody.bars
        )
        if not plain or checked == 60:
            continue
        # It would swing what is called a hornpipe.
        text = re.sub(r"(?m)^R:.*\n", "", abc_text(melody))
        got = by_abc2midi(text, tmp_path)
        assert [p for _, p in got] == list(melody.midi), melody.title
        start = melody.onset_ticks[0]
        assert [t - got[0][0] for t, _ in got] == pytest.approx(
            [(t - start) / Q for t in melody.onset_ticks], abs=0.02
        ), melody.title
        checked += 1
    assert checked == 60


def test_real_tunes_come_back_by_our_own_reader(real_tunes: list[Melody]):
    for melody in real_tunes:
        (tune,) = read_abc(abc_text(melody), "x", Choice()).tunes
        back = tune.melody
        for name in ("midi", "fifths", "onset_ticks", "duration_ticks", "bar", "keys"):
            assert getattr(back, name) == getattr(melody, name), (melody.title, name)
        assert back.chords == melody.chords
        assert [(b.repeat_start, b.repeat_times, b.ending) for b in back.bars] == [
            (b.repeat_start, b.repeat_times, b.ending) for b in melody.bars
        ], melody.title
        assert tune.warnings == ()


def test_a_comparison_is_two_tunes(comparison):
    first, second = read_abc(comparison_abc(comparison), "x", Choice()).tunes
    assert first.melody.midi == comparison.a.melody.midi
    # B is written in A's key: its steps are the same, its pitches are not.
    assert second.melody.interval_semitones == comparison.b.melody.interval_semitones
    moved = second.melody.midi[0] - comparison.b.melody.midi[0]
    assert (moved + comparison.likeness.transposition_semitones) % 12 == 0
    assert first.melody.title == comparison.a.melody.title


def music_of(text: str) -> list[str]:
    """The lines of a tune without what it carries for melodex."""
    return [line for line in text.splitlines() if not line.startswith("%%")]


def test_an_excerpt_keeps_its_place_in_the_bar(read_tune):
    melody = read_tune("X:1\nT:t\nM:4/4\nL:1/4\nK:G\nGABc | d f e d |").excerpt(2, 6)
    text = abc_text(melody, excerpt=True)
    assert music_of(text)[-1].startswith("x4 B2 c2 | d2 f2 e2 x2")


def test_an_excerpt_opens_no_repeat_that_it_does_not_close(read_tune):
    melody = read_tune("X:1\nT:t\nM:4/4\nL:1/4\nK:G\n|:GABc|dfed|cBAG:|:dedc|B4:|")
    assert "|:" not in abc_text(melody.excerpt(0, 6), excerpt=True)
    assert abc_text(melody.excerpt(0, 11), excerpt=True).count("|:") == 1
    both = abc_text(melody.excerpt(0, 13), excerpt=True)
    assert music_of(both)[-1].startswith("|: G2 A2 B2 c2 | d2 f2")
    assert both.count("|:") == 1
    assert both.count(":|") == 1
    assert abc_text(melody, excerpt=True).count("|:") == 2


def test_a_signature_that_is_not_the_usual_one_is_spelled_out(read_tune):
    melody = read_tune("X:1\nT:t\nL:1/4\nK:D exp _b ^f\nD F B d |")
    (back,) = read_abc(abc_text(melody), "x", Choice()).tunes
    assert back.melody.fifths == melody.fifths


def test_triple_accidentals_and_hostile_titles(read_tune):
    triple = Melody((62,), (14 + 6 + 6,), (0,), (Q,), (1,), (1.0,), (0,))
    with pytest.raises(PresentationError, match="altered more than twice"):
        abc_text(triple)
    melody = read_tune("X:1\nT:t\nK:C\nCDEF|").with_credits(title="50% off\nX:2\nK:D\\")
    (back,) = read_abc(abc_text(melody), "x", Choice()).tunes
    assert back.melody.midi == melody.midi
