"""The key of a piece as it is told, with its certainty, beside what is printed.

Conventions: the headline is one of the key centres. Common practice, no source: harmonic
minor raises the 7th, melodic minor the 6th with it; dorian has a natural 6th.

Contents: KeyReading, headline, nothing_said.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from melodex.analysis.harmony.chords import parse_chords
from melodex.analysis.keys.home import NO_KEY, same_key
from melodex.analysis.keys.song.idioms import PHRYGIAN
from melodex.melody import Key, Melody, pitch_class_name

if TYPE_CHECKING:
    from melodex.analysis.keys.spans import KeySpan

__all__ = ["KeyReading", "headline", "nothing_said"]

SHOWN_ALTERNATIVES = 3
OPENING_SHARE, CLOSING_SHARE = 0.25, 0.1
"""What the first and the last key centre count beyond their length, of the whole piece:
a piece is in the key that it mostly keeps to, and begins and ends in. Our choice."""


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
        ``signature`` where a printed signature took part; or a profile.
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
    idiom : str
        ``blues``, ``minor blues`` or one of :data:`PHRYGIAN` where it is one; else empty.
    """

    key: Key
    certainty: float
    method: str
    alternatives: tuple[tuple[Key, float], ...] = ()
    printed: Key = NO_KEY
    agrees_with_printed: bool | None = None
    inflection: str = ""
    remark: str = ""
    idiom: str = ""


def headline(
    melody: Melody,
    spans: Sequence[KeySpan],
    others: Sequence[tuple[Key, float]],
    remark: str,
    idiom: str = "",
    home: Key | None = None,
) -> KeyReading:
    """The key of a whole piece, one of its key centres.

    Parameters
    ----------
    melody : Melody
        The piece.
    spans : sequence of KeySpan
        At least one.
    others : sequence of (Key, float)
        Other keys that it might be in, with their probabilities.
    remark : str
        What is to be said of it.
    idiom : str, optional
        As in :class:`KeyReading`.
    home : Key, optional
        The key that the opening is at home in; it is the headline if it is a centre.
    """
    key = home if any(span.key == home for span in spans) and home else chosen_of(spans)
    mine = [span for span in spans if span.key == key]
    length = sum(span.end_ticks - span.onset_ticks for span in mine)
    certainty = sum(s.certainty * (s.end_ticks - s.onset_ticks) for s in mine)
    printed = melody.printed_key
    # A key that is printed further on is printed too.
    meant = any(same_key(key, change.key) for change in melody.keys)
    if idiom in PHRYGIAN:
        phrygian = Key(key.tonic_fifths, "phrygian")
        meant = meant or any(same_key(phrygian, change.key) for change in melody.keys)
    agrees = None if printed.mode == "none" else meant
    remarks = [remark] if remark else []
    said = bool(melody.keys) and melody.keys[0].stated
    if agrees is False and (said or key.signature_fifths != printed.signature_fifths):
        remarks.insert(
            0, f"printed as {printed}" if said else "only a signature is printed"
        )
    if about_sixth := sixth_remark(melody, key):
        remarks.append(about_sixth)
    return KeyReading(
        key,
        round(certainty / max(length, 1), 3),
        mine[0].method.removesuffix(", printed change"),
        tuple((k, round(p, 3)) for k, p in others if k != key)[:SHOWN_ALTERNATIVES],
        printed,
        agrees,
        inflection_of(melody, key),
        "; ".join(remarks),
        idiom,
    )


def chosen_of(spans: Sequence[KeySpan]) -> Key:
    """The key centre that stands for the whole piece; of equals the earlier one.

    The tonic comes first, then the mode in which it is heard first.
    """
    whole = spans[-1].end_ticks - spans[0].onset_ticks
    held: dict[int, float] = defaultdict(float)
    for span in spans:
        held[span.tonic_fifths] += span.end_ticks - span.onset_ticks
    held[spans[0].tonic_fifths] += OPENING_SHARE * whole
    held[spans[-1].tonic_fifths] += CLOSING_SHARE * whole
    tonic = max(held, key=lambda fifths: held[fifths])
    return next(span.key for span in spans if span.tonic_fifths == tonic)


def sixth_remark(melody: Melody, key: Key) -> str:
    """Whether nothing tells minor from dorian."""
    if key.mode not in {"minor", "dorian"} or not melody.fifths:
        return ""
    sixths = {key.tonic_fifths + 3, key.tonic_fifths - 4}
    if not sixths.isdisjoint(melody.fifths):
        return ""
    names = {symbol.text for symbol in melody.chords}
    if any(sixths.intersection(chord.note_fifths) for chord in parse_chords(names)):
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
    return KeyReading(NO_KEY, 0.0, "none", (), melody.printed_key, None, "", why)
