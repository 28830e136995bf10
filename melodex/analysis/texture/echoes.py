"""Where the other lines of a piece answer a figure: canon and imitation, exactly.

Conventions: an answer has the staff steps of the figure from note to note and its lengths
from onset to onset: as they are, or upside down, in doubled or halved lengths, or both;
what differs by an accidental is an answer still (a tonal piece answers within its key).
A rest inside counts as part of the length before it. Answers that overlap count once, the
plainer first. A line that answers note for note to its end is a canon; this only says how
far an answer goes on.

Contents: FEWEST_NOTES, WAYS, Echo, echoes.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from melodex.analysis.texture.lines import TextureLine
from melodex.analysis.texture.together import interval_name

__all__ = ["FEWEST_NOTES", "WAYS", "Echo", "echoes"]

FEWEST_NOTES = 4
"""Of a figure that is looked for; fewer stand in every line."""

MOST_ECHOES = 200
"""Of one piece; our choice, so that an endless canon stays readable."""

WAYS = (
    ("", 1, 1, 1),
    ("upside down", -1, 1, 1),
    ("in doubled lengths", 1, 2, 1),
    ("in halved lengths", 1, 1, 2),
    ("upside down, in doubled lengths", -1, 2, 1),
    ("upside down, in halved lengths", -1, 1, 2),
)
"""What is done to the figure: words, sign of its steps, and by what its lengths grow."""


@dataclass(frozen=True, slots=True)
class Echo:
    """One answer.

    Parameters
    ----------
    line : int
        Which line answers.
    first : int
        Its note, from 0, with which the answer begins.
    notes : int
        How many notes go on alike; as many as the figure has, or more.
    way : str
        Words of :data:`WAYS`; empty for the figure as it is.
    interval : str
        How far from the figure, by staff steps: ``fifth``, ``octave``, ``unison``.
    below : bool
        Whether it lies below.
    after_ticks : int
        How much later it begins; negative where it comes before.
    """

    line: int
    first: int
    notes: int
    way: str
    interval: str
    below: bool
    after_ticks: int


def echoes(lines: Sequence[TextureLine], own: int, first: int, last: int) -> list[Echo]:
    """Find every answer to some notes of a line in the other lines.

    Parameters
    ----------
    lines : sequence of TextureLine
        Of the piece.
    own, first, last : int
        The line of the figure, and its first and last note, from 0.

    Returns
    -------
    list of Echo
        In order of time; none that begins with the figure itself, which doubles it.
    """
    figure = lines[own]
    if last - first + 1 < FEWEST_NOTES or len(set(figure.steps[first : last + 1])) == 1:
        return []
    found: list[Echo] = []
    for number, line in enumerate(lines):
        if number == own:
            continue
        taken: set[int] = set()
        for echo in in_line(figure, first, last, line, number):
            span = range(echo.first, echo.first + last - first + 1)
            if echo.after_ticks and taken.isdisjoint(span):
                taken.update(span)
                found.append(echo)
    found.sort(key=lambda e: (lines[e.line].notes[e.first].onset_ticks, e.line))
    return found[:MOST_ECHOES]


def in_line(
    figure: TextureLine, first: int, last: int, line: TextureLine, number: int
) -> Iterator[Echo]:
    """Answers of one line, way by way, the plainest first."""
    for way, sign, over, under in WAYS:
        moves = tuple(sign * move for move in figure.moves[first:last])
        gaps = [gap * over for gap in figure.gaps[first:last]]
        if any(gap % under for gap in gaps):
            continue
        wanted = tuple(gap // under for gap in gaps)
        for place in range(len(line) - len(moves)):
            if line.moves[place] != moves[0] or line.gaps[place] != wanted[0]:
                continue
            end = place + len(moves)
            if line.moves[place:end] == moves and line.gaps[place:end] == wanted:
                apart = line.steps[place] - figure.steps[first]
                yield Echo(
                    number,
                    place,
                    goes_on(figure, first, line, place, (sign, over, under)),
                    way,
                    interval_name(apart),
                    apart < 0,
                    line.notes[place].onset_ticks - figure.notes[first].onset_ticks,
                )


def goes_on(
    figure: TextureLine,
    first: int,
    line: TextureLine,
    place: int,
    way: tuple[int, int, int],
) -> int:
    """How many notes two lines have alike from two places on."""
    sign, over, under = way
    length = 1
    while (
        first + length < len(figure)
        and place + length < len(line)
        and line.moves[place + length - 1] == sign * figure.moves[first + length - 1]
        and line.gaps[place + length - 1] * under == figure.gaps[first + length - 1] * over
    ):
        length += 1
    return length
