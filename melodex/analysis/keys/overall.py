"""The key of a whole melody: what the notes and chords say, and what is printed.

Conventions: the printed key is evidence, not the answer. Where a signature is
printed the choice is among its own keys, unless the notes do not keep to it. The
certainty of a reading is the probability that the model gives it; figures on how
often it is right are in the benchmark of keys. Common practice, no source: harmonic
minor raises the 7th, melodic minor the 6th with it; dorian has a natural 6th.

Contents: KeyReading, global_key, TOO_FEW_NOTES.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from melodex.analysis.harmony.chords import Chord, parse_chords
from melodex.analysis.keys.evidence import evidence, key_probabilities, softmax
from melodex.analysis.keys.profiles import PROFILES, pitch_class_lengths, profile_keys
from melodex.errors import AnalysisError
from melodex.melody import MODES, Key, Melody, pitch_class_name

if TYPE_CHECKING:
    from melodex.analysis.harmony.numerals import LocalKey

__all__ = ["TOO_FEW_NOTES", "KeyReading", "global_key"]

NO_KEY = Key(0, "none")
TOO_FEW_NOTES = 4
"""Fewer notes than this belong to so many keys that none can be said."""
LEAST_IN_SCALE = 0.8
"""Share of the sounding time that must lie in the scale of a key; twelve notes used
alike give .58 (.75 with both forms of 6 and 7), tunes of the collections .97."""
MANY_PITCH_CLASSES = 10
FEWEST_OPENING_NOTES = 8
SIGNATURE_KEPT = 0.85
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
MINOR_MODES = ("minor", "aeolian", "dorian", "phrygian")
SHOWN_ALTERNATIVES = 3


@dataclass(frozen=True, slots=True)
class KeyReading:
    """The key of a piece as it was worked out.

    Parameters
    ----------
    key : Key
        Mode ``none`` where no key can be said; ``remark`` then says why.
    certainty : float
        Probability of the key under the model, 0 to 1.
    method : str
        What it was drawn from: ``melody``, ``chords``, ``melody and chords``, with
        ``signature`` where the printed signature narrowed the choice; or a profile.
    alternatives : tuple of (Key, float)
        The next likeliest keys and their probabilities.
    printed : Key
        As the source prints it; mode ``none`` where it prints none.
    agrees_with_printed : bool or None
        None where there is nothing to compare.
    inflection : str
        Of a minor key: ``natural``, ``harmonic`` or ``melodic``; else empty.
    remark : str
        What a musician should know before trusting the key.
    """

    key: Key
    certainty: float
    method: str
    alternatives: tuple[tuple[Key, float], ...] = ()
    printed: Key = NO_KEY
    agrees_with_printed: bool | None = None
    inflection: str = ""
    remark: str = ""


def global_key(
    melody: Melody,
    *,
    chords: Sequence[Chord] | None = None,
    use_signature: bool = True,
    method: str = "fitted",
) -> KeyReading:
    """Say in what key a melody is.

    Parameters
    ----------
    melody : Melody
        May be empty or without a printed key.
    chords : sequence of Chord, optional
        By default the melody's own chord symbols.
    use_signature : bool
        Whether a printed signature narrows the choice to its own keys.
    method : str
        ``fitted``, or a published profile: ``krumhansl-kessler`` or
        ``albrecht-shanahan``, which then sees the notes alone.

    Raises
    ------
    AnalysisError
        If there is no such method.

    Examples
    --------
    >>> n = 7
    >>> tune = Melody(midi=(62, 64, 65, 67, 69, 71, 62), fifths=(2, 4, -1, 1, 3, 5, 2),
    ...               onset_ticks=tuple(range(n)), duration_ticks=(1,) * n,
    ...               bar=(1,) * n, beat_strength=(1.0,) + (0.25,) * 6, phrase=(0,) * n)
    >>> str(global_key(tune).key)
    'D dorian'
    """
    if method != "fitted" and method not in PROFILES:
        raise AnalysisError(
            f"there is no way to find keys called {method!r}",
            hint=f"use fitted, {' or '.join(PROFILES)}",
        )
    heard = [c for c in (own_chords(melody) if chords is None else chords) if c.sounds]
    if len(melody) < TOO_FEW_NOTES and not heard:
        return nothing_said(melody, f"too few notes to say a key: {len(melody)}")
    opening = first_stretch(melody)
    if opening is not melody:
        return opening_key(melody, opening, heard, use_signature, method)
    if method != "fitted":
        found = [
            (key, max(r, 0.0))
            for key, r in profile_keys(pitch_class_lengths(melody), method)
        ]
        return reading(melody, found, f"melody, {method}", "")
    return fitted_key(melody, heard, use_signature)


def first_stretch(melody: Melody) -> Melody:
    """What comes before another signature is printed, or all if that is too little."""
    if len(melody.keys) < 2:
        return melody
    first = melody.keys[0].signature_fifths
    turn = next((k.onset_ticks for k in melody.keys if k.signature_fifths != first), None)
    count = len(melody) if turn is None else bisect_left(melody.onset_ticks, turn)
    if count == len(melody) or count < FEWEST_OPENING_NOTES:
        return melody
    return melody.excerpt(0, count - 1)


def opening_key(
    melody: Melody, opening: Melody, heard: list[Chord], use_signature: bool, method: str
) -> KeyReading:
    """The key of a piece whose printed key changes: the one it starts in."""
    symbols = own_chords(opening)
    # Chords that came from elsewhere have no places; then the opening goes by its notes.
    chords = symbols if len(heard) <= len(melody.chords) else []
    found = global_key(opening, chords=chords, use_signature=use_signature, method=method)
    remark = "the printed key changes; this is the key of the opening"
    return replace(found, remark=f"{found.remark}; {remark}" if found.remark else remark)


def own_chords(melody: Melody) -> list[Chord]:
    """The melody's chord symbols, read."""
    return parse_chords(symbol.text for symbol in melody.chords) if melody.chords else []


def fitted_key(melody: Melody, heard: list[Chord], use_signature: bool) -> KeyReading:
    """The reading of the fitted model, with the signature where it is kept to."""
    if len(melody) < TOO_FEW_NOTES:
        return reading(melody, chord_probabilities(heard, []), "chords", "")
    found = evidence(melody)
    openly = key_probabilities(found)
    # Where there are chords, they say the key of a chromatic line.
    if not heard and (reason := unkeyed_reason(melody, openly)):
        return nothing_said(melody, reason)
    source, remark, chosen = "melody", "", openly
    if use_signature and has_signature(melody):
        signature = melody.keys[0].signature_fifths
        if share_in(melody, Key(signature + 3, "minor")) >= SIGNATURE_KEPT:
            source, chosen = (
                "melody and signature",
                key_probabilities(found, signature, melody.key),
            )
            remark = other_view(chosen, openly)
        else:
            remark = "the notes do not keep to the printed signature, which was left aside"
    chosen = chosen or openly
    if heard:
        chosen = chord_probabilities(heard, chosen)
        if "sig" in source:
            beyond = chord_probabilities(heard, openly)
            if speak_against(melody, heard, chosen[0][0], beyond):
                source, chosen = "melody", beyond
                remark = (
                    "the chords do not keep to the printed signature, which was left aside"
                )
        source = source.replace(
            "melody", "melody, chords" if "sig" in source else "melody and chords"
        )
    return reading(melody, chosen, source, remark)


def has_signature(melody: Melody) -> bool:
    """Whether a signature is printed; no sign and no key says nothing about either."""
    if not melody.keys:
        return False
    return melody.key.mode != "none" or melody.keys[0].signature_fifths != 0


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
    heard: list[Chord], prior: list[tuple[Key, float]]
) -> list[tuple[Key, float]]:
    """Weigh keys by chords: in the scale, on the tonic, at the start and at the end."""
    prior = prior or chord_candidates(heard)
    return softmax(
        (key, math.log(max(odds, 1e-9)) + CHORD_WEIGHT * chord_points(heard, key))
        for key, odds in prior
    )


def chord_candidates(heard: list[Chord]) -> list[tuple[Key, float]]:
    """Keys on the roots of chords, with the odds they start from."""
    found = []
    for root in sorted({chord.root_fifths for chord in heard}):
        for mode in CHORD_MODES:
            scale = set(range(root - 1 - MODES[mode], root + 6 - MODES[mode]))
            rarer = mode in {"dorian", "mixolydian"}
            if not rarer or all(scale.issuperset(chord.note_fifths) for chord in heard):
                found.append((Key(root, mode), math.exp(RARER_POINTS * rarer)))
    return found


def speak_against(
    melody: Melody, heard: list[Chord], kept: Key, beyond: list[tuple[Key, float]]
) -> bool:
    """Whether the chords belong to the likeliest key of all, and not to the signature's.

    A lead sheet may be printed without its signature, an accidental before each note.
    """
    key, signature = beyond[0][0], melody.keys[0].signature_fifths
    here, there = chords_in(heard, kept), chords_in(heard, key)
    if len(heard) < FEWEST_AGAINST or there <= here or there < CHORDS_MET * len(heard):
        return False
    if signature == 0:
        return sum(p for k, p in beyond if k.signature_fifths == 0) <= ODDS_LEFT
    return here <= CHORDS_LEFT * len(heard) and share_in(melody, key) > share_in(
        melody, kept
    )


def chords_in(heard: list[Chord], key: Key) -> int:
    """How many chords lie in the scale of a key, the leading note of minor counted."""
    low = key.tonic_fifths - 1 - MODES[key.mode]
    scale = set(range(low, low + 7))
    if key.mode == "minor":
        scale.add(key.tonic_fifths + 5)
    return sum(scale.issuperset(chord.note_fifths) for chord in heard)


def chord_points(heard: list[Chord], key: Key) -> float:
    """How well chords fit a key; common practice, the weights are our choice."""
    # Twenty chords say about all there is to say; more would drown the melody.
    many = min(len(heard), 20) / len(heard)
    points = SCALE_CHORD_POINTS * chords_in(heard, key) * many
    points += LAST_CHORD_POINTS * is_tonic(heard[-1], key)
    return points + FIRST_CHORD_POINTS * is_tonic(heard[0], key)


def is_tonic(chord: Chord, key: Key) -> bool:
    """Whether a chord is the tonic chord of a key, with its third."""
    third = -3 if key.mode in MINOR_MODES else 4
    return chord.root_fifths == key.tonic_fifths and third in chord.degrees


def reading(
    melody: Melody, found: list[tuple[Key, float]], method: str, remark: str
) -> KeyReading:
    """The likeliest key with everything that is said about it."""
    key, certainty = found[0]
    printed = melody.key
    agrees = None if printed.mode == "none" else same_key(key, printed)
    remarks = [remark] if remark else []
    if agrees is False:
        stated = melody.keys[0].stated
        remarks.insert(
            0, f"printed as {printed}" if stated else "only a signature is printed"
        )
    if about_sixth := sixth_remark(melody, key):
        remarks.append(about_sixth)
    return KeyReading(
        key,
        round(certainty, 3),
        method,
        tuple((k, round(p, 3)) for k, p in found[1 : 1 + SHOWN_ALTERNATIVES]),
        printed,
        agrees,
        inflection_of(melody, key),
        "; ".join(remarks),
    )


def same_key(one: LocalKey, other: LocalKey) -> bool:
    """Whether two keys are one under two names of a mode."""
    return one.tonic_fifths == other.tonic_fifths and MODES[one.mode] == MODES.get(
        other.mode
    )


def sixth_remark(melody: Melody, key: Key) -> str:
    """Whether nothing tells minor from dorian."""
    if key.mode not in {"minor", "dorian"} or not melody.fifths:
        return ""
    degrees = {fifths - key.tonic_fifths for fifths in melody.fifths}
    if degrees & {3, -4}:
        return ""
    return f"minor or dorian on {pitch_class_name(key.tonic_fifths)}: there is no sixth"


def inflection_of(melody: Melody, key: Key) -> str:
    """Which minor: by the sounding time of the raised 6th and 7th."""
    if key.mode != "minor" or not melody.fifths:
        return ""
    time = dict.fromkeys((-4, 3, -2, 5), 0)
    for fifths, ticks in zip(melody.fifths, melody.duration_ticks, strict=True):
        if fifths - key.tonic_fifths in time:
            time[fifths - key.tonic_fifths] += ticks
    if time[5] <= time[-2]:
        return "natural" if time[-2] or time[-4] else ""
    return "melodic" if time[3] > time[-4] else "harmonic"


def nothing_said(melody: Melody, why: str) -> KeyReading:
    """A reading that says why there is no key."""
    return KeyReading(NO_KEY, 0.0, "none", (), melody.key, None, "", why)
