"""Scale degrees: what each note is in its key, and what two aligned notes share.

Conventions: a degree is the distance of a note from the tonic on the line of
fifths (0 is 1, 1 is 5, -3 is flat 3), None where no tonic is known. Seven places
on that line are one step of the scale with another inflection, so a step is the
degree modulo seven. Nothing here imports more than the melody room.

Contents: KeyStretch, degrees, degree_names, tonic_at, relation, SAME_DEGREE,
OTHER_INFLECTION, DIFFERENT_DEGREE, UNKNOWN_RELATION, moved_relation, SAME_SHAPE,
INFLECTED_SHAPE, OTHER_SHAPE, RhythmAgreement, rhythm_agreement.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING, Protocol

from melodex.melody import Melody, degree_name
from melodex.melody.placed import held_at
from melodex.records import dataclass

if TYPE_CHECKING:
    from fractions import Fraction

__all__ = [
    "DIFFERENT_DEGREE",
    "INFLECTED_SHAPE",
    "OTHER_INFLECTION",
    "OTHER_SHAPE",
    "SAME_DEGREE",
    "SAME_SHAPE",
    "UNKNOWN_RELATION",
    "KeyStretch",
    "RhythmAgreement",
    "degree_names",
    "degrees",
    "moved_relation",
    "relation",
    "rhythm_agreement",
    "tonic_at",
]

SAME_DEGREE = "same degree"
OTHER_INFLECTION = "same step, other inflection"
DIFFERENT_DEGREE = "different degree"
UNKNOWN_RELATION = "no key"
SAME_SHAPE = "same shape"
INFLECTED_SHAPE = "same shape, other inflection"
OTHER_SHAPE = "other shape"


class KeyStretch(Protocol):
    """Whatever says that a tonic holds from a place on, such as a key span."""

    @property
    def onset_ticks(self) -> int:
        """Where the tonic starts to hold."""

    @property
    def tonic_fifths(self) -> int | None:
        """The tonic on the line of fifths, or None where there is none."""


def tonic_at(spans: Sequence[KeyStretch], onset_ticks: int) -> int | None:
    """Return the tonic that holds at a place; before the first span, the first one's.

    Parameters
    ----------
    spans : sequence of KeyStretch
        In the order of their onsets; may be empty.
    onset_ticks : int
        The place.
    """
    span = held_at(spans, onset_ticks)
    return None if span is None else span.tonic_fifths


def degrees(
    melody: Melody, spans: Sequence[KeyStretch] | None = None
) -> tuple[int | None, ...]:
    """Return the degree of each note under the printed keys, or under given spans.

    Parameters
    ----------
    melody : Melody
        Of n notes.
    spans : sequence of KeyStretch, optional
        Key spans in order; by default the keys that the source prints.

    Returns
    -------
    tuple of (int or None), of shape (n,)
        Distance from the tonic in fifths; None where no key is known.

    Examples
    --------
    >>> from melodex.melody import Key, KeyChange
    >>> tune = Melody((62, 65, 61), (2, -1, 7), (0, 1, 2), (1, 1, 1), (1, 1, 1),
    ...               (1.0, 0.5, 0.5), (0, 0, 0), keys=(KeyChange(0, Key(2, "minor"), -1),))
    >>> degrees(tune)
    (0, -3, 5)
    """
    if spans is None:
        return melody.degrees()
    tonics = (tonic_at(spans, onset) for onset in melody.onset_ticks)
    return tuple(
        None if tonic is None else fifths - tonic
        for fifths, tonic in zip(melody.fifths, tonics, strict=True)
    )


def degree_names(numbers: Sequence[int | None]) -> tuple[str, ...]:
    """Name degrees against the major scale on the tonic; empty where there is no key.

    Examples
    --------
    >>> degree_names((0, -3, 5, 6, None))
    ('1', 'b3', '7', '#4', '')
    """
    return tuple("" if number is None else degree_name(number) for number in numbers)


def relation(one: int | None, other: int | None) -> str:
    """Say what two aligned notes have in common as degrees of their own keys.

    Parameters
    ----------
    one, other : int or None
        Degrees in fifths from the tonic of the passage that each note stands in.

    Returns
    -------
    str
        :data:`SAME_DEGREE`, :data:`OTHER_INFLECTION`, :data:`DIFFERENT_DEGREE`, or
        :data:`UNKNOWN_RELATION` where one of them has no key.

    Examples
    --------
    >>> relation(4, 4), relation(4, -3), relation(4, 0)
    ('same degree', 'same step, other inflection', 'different degree')
    >>> relation(6, -6)  # sharp 4 and flat 5 sound the same and are not
    'different degree'
    """
    if one is None or other is None:
        return UNKNOWN_RELATION
    if one == other:
        return SAME_DEGREE
    return OTHER_INFLECTION if (one - other) % 7 == 0 else DIFFERENT_DEGREE


def moved_relation(one: int | None, other: int | None, apart: int) -> str:
    """Say what two aligned notes have in common, also where tonic lies not on tonic.

    Each note is judged in the key that holds at its own place. Where these keys do not
    lie on one another as the notes do, notes that are not the same degree may still
    agree in the shape of the line.

    Parameters
    ----------
    one, other : int or None
        Degrees in fifths from the tonic at the place of each note; None without a key.
    apart : int
        From the first note, moved onto the other passage, to the second, in fifths: 0
        where they meet.

    Returns
    -------
    str
        As :func:`relation`, or :data:`SAME_SHAPE`, :data:`INFLECTED_SHAPE` or
        :data:`OTHER_SHAPE`.

    Examples
    --------
    >>> moved_relation(0, 1, 1)  # tonic on tonic, 1 against 5
    'different degree'
    >>> moved_relation(0, 1, 0)  # one note, 1 in its own key and 5 in the other's
    'same shape'
    >>> moved_relation(None, 1, 7)
    'same shape, other inflection'
    """
    by_degree = relation(one, other)
    if one is not None and other is not None:
        tonic_on_tonic = other - one == apart
        if tonic_on_tonic or by_degree != DIFFERENT_DEGREE:
            return by_degree
    if apart == 0:
        return SAME_SHAPE
    return INFLECTED_SHAPE if apart % 7 == 0 else OTHER_SHAPE


@dataclass(frozen=True, slots=True)
class RhythmAgreement:
    """How far the lengths of aligned notes agree.

    Parameters
    ----------
    same, compared : int
        Pairs whose lengths stand in the common ratio, and all pairs compared.
    ratio : Fraction
        Length of a note of the tune over its partner in the query, as most pairs
        have it: 1 for equal values, 2 where the tune is written twice as long.
    """

    same: int
    compared: int
    ratio: Fraction

    @property
    def share(self) -> float:
        """Share of the pairs that agree, 0 to 1; 0 where nothing was compared."""
        return self.same / self.compared if self.compared else 0.0

    def __str__(self) -> str:
        if not self.compared:
            return "no lengths to compare"
        scale = "" if self.ratio == 1 else f", in the ratio {self.ratio}"
        return f"{self.same} of {self.compared} lengths agree{scale}"


def rhythm_agreement(
    query_ticks: Sequence[int], tune_ticks: Sequence[int]
) -> RhythmAgreement:
    """Compare the lengths of aligned notes, whatever note value was the unit.

    Parameters
    ----------
    query_ticks, tune_ticks : sequence of int, of shape (k,)
        Lengths of the k aligned pairs; pairs with a length of 0 are left out.

    Raises
    ------
    ValueError
        If the two differ in number.

    Notes
    -----
    The common ratio is the one most pairs have; of equals the one nearest to 1. A
    ratio is taken for augmentation only where more than half of the pairs have it;
    otherwise lengths are compared as written.

    Examples
    --------
    >>> str(rhythm_agreement([3, 1, 2, 2], [6, 2, 4, 3]))
    '3 of 4 lengths agree, in the ratio 2'
    """
    # Here, so that a phrase without lengths is compared without loading decimals.
    from fractions import Fraction

    pairs = [(q, t) for q, t in zip(query_ticks, tune_ticks, strict=True) if q and t]
    ratios = Counter(Fraction(t, q) for q, t in pairs)
    if not ratios:
        return RhythmAgreement(0, 0, Fraction(1))
    ratio, count = min(ratios.items(), key=lambda item: (-item[1], distance(item[0]), item))
    if 2 * count <= len(pairs):
        ratio, count = Fraction(1), ratios[Fraction(1)]
    return RhythmAgreement(count, len(pairs), ratio)


def distance(ratio: Fraction) -> Fraction:
    """How far a ratio is from 1, the same for a half and a double."""
    return max(ratio, 1 / ratio)
