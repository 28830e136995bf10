"""compare: what exactly two passages share, and where they part.

Conventions: as in :mod:`melodex.tasks.compare.likeness`.

Contents: Comparison, compare.
"""

from __future__ import annotations

from melodex.corpus.chunks import encode_notes
from melodex.errors import EmptyMelodyError
from melodex.matching.align import align
from melodex.matching.engine.choice import engine
from melodex.matching.query import encode_query
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
        Move A by just this much; by default by what brings most points.

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
    if transposition_semitones is None:
        alignment = align(query, pitch, length_class, costs)
    else:
        move = transposition_semitones - query.moved_semitones
        alignment = engine().trace(query, pitch, length_class, move, costs)
    if alignment is None:
        raise EmptyMelodyError(
            "no note of the two passages agrees",
            where=f"{a.label} and {b.label}",
            hint="try another transposition",
        )
    timed = a.has_rhythm and b.has_rhythm
    found = likeness(a.melody, b.melody, alignment, whole_b=True, has_rhythm=timed)
    words = summarise(a.melody, b.melody, found, has_rhythm=timed)
    return Comparison(a, b, found, words)
