"""Which notes, chords and bars of a passage a set is about.

Conventions: indexes are those of the passage that is shown. What is meant is found in the
printed notes and symbols by :mod:`~melodex.tasks.lesson.asking.proofs`; only in which bars
to look comes from the gathering.

Contents: Focus, NoteWish, focus_of, note_wish, hits_of.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from melodex.analysis.harmony.chords import parse_chords
from melodex.errors import AnalysisError
from melodex.tasks.gather.names import degree_named, numeral_named
from melodex.tasks.lesson.asking.proofs import (
    degree_by_letters,
    same_number,
    sounding_over,
)
from melodex.tasks.lesson.asking.records import Shown

__all__ = ["Focus", "NoteWish", "focus_of", "hits_of", "note_wish"]

NUMERAL_HEAD = re.compile(r"([b#]{0,2}[IViv]+)([^/]*)(?:/(.+))?")


@dataclass(frozen=True, slots=True)
class NoteWish:
    """A melody note on a chord that was wished for: degree, and numeral or symbol."""

    degree: str
    chord: str
    is_symbol: bool


@dataclass(frozen=True, slots=True)
class Focus:
    """What is meant in a passage: pairs of note and chord, chords, and bars."""

    hits: tuple[tuple[int, int], ...] = ()
    chords: tuple[int, ...] = ()
    bars: tuple[int, ...] = ()


def note_wish(asked: str) -> NoteWish | None:
    """Read a wish such as ``b9 on V`` or ``7 on Cm``."""
    degree, found, chord = (part.strip() for part in asked.partition(" on "))
    if not found:
        return None
    try:
        named, numeral = degree_named(degree), numeral_named(chord)
    except AnalysisError:
        return None
    symbol = NUMERAL_HEAD.fullmatch(numeral) is None
    return NoteWish(named, chord if symbol else numeral, symbol)


def is_wished(wish: NoteWish, shown: Shown, place: int) -> bool:
    """Whether a chord of a passage is the one that was wished for."""
    if wish.is_symbol:
        one, other = parse_chords([wish.chord, shown.excerpt.chords[place].text])
        return (one.root_fifths, one.family) == (other.root_fifths, other.family)
    asked = NUMERAL_HEAD.fullmatch(wish.chord)
    here = NUMERAL_HEAD.fullmatch(shown.labels.numerals[place])
    if asked is None or here is None:
        return False
    more = asked[2].strip()
    return asked[1] == here[1] and asked[3] == here[3] and here[2].startswith(more)


def hits_of(wish: NoteWish, shown: Shown) -> tuple[tuple[int, int, bool], ...]:
    """Note, chord, and whether it is held over, of each note that is meant."""
    chords = parse_chords(chord.text for chord in shown.excerpt.chords)
    found = []
    for note, place, held in sounding_over(shown.excerpt):
        chord = chords[place]
        if not chord.sounds or not is_wished(wish, shown, place):
            continue
        degree = degree_by_letters(chord.root_fifths, shown.excerpt.fifths[note])
        if same_number(degree, wish.degree):
            found.append((note, place, held))
    return tuple(found)


def focus_of(shown: Shown) -> Focus:
    """Return what is meant in a passage; nothing where no gathering says it."""
    topic = shown.labels.topic
    if topic is None:
        return Focus()
    first, last = shown.excerpt.bar[0], shown.excerpt.bar[-1]
    bars = sorted(
        {
            bar
            for start, end in topic.spans
            for bar in range(max(start, first), min(end, last) + 1)
        }
    )
    chords = tuple(
        place for place, chord in enumerate(shown.excerpt.chords) if chord.bar in bars
    )
    hits: tuple[tuple[int, int], ...] = ()
    if topic.kind == "note_on_chord" and (wish := note_wish(topic.asked)):
        hits = tuple((note, place) for note, place, _ in hits_of(wish, shown))
        chords = tuple(dict.fromkeys(place for _, place in hits))
    return Focus(hits, chords, tuple(bars))
