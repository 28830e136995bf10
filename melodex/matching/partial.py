"""Partial phrases: notes of which some have no pitch, some no length, found as they stand.

Conventions: what is known of a phrase is taken for facts about the steps from one known
note to the next: so many semitones, and so many classes of length
(:func:`melodex.melody.duration_class`). A tune holds the phrase where all facts hold of
notes that follow one another, in any key and augmentation. Nothing near is looked for.

Contents: Facts, facts_of, places_of, search_partial.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import pairwise

from melodex.corpus.chunks import PackedChunk, TuneNotes
from melodex.corpus.packing import unpack
from melodex.errors import DamagedCorpusError, EmptyMelodyError
from melodex.matching.engine.passes import OnDamage
from melodex.melody import Phrase, duration_class
from melodex.records import dataclass

__all__ = ["Facts", "facts_of", "places_of", "search_partial"]

Fact = tuple[int, int, int]
"""A note, a later note, and what the later one has more than the first."""


@dataclass(frozen=True, slots=True)
class Facts:
    """What is known of the steps of a phrase of ``note_count`` notes."""

    pitch: tuple[Fact, ...]
    length: tuple[Fact, ...]
    note_count: int


def facts_of(phrase: Phrase) -> Facts:
    """Return what is known of a phrase.

    Raises
    ------
    EmptyMelodyError
        If no step of it is known.
    """
    melody, count = phrase.melody, len(phrase.melody)
    heard = phrase.has_pitch or (True,) * count
    timed = phrase.has_length or (phrase.has_rhythm,) * count
    classes = [duration_class(ticks) for ticks in melody.duration_ticks]
    found = Facts(steps(melody.midi, heard), steps(classes, timed), count)
    if not found.pitch and not found.length:
        raise EmptyMelodyError("no step of it is known", hint="name two notes or more")
    return found


def steps(values: Sequence[int], known: Sequence[bool]) -> tuple[Fact, ...]:
    """From each known value to the next one."""
    places = [place for place, said in enumerate(known) if said]
    return tuple(
        (one, other, values[other] - values[one]) for one, other in pairwise(places)
    )


def places_of(facts: Facts, tune: TuneNotes) -> list[int]:
    """Return the notes of a tune from which all facts hold."""
    found: Sequence[int] = range(len(tune.pitch) - facts.note_count + 1)
    lengths = memoryview(tune.length_class).cast("b")
    for values, known in ((tune.pitch, facts.pitch), (lengths, facts.length)):
        for one, other, step in known:
            found = [p for p in found if values[p + other] - values[p + one] == step]
            if not found:
                return []
    return list(found)


def search_partial(
    chunks: Iterable[PackedChunk],
    facts: Facts,
    *,
    exclude: frozenset[str] = frozenset(),
    on_damage: OnDamage | None = None,
) -> list[tuple[str, list[int]]]:
    """Find the tunes that hold a phrase of which a part is known, exactly.

    Parameters
    ----------
    chunks : iterable of PackedChunk
        The corpus.
    facts : Facts
        Of :func:`facts_of`.
    exclude, on_damage
        As in :func:`melodex.matching.search.search`.

    Returns
    -------
    list of (str, list of int)
        Every tune that holds it, by id, with the notes from which it does.

    Examples
    --------
    >>> from melodex.corpus.packing import pack
    >>> chunk = pack([TuneNotes("00000000000a0000", bytes([60, 61, 64, 60]), bytes(4))])
    >>> search_partial([chunk], Facts(((0, 2, 4),), (), 3))
    [('00000000000a0000', [0])]
    """
    found: list[tuple[str, list[int]]] = []
    for chunk in chunks:
        try:
            tunes = unpack(chunk)
        except DamagedCorpusError as damage:
            if on_damage is None:
                raise
            on_damage(damage)
            continue
        for tune in tunes:
            if tune.tune_id not in exclude and (places := places_of(facts, tune)):
                found.append((tune.tune_id, places))
    return sorted(found)
