"""Cadences, and how a piece ends.

Conventions: two chords are a cadence only where a phrase or a section ends, and a place
has one name. The second chord comes under the last note of the phrase, or before it, and
both belong to that phrase: a V that ends a phrase is a half cadence also where the next
one begins with I. A half cadence needs a melody that stands still, and a V that rests: one
that lasts while the melody moves on, or stands over its fifth or seventh, prepares what
comes. In notes that are played, where nothing but the tune says that a phrase ends, a
cadence stands on the roots of its chords (over another bass they lead on), and IV to I
is none. All rules are common practice, no source.

Contents: cadences, endings, cadence_of, reason_of, with_minor_four.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from dataclasses import replace
from operator import attrgetter

from melodex.analysis.harmony.chords import DIMINISHED, Chord
from melodex.analysis.harmony.devices.device import (
    DOMINANT,
    FIFTH_FAMILIES,
    TONIC_FAMILIES,
    Device,
    Piece,
)
from melodex.analysis.harmony.devices.rests import Rest, firsts_of_roots
from melodex.analysis.harmony.numerals import LocalKey, is_minor_mode, numeral
from melodex.analysis.harmony.placed import PlacedChord, spoken_degree
from melodex.analysis.harmony.roles import LEADING_TONE, near
from melodex.analysis.keys.home import same_key
from melodex.melody import pitch_class_name

__all__ = [
    "cadence_of",
    "cadences",
    "endings",
    "reason_of",
    "with_minor_four",
]

LEADING_TONE_UP = 4
"""From a chord that is the dominant of another to the leading tone of that, in fifths."""
LATEST_START = 1 / 3
"""Share of a phrase before which no goal is reached: that is how it begins."""


def cadences(piece: Piece) -> Iterator[Device]:
    """The cadence, if any, of each place where the music rests."""
    named: set[int] = set()
    reached: set[int] = set()
    firsts = firsts_of_roots(piece.row)
    for rest in piece.rests:
        for step in steps_under(piece, rest):
            first = firsts[step]
            # A chord that is held on, or played again, was reached once.
            if step in named or first in reached:
                continue
            if not first or not inside(piece, rest, first):
                continue
            kind, first, key = told_under(piece, rest, first, step)
            if not kind or first in reached:
                continue
            named.add(step)
            reached.add(first)
            yield found_between(piece, kind, range(first, step + 1), key)
            break


def told_under(
    piece: Piece, rest: Rest, first: int, step: int
) -> tuple[str, int, LocalKey | None]:
    """The cadence whose goal, from its first step on, stands under a rest, or nothing.

    With it the first step of the goal, and the key where it is told in another.
    """
    here, after = piece.row[first - 1], piece.row[step]
    if after.numeral.role == "secondary dominant":
        # I that becomes V7 of IV was I when it was reached.
        after = piece.row[first]
    kind, key = cadence_and_key(piece, rest, first, after)
    if kind == "Picardy third" and goes_through(piece, rest, step):
        # A major I that leads on to iv, or stands over its third, ends nothing.
        return "", first, None
    turned = rest.closes and first > 1 and turns_back(piece, first)
    if kind in {"half cadence", ""} and turned:
        # A dominant after the close only leads to what comes.
        return cadence_of(piece.row[first - 2], here), first - 1, None
    passes = (
        not kind
        or (kind == "half cadence" and not is_half(piece, rest, first, step))
        or (kind == "deceptive cadence" and in_loop(piece, step))
        or ("plagal" in kind and only_delays(piece, here))
        or leads_on(piece, rest, kind, range(first, step + 1))
    )
    return "" if passes else kind, first, key


def found_between(piece: Piece, kind: str, goal: range, key: LocalKey | None) -> Device:
    """A cadence that goes from the step before those of its goal to them."""
    first, step = goal[0], goal[-1]
    last = step if kind == "half cadence" else settled(piece, first, step)
    here, after = fundamental(piece, first - 1), piece.row[last]
    reason = reason_of(here, after, key)
    start = first - 1
    if kind == "backdoor cadence":
        start = with_minor_four(piece, start)
    found = piece.device(kind, start, last, reason)
    if start < first - 1:
        return found
    # A chord that was held long is part of it from its last bar on.
    return replace(found, first_bar=max(found.first_bar, found.last_bar - 1))


def cadence_and_key(
    piece: Piece, rest: Rest, first: int, after: PlacedChord
) -> tuple[str, LocalKey | None]:
    """The cadence of a step and the one before, and its key where it is told in another.

    In notes that are played a phrase may end in the key that it began in though that of
    what comes is told from its last two chords on: V of V and V close it on the tonic of
    V, and what is IV to I in the next key is I to V in its own.
    """
    here = piece.row[first - 1]
    kind = cadence_of(here, after)
    begun = bisect_right(piece.row, rest.start_ticks, key=attrgetter("onset_ticks")) - 1
    began = piece.row[max(begun, 0)].key
    if not piece.melody.chords_worked_out or same_key(began, after.key):
        return kind, None
    if first > 1 and not same_key(began, piece.row[first - 2].key):
        return kind, None
    of_old = cadence_in(began, here, after)
    if (kind, of_old) in OF_THE_KEY_BEFORE:
        return of_old, began
    return kind, None


OF_THE_KEY_BEFORE = {
    ("plagal cadence", "half cadence"),
    ("half cadence", "authentic cadence"),
}
"""What a cadence is called in the key of what comes, and in that of its phrase."""


def leads_on(piece: Piece, rest: Rest, kind: str, steps: range) -> bool:
    """Whether chords that are played go on over their basses, and no phrase must end.

    ``steps`` are those of the goal; half cadences are told by rules of their own.
    """
    if not piece.melody.chords_worked_out or kind == "half cadence":
        return False
    if rest.marked or rest is piece.rests[-1]:
        return False
    before = fundamental(piece, steps[0] - 1)
    start = over_five(piece.row[steps[0]].key, before.chord)
    goal = any(piece.row[step].chord.is_over_its_root for step in steps)
    rooted = goal and start.is_over_its_root
    return "plagal" in kind or start.family in DIMINISHED or not rooted


def goes_through(piece: Piece, rest: Rest, step: int) -> bool:
    """Whether a major I in minor is inverted, or is the dominant of what comes.

    In notes that are played it ends what it ends with, whatever begins after it.
    """
    here = piece.row[step]
    if not here.chord.is_over_its_root:
        return True
    ends = rest.sure and here.end_ticks >= rest.end_ticks
    if step + 1 == len(piece.row) or (ends and piece.melody.chords_worked_out):
        return False
    following = piece.row[step + 1].chord
    above = following.root_fifths - here.chord.root_fifths
    return above == -1 or (above == LEADING_TONE_UP and following.family in DIMINISHED)


def is_half(piece: Piece, rest: Rest, first: int, step: int) -> bool:
    """Whether the music stands still on a V, and does not only pass through it.

    In notes that are played, as against symbols, it does so on a triad in root position:
    a seventh, or another bass, leads on.
    """
    if not rest.sure or in_loop(piece, step):
        return False
    if not piece.melody.chords_worked_out:
        return True
    return any(
        placed.chord.family == "major" and placed.chord.is_over_its_root
        for placed in piece.row[first : step + 1]
    )


def only_delays(piece: Piece, here: PlacedChord) -> bool:
    """Whether notes of IV, played over the bass of I, only delay those of I."""
    over_fifth = here.chord.bass_fifths == here.chord.root_fifths + 1
    return over_fifth and piece.melody.chords_worked_out


def settled(piece: Piece, first: int, step: int) -> int:
    """The step at which a goal stands on its root, the first of it where it does not."""
    rooted = (at for at in range(first, step + 1) if piece.row[at].chord.is_over_its_root)
    return next(rooted, first)


def fundamental(piece: Piece, step: int) -> PlacedChord:
    """The chord of a step, or the same one before it, of which the bass was the root.

    V that goes on over its fifth was V when it came.
    """
    here = piece.row[step]
    if here.chord.bass_fifths != here.chord.root_fifths + 1 or not step:
        return here
    before = piece.row[step - 1]
    same = before.chord.root_fifths == here.chord.root_fifths
    return before if same and before.chord.is_over_its_root else here


LOOP_BARS, LOOP_TURNS = (2, 4), 3
"""A loop is a turn of so many bars, again and again. Our choice; common in songs."""


def in_loop(piece: Piece, step: int) -> bool:
    """Whether the chord of a step ends a turn of chords that goes round and round.

    Its V leads home each time, and rests nowhere.
    """
    melody = piece.melody
    here = piece.row[step]
    end = piece.row[step + 1].onset_ticks if step + 1 < len(piece.row) else here.end_ticks
    bar_ticks = melody.bars[0].duration_ticks if melody.bars else 0
    return any(
        turns_at(piece, end, bars * bar_ticks) >= LOOP_TURNS
        for bars in LOOP_BARS
        if bar_ticks
    )


def turns_at(piece: Piece, end: int, length: int) -> int:
    """How often the chords of the span that ends somewhere come, one after another."""
    turn = chords_within(piece, end - length, end)
    count, at = 1, end
    while count < LOOP_TURNS and turn == chords_within(piece, at, at + length):
        count, at = count + 1, at + length
    at = end - length
    while count < LOOP_TURNS and turn == chords_within(piece, at - length, at):
        count, at = count + 1, at - length
    return count if len(turn) > 1 else 0


def chords_within(piece: Piece, start: int, end: int) -> list[tuple[int, str]]:
    """The chords of a span, with when they begin in it; one that holds begins with it."""
    onset = attrgetter("onset_ticks")
    first = max(bisect_right(piece.row, start, key=onset) - 1, 0)
    last = bisect_left(piece.row, end, key=onset)
    told = [(max(p.onset_ticks - start, 0), p.chord.text) for p in piece.row[first:last]]
    return told if piece.row[first].onset_ticks <= start else []


def turns_back(piece: Piece, step: int) -> bool:
    """Whether the chord of a step only follows I, which V brought home before.

    In the bar of I, or as a dominant in the next one.
    """
    here, after = piece.row[step - 1], piece.row[step]
    near = here.bar == after.bar or after.chord.family in DOMINANT
    home = here.numeral.degree == 0 and near
    return home and cadence_of(piece.row[step - 2], here) == "authentic cadence"


def with_minor_four(piece: Piece, step: int) -> int:
    """Where a backdoor starts: with the minor IV before its chord, if there is one."""
    if not step:
        return step
    before = piece.row[step - 1]
    four = before.numeral.degree == -1 and before.chord.family == "minor"
    return step - 1 if four else step


def steps_under(piece: Piece, rest: Rest) -> range:
    """Steps of the chords that sound while the music rests, the first one first."""
    start = attrgetter("onset_ticks")
    first = bisect_right(piece.row, rest.onset_ticks, key=start) - 1
    return range(max(first, 0), bisect_left(piece.row, rest.end_ticks, key=start))


def inside(piece: Piece, rest: Rest, step: int) -> bool:
    """Whether a phrase moves to the chord of a step, and does not begin with it.

    The last chord of all is reached also where a phrase of its own holds it.
    """
    if rest is piece.rests[-1]:
        return True
    reached = piece.row[step].onset_ticks - rest.start_ticks
    return reached > 0 and reached >= LATEST_START * (rest.onset_ticks - rest.start_ticks)


def reason_of(here: PlacedChord, after: PlacedChord, key: LocalKey | None = None) -> str:
    """What makes a cadence of two chords, in words; in their own key unless it is given."""
    return f"{here.chord.text} {after.chord.text}: {named_in_key(here, after, key)}"


def named_in_key(here: PlacedChord, after: PlacedChord, key: LocalKey | None = None) -> str:
    """Numerals of two chords, and their tonic: that in which they make the cadence."""
    if key is None:
        key = after.key if cadence_in(after.key, here, after) else here.key
    start, goal = (numeral_in(key, placed) for placed in (here, after))
    if after.chord.root_fifths == key.tonic_fifths and "/" in goal:
        # A Picardy third, also where the next phrase makes a dominant of it.
        goal = "I"
    return f"{start} to {goal} in {pitch_class_name(key.tonic_fifths)}"


def numeral_in(key: LocalKey, placed: PlacedChord) -> str:
    """The numeral of a chord in a key, which may be that of its neighbour."""
    if same_key(key, placed.key):
        return placed.numeral.text
    return numeral(placed.chord, key.tonic_fifths, key.mode).text


def cadence_of(here: PlacedChord, after: PlacedChord) -> str:
    """The cadence that two chords make in the key of the second, or nothing.

    A sixth may become the new tonic, so that a deceptive cadence counts in the key of
    the first as well.
    """
    found = cadence_in(after.key, here, after)
    if not found and is_deceptive(here.key, here, after):
        return "deceptive cadence"
    return found


def cadence_in(key: LocalKey, here: PlacedChord, after: PlacedChord) -> str:
    """The cadence that two chords make in a key, or nothing."""
    if key.mode == "none":
        return ""
    start, chord = over_five(key, here.chord), over_five(key, after.chord)
    degree = near(start.root_fifths - key.tonic_fifths)
    goal = near(chord.root_fifths - key.tonic_fifths)
    major = goal == 0 and chord.family == "major" and is_minor_mode(key.mode)
    leads_on = after.numeral.role == "secondary dominant" and same_key(key, after.key)
    if leads_on and not major:
        return ""
    if goal == 0 and after.chord.family in TONIC_FAMILIES:
        if after.chord.bass_fifths == key.tonic_fifths + 1 or only_passes(here, after):
            return ""
        return close_of(start, degree, after.chord, key.mode)
    leads = degree == 1 or is_leading(start, degree)
    if goal == 1 and chord.family in FIFTH_FAMILIES and not leads:
        return "half cadence" if rests_on(chord) else ""
    return "deceptive cadence" if is_deceptive(key, here, after) else ""


ELEVENTHS = {-1: frozenset({"major"}), 2: frozenset({"minor"})}
"""Degrees of IV and ii, in fifths above the tonic, and what they are over the bass of V."""


def over_five(key: LocalKey, chord: Chord) -> Chord:
    """A chord, or the V that it stands for: F/G and Dm7/G are G9sus4 in C."""
    five = key.tonic_fifths + 1
    families = ELEVENTHS.get(near(chord.root_fifths - key.tonic_fifths), frozenset())
    bass = chord.bass_fifths
    if bass is None or (bass - five) % 12 or chord.family not in families:
        return chord
    return replace(chord, root_fifths=five, bass_fifths=None, family="suspended")


def is_leading(chord: Chord, degree: int) -> bool:
    """Whether a chord on some degree is the diminished one on the leading tone."""
    return degree == LEADING_TONE and chord.family in DIMINISHED


def rests_on(chord: Chord) -> bool:
    """Whether music can rest on a V: in root position, or a triad over its third."""
    over = near(chord.lowest_fifths - chord.root_fifths)
    return over == 0 or (over == 4 and chord.family == "major")


def only_passes(here: PlacedChord, after: PlacedChord) -> bool:
    """Whether the bass goes on under V I: both inverted, or V over its own seventh."""
    chord = here.chord
    if chord.bass_fifths is None or chord.is_over_its_root:
        return False
    over_seventh = near(chord.bass_fifths - chord.root_fifths) == -2
    inverted = not after.chord.is_over_its_root
    five = chord.family in FIFTH_FAMILIES
    return five and (over_seventh or inverted)


def close_of(chord: Chord, degree: int, goal: Chord, mode: str) -> str:
    """The cadence that a chord on some degree makes with the tonic."""
    five = degree == 1 and chord.family in FIFTH_FAMILIES
    leading = is_leading(chord, degree)
    substitute = degree == -5 and chord.family in DOMINANT
    if is_minor_mode(mode):
        picardy = goal.family == "major" and (five or leading or degree == -1)
        if picardy:
            return "Picardy third"
    elif degree == -2 and chord.family in DOMINANT:
        return "backdoor cadence"
    if five or leading or substitute:
        return "authentic cadence"
    return plagal_of(chord, degree, mode)


def is_deceptive(key: LocalKey, here: PlacedChord, after: PlacedChord) -> bool:
    """Whether two chords are V and the sixth, minor or flat, of a key."""
    if key.mode == "none" or here.chord.family not in FIFTH_FAMILIES:
        return False
    steps = (
        near(here.chord.root_fifths - key.tonic_fifths),
        near(after.chord.root_fifths - key.tonic_fifths),
    )
    return (*steps, after.chord.family) in {(1, 3, "minor"), (1, -4, "major")}


def plagal_of(chord: Chord, degree: int, mode: str) -> str:
    """IV to I, or iv to I in a major key."""
    if degree != -1:
        return ""
    if chord.family == "minor" and not is_minor_mode(mode):
        return "minor plagal cadence"
    return "plagal cadence" if chord.family in {"major", "minor"} else ""


def endings(piece: Piece) -> Iterator[Device]:
    """How the piece ends, where it is not on a plain tonic."""
    last = len(piece.steps) - 1
    here = piece.row[last]
    found = ending_of(here)
    if found is None or (found[0] == "ending off the tonic" and goes_round(piece)):
        return
    if found[0] == "ending off the tonic" and is_first_home(piece, here):
        return
    if found[0] == "ending on a coloured tonic" and is_usual(piece, here):
        return
    yield piece.device(found[0], last, last, found[1])


def is_first_home(piece: Piece, here: PlacedChord) -> bool:
    """Whether V brings a piece back at its end to the I of the key that it began in."""
    key, chord = piece.row[0].key, here.chord
    first = firsts_of_roots(piece.row)[-1]
    if chord.root_fifths != key.tonic_fifths or not first or key.mode == "none":
        return False
    minor = is_minor_mode(key.mode)
    alike = (chord.family == "minor") == minor and chord.family in TONIC_FAMILIES
    before = piece.row[first - 1].chord
    five = before.root_fifths == key.tonic_fifths + 1 and before.family in FIFTH_FAMILIES
    return alike and five


def is_usual(piece: Piece, here: PlacedChord) -> bool:
    """Whether most tonic chords of a piece are coloured as the last one is."""
    first = firsts_of_roots(piece.row)[-1]
    before = [p.chord for p in piece.row[:first] if p.numeral.degree == 0]
    alike = sum(chord.extensions == here.chord.extensions for chord in before)
    return bool(before) and 2 * alike > len(before)


def goes_round(piece: Piece) -> bool:
    """Whether the last chord is a cadence already, or only leads back to the beginning.

    As in a loop of chords, or where the last dominant turns around to the first I.
    """
    last = len(piece.row) - 1
    if in_loop(piece, last):
        return True
    first, here = piece.row[0].numeral, piece.row[last]
    degree = None if here.numeral.degree is None else near(here.numeral.degree)
    turns = here.chord.family in DOMINANT and degree in {1, -5}
    if turns and first.degree == 0 and last and piece.row[last - 1].key == here.key:
        return True
    return any(device.chords[1] == piece.steps[-1] for device in piece.cadences)


def ending_of(here: PlacedChord) -> tuple[str, str] | None:
    """Kind and reason of an ending that is worth telling."""
    chord, named = here.chord, here.numeral
    if chord.family == "suspended":
        return "suspended ending", f"the last chord, {chord.text}, stays suspended"
    if named.degree is None:
        return None
    if named.degree != 0:
        reason = f"the last chord is {chord.text} ({named.text}), not the tonic"
        return "ending off the tonic", reason
    if chord.extensions:
        added = " and ".join(spoken_degree(n) for n in chord.extensions)
        return (
            "ending on a coloured tonic",
            f"the last chord, {chord.text}, is a tonic with {added}",
        )
    return None
