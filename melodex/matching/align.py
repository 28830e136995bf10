"""One tune laid against a phrase, over every transposition.

Contents: align.
"""

from __future__ import annotations

from melodex.matching.engine.alignment import Alignment
from melodex.matching.query import EncodedQuery, require_room
from melodex.settings import AlignmentCosts

__all__ = ["align"]


def align(
    query: EncodedQuery, pitch: bytes, length_class: bytes, costs: AlignmentCosts
) -> Alignment | None:
    """Find the best alignment of a phrase with one tune over every transposition.

    Parameters
    ----------
    query : EncodedQuery
        The phrase.
    pitch, length_class : bytes
        The tune, as :func:`melodex.corpus.chunks.encode_notes` makes it.
    costs : AlignmentCosts
        Points for pairs and gaps.

    Returns
    -------
    Alignment or None
        None where nothing agrees at all, which takes an empty tune.

    Raises
    ------
    PhraseError
        If the phrase is too long for the costs.

    References
    ----------
    Smith and Waterman (1981), J. Mol. Biol. 147, 195-197: local alignment. That
    it is done once per transposition is ours.

    Examples
    --------
    >>> query = EncodedQuery(bytes([60, 62, 64, 60]), bytes(4))
    >>> found = align(query, bytes([50, 65, 67, 69, 65]), bytes(5), AlignmentCosts())
    >>> found.points, found.transposition_semitones, found.pairs
    (16, 5, ((0, 1), (1, 2), (2, 3), (3, 4)))
    """
    from melodex.matching.engine.choice import engine

    require_room(query, costs)
    points, transposition = engine().best([(pitch, length_class)], query, costs)[0]
    if points <= 0:
        return None
    return engine().trace(query, pitch, length_class, transposition, costs)
