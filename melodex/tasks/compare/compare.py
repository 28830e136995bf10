"""compare: what exactly two passages share, and where they part.

Conventions: as in :mod:`melodex.tasks.compare.likeness`.

Contents: Comparison, compare, tonics_apart.
"""

from __future__ import annotations

from melodex.corpus.chunks import encode_notes
from melodex.errors import EmptyMelodyError
from melodex.matching.align import align
from melodex.matching.engine.alignment import Alignment
from melodex.matching.engine.choice import engine
from melodex.matching.query import encode_query
from melodex.melody import pitch_class
from melodex.records import dataclass
from melodex.settings import AlignmentCosts
from melodex.tasks.compare.likeness import Likeness, likeness
from melodex.tasks.compare.sentences import summarise
from melodex.tasks.passage import Passage

__all__ = ["Comparison", "compare"]


@dataclass(frozen=True, slots=True)
class Comparison:
    """Two passages laid side by side.

    Parameters
    ----------
    a, b : Passage
        What was compared.
    likeness : Likeness
        How their notes lie over each other.
    summary : tuple of str
        What there is to say, in sentences, the main thing first.
    whole : bool
        Whether all of both is to be shown, also where long tunes do not match.
    """

    a: Passage
    b: Passage
    likeness: Likeness
    summary: tuple[str, ...]
    whole: bool = False

    @property
    def has_rhythm(self) -> bool:
        """Whether lengths are known of both."""
        return self.a.has_rhythm and self.b.has_rhythm

    def __repr__(self) -> str:
        return f"<Comparison of {self.a.label} and {self.b.label}: {self.likeness!r}>"


def compare(
    a: Passage,
    b: Passage,
    *,
    costs: AlignmentCosts | None = None,
    transposition_semitones: int | None = None,
) -> Comparison:
    """Lay two passages side by side, note against note.

    Parameters
    ----------
    a, b : Passage
        Of at least three notes each.
    costs : AlignmentCosts, optional
        What a difference costs; as for searching by default.
    transposition_semitones : int, optional
        Move A by just this much; by default by what brings most points, or by what
        lays tonic on tonic where more notes are then of one degree than agree otherwise.

    Returns
    -------
    Comparison
        With every note of both passages in its pairs.

    Raises
    ------
    EmptyMelodyError
        If no note agrees under the transposition that was asked for.
    """
    costs = costs or AlignmentCosts()
    query = encode_query(a.phrase())
    pitch, length_class = encode_notes(b.melody)
    timed = a.has_rhythm and b.has_rhythm

    def moved_by(semitones: int) -> Alignment | None:
        move = semitones - query.moved_semitones
        return engine().trace(query, pitch, length_class, move, costs)

    def laid(alignment: Alignment) -> Likeness:
        return likeness(a.melody, b.melody, alignment, whole_b=True, has_rhythm=timed)

    if transposition_semitones is None:
        alignment = align(query, pitch, length_class, costs)
    else:
        alignment = moved_by(transposition_semitones)
    if alignment is None:
        raise EmptyMelodyError(
            "no note of the two passages agrees",
            where=f"{a.label} and {b.label}",
            hint="try another transposition",
        )
    found = laid(alignment)
    if transposition_semitones is None and not found.same_function:
        # The same in minor has other intervals, and is what is meant all the same.
        moves = tonics_apart(a, b, alignment.transposition_semitones)
        others = [laid(other) for move in moves if (other := moved_by(move))]
        best = max(others, key=lambda each: each.on_degree, default=found)
        found = best if best.on_degree > found.agreeing else found
    words = summarise(a.melody, b.melody, found, has_rhythm=timed)
    return Comparison(a, b, found, words)


def tonics_apart(a: Passage, b: Passage, near_semitones: int) -> list[int]:
    """The moves, nearest to one, that carry a tonic of A to one of B.

    Of each passage the keys count that hold where it begins and where it ends.
    """
    tonics = []
    for melody in (a.melody, b.melody):
        ends = {melody.key_at(melody.onset_ticks[place]) for place in (0, -1)}
        tonics.append({pitch_class(k.tonic_fifths) for k in ends if k.mode != "none"})
    apart = {(to - of - near_semitones) % 12 for of in tonics[0] for to in tonics[1]}
    return sorted(near_semitones + (way - 12 if way > 6 else way) for way in apart)
