"""Settings: what a corpus was built with, and what the pairs of an alignment earn.

Conventions: settings of the corpus are written into it and compared when it is
opened; costs belong to the query alone. Points are whole numbers, higher is better,
and errors cost (negative points).

Contents: ENCODING_VERSION, NGRAM_LENGTH, AlignmentCosts, CorpusSettings.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict
from typing import Any

from melodex.errors import SettingsError
from melodex.records import dataclass

__all__ = [
    "ENCODING_VERSION",
    "FEWEST_NOTES",
    "MAX_QUERY_NOTES",
    "NEAR_SEMITONES",
    "NGRAM_LENGTH",
    "AlignmentCosts",
    "CorpusSettings",
]

FEWEST_NOTES = 3
"""Notes of a phrase that is looked for; our choice: fewer stand in nearly every tune."""

ENCODING_VERSION = 1
"""Changes when the bytes in a packed chunk come to mean something else."""

NGRAM_LENGTH = 4
"""Intervals in an n-gram: five notes, the shortest figure that a listener would
name (our choice; measured in the retrieval benchmark)."""

NEAR_SEMITONES = 2
"""Two pitches at most a whole tone apart are near: an inflection or a neighbour."""

MAX_QUERY_NOTES = 4096
"""More than any melody has; keeps the memory of one alignment under 100 MB."""

LENGTH_RELATIONS = 4
"""Same class, one apart, further apart, one of them unknown."""
LARGEST_GAIN = 100
"""Points of one pair: with these a phrase of 327 notes still counts in 16 bits."""
LARGEST_COST = 200
"""Points that an error may cost."""


@dataclass(frozen=True, slots=True)
class AlignmentCosts:
    """Points for pairing two notes, and the cost of leaving one out.

    Each row has four entries, by how the lengths of the two notes compare: same
    class, one class apart, further apart, not known.

    Parameters
    ----------
    same_pitch : tuple of int
        Points where the pitches agree under the transposition; 0 or more.
    near_pitch : tuple of int
        Where they are at most :data:`NEAR_SEMITONES` apart; 0 or less.
    far_pitch : tuple of int
        Where they are further apart; 0 or less.
    gap : int
        For each note of either melody that has no partner; below 0.

    Raises
    ------
    SettingsError
        If a value has the wrong sign or is out of range. The search is exact
        for every set of costs that passes.

    Notes
    -----
    The defaults are a pitch part (3, -2, -3) plus a length part (1, 0, -1; not
    known 0), small enough that phrases of up to 63 notes count in 8 bits.

    Examples
    --------
    >>> AlignmentCosts().pair_points(0, 0, 1)
    3
    """

    same_pitch: tuple[int, int, int, int] = (4, 3, 2, 3)
    near_pitch: tuple[int, int, int, int] = (-1, -2, -3, -2)
    far_pitch: tuple[int, int, int, int] = (-2, -3, -4, -3)
    gap: int = -4

    def __post_init__(self) -> None:
        for name in ("same_pitch", "near_pitch", "far_pitch"):
            row = tuple(getattr(self, name))
            object.__setattr__(self, name, row)
            if len(row) != LENGTH_RELATIONS or not all(isinstance(v, int) for v in row):
                raise SettingsError(f"{name} needs four whole numbers, not {row}")
        if min(self.same_pitch) < 0 or not 0 < max(self.same_pitch) <= LARGEST_GAIN:
            raise SettingsError(
                f"points for the same pitch must lie between 0 and {LARGEST_GAIN} "
                f"and not all be 0: {self.same_pitch}"
            )
        errors = (*self.near_pitch, *self.far_pitch)
        if max(errors) > 0 or min(*errors, self.gap) < -LARGEST_COST or self.gap >= 0:
            raise SettingsError(
                f"points for other pitches must lie between -{LARGEST_COST} and 0, "
                f"for a gap between -{LARGEST_COST} and -1: "
                f"{self.near_pitch}, {self.far_pitch}, {self.gap}"
            )

    @property
    def best_pair(self) -> int:
        """The most points that one pair can bring."""
        return max(self.same_pitch)

    @property
    def numbers(self) -> tuple[int, ...]:
        """All of them in a row, as the compiled engine takes them."""
        return (*self.same_pitch, *self.near_pitch, *self.far_pitch, self.gap)

    def row(self, difference_semitones: int) -> tuple[int, int, int, int]:
        """The row of points for two pitches so far apart after transposing."""
        if difference_semitones == 0:
            return self.same_pitch
        near = abs(difference_semitones) <= NEAR_SEMITONES
        return self.near_pitch if near else self.far_pitch

    def pair_points(self, difference_semitones: int, first: int, second: int) -> int:
        """Points for a pair of notes.

        Parameters
        ----------
        difference_semitones : int
            Between the pitches, after transposing.
        first, second : int
            Length classes of the two notes, -128 where not known.
        """
        return self.row(difference_semitones)[self.relation(first, second)]

    @staticmethod
    def relation(first: int, second: int) -> int:
        """How two length classes compare: index into a row of points."""
        if -128 in (first, second):
            return 3
        return min(abs(first - second), 2)


@dataclass(frozen=True, slots=True)
class CorpusSettings:
    """What a corpus was built with; stored in it.

    Parameters
    ----------
    encoding_version : int
        Of the packed notes.
    ngram_length : int
        Intervals in an n-gram.
    """

    encoding_version: int = ENCODING_VERSION
    ngram_length: int = NGRAM_LENGTH

    def to_dict(self) -> dict[str, int]:
        """Plain data for the corpus file."""
        return asdict(self)

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> CorpusSettings:
        """Read what :meth:`to_dict` wrote; names that are not ours are ignored.

        Raises
        ------
        SettingsError
            If a setting is missing or is no whole number.
        """
        try:
            return cls(**{name: int(data[name]) for name in cls.__match_args__})
        except (KeyError, ValueError, TypeError) as error:
            raise SettingsError(f"the corpus does not state {error}") from error

    def require_same(self, other: CorpusSettings, *, where: str = "") -> None:
        """Refuse to mix two sets of settings: a wrong ranking looks like a right one.

        Raises
        ------
        SettingsError
            If any setting differs.
        """
        for name in self.__match_args__:
            ours, theirs = getattr(self, name), getattr(other, name)
            if ours != theirs:
                raise SettingsError(
                    f"{name} is {theirs} in the corpus, but {ours} is asked for",
                    where=where,
                    hint="build the corpus again with this version of melodex",
                )
