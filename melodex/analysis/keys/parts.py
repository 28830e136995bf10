"""What part writing tells of its keys beyond the cells: minor, how it begins and ends.

Conventions: all is common practice, no source. Old signatures of minor often have a flat
less, as dorian has; music whose fifth degree has a major third where it leads home is in
minor all the same. A piece that begins or ends on the tonic chord of its home key is at
home there, also where the chords beside it would do in another key; at the end of minor
that chord may be major, a Picardy third.

Contents: in_minor, at_home.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from melodex.analysis.harmony.chords import Chord
from melodex.analysis.keys.home import MINOR_MODES, Home
from melodex.analysis.keys.spans import KeySpan, merged
from melodex.melody import Key, KeyChange

__all__ = ["at_home", "in_minor"]

FEWEST_LEADING = 2
LONGEST_EDGE = 0.25
"""A first or last key that holds no longer than this part of a piece gives way to the
home key, where the first or last chord is its tonic. Our choice."""
DIMINISHED = frozenset({"diminished", "half-diminished"})


def in_minor(home: Home, heard: Sequence[Chord], printed: KeyChange | None) -> Home:
    """The home key, minor for dorian where the chords have the leading note.

    A dorian that is printed in words stays.
    """
    if home.key.mode != "dorian" or (printed and printed.key.mode == "dorian"):
        return home
    five, seven = home.key.tonic_fifths + 1, home.key.tonic_fifths + 5
    on_five = [chord for chord in heard if chord.root_fifths == five]
    leading = sum(4 in chord.degrees for chord in on_five)
    leading += sum(c.root_fifths == seven and c.family in DIMINISHED for c in heard)
    plain = sum(-3 in chord.degrees for chord in on_five)
    if leading < max(FEWEST_LEADING, plain):
        return home
    return replace(home, key=Key(home.key.tonic_fifths, "minor"))


def at_home(
    spans: Sequence[KeySpan], first: Chord, last: Chord, home: Key
) -> list[KeySpan]:
    """The spans, the first and the last at home where their chord is its tonic.

    Parameters
    ----------
    spans : sequence of KeySpan
        Of one stretch, in order.
    first, last : Chord
        What sounds at both ends of it.
    home : Key
        In which the stretch is at home.
    """
    found = list(spans)
    if not found:
        return found
    longest = LONGEST_EDGE * (found[-1].end_ticks - found[0].onset_ticks)
    for place, chord, picardy in ((0, first, False), (-1, last, True)):
        span = found[place]
        if span.end_ticks - span.onset_ticks <= longest and is_home(chord, home, picardy):
            found[place] = replace(span, mode=home.mode, tonic_fifths=home.tonic_fifths)
    return merged(found)


def is_home(chord: Chord, home: Key, picardy: bool) -> bool:
    """Whether a chord is the tonic triad of a key, major in minor if that may be."""
    if chord.root_fifths != home.tonic_fifths:
        return False
    third = -3 if home.mode in MINOR_MODES else 4
    return third in chord.degrees or (picardy and chord.family == "major")
