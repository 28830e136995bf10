"""A phrase and a corpus become ranked matches.

In: a phrase as matching sees it (``query``) and the chunks of a corpus. Out: the best
tunes of all, exactly (``search``; ``contour``, ``rhythm``, ``partial``; ``align`` for one
tune), what speaks for each (``evidence``), and what chance would bring (``chance``).
The work on notes is done in ``engine``, in C or in numpy. Read first: ``search``.
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
    from melodex.matching.engine.choice import engine

    return engine().name
