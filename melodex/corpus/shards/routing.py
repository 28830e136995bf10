"""Which shard a tune stands in: by its id, lines of a piece together.

Conventions: shards hold ranges of ids in order; ids are digests, so ranges of one size
hold about as many tunes. Tunes that are lines of one piece, in whatever place, go by the
lowest id among them, so that nothing that is asked of a piece needs two shards.

Contents: shard_of_id, routes, lowest_of_pairs.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable

__all__ = ["lowest_of_pairs", "routes", "shard_of_id"]

DIGITS = 8
"""Of an id that are looked at: 32 bits part a million shards evenly enough."""


def shard_of_id(tune_id: str, count: int) -> int:
    """The number of the shard, from 1 to ``count``, of an id.

    Examples
    --------
    >>> shard_of_id("000000000000", 3), shard_of_id("ffffffffffff", 3)
    (1, 3)
    """
    return (int(tune_id[:DIGITS], 16) * count >> 4 * DIGITS) + 1


def routes(connection: sqlite3.Connection, count: int, schema: str = "") -> dict[int, int]:
    """The shard of every tune of a corpus, by row number.

    Parameters
    ----------
    connection : sqlite3.Connection
        Of the corpus.
    count : int
        How many shards there are to be.
    schema : str
        By which name, and a full stop, the connection knows the corpus.
    """
    rows = connection.execute(f"SELECT id, tune_id FROM {schema}tune").fetchall()
    ids: dict[int, str] = dict(rows)
    leads = lowest_of_pieces(connection, schema)
    return {
        row: shard_of_id(leads.get(tune_id, tune_id), count) for row, tune_id in ids.items()
    }


def lowest_of_pieces(connection: sqlite3.Connection, schema: str) -> dict[str, str]:
    """The lowest id among those that are lines of one piece with a tune, by its id."""
    return lowest_of_pairs(
        connection.execute(
            f"SELECT tune.tune_id, place.piece FROM {schema}place AS place "
            f"JOIN {schema}tune AS tune ON tune.id = place.tune "
            "WHERE place.piece <> tune.tune_id AND place.piece <> ''"
        )
    )


def lowest_of_pairs(pairs: Iterable[tuple[str, str]]) -> dict[str, str]:
    """The lowest id that each id hangs together with, by pairs of those that do.

    Examples
    --------
    >>> lowest_of_pairs([("b", "c"), ("d", "c"), ("e", "e")])
    {'b': 'b', 'c': 'b', 'd': 'b', 'e': 'e'}
    """
    leader: dict[str, str] = {}

    def lead(tune_id: str) -> str:
        while leader.setdefault(tune_id, tune_id) != tune_id:
            leader[tune_id] = leader[leader[tune_id]]
            tune_id = leader[tune_id]
        return tune_id

    for one, other in pairs:
        first, second = sorted((lead(one), lead(other)))
        leader[second] = first
    return {tune_id: lead(tune_id) for tune_id in leader}
