"""The benchmark of planted families: it writes what it means, and counts right."""

from __future__ import annotations

from benchmarks.retrieval.judged.planted_families import abc_of, judged
from melodex.corpus.chunks import TuneNotes, encode_notes
from melodex.reading.abc.reader import read_abc


def test_a_tune_of_pitches_and_lengths_is_read_back_from_the_abc_that_is_written():
    # A length class counts half octaves from a quarter note: half, one, two quarters, four.
    pitch, classes = bytes([60, 61, 59, 72, 47, 84]), bytes([0, 254, 2, 4, 0, 4])
    text = abc_of(TuneNotes("f" * 16, pitch, classes), "Copy 0.1 abc", 7)
    (tune,) = read_abc(text, "written.abc").tunes
    assert tune.melody.title == "Copy 0.1 abc"
    assert encode_notes(tune.melody)[0] == pitch
    assert tune.melody.duration_quarters == (1.0, 0.5, 2.0, 4.0, 1.0, 4.0)


def test_copies_are_counted_where_they_stand_with_their_tune_and_invented_ones_anywhere():
    def family(*tunes: tuple[str, str]) -> dict[str, object]:
        return {"members": [{"tune": {"tune_id": i, "title": t}} for i, t in tunes]}

    told = {
        "families": [
            family(("a", "Salt Lane"), ("b", "Copy 0.1 a"), ("c", "Copy 0.3 d")),
            family(("d", "Low Tide"), ("e", "Invented 5")),
        ]
    }
    found = judged(told)
    assert found["tunes in families, by kind"] == {"music21's": 2, "Copy": 2, "Invented": 1}
    assert found["copies that stand with their tune, by the share changed"] == {
        "0.1": 1,
        "0.3": 0,
    }
