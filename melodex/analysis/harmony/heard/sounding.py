"""Chords out of notes: what harmony a score sounds where no symbols are printed.

Conventions: time is cut into slices at every onset and every end of a note. A chord is a
root on the line of fifths and a kind of :data:`KINDS`; each slice gives each chord points
for the notes that sound in it, entering a chord costs points, most where the beat is
weak, and the row of chords with the most points in all is found exactly. A note that is
left by a leap, as in a broken chord, sounds on in the ear until its register moves or
the bar ends, with :data:`ECHO` of its weight; the lowest note of the bar so far is the
bass. What ornaments its line, comes early or is suspended weighs less (``manners``). Notes
that a chord does not have are passing, neighbouring or held over. Printed symbols win: this
is asked only where there are none.

References
----------
The best path is that of ``path``. The points are
fitted by ``benchmarks/analysis/harmony/sounding.py`` on half of the chorales and madrigals
with human analyses in music21's corpus and on broken chords made there.

Contents: KINDS, NO_CHORD, SoundingChord, sounding_chords, harmonised.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import groupby
from typing import TYPE_CHECKING

from melodex.analysis.harmony.heard.basses import bass_of, late_root, new_bass
from melodex.analysis.harmony.heard.path import Ways, best_row
from melodex.analysis.harmony.heard.slices import REACH, ROOTS_AROUND, Heard
from melodex.analysis.harmony.heard.surroundings import expected
from melodex.analysis.texture.words import told_lines
from melodex.melody import ChordSymbol, Melody, pitch_class_name

if TYPE_CHECKING:
    from numpy import ndarray

    from melodex.melody.texture import Texture
    from melodex.reading.result import ReadTune

__all__ = ["KINDS", "NO_CHORD", "SoundingChord", "harmonised", "sounding_chords"]

KINDS: dict[str, tuple[int, ...]] = {
    "": (0, 4, 1),
    "m": (0, -3, 1),
    "dim": (0, -3, -6),
    "aug": (0, 4, 8),
    "7": (0, 4, 1, -2),
    "maj7": (0, 4, 1, 5),
    "m7": (0, -3, 1, -2),
    "m7b5": (0, -3, -6, -2),
    "dim7": (0, -3, -6, -9),
}
"""What stands after the root, and its root, third, fifth and seventh in fifths."""

ENTERING = (0.11, 0.16, -0.34, -1.2, -0.11, -1.24, -0.16, -0.14, -0.57)
"""Points for entering a chord of each of :data:`KINDS`."""

MEMBERS = (1.18, 0.86, 0.89, 0.2)
"""Points a quarter for each note that is root, third, fifth or seventh."""

OTHER = -1.35
"""Points a quarter for each note that the chord does not have."""

HELD = 0.66
"""Weight of a note that began in an earlier slice."""

LIGHTER = (0.85, 1.0, 0.46, 0.66)
"""Weight of a note of each of :data:`~melodex.analysis.harmony.heard.manners.MANNERS`."""

ECHO = 0.14
"""Weight of a note that has ended and sounds on in the ear."""

KEYED = 0.21
"""Weight of how common a chord is in the key around, a quarter."""

KEYED_ENTERING = 0.09
"""Weight of the same where a chord is entered."""

ECHO_OTHER = 1.18
"""How much of that weight counts where the chord does not have the note."""

AHEAD_QUARTERS, FEW_NOTES = 1.5, 3
"""How long one waits for a third or seventh in the same bar, where fewer notes sound at
once, as in a broken chord."""

ROOT_IN_BASS, NO_ROOT, NO_THIRD, NO_SEVENTH = 0.08, -0.09, -0.3, -1.1
"""Points a quarter where the lowest note is the root, where no root or third is heard, and
where a chord with a seventh is heard without it."""

ALONE = 0.4
"""Weight of a slice in which one note alone is heard."""

CHANGE, ANYWHERE = 0.7, 0.12
"""Changing chord costs ``CHANGE / (ANYWHERE + strength)``."""

STRENGTHS = (0.91, 0.46, 0.43, 0.21, 0.2)
"""Strength of the downbeat, the middle of the bar, a beat, its half, and elsewhere."""

FALLING_FIFTH, SAME_ROOT, LEADING = 0.34, 0.22, 0.5
"""Points given back where the root falls by a fifth, where it stays, and where that of a
diminished chord goes up a half step, as vii° does to I."""

SEVENTH = -2
"""Minor seventh above a root, in fifths."""

SIXTH, RESPELLED = 3, 0.4
"""Major sixth above a root, in fifths, and how many points less it has as a seventh."""

AUGMENTED_SIXTH = 10
"""From the lowest note of an augmented sixth to the highest, in fifths."""

MOST_SLICES = 20_000
"""Beyond this many a piece is left without chords: a thousand bars of sixteenths."""

SURE_AT_ONCE, SURE_A_POINT = -0.5, 0.85
"""How sure a chord is without a lead, and by how much more for each point of it, on the
logistic scale: set by hand so that of chords called so sure about so many are right, seen
on both halves of the chorales and on broken chords
(``benchmarks.analysis.harmony.sounding``)."""

UNISON_DOUBT, ROOT_DOUBT = 0.6, 0.25
"""How much less sure a chord is where all lines have the same note, and where that is its
root; our choice."""

LEAST_OWN = 0.62
"""Share of the notes that sound, by their time, that a chord must have to be sure; our
choice."""

MOSTLY, DOUBTFUL, NO_CHORD = 0.75, 0.5, "N.C."
"""Share of its time in which a chord is no more than one note in all lines; how sure it is
at most where several such in a row are a line and no chords; and how that is written."""

FULL, THIRDLESS = 0.9, 0.5
"""Share of own notes below which a chord without its third is no open fifth, and by how
much it is less sure, as a seventh chord without one is; our choice."""

SEVENTHS = frozenset(kind for kind, degrees in KINDS.items() if len(degrees) > 3)

LEADERS = tuple(list(KINDS).index(kind) for kind in ("dim", "m7b5", "dim7"))
SEVEN = LEADERS[-1]
DOMINANT_SEVENTH = list(KINDS).index("7")

STATES = (2 * ROOTS_AROUND + 1) * len(KINDS)


@dataclass(frozen=True, slots=True)
class SoundingChord:
    """A chord that was worked out.

    Parameters
    ----------
    onset_ticks, end_ticks : int
        From where to where it holds.
    root_fifths, bass_fifths : int
        Root and lowest note of the chord on the line of fifths.
    kind : str
        One of :data:`KINDS`.
    certainty : float
        How often a chord that leads the next best by so much is the one that a musician
        hears, 0 to 1.
    other : str
        The next best chord of another root or triad, as a symbol.
    is_italian : bool
        Whether it is an augmented sixth whose fifth is nowhere heard.
    in_unison : bool
        Whether all lines have one note alone for most of its time.
    """

    onset_ticks: int
    end_ticks: int
    root_fifths: int
    bass_fifths: int
    kind: str
    certainty: float = 1.0
    other: str = ""
    is_italian: bool = False
    in_unison: bool = False

    @property
    def text(self) -> str:
        """The chord as a symbol, such as ``G7/B``."""
        over = self.bass_fifths != self.root_fifths
        bass = f"/{pitch_class_name(self.bass_fifths)}" if over else ""
        left_out = "no5" if self.is_italian else ""
        return f"{pitch_class_name(self.root_fifths)}{self.kind}{left_out}{bass}"


def harmonised(read: ReadTune) -> Melody:
    """The melody of a tune that was read, over chords worked out where none are printed.

    Parameters
    ----------
    read : ReadTune
        Its ``texture`` is there where chords are wanted.
    """
    if read.texture is None:
        return read.melody
    melody = read.melody
    if not read.texture.named:
        melody = over_worked_chords(read.texture, melody)
    return melody.with_worked_lines(told_lines(read.texture, melody))


def over_worked_chords(texture: Texture, melody: Melody) -> Melody:
    """A melody over the chords that all notes of its piece make."""
    chords = sounding_chords(texture, melody)
    if not chords:
        return melody
    starts = [bar.onset_ticks for bar in melody.bars]
    numbers = [bar.number for bar in melody.bars]

    def number_at(onset: int) -> int:
        return numbers[max(bisect_right(starts, onset) - 1, 0)] if numbers else 1

    symbols: list[ChordSymbol] = []
    for unison, run in groupby(
        chords, lambda chord: chord.in_unison and chord.certainty < DOUBTFUL
    ):
        row = list(run)
        first = row[0].onset_ticks
        if unison and len({chord.root_fifths for chord in row}) > 1:
            symbols.append(ChordSymbol(NO_CHORD, number_at(first), first))
            continue
        symbols += (
            ChordSymbol(
                chord.text,
                number_at(chord.onset_ticks),
                chord.onset_ticks,
                round(chord.certainty, 2),
                chord.other,
            )
            for chord in row
        )
    return melody.with_worked_chords(tuple(symbols))


def sounding_chords(texture: Texture, melody: Melody) -> tuple[SoundingChord, ...]:
    """Work out the chords that all notes of a piece make together.

    Parameters
    ----------
    texture : Texture
        All its notes.
    melody : Melody
        From the same piece, for its bars and metres.

    Returns
    -------
    tuple of SoundingChord
        One after the other; empty where nothing sounds together, or where there are
        more than :data:`MOST_SLICES` slices.

    Examples
    --------
    >>> from melodex.melody.texture import SoundingNote, Texture
    >>> notes = [SoundingNote(0, 40320, midi, fifths)
    ...          for midi, fifths in ((47, 5), (55, 1), (62, 2), (65, -1))]
    >>> [chord.text for chord in sounding_chords(Texture.of(notes, ["piano"]), Melody())]
    ['G7/B']
    """
    if not texture.is_chordal:
        return ()
    heard = Heard(texture.notes, melody)
    if len(heard.times) > MOST_SLICES:
        return ()
    return tuple(chords_of(heard, *best_path(heard)))


def chords_of(
    heard: Heard, path: Sequence[int], points: ndarray, entered: ndarray
) -> list[SoundingChord]:
    """The chords of a path, parted where their bass moves on a beat.

    ``points`` of each chord in each slice and ``entered``, those for entering it there,
    say how sure each chord is.
    """
    found: list[SoundingChord] = []
    first = 0
    for place in range(1, len(path) + 1):
        if place < len(path) and path[place] == path[first]:
            continue
        begin = first
        while begin < place and heard.silent[begin]:
            begin += 1
        whole = points[first:place].sum(axis=0) + entered[first]
        sure, other = certainty_of(whole, path[first], heard.middle)
        sure *= 1 - unison_doubt(heard, path[first], first, place)
        sure *= share_left(heard, path[first], first, place)
        if found and begin > first:
            # What sounded goes on through a silence.
            found[-1] = replace(found[-1], end_ticks=heard.times[begin])
        if begin < place:
            told = over_basses(heard, path[first], begin, place, (sure, other))
            if is_italian(heard, path[first], begin, place):
                told = [replace(chord, is_italian=True) for chord in told]
            if heard.in_unison(begin, place) >= MOSTLY:
                told = [replace(chord, in_unison=True) for chord in told]
            found += told
        first = place
    return found


def share_left(heard: Heard, state: int, first: int, end: int) -> float:
    """How sure a chord still is for the notes that are not its own, or that it lacks."""
    own = heard.share_of(first, end, list(members_of(heard, state)))
    # Where most of what sounds is beside it, as in a cluster, there is no chord.
    left = own if own < LEAST_OWN else 1.0
    asks_third = own < FULL or list(KINDS)[state % len(KINDS)] in SEVENTHS
    lacks_third = asks_third and not has_third(heard, state, first, end)
    return left * (THIRDLESS if lacks_third else 1.0)


def has_third(heard: Heard, state: int, first: int, end: int) -> bool:
    """Whether the third of a chord is heard in some slices."""
    _, third, *_ = members_of(heard, state)
    return bool(heard.lasting[end][third] > heard.lasting[first][third])


def is_italian(heard: Heard, state: int, first: int, end: int) -> bool:
    """Whether some slices have the augmented sixth of a chord and no fifth of it."""
    if state % len(KINDS) != DOMINANT_SEVENTH:
        return False
    root = state // len(KINDS) - ROOTS_AROUND + REACH
    quarters = heard.lasting[end] - heard.lasting[first]
    sixth = root + AUGMENTED_SIXTH
    return sixth <= 2 * REACH and quarters[sixth] > 0 and not quarters[root + 1]


def members_of(heard: Heard, state: int) -> dict[int, int]:
    """The notes of a chord by their columns, the root first."""
    root_place, kind = divmod(state, len(KINDS))
    root = root_place - ROOTS_AROUND + heard.middle
    degrees = list(KINDS.values())[kind]
    return {heard.column(root + degree): root + degree for degree in degrees}


def unison_doubt(heard: Heard, state: int, first: int, end: int) -> float:
    """How much less sure a chord is for the time in which all lines have one note."""
    root = state // len(KINDS) - ROOTS_AROUND + REACH
    on_root = all(heard.sounding_lowest[place] == root for place in range(first, end))
    return (ROOT_DOUBT if on_root else UNISON_DOUBT) * heard.in_unison(first, end)


def certainty_of(whole: ndarray, state: int, middle: int) -> tuple[float, str]:
    """How sure a chord is by its lead over the next best, and what that is.

    ``whole`` are the points of every chord for the time that it holds. A chord of the
    same root and triad, with a seventh or without, is no rival.
    """
    import math

    import numpy as np

    rivals = np.where(same_triad()[state], -np.inf, whole)
    rival = int(rivals.argmax())
    lead = float(whole[state] - rivals[rival])
    root, kind = divmod(rival, len(KINDS))
    name = pitch_class_name(root - ROOTS_AROUND + middle)
    exponent = min(max(SURE_AT_ONCE + SURE_A_POINT * lead, -30.0), 30.0)
    return 1 / (1 + math.exp(-exponent)), f"{name}{list(KINDS)[kind]}"


@lru_cache(maxsize=1)
def same_triad() -> ndarray:
    """Whether two chords have root and triad, or all notes, in common: (STATES, STATES)."""
    import numpy as np

    triads = [degrees[:3] for degrees in KINDS.values()]
    codes = np.array(
        [
            root * len(triads) + triads.index(triad)
            for root in range(2 * ROOTS_AROUND + 1)
            for triad in triads
        ]
    )
    same: ndarray = codes[:, None] == codes[None, :]
    # A diminished seventh has the notes of every other that lies a minor third from it.
    places = np.arange(STATES)
    roots, seven = places // len(KINDS), places % len(KINDS) == SEVEN
    alike = (roots[:, None] - roots[None, :]) % 3 == 0
    same |= alike & seven[:, None] & seven[None, :]
    return same


def over_basses(
    heard: Heard, state: int, first: int, end: int, certainty: tuple[float, str]
) -> list[SoundingChord]:
    """One chord over each of the basses that it has, from slice to slice."""
    root_place, kind_place = divmod(state, len(KINDS))
    root = root_place - ROOTS_AROUND + heard.middle
    kind = list(KINDS)[kind_place]
    own = members_of(heard, state)
    beats = [place for place in range(first, end) if place == first or heard.on_beat[place]]
    found: list[SoundingChord] = []
    under = first
    for begin, stop in zip(beats, [*beats[1:], end], strict=True):
        ends = heard.times[stop]
        if not found:
            bass = bass_of(heard, range(begin, stop), own)
        else:
            bass = new_bass(heard, range(begin, stop), own, under)
        if bass is not None:
            under = begin
        if found and bass in (None, found[-1].bass_fifths):
            found[-1] = replace(found[-1], end_ticks=ends)
            continue
        lowest = root if bass is None else bass
        where = heard.times[begin], ends
        found.append(SoundingChord(*where, root, lowest, kind, *certainty))
    under_it = range(under, end)
    column = heard.column(root)
    # A seventh that takes turns with the root goes on to the next chord.
    seventh = found[-1].bass_fifths - root == SEVENTH
    seventh = seventh and column not in heard.sounding_lowest[first:under]
    if found[-1].bass_fifths != root and late_root(
        heard, under_it, column, on_seventh=seventh
    ):
        found[-1] = replace(found[-1], bass_fifths=root)
    return on_their_roots(heard, found, end)


def on_their_roots(
    heard: Heard, found: Sequence[SoundingChord], end: int
) -> list[SoundingChord]:
    """The basses of a chord without a fifth that only takes turns with the root.

    As in a march or a waltz, where the bass is left for the chord above it, goes to the
    fifth and back to the root.
    """
    root = found[0].root_fifths
    after = int(heard.lowest[end]) if end < len(heard.lowest) else -1
    comes = [chord.bass_fifths == root for chord in found[1:]]
    comes.append(after == heard.column(root))
    kept: list[SoundingChord] = []
    for chord, root_comes in zip(found, comes, strict=True):
        if not kept:
            kept.append(chord)
            continue
        before = kept[-1]
        turns = chord.bass_fifths == root + 1 and before.bass_fifths == root and root_comes
        if (turns and is_left(heard, chord)) or before.bass_fifths == chord.bass_fifths:
            kept[-1] = replace(before, end_ticks=chord.end_ticks)
        else:
            kept.append(chord)
    return kept


def is_left(heard: Heard, chord: SoundingChord) -> bool:
    """Whether the bass of a chord is left for higher notes, and goes on in the ear."""
    places = range(heard.slice_at[chord.onset_ticks], heard.slice_at[chord.end_ticks])
    line = int(heard.lowest_line[places[0]])
    return line >= 0 and any(
        heard.lowest[place] != heard.sounding_lowest[place]
        or not heard.is_sounding(line, place)
        for place in places
    )


def points_of(heard: Heard, common: ndarray) -> ndarray:
    """Points of each chord in each slice, of shape (slices, STATES).

    ``common``, of the same shape, is how common each chord is in the key around.
    """
    import numpy as np

    member, third, seventh = members()
    weights = heard.weighed(LIGHTER, HELD)
    echoed = np.where(member < 0, member * ECHO_OTHER, member)
    points: ndarray = weights @ member + ECHO * (heard.echoing @ echoed)
    present = heard.struck + heard.held + heard.echoing
    broken = (heard.struck + heard.held > 0).sum(axis=1) < FEW_NOTES
    present += heard.coming(AHEAD_QUARTERS) * broken[:, None]
    points += NO_THIRD * (present @ third == 0)
    points += NO_SEVENTH * ((present @ seventh == 0) & seventh.any(axis=0))
    roots = np.arange(2 * ROOTS_AROUND + 1) - ROOTS_AROUND + REACH
    by_root = NO_ROOT * (present[:, roots] == 0)
    by_root += ROOT_IN_BASS * (heard.lowest[:, None] == roots)
    points.reshape(len(points), len(roots), -1)[:] += by_root[:, :, None]
    points += KEYED * common
    points *= heard.quarters[:, None]
    points[(present > 0).sum(axis=1) == 1] *= ALONE
    points[heard.silent] = 0
    return points


def members() -> tuple[ndarray, ndarray, ndarray]:
    """Points of each note in each chord, thirds and sevenths: (2 * REACH + 1, STATES)."""
    import numpy as np

    roots, kinds = np.arange(2 * ROOTS_AROUND + 1), len(KINDS)
    member = np.full((2 * REACH + 1, len(roots), kinds), OTHER)
    third, seventh = np.zeros_like(member), np.zeros_like(member)
    for kind, degrees in enumerate(KINDS.values()):
        for place, degree in enumerate(degrees):
            columns = roots - ROOTS_AROUND + degree + REACH
            member[columns, roots, kind] = MEMBERS[place]
            if place % 2:
                (third if place == 1 else seventh)[columns, roots, kind] = 1
    # The seventh of vii°7 may be written as the sixth, B for C flat over D.
    respelled = roots - ROOTS_AROUND + SIXTH + REACH
    member[respelled, roots, SEVEN] = MEMBERS[3] - RESPELLED
    seventh[respelled, roots, SEVEN] = 1
    # That of an augmented sixth is written as one, F sharp over A flat.
    sixth = np.minimum(roots - ROOTS_AROUND + AUGMENTED_SIXTH + REACH, 2 * REACH)
    within = sixth == roots - ROOTS_AROUND + AUGMENTED_SIXTH + REACH
    member[sixth[within], roots[within], DOMINANT_SEVENTH] = MEMBERS[3] - RESPELLED
    seventh[sixth[within], roots[within], DOMINANT_SEVENTH] = 1
    whole = (2 * REACH + 1, STATES)
    return member.reshape(whole), third.reshape(whole), seventh.reshape(whole)


def best_path(heard: Heard) -> tuple[list[int], ndarray, ndarray]:
    """The row of chords with the most points: a state for each slice.

    With it the points of each chord in each slice, and those for entering it there.
    """
    import numpy as np

    common = expected(heard, tuple(KINDS))
    points = points_of(heard, common)
    roots, kinds = 2 * ROOTS_AROUND + 1, len(KINDS)
    entering = np.tile(ENTERING, roots) + KEYED_ENTERING * common
    strengths = np.array(STRENGTHS)[heard.levels]
    entered = entering - (CHANGE / (ANYWHERE + strengths))[:, None]
    by_root = (len(points), roots, kinds)
    ways = Ways(FALLING_FIFTH, SAME_ROOT, LEADING, LEADERS)
    row = best_row(
        points.reshape(by_root),
        entering[0].reshape(roots, kinds),
        entered.reshape(by_root),
        ways,
    )
    return row, points, entering
