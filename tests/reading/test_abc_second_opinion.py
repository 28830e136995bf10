"""ABC read by music21 and by us, where music21 is a fair witness.

music21 is told to follow ABC 2.1, and is asked only about what it reads well:
repeats, endings, tuplets, grace notes, modes, K: and L: lines, chords. What is
compared is every pitch, spelled, with onset and length, and where repeats stand. It
reads `K:Bloc` as five sharps, against the table of the standard (3.1.14), so the
Locrian mode is tested by hand elsewhere.
"""

import music21
import pytest

from melodex.melody import TICKS_PER_QUARTER, note_name
from melodex.reading.abc.reader import read_abc

TUNES = {
    "repeats": "M:4/4\nL:1/4\nK:G\n|: G A B c | d2 e2 :: d c B A | G4 :|",
    "endings": "M:4/4\nL:1/4\nK:D\n|: F G A B |1 A4 :|2 d4 |]",
    "pickup": "M:3/4\nL:1/8\nK:F\nc2 | f4 a2 | g4 e2 | f6 |]",
    "triplets": "M:2/4\nL:1/8\nK:A\n(3cde f2 | (3:2:2 c2 d e2 | c4 |]",
    "graces": "M:6/8\nL:1/8\nK:Em\n{f}g3 {ab}a3 | b6 |]",
    "dorian": "M:4/4\nL:1/8\nK:Ddor\nd2 e2 f2 g2 | a2 b2 c'2 d'2 |]",
    "mixolydian": "M:4/4\nL:1/8\nK:Amix\nA2 B2 c2 d2 | e2 f2 g2 a2 |]",
    "phrygian": "M:4/4\nL:1/8\nK:Ephr\nE2 F2 G2 A2 | B2 c2 d2 e2 |]",
    "lydian": "M:4/4\nL:1/8\nK:Flyd\nF2 G2 A2 B2 | c2 d2 e2 f2 |]",
    "key line": "M:4/4\nL:1/4\nK:C\nC D E F |\nK:Eb\nE A B e |]",
    "unit line": "M:4/4\nL:1/4\nK:C\nC D E F |\nL:1/8\nC2 D2 E2 F2 |]",
    "chords": "M:4/4\nL:1/4\nK:C\n[CEG] [DFA]2 [EGc] | [Cc]4 |]",
    "lengths": "M:4/4\nL:1/8\nK:C\nC D/ E/ F3/2 G/ A2 B2 | c//d//e/ f4 z2 G |]",
    "octaves": "M:4/4\nL:1/4\nK:Bb\nB,, B, B b | b' b, B' C, |]",
    "accidentals": "M:4/4\nL:1/4\nK:C\n^F F =F _B | B F ^^C __D |]",
    "broken": "M:4/4\nL:1/8\nK:C\nA>B c<d e>>f g<<a |]",
}


def opinion(text):
    """What music21 reads: names, onsets and lengths in quarters, and bars."""
    handler = music21.abcFormat.ABCFile(abcVersion=(2, 1, 0)).readstr(f"X:1\nT:t\n{text}\n")
    stream = music21.abcFormat.translate.abcToStreamScore(handler)
    notes = []
    for element in stream.flatten().notes:
        if element.duration.isGrace:
            continue
        pitch = max(element.pitches, key=lambda p: p.midi)
        spelled = pitch.nameWithOctave.replace("-", "b")
        notes.append((spelled, float(element.offset), float(element.quarterLength)))
    repeats = [
        (mark.direction, float(mark.getOffsetInHierarchy(stream)))
        for mark in stream.recurse().getElementsByClass(music21.bar.Repeat)
    ]
    return notes, repeats


@pytest.mark.parametrize("name", TUNES)
def test_music21_reads_the_same_notes(name):
    (tune,) = read_abc(f"X:1\nT:t\n{TUNES[name]}\n").tunes
    melody = tune.melody
    ours = [
        (note_name(midi, fifths), onset / TICKS_PER_QUARTER, ticks / TICKS_PER_QUARTER)
        for midi, fifths, onset, ticks in zip(
            melody.midi,
            melody.fifths,
            melody.onset_ticks,
            melody.duration_ticks,
            strict=True,
        )
    ]
    theirs, _ = opinion(TUNES[name])
    assert [note[0] for note in ours] == [note[0] for note in theirs]
    assert [note[1] for note in ours] == pytest.approx([note[1] for note in theirs])
    assert [note[2] for note in ours] == pytest.approx([note[2] for note in theirs])


@pytest.mark.parametrize("name", ["repeats", "endings"])
def test_music21_places_the_same_repeat_signs(name):
    (tune,) = read_abc(f"X:1\nT:t\n{TUNES[name]}\n").tunes
    bars = tune.melody.bars
    starts = [bar.onset_ticks / TICKS_PER_QUARTER for bar in bars if bar.repeat_start]
    ends = [
        (bar.onset_ticks + bar.duration_ticks) / TICKS_PER_QUARTER
        for bar in bars
        if bar.repeat_times
    ]
    _, theirs = opinion(TUNES[name])
    assert starts == [place for direction, place in theirs if direction == "start"]
    assert ends == [place for direction, place in theirs if direction == "end"]
