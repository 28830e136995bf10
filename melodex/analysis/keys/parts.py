"""What part writing tells of its keys beyond the cells: minor, how it begins and ends.

Conventions: all is common practice, no source. Old signatures of minor often have a flat
less, as dorian has; music whose fifth degree has a major third where it leads home is in
minor all the same. A piece that begins or ends on the tonic chord of its home key is at
home there, also where the chords beside it would do in another key; at the end of minor
that chord may be major, a Picardy third. The relative key has all chords of the home key:
where the tonic of the home key sounds as long as its own, it is no more than a chord of it.
A bar or so of a far key, with no cadence in it, is a colour of the key around it.

Contents: in_minor, at_home, with_relatives_at_home, without_glances.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from operator import itemgetter

from melodex.analysis.harmony.chords import DIMINISHED, Chord
from melodex.analysis.harmony.roles import LEADING_TONE
from melodex.analysis.keys.home import MINOR_MODES, Home
from melodex.analysis.keys.spans import BarNumbers, KeySpan, merged
from melodex.melody import Key, KeyChange

__all__ = ["at_home", "in_minor", "with_relatives_at_home", "without_glances"]

FEWEST_LEADING = 2
LONGEST_EDGE = 0.25
"""A first or last key that holds no longer than this part of a piece gives way to the
home key, where the first or last chord is its tonic. Our choice."""
GLANCE_BARS, FAR_SIGNS = 2, 3
"""Bars that a centre so many signs from the key on both sides of it has to last, unless a
cadence tells it. Madrigals go through nearer keys as fast; our choice."""
MINOR_ABOVE = 3
"""From a major tonic to that of its relative minor, in fifths."""


def in_minor(home: Home, heard: Sequence[Chord], printed: KeyChange | None) -> Home:
    """The home key, minor for dorian where the chords have the leading note.

    A dorian that is printed in words stays.
    """
    if home.key.mode != "dorian" or (printed and printed.key.mode == "dorian"):
        return home
    tonic = home.key.tonic_fifths
    leading = sum(leads_to(chord, tonic) for chord in heard)
    plain = sum(c.root_fifths == tonic + 1 and -3 in c.degrees for c in heard)
    if leading < max(FEWEST_LEADING, plain):
        return home
    return replace(home, key=Key(tonic, "minor"))


def at_home(
    spans: Sequence[KeySpan],
    placed: Sequence[tuple[int, Chord]],
    home: Key,
    bars: BarNumbers,
) -> list[KeySpan]:
    """The spans, the first and the last at home where their chord is its tonic.

    Of a first one on another tonic that a cadence in it tells, no more than that chord.

    Parameters
    ----------
    spans : sequence of KeySpan
        Of one stretch, in order.
    placed : sequence of (int, Chord)
        Onsets in ticks and chords of the stretch, in order.
    home : Key
        In which the stretch is at home.
    bars : BarNumbers
        Of the piece.
    """
    found = list(spans)
    if not found:
        return found
    longest = LONGEST_EDGE * (found[-1].end_ticks - found[0].onset_ticks)
    tonic, mode = home.tonic_fifths, home.mode
    for place, picardy in ((0, False), (-1, True)):
        span, chord = found[place], placed[place][1]
        if span.end_ticks - span.onset_ticks > longest or not is_home(chord, home, picardy):
            continue
        ours = replace(span, tonic_fifths=tonic, mode=mode)
        if place == 0 and span.tonic_fifths != tonic and has_cadence(span, placed):
            turns = next((t for t, other in placed if other != chord), span.end_ticks)
            ours = replace(ours, end_ticks=turns, last_bar=bars.at(turns - 1))
            found[0] = replace(span, onset_ticks=turns, first_bar=bars.at(turns))
            found.insert(0, ours)
        else:
            found[place] = ours
    return merged(found)


def has_cadence(span: KeySpan, placed: Sequence[tuple[int, Chord]]) -> bool:
    """Whether something leads home in a span, the chord before it counted."""
    onset = itemgetter(0)
    first = max(bisect_left(placed, span.onset_ticks, key=onset) - 1, 0)
    last = bisect_left(placed, span.end_ticks, key=onset)
    row = [chord for _, chord in placed[first:last]]
    return any(leads_home(here, after, span.key) for here, after in pairwise(row))


def with_relatives_at_home(
    spans: Sequence[KeySpan], placed: Sequence[tuple[int, Chord]], home: Key
) -> list[KeySpan]:
    """The spans, those in the relative key at home where they stay at home as long.

    Parameters
    ----------
    spans : sequence of KeySpan
        Of one stretch, in order.
    placed : sequence of (int, Chord)
        Onsets in ticks and chords of the stretch, in order.
    home : Key
        In which the stretch is at home.
    """
    onsets = [onset for onset, _ in placed]
    found = []
    for span in spans:
        if is_relative(span.key, home):
            first = max(bisect_right(onsets, span.onset_ticks) - 1, 0)
            last = bisect_left(onsets, span.end_ticks)
            held = {home: 0, span.key: 0}
            for place in range(first, last):
                onset, chord = placed[place]
                stop = min([*onsets[place + 1 : place + 2], span.end_ticks])
                for key in held:
                    if is_home(chord, key, picardy=False):
                        held[key] += stop - max(onset, span.onset_ticks)
            if held[home] >= held[span.key]:
                span = replace(span, mode=home.mode, tonic_fifths=home.tonic_fifths)
        found.append(span)
    return merged(found)


def without_glances(
    spans: Sequence[KeySpan], placed: Sequence[tuple[int, Chord]], bar_ticks: int
) -> list[KeySpan]:
    """The spans, those taken for the key around them that only glance at another one.

    They last less than two bars between two of one key, from which they are three signs
    away or more, and nothing leads home in them.

    Parameters
    ----------
    spans : sequence of KeySpan
        Of one stretch, in order.
    placed : sequence of (int, Chord)
        Onsets in ticks and chords of the stretch, in order.
    bar_ticks : int
        How long a bar lasts.
    """
    found = list(spans)
    for place in range(1, len(spans) - 1):
        before, span, after = spans[place - 1 : place + 2]
        short = span.end_ticks - span.onset_ticks < GLANCE_BARS * bar_ticks
        apart = abs(span.key.signature_fifths - before.key.signature_fifths)
        if not short or before.key != after.key or apart < FAR_SIGNS:
            continue
        if not has_cadence(span, placed):
            found[place] = replace(span, mode=before.mode, tonic_fifths=before.tonic_fifths)
    return merged(found)


def leads_home(chord: Chord, following: Chord, key: Key) -> bool:
    """Whether a V or a leading-note chord goes to the tonic of a key."""
    return leads_to(chord, key.tonic_fifths) and is_home(following, key, picardy=False)


def leads_to(chord: Chord, tonic_fifths: int) -> bool:
    """Whether a chord has the leading note of a tonic: as its V, or on that note."""
    above = chord.root_fifths - tonic_fifths
    if above == 1:
        return 4 in chord.degrees
    return above == LEADING_TONE and chord.family in DIMINISHED


def is_relative(key: Key, home: Key) -> bool:
    """Whether a key is the relative major or minor of another."""
    apart = key.tonic_fifths - home.tonic_fifths
    minor, at_home = key.mode in MINOR_MODES, home.mode in MINOR_MODES
    return (minor, at_home, apart) in {
        (True, False, MINOR_ABOVE),
        (False, True, -MINOR_ABOVE),
    }


def is_home(chord: Chord, home: Key, picardy: bool) -> bool:
    """Whether a chord is the tonic triad of a key, major in minor if that may be."""
    if chord.root_fifths != home.tonic_fifths:
        return False
    third = -3 if home.mode in MINOR_MODES else 4
    return third in chord.degrees or (picardy and chord.family == "major")
