"""A row of a result told by its page, and found again though the corpus has changed since.

Conventions: a row is told as its rank, the id of its tune and the bars there, with blanks
between: ``3 f8b24b5927b6a1c2 5-8``. A rank alone, as in an address that somebody typed, is
understood too.

Contents: Row, row_of, found_again, shown_again, passage_place.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, NamedTuple, TypeVar

if TYPE_CHECKING:
    from melodex.errors import MelodexError
    from melodex.tasks.passage import Passage

__all__ = ["Row", "found_again", "passage_place", "row_of", "shown_again"]

Found = TypeVar("Found")
Place = tuple[str, str]
"""The id of a tune, and bars of it."""

LONGEST_RANK = 6
"""Digits; no page has a million rows."""


class Row(NamedTuple):
    """A row of a result: its rank from 1, and which bars of which tune it shows.

    Examples
    --------
    >>> str(Row(3, "f8b24b5927b6a1c2", "5-8"))
    '3 f8b24b5927b6a1c2 5-8'
    """

    rank: int
    tune: str = ""
    bars: str = ""

    def __str__(self) -> str:
        """As a page tells it."""
        return f"{self.rank} {self.tune} {self.bars}".rstrip()


def row_of(text: str) -> Row | None:
    """A row as a page tells it; None where it tells none.

    Examples
    --------
    >>> row_of("3 f8b24b5927b6a1c2 5-8")
    Row(rank=3, tune='f8b24b5927b6a1c2', bars='5-8')
    >>> row_of("3"), row_of("third")
    (Row(rank=3, tune='', bars=''), None)
    """
    rank, *place = text.split(" ", 2)
    if not (rank.isascii() and rank.isdecimal() and len(rank) <= LONGEST_RANK):
        return None
    return Row(int(rank), *place)


def found_again(
    row: Row, result: Sequence[Found], place_of: Callable[[Found], Place]
) -> Found | None:
    """What a row showed, in a result that was worked out anew; None where it is no more.

    Parameters
    ----------
    row : Row
        As its page told it.
    result : sequence
        By rank.
    place_of : callable
        Gives the id of the tune and the bars of something in the result.
    """
    at_rank = result[row.rank - 1 : row.rank] if row.rank else ()
    if not row.tune:
        return next(iter(at_rank), None)
    # Tunes that came or went since have moved the others; two rows may show one place.
    same = (f for f in (*at_rank, *result) if place_of(f) == (row.tune, row.bars))
    return next(same, None)


def shown_again(
    text: str,
    result: Sequence[Found],
    place_of: Callable[[Found], Place],
    what: str,
    fault: type[MelodexError],
) -> Found:
    """What the row of a page showed, for its evidence; the first where it tells none.

    Parameters
    ----------
    text : str
        The row as its page told it, or a rank.
    result, place_of
        As for :func:`found_again`.
    what : str
        What the rows are, in a word.
    fault : type of MelodexError
        What to raise where it is no more.
    """
    row = row_of(text or "1")
    found = found_again(row, result, place_of) if row else None
    if found is None:
        raise fault(
            f"there is no {what} {row.rank if row else 'of that name'} any more",
            hint=f"there are {len(result)}: search again to see them",
        )
    return found


def passage_place(passage: Passage) -> Place:
    """Tune and bars of a passage, as a page tells them."""
    first, last = passage.bars
    return passage.tune_id, f"{first}-{last}"
