"""Stretches of one key: how sure each is, how it is reached.

Conventions: spans follow one another without a gap, in ticks and in printed bars; a
change inside a bar counts for the bar it happens in. Names of keys reached are common
practice, no source.

Contents: KeySpan, BarNumbers, span_of, merged, described, passage_words.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from melodex.analysis.harmony.chords import Chord
from melodex.melody import MODES, Key, Melody

__all__ = ["BarNumbers", "KeySpan", "described", "merged", "passage_words", "span_of"]


@dataclass(frozen=True, slots=True)
class KeySpan:
    """A stretch in one key.

    Parameters
    ----------
    first_bar, last_bar : int
        As printed.
    onset_ticks, end_ticks : int
        Where it starts, and where it ends.
    tonic_fifths : int
        On the line of fifths.
    mode : str
        A name in :data:`melodex.melody.MODES`.
    certainty : float
        Mean probability of the key over the stretch, 0 to 1.
    method : str
        ``melody``, ``chords``, ``melody and chords``, with ``signature`` or
        ``printed change`` where those took part.
    how : str
        How the key is reached, such as ``start`` or ``to the relative minor``.
    """

    first_bar: int
    last_bar: int
    onset_ticks: int
    end_ticks: int
    tonic_fifths: int
    mode: str
    certainty: float
    method: str
    how: str = "start"

    @property
    def key(self) -> Key:
        """Tonic and mode together."""
        return Key(self.tonic_fifths, self.mode)


class BarNumbers:
    """Printed numbers of the bars of a melody by place, looked up without a scan."""

    def __init__(self, melody: Melody) -> None:
        self.onsets = [bar.onset_ticks for bar in melody.bars] or list(melody.onset_ticks)
        self.numbers = [bar.number for bar in melody.bars] or list(melody.bar)

    def at(self, onset_ticks: int) -> int:
        """The number of the bar at a place; 1 where there are no bars."""
        if not self.numbers:
            return 1
        return self.numbers[max(bisect_right(self.onsets, onset_ticks) - 1, 0)]


def span_of(
    bars: BarNumbers, start: int, end: int, key: Key, certainty: float, method: str
) -> KeySpan:
    """A span with the printed bars that it lies in."""
    first, last = bars.at(start), bars.at(max(end - 1, start))
    return KeySpan(
        first, last, start, end, key.tonic_fifths, key.mode, round(certainty, 3), method
    )


def merged(spans: list[KeySpan]) -> list[KeySpan]:
    """Neighbours in one key made one, their certainty weighed by length."""
    kept: list[KeySpan] = []
    for span in spans:
        if kept and kept[-1].key == span.key:
            before = kept[-1]
            one, other = (
                before.end_ticks - before.onset_ticks,
                span.end_ticks - span.onset_ticks,
            )
            both = (before.certainty * one + span.certainty * other) / max(one + other, 1)
            kept[-1] = replace(
                before,
                last_bar=span.last_bar,
                end_ticks=span.end_ticks,
                certainty=round(both, 3),
            )
        else:
            kept.append(span)
    return kept


def described(
    spans: Sequence[KeySpan], placed: Sequence[tuple[int, Chord]]
) -> tuple[KeySpan, ...]:
    """The spans with words on how each is reached."""
    told = list(spans[:1])
    onsets = [onset for onset, _ in placed]
    for before, after in pairwise(spans):
        words = passage_words(before.key, after.key)
        words += by_what(before.key, after, placed, onsets)
        told.append(replace(after, how=words))
    return tuple(told)


STEPS = {
    1: "to the dominant",
    -1: "to the subdominant",
    2: "up a whole tone",
    -2: "down a whole tone",
    3: "down a minor third",
    -3: "up a minor third",
    4: "up a major third",
    -4: "down a major third",
    5: "down a semitone",
    -5: "up a semitone",
    6: "by a tritone",
    -6: "by a tritone",
    7: "up a chromatic semitone",
    -7: "down a chromatic semitone",
}


def passage_words(before: Key, after: Key) -> str:
    """Say in words how far one key is from the one before.

    Examples
    --------
    >>> passage_words(Key(0, "minor"), Key(-3, "major"))
    'to the relative major'
    >>> passage_words(Key(-1, "major"), Key(1, "major"))
    'up a whole tone'
    """
    step = after.tonic_fifths - before.tonic_fifths
    if step % 12 == 0 and step:
        return "to the same tonic, respelled"
    plain = {before.mode, after.mode} == {"major", "minor"}
    if step == 0:
        return f"to the parallel {after.mode}" if plain else f"to {after.mode}, same tonic"
    if plain and before.signature_fifths == after.signature_fifths:
        return f"to the relative {after.mode}"
    words = STEPS[step] if step in STEPS else f"{STEPS[(step + 5) % 12 - 5]}, respelled"
    return words if before.mode == after.mode else f"{words}, into {after.mode}"


def by_what(
    before: Key,
    span: KeySpan,
    placed: Sequence[tuple[int, Chord]],
    onsets: Sequence[int],
) -> str:
    """Whether a chord of both keys stands at the turn; nothing where no chord does."""
    at = bisect_right(onsets, span.onset_ticks) - 1
    if at < 1:
        return ""
    for _, chord in (placed[at], placed[at - 1]):
        if belongs(chord, before) and belongs(chord, span.key):
            return f", by a shared chord ({chord.text})"
    return ", direct"


def belongs(chord: Chord, key: Key) -> bool:
    """Whether a chord is diatonic in a key, the raised 7th of minor allowed."""
    low = key.tonic_fifths - 1 - MODES[key.mode]
    scale = set(range(low, low + 7))
    if key.mode == "minor" and key.tonic_fifths + 5 in chord.note_fifths:
        scale |= {key.tonic_fifths + 5}
        scale -= {key.tonic_fifths - 2}
    return scale.issuperset(chord.note_fifths)
