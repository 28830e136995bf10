"""Chords that are heard under a melody, as mido reads them back."""

from __future__ import annotations

import io

import mido

from melodex.presentation.notation.midi import comparison_midi
from melodex.reading.abc.reader import read_abc
from melodex.tasks.compare.compare import compare
from melodex.tasks.passage import Passage, passage_of


def passage(text: str) -> Passage:
    melody = read_abc(f"X:1\nT:A\nL:1/4\nM:4/4\nK:C\n{text}\n", "x").tunes[0].melody
    return passage_of(melody, melody.content_id(), False)


def test_chords_sound_under_both_if_wanted() -> None:
    one = passage('"C"CEGc|"G7/B"BGFD|"?"CEGc|')
    data = comparison_midi(compare(one, one), which="in turn", chords=True)
    file = mido.MidiFile(file=io.BytesIO(data))
    names = [track.name for track in file.tracks[1:]]
    assert [name.endswith("chords") for name in names] == [False, True, False, True]
    begun: dict[int, set[int]] = {}
    now = 0
    for message in file.tracks[2]:
        now += message.time
        if message.type == "note_on" and message.velocity:
            begun.setdefault(now, set()).add(message.note)
    first, second, *_ = (begun[at] for at in sorted(begun))
    # C E G; and G7 over B: B, then D F G (common practice, no source).
    assert first == {48, 64, 55}
    assert second == {47, 62, 65, 55}
    plain = comparison_midi(compare(one, one), which="in turn")
    assert len(mido.MidiFile(file=io.BytesIO(plain)).tracks) == 3
