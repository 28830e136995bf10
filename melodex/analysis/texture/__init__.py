"""Texture: what the lines of a piece do beside the tune and with one another.

In: a :class:`~melodex.melody.texture.Texture`, all sounding notes of a piece, and the
melody that was taken from it. Out: pedals, lines that creep by step, doublings of the
tune, imitation, suspensions, notes that are exchanged and ostinatos, each with
the line that has it and its bars.

``lines`` parts a texture into its lines; ``motion`` finds what one line does; ``together``
what two do; ``weaving`` finds suspensions, voice exchange and ostinato; ``words`` says it;
``foreign`` names the notes that chords do not have. ``bars`` counts voices, spacing and
rhythm bar by bar, and ``linked`` finds what goes together with what. Read first: ``lines``.

Contents: LINE_KINDS, LineFind, line_finds.
"""

from __future__ import annotations

from melodex.analysis.texture.lines import LINE_KINDS, LineFind, lines_of
from melodex.analysis.texture.motion import pedal_finds, stepwise_finds
from melodex.analysis.texture.together import doubling_finds, imitation_finds
from melodex.analysis.texture.weaving import (
    Under,
    exchange_finds,
    ostinato_finds,
    suspension_finds,
)
from melodex.melody import Melody
from melodex.melody.texture import Texture

__all__ = ["LINE_KINDS", "LineFind", "line_finds"]


def line_finds(texture: Texture, melody: Melody) -> tuple[LineFind, ...]:
    """Everything that is found in the lines of a piece, in the order of time.

    Parameters
    ----------
    texture : Texture
        All its notes.
    melody : Melody
        The tune among them, with bars and chords.
    """
    lines = lines_of(texture, melody)
    under = Under(melody)
    found = [
        *pedal_finds(lines, melody),
        *stepwise_finds(lines, melody),
        *doubling_finds(lines),
        *imitation_finds(lines, melody),
        *suspension_finds(lines, under, melody),
        *exchange_finds(lines, under),
        *ostinato_finds(lines, melody),
    ]
    return tuple(sorted(found, key=lambda find: (find.onset_ticks, find.end_ticks)))
