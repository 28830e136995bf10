"""What two passages share, in sentences, the main thing first.

Conventions: as in :mod:`melodex.tasks.compare.likeness`.

Contents: summarise, function_text, keys_along, keys_text, interval_text.
"""

from __future__ import annotations

from collections.abc import Sequence

from melodex.analysis.degrees import INFLECTED_SHAPE, OTHER_SHAPE
from melodex.melody import Key, Melody
from melodex.tasks.compare.likeness import (
    ALONE,
    BY_DEGREE,
    DIFFERENT,
    INFLECTED,
    SAME_DEGREES,
    SAME_SHAPES,
    Likeness,
    close,
)

__all__ = ["function_text", "interval_text", "keys_along", "keys_text", "summarise"]

INTERVAL_NAMES = {
    -6: "a diminished fifth",
    -5: "a minor second",
    -4: "a minor sixth",
    -3: "a minor third",
    -2: "a minor seventh",
    -1: "a perfect fourth",
    1: "a perfect fifth",
    2: "a major second",
    3: "a major sixth",
    4: "a major third",
    5: "a major seventh",
    6: "an augmented fourth",
    7: "an augmented unison",
    8: "an augmented fifth",
    9: "an augmented second",
}
"""Simple intervals upward by their distance in fifths (common practice, no source)."""

MOST_KEYS_TOLD = 3
"""Keys of a passage that one sentence names; our choice."""


def summarise(
    a: Melody, b: Melody, found: Likeness, *, has_rhythm: bool = True
) -> tuple[str, ...]:
    """What there is to say of two passages, the main thing first.

    Nothing is said of time where one of them has no lengths (``has_rhythm``).
    """
    return tuple(
        sentence
        for sentence in (
            how_many_agree(found),
            how_they_differ(found),
            where_they_stand(a, b, found),
            how_the_time_goes(a, b, found) if has_rhythm else "",
            where_they_run_together(found),
            whose_chords_are_worked_out(a, b),
        )
        if sentence
    )


def how_many_agree(found: Likeness) -> str:
    """How many notes are paired, and how many of them agree."""
    degrees, shapes = found.count(*SAME_DEGREES), found.count(*SAME_SHAPES)
    if found.by_degree:
        text = f"{degrees} of {found.paired} paired notes have the same degree"
        text += f", {shapes} more the same shape on another degree" if shapes else ""
    else:
        text = f"{shapes} of {found.paired} paired notes have the same shape"
    timed = found.in_time
    return f"{text}, {timed} of them in the same rhythm." if timed else f"{text}."


def how_they_differ(found: Likeness) -> str:
    """What the notes are that do not agree."""
    counts = [
        (found.count(INFLECTED, INFLECTED_SHAPE), "inflected otherwise"),
        (found.count(DIFFERENT), "on a different degree"),
        (found.count(OTHER_SHAPE), "of another shape"),
        (found.count(ALONE), "without a partner"),
    ]
    told = [f"{count} {words}" for count, words in counts if count]
    return f"{', '.join(told)}." if told else "No note differs."


def where_they_stand(a: Melody, b: Melody, found: Likeness) -> str:
    """Keys, and the way from one to the other."""
    move = interval_text(found.transposition_semitones, found.spelled_shift)
    keys_a = keys_along(a, [pair.query for pair in found.pairs])
    keys_b = keys_along(b, [pair.tune for pair in found.pairs])
    if not keys_a or not keys_b:
        return f"A moved {move} gives B; no key is known for both."
    keys = f"A is in {keys_text(keys_a)}, B in {keys_text(keys_b)}"
    if not found.by_degree:
        return (
            f"{keys}, and the shape lies {move}: "
            "the intervals agree, on another degree of the key."
        )
    modes = "; the modes differ" if modes_differ(a, b, found) else ""
    if found.same_function:
        return f"{keys}: tonic on tonic, {move}{modes}."
    return (
        f"{keys}: {move}, tonic on tonic at {found.by_degree} of {found.paired} paired "
        f"notes{modes}; at the others the keys have parted."
    )


def keys_along(melody: Melody, places: Sequence[int | None]) -> tuple[tuple[Key, int], ...]:
    """The keys that hold at some notes, each with the bar from which it does."""
    found: list[tuple[Key, int]] = []
    for place in places:
        if place is None:
            continue
        key = melody.key_at(melody.onset_ticks[place])
        if key.mode != "none" and (not found or found[-1][0] != key):
            found.append((key, melody.bar[place]))
    return tuple(found)


def keys_text(keys: Sequence[tuple[Key, int]]) -> str:
    """Keys in words: that at the start, and from which bars others hold."""
    told = [str(keys[0][0])]
    told += [f"from bar {bar} {key}" for key, bar in keys[1:MOST_KEYS_TOLD]]
    more = len(keys) - MOST_KEYS_TOLD
    if more > 0:
        told.append(f"and {more} more change{'' if more == 1 else 's'} of key")
    return ", ".join(told)


def modes_differ(a: Melody, b: Melody, found: Likeness) -> bool:
    """Whether any two notes that are compared as degrees stand in different modes."""
    return any(
        a.key_at(a.onset_ticks[pair.query]).mode != b.key_at(b.onset_ticks[pair.tune]).mode
        for pair in found.pairs
        if pair.query is not None and pair.tune is not None and pair.relation in BY_DEGREE
    )


def function_text(found: Likeness) -> str:
    """Whether paired notes are on the same degrees, in a few words."""
    if found.same_function:
        return "on the same degrees"
    if not found.by_degree:
        return "on other degrees of the key"
    return f"on the same degrees at {found.by_degree} of {found.paired} notes"


def how_the_time_goes(a: Melody, b: Melody, found: Likeness) -> str:
    """Metres and the ratio of lengths."""
    told = []
    if a.metre != b.metre:
        told.append(f"A is in {a.metre or 'free metre'}, B in {b.metre or 'free metre'}")
    if not close(found.augmentation, 1.0):
        told.append(f"B's notes are {length_text(found.augmentation)}")
    text = "; ".join(told)
    return f"{text[:1].upper()}{text[1:]}." if told else ""


def length_text(ratio: float) -> str:
    """How long notes are beside others, such as ``twice as long``."""
    for usual, words in ((0.5, "half"), (2.0, "twice"), (3.0, "three times")):
        if close(ratio, usual):
            return f"{words} as long"
    return f"{ratio:.3g} times as long"


def whose_chords_are_worked_out(a: Melody, b: Melody) -> str:
    """A word where chords are none that are printed."""
    whose = " and ".join(
        side for side, one in (("A", a), ("B", b)) if one.chords_worked_out and one.chords
    )
    return f"Chords of {whose} are worked out from all notes." if whose else ""


def where_they_run_together(found: Likeness) -> str:
    """The longest run without a difference."""
    first_a, first_b, length = found.exact_run
    if length < 4:
        return ""
    return (
        f"The longest run without a difference is {length} notes: "
        f"A {first_a + 1}-{first_a + length}, B {first_b + 1}-{first_b + length}."
    )


def interval_text(semitones: int, fifths: int) -> str:
    """A transposition in words, such as ``up a minor third``."""
    if semitones == 0:
        return "at the same pitch"
    direction = "up" if semitones > 0 else "down"
    simple = fifths if semitones > 0 else -fifths
    octaves, rest = divmod(abs(semitones), 12)
    name = INTERVAL_NAMES.get(simple) if rest else None
    name = name or ("" if rest == 0 else f"{rest} semitones")
    spans = {0: "", 1: "an octave", 2: "two octaves"}.get(octaves, f"{octaves} octaves")
    return f"{direction} " + " and ".join(part for part in (spans, name) if part)
