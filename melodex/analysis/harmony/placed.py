"""Chords in their place, and what each melody note is on the chord under it.

Conventions: a placed chord runs from its onset to the next symbol or to the end
of the tune, and knows the key that holds there. A note is met with every chord
that sounds while it does, so a note held over a change has two rows. Numbers are
those that players say: 9, 11 and 13 above a chord, 6 above a plain triad.

Which tensions belong to a family, and how non-chord tones are told by how they
are approached and left, is common practice; no source.

Contents: PlacedChord, NoteOnChord, KeyStretch, place_chords, melody_on_chords,
spoken_degree, spoken_numeral.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from functools import lru_cache
from typing import NamedTuple, Protocol

from melodex.analysis.harmony.chords import Chord, parse_chords
from melodex.analysis.harmony.numerals import Numeral, numerals
from melodex.analysis.harmony.roles import AUGMENTED_SIXTH
from melodex.melody import Key, Melody, degree_name, pitch_class

__all__ = [
    "KeyStretch",
    "NoteOnChord",
    "PlacedChord",
    "melody_on_chords",
    "place_chords",
    "spoken_degree",
    "spoken_numeral",
]

NO_KEY = Key(0, "none")


class KeyStretch(Protocol):
    """Whatever says that a key holds from a place on, such as a key span."""

    @property
    def onset_ticks(self) -> int:
        """Where the key starts to hold."""

    @property
    def tonic_fifths(self) -> int | None:
        """The tonic on the line of fifths, or None where there is none."""

    @property
    def mode(self) -> str:
        """A name of a mode, or ``none``."""


class PlacedChord(NamedTuple):
    """A chord symbol where it stands: bar, ticks, key and numeral.

    ``key_certainty`` is that of the key span, 1 for a printed key.
    """

    chord: Chord
    bar: int
    onset_ticks: int
    end_ticks: int
    key: Key
    numeral: Numeral
    key_certainty: float = 1.0


class NoteOnChord(NamedTuple):
    """A melody note over one chord.

    Parameters
    ----------
    note, chord : int
        Indexes into the melody and into the placed chords.
    degree : int
        The note above the root in fifths.
    degree_name : str
        With the number that is meant, such as ``#11``.
    kind : str
        ``chord tone``, ``tension`` or ``non-chord tone``.
    figure : str
        For what is no chord tone: ``passing note``, ``neighbour note``,
        ``appoggiatura``, ``suspension``, ``anticipation``, ``escape note``, or
        empty where it cannot be told.
    held : bool
        Whether the note started before the chord.
    numeral : str
        The chord in its key; empty without one.
    family, chord_text : str
        The family of the chord, and the chord as written.
    """

    note: int
    chord: int
    degree: int
    degree_name: str
    kind: str
    figure: str
    held: bool
    numeral: str
    family: str
    chord_text: str

    @property
    def sentence(self) -> str:
        """What a musician would say, such as ``major 7th on the minor iv``."""
        figure = f", {self.figure}" if self.figure else ""
        chord = self.chord_text
        if self.numeral:
            chord = spoken_numeral(self.numeral, self.family)
        return f"{spoken_degree(self.degree_name)} on {chord}{figure}"


def place_chords(
    melody: Melody, key_spans: Sequence[KeyStretch] = ()
) -> tuple[PlacedChord, ...]:
    """Read the chord symbols of a melody and name them in their keys.

    Parameters
    ----------
    melody : Melody
        Its chord symbols are read as those of one piece.
    key_spans : sequence of KeyStretch
        In the order of their onsets; without any, the printed keys are used. Where
        they have a ``certainty``, it is kept.

    Returns
    -------
    tuple of PlacedChord, of shape (n_chords,)
    """
    symbols = melody.chords
    if not symbols:
        return ()
    chords = parse_chords(symbol.text for symbol in symbols)
    held = keys_at(melody, key_spans, [symbol.onset_ticks for symbol in symbols])
    keys = [key for key, _ in held]
    ends = [symbol.onset_ticks for symbol in symbols[1:]] + [melody.end_ticks]
    return tuple(
        PlacedChord(chord, symbol.bar, symbol.onset_ticks, end, key, named, certainty)
        for chord, symbol, end, (key, certainty), named in zip(
            chords, symbols, ends, held, named_chords(melody, chords, keys), strict=True
        )
    )


def named_chords(
    melody: Melody, chords: Sequence[Chord], keys: Sequence[Key]
) -> list[Numeral]:
    """Numerals of all chords; the melody may tell how one of them is meant."""
    return numerals(chords, keys, raised_sixths(melody, chords))


def raised_sixths(melody: Melody, chords: Sequence[Chord]) -> frozenset[int]:
    """Chords over which a note of the melody is spelled as the augmented sixth.

    Of chords that were worked out each dominant may be meant so, whatever the melody has.
    """
    starts = [symbol.onset_ticks for symbol in melody.chords]
    found = {
        place
        for place, chord in enumerate(chords)
        if melody.chords_worked_out and chord.family == "dominant"
    }
    for fifths, onset in zip(melody.fifths, melody.onset_ticks, strict=True):
        place = bisect_right(starts, onset) - 1
        under = chords[place] if place >= 0 else None
        if under and under.sounds and fifths - under.root_fifths == AUGMENTED_SIXTH:
            found.add(place)
    return frozenset(found)


def keys_at(
    melody: Melody, key_spans: Sequence[KeyStretch], onsets_ticks: list[int]
) -> list[tuple[Key, float]]:
    """Key and certainty at each place: of the spans, or as printed without any."""
    if not key_spans:
        return [(melody.key_at(onset), 1.0) for onset in onsets_ticks]
    starts = [span.onset_ticks for span in key_spans]
    keys = [
        (
            NO_KEY if span.tonic_fifths is None else Key(span.tonic_fifths, span.mode),
            getattr(span, "certainty", 1.0),
        )
        for span in key_spans
    ]
    return [keys[max(bisect_right(starts, onset) - 1, 0)] for onset in onsets_ticks]


def melody_on_chords(
    melody: Melody, placed: Sequence[PlacedChord]
) -> tuple[NoteOnChord, ...]:
    """Say what each melody note is on each chord that sounds under it.

    Parameters
    ----------
    melody : Melody
    placed : sequence of PlacedChord
        From :func:`place_chords` of the same melody.

    Returns
    -------
    tuple of NoteOnChord
        In the order of the notes, then of the chords; notes without a chord
        that is understood have no row.

    Examples
    --------
    >>> from melodex.melody import ChordSymbol
    >>> tune = Melody((64,), (4,), (0,), (10080,), (1,), (1.0,), (0,),
    ...               chords=(ChordSymbol("Fm", 1, 0),))
    >>> from types import SimpleNamespace
    >>> C_MAJOR = SimpleNamespace(onset_ticks=0, tonic_fifths=0, mode="major")
    >>> rows = melody_on_chords(tune, place_chords(tune, [C_MAJOR]))
    >>> rows[0].sentence
    'major 7th on the minor iv'
    """
    rows: list[NoteOnChord] = []
    first, last = 0, len(placed)
    for note, onset in enumerate(melody.onset_ticks):
        end = onset + melody.duration_ticks[note]
        while first < last and placed[first].end_ticks <= onset:
            first += 1
        place = first
        while place < last and placed[place].onset_ticks < end:
            if placed[place].chord.degrees:
                rows.append(row_of(melody, placed, note, place))
            place += 1
    return tuple(rows)


def row_of(
    melody: Melody, placed: Sequence[PlacedChord], note: int, place: int
) -> NoteOnChord:
    """The row of one note over one chord."""
    over = placed[place]
    chord = over.chord
    degree = melody.fifths[note] - chord.root_fifths
    name, kind = degree_on(chord.degree_names, chord.degrees, chord.family, degree)
    held = melody.onset_ticks[note] < over.onset_ticks
    figure = "" if kind == CHORD_TONE else figure_of(melody, placed, note, place, held)
    numeral = "" if over.numeral.degree is None else over.numeral.text
    return NoteOnChord(
        note, place, degree, name, kind, figure, held, numeral, chord.family, chord.text
    )


# Degree and kind.

CHORD_TONE, TENSION, NON_CHORD_TONE = "chord tone", "tension", "non-chord tone"
COMPOUND = {
    2: "9",
    -1: "11",
    3: "13",
    -5: "b9",
    9: "#9",
    6: "#11",
    -4: "b13",
    5: "7",
    -2: "b7",
}
SIMPLE = {3: "6", -4: "b6"}
TENSIONS_OF_FAMILY = {
    "major": {"9", "#11", "13", "6", "7"},
    "minor": {"9", "11", "13", "6", "7", "b7"},
    "dominant": {"9", "b9", "#9", "#11", "13", "b13"},
    "half-diminished": {"9", "11", "b13"},
    "diminished": {"9", "11", "b13", "7"},
    "augmented": {"9", "#11", "7", "b7"},
    "suspended": {"9", "13", "6", "7", "b7", "b9"},
    "power": {"9", "3", "b3", "6", "13", "7", "b7"},
}
BLUE_THIRD = -3
"""Degree in fifths: the lowered third."""


@lru_cache(maxsize=8192)
def degree_on(
    names: tuple[str, ...], degrees: tuple[int, ...], family: str, degree: int
) -> tuple[str, str]:
    """Name of a note above a root, and its kind."""
    sounding = pitch_class(degree)
    for name, held in zip(names, degrees, strict=True):
        if pitch_class(held) == sounding:
            return name, CHORD_TONE
    name = COMPOUND.get(degree, degree_name(degree))
    if degree == BLUE_THIRD and family == "dominant":
        name = "#9"
    if degree in SIMPLE and not {"7", "b7", "bb7"} & set(names):
        name = SIMPLE[degree]
    kind = TENSION if name in TENSIONS_OF_FAMILY[family] else NON_CHORD_TONE
    return name, kind


def figure_of(
    melody: Melody, placed: Sequence[PlacedChord], note: int, place: int, held: bool
) -> str:
    """How a note that is no chord tone is approached and left."""
    midi = melody.midi
    into = midi[note] - midi[note - 1] if note else None
    out = midi[note + 1] - midi[note] if note + 1 < len(midi) else None
    if out in {-1, -2} and (
        held or (into == 0 and starts_earlier(melody, placed, note, place))
    ):
        return "suspension"
    if out == 0 and anticipates(melody, placed, note, place):
        return "anticipation"
    if into is None or out is None or into == 0 or out == 0:
        return ""
    return figure_of_steps(into, out, stronger(melody, note))


def figure_of_steps(into: int, out: int, strong: bool) -> str:
    """The figure that two steps in semitones, neither of them 0, make."""
    by_step, to_step = abs(into) <= 2, abs(out) <= 2
    if by_step and to_step:
        return "passing note" if (into > 0) == (out > 0) else neighbour(into, out)
    if to_step:
        return "appoggiatura" if strong else ""
    return "escape note" if by_step and not strong else ""


def neighbour(into: int, out: int) -> str:
    """A neighbour note goes back to where it came from."""
    return "neighbour note" if into == -out else ""


def stronger(melody: Melody, note: int) -> bool:
    """Whether a note is on a stronger beat than the one after it."""
    return melody.beat_strength[note] > melody.beat_strength[note + 1]


def starts_earlier(
    melody: Melody, placed: Sequence[PlacedChord], note: int, place: int
) -> bool:
    """Whether the note before stood over the chord before, as one of its tones."""
    earlier = melody.onset_ticks[note - 1]
    if place == 0 or not placed[place - 1].chord.sounds:
        return False
    before = placed[place - 1]
    if not before.onset_ticks <= earlier < before.end_ticks:
        return False
    return melody.midi[note - 1] % 12 in before.chord.pitch_classes


def anticipates(
    melody: Melody, placed: Sequence[PlacedChord], note: int, place: int
) -> bool:
    """Whether the next note repeats this one over a new chord that holds it."""
    if place + 1 >= len(placed) or not placed[place + 1].chord.sounds:
        return False
    after = placed[place + 1]
    if not after.onset_ticks <= melody.onset_ticks[note + 1] < after.end_ticks:
        return False
    return melody.midi[note] % 12 in after.chord.pitch_classes


# Saying it.

ORDINALS = {
    "1": "root",
    "2": "2nd",
    "3": "major 3rd",
    "b3": "minor 3rd",
    "4": "4th",
    "5": "5th",
    "6": "6th",
    "7": "major 7th",
    "b7": "minor 7th",
    "bb7": "diminished 7th",
    "9": "9th",
    "11": "11th",
    "13": "13th",
}
NATIONS = {"Ge": "German", "Fr": "French", "It": "Italian"}
SIGN_WORDS = {"b": "flat ", "#": "sharp ", "bb": "double flat ", "##": "double sharp "}


@lru_cache(maxsize=256)
def spoken_degree(name: str) -> str:
    """Say a degree above a chord.

    Examples
    --------
    >>> [spoken_degree(n) for n in ("7", "#11", "b3", "b9", "1")]
    ['major 7th', 'sharp 11th', 'minor 3rd', 'flat 9th', 'root']
    """
    if name in ORDINALS:
        return ORDINALS[name]
    number = name.lstrip("b#")
    sign = name[: len(name) - len(number)]
    ordinal = {"1": "1st", "3": "3rd", "7": "7th"}.get(number) or ORDINALS[number]
    return SIGN_WORDS.get(sign, f"{sign} ") + ordinal


@lru_cache(maxsize=2048)
def spoken_numeral(text: str, family: str = "") -> str:
    """Say a Roman numeral.

    Examples
    --------
    >>> spoken_numeral("iv", "minor"), spoken_numeral("bVII7", "dominant")
    ('the minor iv', 'the flat VII 7')
    """
    if text[:2] in NATIONS:
        return f"the {NATIONS[text[:2]]} sixth"
    bare = text.lstrip("b#")
    sign = SIGN_WORDS.get(text[: len(text) - len(bare)], "")
    letters = len(bare) - len(bare.lstrip("IViv"))
    head, tail = bare[:letters], bare[letters:]
    minor = "minor " if family == "minor" and not tail[:1].isdigit() else ""
    parted = f" {tail}" if tail[:1].isdigit() or tail[:1] in {"m", "s"} else tail
    return f"the {sign}{minor}{head}{parted}"
