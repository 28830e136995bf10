"""Which note of a chord lies in the bass, and when another comes there.

Conventions: only notes of the chord are its bass. A bass that rests for a while in its bar
is still heard, whatever sounds above; a voice that goes alone moves none; and one that the
chord does not have keeps the bass from moving where it takes most of the beat. A bass that
rests while a chord begins, and comes to its root before the next, has been it all along;
so has one that goes there from the seventh.

Contents: bass_of, late_root, new_bass.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from melodex.analysis.harmony.heard.slices import Heard

__all__ = ["bass_of", "late_root", "new_bass"]


def new_bass(
    heard: Heard, places: range, members: Mapping[int, int], under: int
) -> int | None:
    """The bass that a chord moves to in a beat, None where it keeps that which it has.

    Parameters
    ----------
    heard : Heard
    places : range
        The slices of the beat.
    members : mapping of int to int
        Columns of the notes of the chord, and their places on the line of fifths.
    under : int
        A slice in which the bass so far was heard.
    """
    line = int(heard.lowest_line[under])
    same_bar = heard.bar_end(heard.times[under]) > heard.times[places[0]]
    counted = [
        place
        for place in places
        if heard.together[place] > 1
        and not (same_bar and line >= 0 and not heard.is_sounding(line, place))
    ]
    bass = bass_of(heard, counted, members)
    if bass is None or members.get(int(heard.lowest[places[0]])) == bass:
        return bass
    whole = sum(float(heard.quarters[place]) for place in counted)
    has_it = [place for place in counted if members.get(int(heard.lowest[place])) == bass]
    lasting = sum(float(heard.quarters[place]) for place in has_it)
    return bass if 2 * lasting >= whole else None


def bass_of(heard: Heard, places: Iterable[int], members: Mapping[int, int]) -> int | None:
    """The member of a chord that is longest in the bass of some slices, or None."""
    lasting: dict[int, float] = {}
    for place in places:
        bass = members.get(int(heard.lowest[place]))
        if bass is not None and not heard.silent[place]:
            lasting[bass] = lasting.get(bass, 0.0) + float(heard.quarters[place])
    return max(lasting, key=lasting.__getitem__) if lasting else None


def late_root(heard: Heard, places: range, root: int, *, on_seventh: bool) -> bool:
    """Whether a line that rests at first has the root in the bass in the end.

    Parameters
    ----------
    heard : Heard
    places : range
        The slices of a chord.
    root : int
        Its column.
    on_seventh : bool
        Whether its seventh was the bass, which goes to the root no otherwise than to make
        a cadence of it, in whatever line.
    """
    last = max((place for place in places if not heard.silent[place]), default=None)
    if last is None or heard.sounding_lowest[last] != root:
        return False
    line = int(heard.lowest_line[last])
    return on_seventh or not heard.is_sounding(line, places[0])
