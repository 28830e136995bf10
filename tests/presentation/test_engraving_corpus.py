"""Engraving real tunes: none refused, no note lost, all heard as written."""

from __future__ import annotations

import base64
import io
import re

import mido
import pytest

from melodex.melody import TICKS_PER_QUARTER as Q
from melodex.melody import Melody
from melodex.presentation.engraving.engraver import toolkit
from melodex.presentation.engraving.layout import in_time
from melodex.presentation.engraving.mei import mei_of
from melodex.presentation.engraving.pictures import StaffPart, engrave_melody


def test_every_note_of_100_real_tunes_is_in_its_picture(real_tunes: list[Melody]):
    """Counted in the SVG; no tune is refused."""
    for melody in real_tunes[:100]:
        drawn = engrave_melody(melody)
        assert (
            len(set(re.findall(r'id="(mp0n\d+)"', drawn.svg)))
            == len(melody)
            == drawn.note_count
        ), melody.title
        heads = drawn.svg.count('class="note"')
        assert heads >= len(melody) + len(melody.graces), melody.title


def test_the_engraver_hears_real_tunes_as_they_are(real_tunes: list[Melody]):
    """Verovio's own MIDI of our MEI, read by mido, has our pitches and times.

    That checks accidentals, ties, dots and tuplets by another program's rules.
    """
    checked = 0
    for melody in real_tunes[:90]:
        if melody.graces or any(bar.repeat_times for bar in melody.bars):
            continue
        tool = toolkit()
        part = StaffPart(melody, excerpt=False)
        tool.resetOptions()
        assert tool.loadData(mei_of([part], in_time([part], ()), "m"))
        file = mido.MidiFile(file=io.BytesIO(base64.b64decode(tool.renderToMIDI())))
        heard: list[tuple[float, int]] = []
        for track in file.tracks:
            place = 0
            for message in track:
                place += message.time
                if message.type == "note_on" and message.velocity:
                    heard.append((place / file.ticks_per_beat, message.note))
        origin = min(melody.onset_ticks[0], melody.bars[0].onset_ticks)
        wanted = [
            ((onset - origin) / Q, pitch)
            for onset, pitch in zip(melody.onset_ticks, melody.midi, strict=True)
        ]
        assert [p for _, p in sorted(heard)] == [p for _, p in wanted], melody.title
        assert [t for t, _ in sorted(heard)] == pytest.approx(
            [t for t, _ in wanted], abs=0.02
        ), melody.title
        checked += 1
    assert checked >= 30
