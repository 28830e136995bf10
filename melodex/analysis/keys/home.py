"""The home key of a stretch under one printed key, by its notes and by chords in parts.

Conventions: a printed signature narrows the choice to its own keys, unless the notes do
not keep to it; in music with most of the twelve notes only major and minor are thought
of, since there a mode is seldom meant and foreign notes are common. A mode that is
printed counts. Certainty is the probability that the model gives; figures on how often
it is right are in the benchmark of keys.

Contents: TOO_FEW_NOTES, Home, home_of, share_in, same_key.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from melodex.analysis.keys.evidence import evidence, key_probabilities, softmax
from melodex.melody import MODES, Key, KeyChange, Melody

if TYPE_CHECKING:
    from melodex.analysis.harmony.chords import Chord
    from melodex.analysis.harmony.numerals import LocalKey

__all__ = [
    "MINOR_MODES",
    "NO_KEY",
    "TOO_FEW_NOTES",
    "Home",
    "home_of",
    "same_key",
    "share_in",
]

NO_KEY = Key(0, "none")
TOO_FEW_NOTES = 4
"""Fewer notes than this belong to so many keys that none can be said."""
LEAST_IN_SCALE = 0.8
"""Share of the sounding time that must lie in the scale of a key; twelve notes used
alike give .58 (.75 with both forms of 6 and 7), tunes of the collections .97."""
MANY_PITCH_CLASSES = 10
SIGNATURE_KEPT = 0.85
CHROMATIC_KEPT = 0.7
"""The same for music with most of the twelve notes: a long movement spends much time in
other keys than the printed one. Our choice."""
STATED_POINTS = 2.0
"""What a printed minor, dorian ... speaks for its key, in nats; our choice. A printed
major speaks half as loud, for many programs write it where nobody has chosen."""
FEWEST_AGAINST = 8
CHORDS_LEFT, CHORDS_MET, ODDS_LEFT = 0.4, 0.8, 0.1
"""So many chords or more speak against a signature where a key beyond it holds more of
them, and at least the second share. Signs that are printed are meant: there its own key
must hold at most the first share. None may be what was never set: there its keys must
have at most so much of the probability. Our choice, on the careful side."""
OTHER_VIEW = 0.8
CHORD_WEIGHT = 0.5
"""Log odds from chords over those from notes; both hear the same piece, so half."""
LAST_CHORD_POINTS, FIRST_CHORD_POINTS = 3.0, 1.0
SCALE_CHORD_POINTS = 0.5
CHORD_MODES = ("major", "minor", "dorian", "mixolydian")
RARER_POINTS = -0.1
"""Chords alone suggest dorian or mixolydian only where all are of that scale; then the
cost in nats only settles ties. Our choice."""
MINOR_MODES = ("minor", "aeolian", "dorian", "phrygian", "locrian")


@dataclass(frozen=True, slots=True)
class Home:
    """The home key of a stretch, what it was drawn from, and the next likeliest.

    ``key`` has mode ``none`` where nothing can be said; ``remark`` then says why.
    """

    key: Key
    certainty: float
    method: str
    others: tuple[tuple[Key, float], ...] = ()
    remark: str = ""


def home_of(
    melody: Melody,
    change: KeyChange | None,
    heard: Sequence[Chord] = (),
    leads_on: bool = False,
) -> Home:
    """Say in what key a stretch of a melody is at home.

    Parameters
    ----------
    melody : Melody
        The stretch.
    change : KeyChange or None
        The printed key that holds in it, None to leave that aside.
    heard : sequence of Chord
        Chords that sound in it.
    leads_on : bool
        Whether another key is printed after it.
    """
    if len(melody) < TOO_FEW_NOTES:
        if heard:
            return home_from(chord_probabilities(heard, []), "chords", "")
        return Home(NO_KEY, 0.0, "none", (), few_words(len(melody)))
    found = evidence(melody, leads_on)
    openly = key_probabilities(found)
    signed = change if change is not None and is_signature(change) else None
    source, remark, chosen = "melody", "", openly
    if signed is not None:
        among = key_probabilities(found, signed.signature_fifths, signed.key)
        narrowed = softmax(stated(among, signed, leads_on))
        chromatic = len({midi % 12 for midi in melody.midi}) >= MANY_PITCH_CLASSES
        least = CHROMATIC_KEPT if chromatic else SIGNATURE_KEPT
        if chromatic:
            narrowed = plain_keys(narrowed)
        if share_in(melody, Key(signed.signature_fifths + 3, "minor")) >= least:
            source, chosen = "melody and signature", narrowed
            remark = "" if chromatic else other_view(narrowed, openly)
        else:
            remark = "the notes do not keep to the printed signature, which was left aside"
    # Where there are chords, they say the key of a chromatic line.
    if not heard:
        if source == "melody" and (reason := unkeyed_reason(melody, openly)):
            return Home(NO_KEY, 0.0, "none", (), reason)
        return home_from(chosen, source, remark)
    return home_with_chords(melody, heard, signed, (openly, chosen), source, remark)


def home_with_chords(
    melody: Melody,
    heard: Sequence[Chord],
    signed: KeyChange | None,
    by_notes: tuple[list[tuple[Key, float]], list[tuple[Key, float]]],
    source: str,
    remark: str,
) -> Home:
    """The home key by notes and by chords in parts together."""
    openly, chosen = by_notes
    weighed = chord_probabilities(heard, chosen)
    if source != "melody" and signed is not None:
        beyond = chord_probabilities(heard, openly)
        if speak_against(melody, heard, signed, weighed[0][0], beyond):
            remark = "the chords do not keep to the printed signature, which was left aside"
            return home_from(beyond, "melody and chords", remark)
        return home_from(weighed, "melody, chords and signature", remark)
    return home_from(weighed, "melody and chords", remark)


def home_from(found: list[tuple[Key, float]], method: str, remark: str) -> Home:
    """The likeliest of some keys, the others behind it."""
    key, certainty = found[0]
    return Home(key, certainty, method, tuple(found[1:]), remark)


def few_words(count: int) -> str:
    """Why nothing is said of a few notes."""
    return f"too few notes to say a key: {count}"


def is_signature(change: KeyChange) -> bool:
    """Whether a signature is printed; no sign and no key says nothing about either."""
    return change.key.mode != "none" or change.signature_fifths != 0


def stated(
    found: list[tuple[Key, float]], change: KeyChange, leads_on: bool
) -> list[tuple[Key, float]]:
    """Points of keys, those of a printed mode raised.

    Whoever prints another key after it has named this one too, with or without a mode.
    """
    meant = change.stated or leads_on
    raised = STATED_POINTS * (1.0 if change.key.mode not in {"major", "ionian"} else 0.5)
    return [
        (
            key,
            math.log(max(odds, 1e-9)) + raised * (meant and same_key(key, change.key)),
        )
        for key, odds in found
    ]


def plain_keys(found: list[tuple[Key, float]]) -> list[tuple[Key, float]]:
    """Major and minor alone, their probabilities made to sum to 1."""
    kept = [(key, odds) for key, odds in found if key.mode in {"major", "minor"}]
    total = sum(odds for _, odds in kept) or 1.0
    return [(key, odds / total) for key, odds in kept] or found


def other_view(chosen: list[tuple[Key, float]], openly: list[tuple[Key, float]]) -> str:
    """What to add when the notes alone would have been read otherwise."""
    key, certainty = openly[0]
    if not chosen or key == chosen[0][0] or certainty < OTHER_VIEW:
        return ""
    return f"the notes alone suggest {key}"


def unkeyed_reason(melody: Melody, found: list[tuple[Key, float]]) -> str:
    """Why the notes belong to no key, or nothing."""
    different = len({midi % 12 for midi in melody.midi})
    if different < MANY_PITCH_CLASSES:
        return ""
    inside = share_in(melody, found[0][0])
    if inside < LEAST_IN_SCALE:
        return (
            f"no key: {different} of the twelve pitch classes are used, and the likeliest "
            f"scale holds only {inside:.0%} of the sounding time"
        )
    return ""


def share_in(melody: Melody, key: Key) -> float:
    """Share of the sounding time in a key's scale, both forms of minor 6 and 7 counted."""
    low = -1 - MODES[key.mode]
    inside = {key.tonic_fifths + low + step for step in range(7)}
    if key.mode in MINOR_MODES:
        inside |= {key.tonic_fifths + 3, key.tonic_fifths + 5}
    total = sum(melody.duration_ticks) or 1
    held = sum(
        d for f, d in zip(melody.fifths, melody.duration_ticks, strict=True) if f in inside
    )
    return held / total


def chord_probabilities(
    heard: Sequence[Chord], prior: list[tuple[Key, float]]
) -> list[tuple[Key, float]]:
    """Weigh keys by chords: in the scale, on the tonic, at the start and at the end."""
    prior = prior or chord_candidates(heard)
    counted = Counter(chord.note_fifths for chord in heard)
    return softmax(
        (key, math.log(max(odds, 1e-9)) + CHORD_WEIGHT * chord_points(heard, key, counted))
        for key, odds in prior
    )


def chord_candidates(heard: Sequence[Chord]) -> list[tuple[Key, float]]:
    """Keys on the roots of chords, with the odds they start from."""
    found, notes = [], {chord.note_fifths for chord in heard}
    for root in sorted({chord.root_fifths for chord in heard}):
        for mode in CHORD_MODES:
            scale = set(range(root - 1 - MODES[mode], root + 6 - MODES[mode]))
            rarer = mode in {"dorian", "mixolydian"}
            if not rarer or all(map(scale.issuperset, notes)):
                found.append((Key(root, mode), math.exp(RARER_POINTS * rarer)))
    return found


def speak_against(
    melody: Melody,
    heard: Sequence[Chord],
    signed: KeyChange,
    kept: Key,
    beyond: list[tuple[Key, float]],
) -> bool:
    """Whether the chords belong to the likeliest key of all, and not to the signature's.

    A lead sheet may be printed without its signature, an accidental before each note.
    """
    key, signature = beyond[0][0], signed.signature_fifths
    here, there = chords_in(heard, kept), chords_in(heard, key)
    if len(heard) < FEWEST_AGAINST or there <= here or there < CHORDS_MET * len(heard):
        return False
    if signature == 0:
        return sum(p for k, p in beyond if k.signature_fifths == 0) <= ODDS_LEFT
    return here <= CHORDS_LEFT * len(heard) and share_in(melody, key) > share_in(
        melody, kept
    )


def chords_in(
    heard: Sequence[Chord], key: Key, counted: Counter[tuple[int, ...]] | None = None
) -> int:
    """How many chords lie in the scale of a key, the leading note of minor counted."""
    low = key.tonic_fifths - 1 - MODES[key.mode]
    scale = set(range(low, low + 7))
    if key.mode == "minor":
        scale.add(key.tonic_fifths + 5)
    # A long piece has few different chords.
    counts = Counter(chord.note_fifths for chord in heard) if counted is None else counted
    return sum(count for notes, count in counts.items() if scale.issuperset(notes))


def chord_points(
    heard: Sequence[Chord], key: Key, counted: Counter[tuple[int, ...]]
) -> float:
    """How well chords fit a key; common practice, the weights are our choice."""
    # Twenty chords say about all there is to say; more would drown the melody.
    many = min(len(heard), 20) / len(heard)
    points = SCALE_CHORD_POINTS * chords_in(heard, key, counted) * many
    points += LAST_CHORD_POINTS * is_tonic(heard[-1], key)
    return points + FIRST_CHORD_POINTS * is_tonic(heard[0], key)


def is_tonic(chord: Chord, key: Key) -> bool:
    """Whether a chord is the tonic chord of a key, with its third."""
    third = -3 if key.mode in MINOR_MODES else 4
    return chord.root_fifths == key.tonic_fifths and third in chord.degrees


def same_key(one: LocalKey, other: LocalKey) -> bool:
    """Whether two keys are one under two names of a mode."""
    # A key that nothing is known of has no mode.
    modes = [MODES.get(key.mode) for key in (one, other)]
    return one.tonic_fifths == other.tonic_fifths and modes[0] == modes[1]
