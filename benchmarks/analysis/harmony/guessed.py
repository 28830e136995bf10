"""Which chord a beat of several voices is, where no symbol says it.

Conventions: notes and roots are places on the line of fifths; a chord is its root and
the place of its kind in :data:`melodex.analysis.keys.local.CHORD_KINDS`. The program
itself reads printed symbols; this serves to hold keys to pieces that have only voices.

Contents: guess_chord.
"""

from __future__ import annotations

from collections.abc import Mapping

TEMPLATES = (
    (0, (0, 1, 4)),
    (1, (0, 1, 4, -2)),
    (3, (0, 1, -3)),
    (5, (0, -3, -6)),
    (4, (0, 1, -3, -2)),
    (7, (0, -3, -6, -9)),
    (6, (0, -3, -6, -2)),
    (2, (0, 1, 4, 5)),
)
MISSING_COST, ROOT_BONUS, BASS_BONUS = 0.6, 0.2, 0.3
"""Points for a chord over a beat of voices: set once by ear, then left alone."""


def guess_chord(
    weights: Mapping[int, float], lowest_fifths: int | None = None
) -> tuple[int, int] | None:
    """Return the chord that a beat of several voices most likely is.

    Parameters
    ----------
    weights : mapping of int to float
        How long each spelled pitch class sounds in the beat.
    lowest_fifths : int, optional
        The lowest voice's note.

    Returns
    -------
    (int, int) or None
        Root in fifths and index in :data:`CHORD_KINDS`; None where nothing sounds.

    Examples
    --------
    >>> guess_chord({1: 2.0, 5: 1.0, -1: 1.0}, 1)
    (1, 1)
    """
    total = sum(weights.values())
    best: tuple[float, int, int] | None = None
    for root in sorted(weights):
        for kind, degrees in TEMPLATES:
            inside = [weights.get(root + degree, 0.0) for degree in degrees]
            points = 2 * sum(inside) - total - MISSING_COST * inside.count(0.0)
            points += ROOT_BONUS * weights[root] + BASS_BONUS * (root == lowest_fifths)
            if best is None or points > best[0]:
                best = (points, root, kind)
    return best[1:] if best else None
