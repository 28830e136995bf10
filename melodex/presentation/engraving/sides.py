"""Two passages made into two staves: one key for both, and what their notes are called.

Conventions: the passage that is moved follows its own changes of key; each of them is
spelled as the other passage spells it where both have it, and else with the fewest
signs.

Contents: parts_of, shown_degrees, key_names, moved, moved_by, moved_chord, moved_words.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from melodex.analysis.harmony.chords import parse_chord, transposed_text
from melodex.errors import PresentationError
from melodex.melody import ChordSymbol, Key, KeyChange, Melody
from melodex.melody.moving import transposed
from melodex.presentation.engraving.layout import StaffPart

if TYPE_CHECKING:
    from melodex.tasks.compare.likeness import Likeness

__all__ = [
    "key_names",
    "moved",
    "moved_by",
    "moved_chord",
    "moved_words",
    "parts_of",
    "shown_degrees",
]

FIFTHS_AROUND = 12
"""Places on the line of fifths after which the same sounding pitches return."""


def shown_degrees(
    melody: Melody, degrees: Sequence[int | None] | None = None
) -> tuple[int | None, ...]:
    """The degrees to print: none at all where no note has one."""
    found = tuple(melody.degrees() if degrees is None else degrees)
    return found if any(degree is not None for degree in found) else ()


def parts_of(
    a: Melody,
    b: Melody,
    likeness: Likeness,
    *,
    first_note: int = 0,
    key: str = "common",
    onto: str = "a",
    numerals: Sequence[Sequence[tuple[int, str]]] = ((), ()),
) -> tuple[tuple[StaffPart, StaffPart], tuple[tuple[int, int], ...]]:
    """Return two staves and their partners for what a comparison found.

    Parameters
    ----------
    a, b : Melody
        The passages.
    likeness : Likeness
        Note against note.
    first_note : int
        What to take from the ``tune`` indexes of the pairs, where they count in the
        whole tune and ``b`` was cut from it.
    key : str
        ``common``, where one is moved onto the other, or ``own``.
    onto : str
        Which one stays in its key: ``a``, or ``b`` where A has none.
    numerals : two sequences of (int, str)
        Onset in ticks and Roman numeral for A and for B.

    Raises
    ------
    PresentationError
        If the key is neither word.
    """
    if key not in {"common", "own"}:
        raise PresentationError(f"{key!r} is no choice of key", hint="common or own")
    degrees = [shown_degrees(melody) for melody in (a, b)]
    signatures: list[int | None] = [None, None]
    own = (a.keys, b.keys)
    if key == "common":
        if onto == "a":
            b = moved(b, likeness, -1, a)
        else:
            a = moved(a, likeness, 1, b)
        stays, goes = (a, b) if onto == "a" else (b, a)
        # Modes on one tonic share a signature, so that they differ in sight.
        single = len(stays.keys) == 1 and len(goes.keys) <= 1
        if single and (likeness.same_function or goes.key.mode == "none"):
            signatures[onto == "a"] = stays.keys[0].signature_fifths
    names = [key_names(melody, keys) for melody, keys in zip((a, b), own, strict=True)]
    relations: list[dict[int, str]] = [{}, {}]
    partners = []
    for pair in likeness.pairs:
        tune = None if pair.tune is None else pair.tune - first_note
        for side, note in enumerate((pair.query, tune)):
            if note is not None:
                relations[side][note] = pair.relation
        if pair.query is not None and tune is not None:
            partners.append((pair.query, tune))
    parts = [
        StaffPart(
            melody,
            label="AB"[side],
            degrees=degrees[side],
            numerals=tuple(numerals[side]),
            relations=tuple(relations[side].get(note, "") for note in range(len(melody))),
            signature_fifths=signatures[side],
            key_names=names[side],
        )
        for side, melody in enumerate((a, b))
    ]
    return (parts[0], parts[1]), tuple(partners)


# Moving


def moved(melody: Melody, likeness: Likeness, direction: int, onto: Melody) -> Melody:
    """A melody moved onto its partner, as far as it fits the keyboard.

    Parameters
    ----------
    melody : Melody
        What is moved.
    likeness : Likeness
        Says by how much.
    direction : int
        1 as the likeness says, from A to B; -1 the other way.
    onto : Melody
        The partner, which stays.
    """
    semitones = direction * likeness.transposition_semitones
    fifths = direction * likeness.spelled_shift
    while melody.midi and max(melody.midi) + semitones > 127:
        semitones -= 12
    while melody.midi and min(melody.midi) + semitones < 0:
        semitones += 12
    chords = [replace(c, text=moved_chord(c.text, fifths)) for c in melody.chords]
    there = transposed(melody, semitones, fifths)
    known = [change.signature_fifths for change in onto.keys]
    turns = [turn_of(change.signature_fifths, known) for change in there.keys]
    return turned(there, turns, chords)


def moved_by(melody: Melody, semitones: int, fifths: int) -> Melody:
    """A melody with its chord symbols in another place."""
    if not semitones and not fifths:
        return melody
    chords = tuple(replace(c, text=moved_chord(c.text, fifths)) for c in melody.chords)
    return replace(transposed(melody, semitones, fifths), chords=chords)


def turn_of(signature_fifths: int, known: Sequence[int]) -> int:
    """By how much to respell a key: as a known signature, else with the fewest signs."""
    alike = [s for s in known if (s - signature_fifths) % FIFTHS_AROUND == 0]
    nearest = (signature_fifths + 5) % FIFTHS_AROUND - 5
    return (alike[0] if alike else nearest) - signature_fifths


def turned(melody: Melody, turns: Sequence[int], chords: Sequence[ChordSymbol]) -> Melody:
    """A melody respelled in each of its keys by a multiple of twelve fifths."""
    starts = [change.onset_ticks for change in melody.keys]

    def turn_at(onset: int) -> int:
        return turns[max(bisect_right(starts, onset) - 1, 0)] if turns else 0

    return replace(
        melody,
        fifths=tuple(
            fifths + turn_at(onset)
            for fifths, onset in zip(melody.fifths, melody.onset_ticks, strict=True)
        ),
        graces=tuple(
            replace(g, fifths=g.fifths + turn_at(melody.onset_ticks[g.note]))
            for g in melody.graces
        ),
        keys=tuple(
            replace(
                change,
                key=Key(change.key.tonic_fifths + turn, change.key.mode)
                if change.key.mode != "none"
                else change.key,
                signature_fifths=change.signature_fifths + turn,
            )
            for change, turn in zip(melody.keys, turns, strict=True)
        ),
        chords=tuple(
            replace(c, text=plain_chord(moved_chord(c.text, turn_at(c.onset_ticks))))
            for c in chords
        ),
    )


def moved_chord(text: str, fifths: int) -> str:
    """A chord symbol moved by an interval; what is none stays as it is."""
    chord = parse_chord(text)
    return transposed_text(chord, fifths) if chord.understood and fifths else text


def plain_chord(text: str) -> str:
    """A chord symbol whose root is not altered twice: it is named by its neighbour."""
    root = text[1:3]
    if root in {"bb", "##", "♭♭", "♯♯"}:
        return moved_chord(text, FIFTHS_AROUND if root[0] in "b♭" else -FIFTHS_AROUND)
    return text


# Words


def key_names(
    melody: Melody, own: Sequence[KeyChange] | None = None
) -> tuple[tuple[int, str], ...]:
    """Onset and name of the key at each printed one; where it was moved, from which.

    The key is that which is heard, as everywhere: of a later signature, if it is that of
    the key that is heard there.

    Parameters
    ----------
    melody : Melody
        As it is drawn.
    own : sequence of KeyChange, optional
        The keys before it was moved.
    """
    names = []
    for place, change in enumerate(melody.keys):
        if change.key.mode == "none":
            continue
        key = melody.key_at(change.onset_ticks)
        if place and key.signature_fifths != change.key.signature_fifths:
            key = change.key
        before = own[place].key if own and place < len(own) else change.key
        moved = before.tonic_fifths - change.key.tonic_fifths
        came = replace(key, tonic_fifths=key.tonic_fifths + moved)
        moved_from = f" (from {came})" if moved else ""
        names.append((change.onset_ticks, f"{key}{moved_from}"))
    return tuple(names)


def moved_words(shown: Melody, own: Melody) -> str:
    """Whether and from where a passage was moved to be shown; empty if it was not."""
    if shown.midi == own.midi:
        return ""
    return "moved to the key of the other" + (
        f"; it stands in {own.key}" if own.key.mode != "none" else ""
    )
