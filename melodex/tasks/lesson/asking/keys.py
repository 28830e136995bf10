"""Parts about a change of key.

Conventions: a change is asked for only where a class can hear it: two bars of each key at
least, the tonic chord of each, and notes of the new key that the old one has not. A chord
that both keys share may be heard in either, so the bars of such chords are accepted too.

Contents: change_part, relation_part, FEWEST_BARS.
"""

from __future__ import annotations

from dataclasses import replace

from melodex.analysis.harmony.chords import Chord, parse_chords
from melodex.melody import Key, fifths_from_name, pitch_class_name
from melodex.tasks.lesson.asking.facts import MODE_STEPS, name_of, scale_of
from melodex.tasks.lesson.asking.parts import Made, is_sure, is_usual
from melodex.tasks.lesson.asking.proofs import distance, interval_in_words, named
from melodex.tasks.lesson.asking.records import Field, KeyName, NoteName, Part, Shown, Words
from melodex.tasks.lesson.labels import KeyLabel

__all__ = ["FEWEST_BARS", "change_part", "relation_part"]

FEWEST_BARS = 2
"""Bars of each key that a question on a change shows, so that both can be heard."""


def bars_under(shown: Shown, start: int, end: int | None) -> set[int]:
    """Bars that begin while a key holds."""
    return {
        bar.number
        for bar in shown.excerpt.bars
        if start <= bar.onset_ticks and (end is None or bar.onset_ticks < end)
    }


def notes_of(key: Key) -> set[str]:
    """The names of the notes of a key; minor with both its sevenths."""
    found = {name_of(note) for note in scale_of(key)}
    if key.mode == "minor":
        found |= {name_of(note) for note in scale_of(Key(key.tonic_fifths, "major"))[6:]}
    return found


def names_of(chord: Chord) -> set[str]:
    """The names of the notes of a chord."""
    return {pitch_class_name(fifths) for fifths in chord.note_fifths}


def is_audible(shown: Shown, before: KeyLabel, after: KeyLabel, end: int | None) -> bool:
    """Whether both keys have bars enough, their tonic chords, and notes of their own."""
    if before.mode not in MODE_STEPS or after.mode not in MODE_STEPS or after.printed:
        return False
    pairs = ((before, after.onset_ticks), (after, end))
    for key, until in pairs:
        if len(bars_under(shown, key.onset_ticks, until)) < FEWEST_BARS:
            return False
        if not has_tonic(shown, key, until):
            return False
    return telling_note(shown, before, after) is not None


def telling_note(
    shown: Shown, before: KeyLabel, after: KeyLabel
) -> tuple[int, bool] | None:
    """A note that tells the keys apart, and whether it is one of the new key.

    It is heard while its own key holds, in the melody or a chord, and one of the old key
    is not heard any more.
    """
    old, new = sounding(shown, after.onset_ticks)
    one, other = notes_of(before.key), notes_of(after.key)
    fresh = sorted((other - one) & new)
    gone = sorted(((one - other) & old) - new)
    if not fresh and not gone:
        return None
    return fifths_from_name((fresh or gone)[0]), bool(fresh)


def sounding(shown: Shown, start: int) -> tuple[set[str], set[str]]:
    """The names of the notes heard before a place, and from it on."""
    heard: tuple[set[str], set[str]] = (set(), set())
    for onset, name in zip(shown.excerpt.onset_ticks, note_names(shown), strict=True):
        heard[onset >= start].add(name)
    chords = parse_chords(chord.text for chord in shown.excerpt.chords)
    for symbol, chord in zip(shown.excerpt.chords, chords, strict=True):
        heard[symbol.onset_ticks >= start].update(names_of(chord))
    return heard


def note_names(shown: Shown) -> list[str]:
    """The printed name of each note."""
    return [name_of(named(fifths)) for fifths in shown.excerpt.fifths]


def has_tonic(shown: Shown, key: KeyLabel, end: int | None) -> bool:
    """Whether the tonic chord of a key sounds while it holds."""
    chords = parse_chords(chord.text for chord in shown.excerpt.chords)
    third = "b3" if "b3" in MODE_STEPS[key.mode].split() else "3"
    return any(
        chord.sounds
        and named(chord.root_fifths) == named(key.tonic_fifths)
        and third in chord.degree_names
        and key.onset_ticks <= symbol.onset_ticks
        and (end is None or symbol.onset_ticks < end)
        for symbol, chord in zip(shown.excerpt.chords, chords, strict=True)
    )


def accepted_bars(shown: Shown, before: KeyLabel, after: KeyLabel) -> list[int]:
    """The bar of the change, and those of chords around it that both keys have."""
    chords = parse_chords(chord.text for chord in shown.excerpt.chords)
    both = notes_of(before.key) & notes_of(after.key)
    shared = [chord.sounds and names_of(chord) <= both for chord in chords]
    symbols = shown.excerpt.chords
    first = next(
        (i for i, s in enumerate(symbols) if s.onset_ticks >= after.onset_ticks),
        len(symbols),
    )
    bars = {after.bar}
    back = first - 1
    while back >= 0 and shared[back] and symbols[back].onset_ticks >= before.onset_ticks:
        bars.add(max(symbols[back].bar, shown.excerpt.bar[0]))
        back -= 1
    # A shared chord that opens the new key may still be heard in the old one.
    while first < len(symbols) and shared[first]:
        bars.add(symbols[first].bar)
        first += 1
        if first < len(symbols):
            bars.add(symbols[first].bar)
    return [after.bar, *sorted(bars - {after.bar})]


def change_part(shown: Shown, *, is_topical: bool = False) -> Made | None:
    """Say where the key changes, and from which to which; one change alone is asked."""
    keys = shown.labels.keys
    if len(keys) != 2 or not is_sure(shown) or not shown.excerpt.chords:
        return None
    before, after = keys
    if not is_audible(shown, before, after, None):
        return None
    bars = accepted_bars(shown, before, after)
    if len(bars) > 1 + (len(set(shown.excerpt.bar)) // 2):
        return None
    fields = (
        Field((((KeyName(before.key)),),), ("first key",)),
        Field((((KeyName(after.key)),),), ("new key",)),
        Field(tuple((str(bar),) for bar in bars), ("it begins in bar",)),
    )
    told = telling_note(shown, before, after)
    assert told is not None
    mine, others = (after.key, before.key) if told[1] else (before.key, after.key)
    why: Words = (NoteName(told[0]), " belongs to ", KeyName(mine), " and not to ")
    why = (*why, KeyName(others), "; chords of both keys may be heard in either.")
    task: Words = ("The key changes once. From which key to which, and in which bar?",)
    part = Part("key change", task, fields, why, is_topical, level=3)
    return Made(replace(shown, has_key_names=False), part)


def relation_part(before: Key, after: Key) -> Part | None:
    """Say how a new tonic stands to the old one."""
    up = interval_in_words(*distance(named(before.tonic_fifths), named(after.tonic_fifths)))
    if not up or not is_usual(up) or before == after:
        return None
    down = interval_in_words(
        *distance(named(after.tonic_fifths), named(before.tonic_fifths))
    )
    if before.tonic_fifths == after.tonic_fifths:
        task: Words = (
            KeyName(before),
            " and ",
            KeyName(after),
            ": what have they in common?",
        )
        accepted: tuple[Words, ...] = (("the tonic",), ("tonic",), ("a tonic",))
        why: Words = ("Both stand on ", NoteName(after.tonic_fifths), "; the mode differs.")
        return Part("keys", task, (Field(accepted),), why, True)
    task = ("By which interval does the tonic move from ", KeyName(before), " to ")
    why = (
        "From ",
        NoteName(before.tonic_fifths),
        " to ",
        NoteName(after.tonic_fifths),
        f" is a {up} up" + (f", or a {down} down." if down else "."),
    )
    accepted = tuple(
        (f"{name}{way}",)
        for name, ways in ((up, (" up", "")), (down, (" down", "")))
        if name
        for way in ways
    )
    return Part(
        "keys", (*task, KeyName(after), "?"), (Field(accepted),), why, True, level=2
    )
