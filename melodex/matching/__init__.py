"""A phrase and a corpus become ranked matches.

Contents: ``query`` (a phrase as matching sees it), ``alignment`` (one tune, with
its pairs), ``bound`` (the numpy engine), ``compiled`` (the C engine), ``engine``
(which of the two serves), ``search`` (the best tunes of a corpus), ``figures``
(in how many tunes a figure stands), ``contour`` (search by the shape alone),
``ngrams`` (shared figures, weighted by rarity).
"""

from __future__ import annotations

__all__ = ["engine_name"]


def engine_name() -> str:
    """Return which engine is in use, ``c`` or ``numpy``.

    Raises
    ------
    melodex.errors.SettingsError
        If the environment asks for one that is not there.
    """
    from melodex.matching.engine import engine

    return engine().name
