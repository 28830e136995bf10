"""Broken chords with a known harmony: twelve ways in which a left hand plays.

Conventions: a piece is sixteen bars of chords of a key, drawn by seed from what often
follows what (common practice, no source), played in one of :data:`PATTERNS` under a
melody of chord notes and others. Times are quarters from the first bar.

Contents: PATTERNS, KnownPiece, known_piece.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field

from melodex.analysis.harmony.heard.sounding import KINDS
from melodex.melody import TICKS_PER_QUARTER, Bar, Melody, Metre, MetreChange, pitch_class
from melodex.melody.texture import SoundingNote, Texture

BARS = 16
Step = tuple[int, str]
Note = tuple[int, int]
"""A pitch in semitones and its place on the line of fifths."""

AFTER: dict[str, dict[Step, list[Step]]] = {
    "major": {
        (0, ""): [(1, "7"), (-1, ""), (3, "m"), (2, "m"), (1, ""), (2, "7"), (0, "7")],
        (1, "7"): [(0, ""), (3, "m"), (0, ""), (0, "maj7")],
        (1, ""): [(0, ""), (3, "m"), (1, "7"), (-1, "")],
        (-1, ""): [(1, "7"), (0, ""), (-1, "m"), (5, "dim7"), (2, "m")],
        (2, "m"): [(1, "7"), (1, "")],
        (3, "m"): [(2, "m"), (-1, ""), (2, "7"), (2, "m7"), (4, "m")],
        (2, "m7"): [(1, "7")],
        (2, "7"): [(1, "7"), (1, "")],
        (0, "7"): [(-1, ""), (-1, "m")],
        (-1, "m"): [(0, ""), (1, "7")],
        (5, "dim7"): [(0, ""), (3, "m")],
        (4, "m"): [(3, "m"), (-1, "")],
        (0, "maj7"): [(-1, ""), (2, "m7")],
    },
    "minor": {
        (0, "m"): [(1, "7"), (-1, "m"), (-4, ""), (2, "m7b5"), (-2, ""), (5, "dim7")],
        (1, "7"): [(0, "m"), (-4, "")],
        (-1, "m"): [(1, "7"), (0, "m"), (-2, "")],
        (-4, ""): [(-1, "m"), (2, "m7b5"), (-2, ""), (-3, "")],
        (-3, ""): [(-1, "m"), (-2, ""), (-4, "")],
        (2, "m7b5"): [(1, "7")],
        (-2, ""): [(-3, ""), (0, "m")],
        (5, "dim7"): [(0, "m"), (1, "7")],
    },
}
SCALES = {"major": (0, 2, 4, -1, 1, 3, 5), "minor": (0, 2, -3, -1, 1, -4, -2)}


@dataclass
class KnownPiece:
    """A piece with its chords.

    Parameters
    ----------
    name : str
        Pattern and seed.
    melody : Melody
        Bars and metre alone.
    texture : Texture
    chords : list of tuple
        Onset, length, root, and bass on the line of fifths, and kind.
    """

    name: str
    melody: Melody
    texture: Texture
    chords: list[tuple[float, float, int, int, str]]


@dataclass
class Hand:
    """What a left hand plays of one chord, and where it puts it."""

    onset: float
    beats: int
    bass: Note
    fifth: Note
    close: list[Note]
    notes: list[tuple[float, float, Note, int]]
    rng: random.Random = field(repr=False)

    def put(self, after: float, length: float, note: Note, line: int = 1) -> None:
        """Play one note some quarters after the chord begins."""
        self.notes.append((self.onset + after, length, note, line))

    def row(self, notes: list[Note], step: float, line: int = 1) -> None:
        """Play notes one after another, over and over."""
        for i in range(round(self.beats / step)):
            self.put(i * step, step, notes[i % len(notes)], line)

    def together(self, after: float, length: float) -> None:
        """Play the chord."""
        for note in self.close:
            self.put(after, length, note)


def above(fifths: int, lowest: int) -> Note:
    """The lowest pitch of that name from a pitch on."""
    return lowest + (pitch_class(fifths) - lowest) % 12, fifths


def stacked(chord: list[int], lowest: int) -> list[Note]:
    """Notes in close position from a pitch on."""
    found: list[Note] = []
    for fifths in chord:
        found.append(above(fifths, lowest))
        lowest = found[-1][0] + 1
    return found


def block(hand: Hand) -> None:
    """The whole chord, held."""
    hand.put(0, hand.beats, hand.bass)
    hand.together(0, hand.beats)


def alberti(hand: Hand) -> None:
    """Lowest, highest, middle, highest."""
    low, middle, high = hand.close[0], hand.close[1], hand.close[-1]
    hand.row([low, high, middle, high], hand.rng.choice((0.5, 0.25)))


def stride(hand: Hand, length: float = 1.0) -> None:
    """Bass and fifth on strong beats, the chord on weak ones."""
    for beat in range(hand.beats):
        if beat % 2:
            hand.together(beat, 0.5)
        else:
            hand.put(beat, length, hand.fifth if beat % 4 else hand.bass)


def oom_pah(hand: Hand) -> None:
    """The same, short."""
    stride(hand, 0.5)


def waltz(hand: Hand) -> None:
    """The bass, then the chord on the other beats."""
    hand.put(0, 1, hand.bass)
    for beat in range(1, hand.beats):
        hand.together(beat, 1)


def tenths(hand: Hand) -> None:
    """Bass, fifth, tenth, fifth."""
    row = [hand.bass, *stacked([hand.close[2][1], hand.close[1][1]], hand.bass[0] + 5)]
    hand.row([*row, row[1]], 0.5)


def tremolo(hand: Hand) -> None:
    """A low note and the top one in quick turn over a held bass."""
    hand.put(0, hand.beats, hand.bass)
    lower, top = hand.close[:-1], hand.close[-1]
    hand.row([note for low in lower for note in (low, top)], 0.25)


def upward(hand: Hand) -> None:
    """From the bass up through the chord."""
    hand.row([hand.bass, *stacked([f for _, f in hand.close], hand.bass[0] + 4)], 0.5)


def up_and_down(hand: Hand) -> None:
    """Up through the chord and down again over a held bass."""
    hand.put(0, hand.beats, hand.bass, 2)
    row = [*hand.close, above(hand.close[0][1], hand.close[-1][0])]
    hand.row([*row, *row[-2:0:-1]], 0.25)


def off_beat(hand: Hand) -> None:
    """The bass on the beat, the chord after it."""
    for beat in range(hand.beats):
        hand.put(beat, 0.5, hand.bass)
        hand.together(beat + 0.5, 0.5)


def octaves(hand: Hand) -> None:
    """The bass and its octave in turn under a held chord."""
    hand.row([hand.bass, (hand.bass[0] + 12, hand.bass[1])], 0.5)
    hand.together(0, hand.beats)


def triplets(hand: Hand) -> None:
    """The chord three to a beat over a held bass."""
    hand.put(0, hand.beats, hand.bass, 2)
    hand.row(hand.close, 1 / 3)


PATTERNS: dict[str, Callable[[Hand], None]] = {
    "chords": block,
    "Alberti bass": alberti,
    "stride": stride,
    "oom-pah": oom_pah,
    "waltz": waltz,
    "broken tenths": tenths,
    "tremolo": tremolo,
    "upward": upward,
    "up and down": up_and_down,
    "off the beat": off_beat,
    "broken octaves": octaves,
    "triplets": triplets,
}
"""Ways to play a chord, by what the trade calls them."""


def known_piece(seed: int) -> KnownPiece:
    """A piece in the pattern whose turn it is, drawn by a seed."""
    rng = random.Random(seed)
    pattern = list(PATTERNS)[seed % len(PATTERNS)]
    beats = 3 if pattern == "waltz" or seed // len(PATTERNS) % 4 == 3 else 4
    mode = rng.choice(("major", "major", "minor"))
    key = rng.randint(-5, 5)
    step: Step = (0, "m") if mode == "minor" else (0, "")
    notes: list[tuple[float, float, Note, int]] = []
    chords: list[tuple[float, float, int, int, str]] = []
    onset, height = 0.0, 72
    for _ in range(BARS):
        for length in (2, 2) if beats == 4 and rng.random() < 0.3 else (beats,):
            root = key + step[0]
            chord = [root + degree for degree in KINDS[step[1]]]
            place = rng.choices((0, 1, 2), (0.75, 0.17, 0.08))[0]
            bass = above(chord[place], 37)
            chords.append((onset, length, root, chord[place], step[1]))
            close = stacked([*chord[place:], *chord[:place]], 52)
            hand = Hand(onset, length, bass, above(chord[2], 36), close, notes, rng)
            PATTERNS[pattern](hand)
            height = sing(hand, chord, [key + d for d in SCALES[mode]], height)
            onset += length
            step = rng.choice(AFTER[mode][step])
    return KnownPiece(f"{pattern} {seed}", sheet(beats), texture(notes), chords)


def sing(hand: Hand, chord: list[int], scale: list[int], height: int) -> int:
    """Put a melody over a chord; return how high it ends."""
    rng, after = hand.rng, 0.0
    while after < hand.beats:
        length = min(rng.choice((0.5, 0.5, 1, 1, 2)), hand.beats - after)
        inside = rng.random() < (0.85 if after == 0 else 0.72)
        fifths = rng.choice(chord if inside else scale)
        places = (above(fifths, 64), above(fifths, 76))
        note = min(places, key=lambda place: abs(place[0] - height))
        hand.put(after, length, note, 0)
        height, after = note[0], after + length
    return height


def sheet(beats: int) -> Melody:
    """Bars and metre of a piece."""
    length = beats * TICKS_PER_QUARTER
    bars = tuple(Bar(i + 1, i * length, length) for i in range(BARS))
    return Melody(bars=bars, metres=(MetreChange(0, Metre(beats, 4)),))


def texture(notes: list[tuple[float, float, Note, int]]) -> Texture:
    """All notes in ticks."""
    return Texture.of(
        (
            SoundingNote(
                round(onset * TICKS_PER_QUARTER),
                round(length * TICKS_PER_QUARTER),
                *note,
                line,
            )
            for onset, length, note, line in notes
        ),
        ("melody", "left hand", "bass"),
    )
