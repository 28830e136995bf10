"""The lines of one piece put together: doublings kept once, the main one first.

Conventions: what has fewer notes than :data:`FEWEST_IN_LINE` is no line that could be
looked for; it is left aside, and said. Two lines double each other if all their notes
start and end together, in unison or in octaves throughout. The main line is never left
aside. A voice under the top of chords moves as a voice if at least half of the chords and
notes above it have it.

Contents: FEWEST_IN_LINE, MOST_LINES, UNDER_SHARE, LEADING_WORDS, TOP_VOICES, ReadLine,
leads, rank_of_line, are_sung, pieced, read_tunes.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from melodex.melody import Melody
from melodex.melody.score_line import ScoreLine
from melodex.reading.result import ReadTune, ReadWarning

if TYPE_CHECKING:
    from melodex.melody.texture import Texture

__all__ = [
    "FEWEST_IN_LINE",
    "LEADING_WORDS",
    "MOST_LINES",
    "TOP_VOICES",
    "UNDER_SHARE",
    "ReadLine",
    "are_sung",
    "leads",
    "pieced",
    "rank_of_line",
    "read_tunes",
]

FEWEST_IN_LINE = 8
"""Notes of a line that is kept beside the main one: a phrase of the shortest kind."""

MOST_LINES = 256
"""Of one piece: three times what the largest orchestral scores have."""

UNDER_SHARE = 0.5
"""Of the notes of a voice so many have one under them where that moves as a voice."""

LEADING_WORDS = frozenset(
    re.findall(
        r"\w+",
        "voice vocal vocals solo melody melodia melodie canto chant gesang singstimme",
    )
)
"""Names of the part that a listener follows; common practice, no source."""

TOP_VOICES = frozenset(
    re.findall(
        r"\w+",
        "soprano sopran soprani sopranos cantus superius discant discantus descant "
        "treble dessus",
    )
)
"""Names of the voice that leads a choir; common practice, no source."""

FIGURE = re.compile(r"[\d\s#b♮♭♯+x/\\_.,-]*")
"""A figure of a figured bass, as some sheets write it where words would stand."""
NUMERAL = re.compile(
    r"[#b♭♯]*(?:[IVX]+|[ivx]+|Ger|Fr|It|N|Cad)[o°ø+]*(?:[\d/#b♭♯ ]|maj|mM)*"
    r"(?:/[#b♭♯]*(?:[IVX]+|[ivx]+))?"
)
"""A Roman numeral that an analyst wrote there."""


@dataclass(slots=True)
class ReadLine:
    """A line as a reader made it.

    Parameters
    ----------
    melody : Melody
        Its notes.
    order : tuple of float
        By which lines stand in the order of the score, from the top.
    is_main : bool
        Whether it stands for the piece.
    part, voice, instrument, clef, transposition_semitones
        As in :class:`~melodex.melody.score_line.ScoreLine`.
    warnings : list of str
        What was odd about it.
    doubled_by : list of str
        Lines that have the same notes.
    """

    melody: Melody
    order: tuple[float, ...]
    is_main: bool = False
    part: str = ""
    voice: str = ""
    instrument: str = ""
    clef: str = ""
    transposition_semitones: int = 0
    warnings: list[str] = field(default_factory=list)
    doubled_by: list[str] = field(default_factory=list)

    @property
    def name(self) -> str:
        """Part and voice."""
        return ", ".join(filter(None, (self.part, self.voice))) or "a line"

    def placed(self, position: int, count: int) -> ScoreLine:
        """What is kept of it beside the notes."""
        return ScoreLine(
            position=position,
            count=count,
            is_main=self.is_main,
            part=self.part,
            voice=self.voice,
            instrument=self.instrument,
            clef=self.clef,
            transposition_semitones=self.transposition_semitones,
            sung_syllables=syllables_of(self.melody),
            doubled_by=tuple(self.doubled_by),
        )


def leads(name: str) -> bool:
    """Whether a part has the name of one that a listener follows.

    Examples
    --------
    >>> leads("Solo violin"), leads("Singstimme"), leads("Violin 2")
    (True, True, False)
    """
    return named_among(LEADING_WORDS, name)


def rank_of_line(name: str, sung: Iterable[str]) -> int:
    """How readily a listener follows a line, the lowest first.

    By its name, then for its words, then as the voice that leads a choir, though no words
    are printed: trumpets over a chorale do not.

    Parameters
    ----------
    name : str
        Of its part.
    sung : iterable of str
        What stands under its notes.

    Examples
    --------
    >>> rank_of_line("Melody", ()), rank_of_line("Alto", ["Lo", "ve"])
    (0, 1)
    >>> rank_of_line("Soprano", ()), rank_of_line("Horn", ()), rank_of_line("Organ", ["6"])
    (2, 3, 3)
    """
    if leads(name):
        return 0
    if are_sung(sung):
        return 1
    return 2 if named_among(TOP_VOICES, name) else 3


def are_sung(texts: Iterable[str]) -> bool:
    """Whether what stands under notes are words: not figures, and no numerals.

    Examples
    --------
    >>> are_sung(["Glo", "ri", "a"]), are_sung(["6", "5 #3", ""]), are_sung(["I", "viio7"])
    (True, False, False)
    """
    said = [text.strip() for text in texts if text.strip()]
    words = sum(not FIGURE.fullmatch(text) and not NUMERAL.fullmatch(text) for text in said)
    # One "I" or "vi" among words is sung too.
    return 2 * words > len(said)


def syllables_of(melody: Melody) -> int:
    """Syllables of the first verse under the notes of a line; 0 where it is not sung."""
    verse = [word.text for word in melody.lyrics if word.verse == 1]
    return len(verse) if are_sung(verse) else 0


def named_among(words: frozenset[str], name: str) -> bool:
    """Whether one of some words stands in a name, whatever the case."""
    return not words.isdisjoint(re.findall(r"[^\W\d_]+", name.casefold()))


def pieced(
    lines: Iterable[ReadLine], *, as_written: bool = False
) -> tuple[list[tuple[ReadLine, ScoreLine]], list[str]]:
    """Put the lines of a piece together.

    Parameters
    ----------
    lines : iterable of ReadLine
        One of them the main one.
    as_written : bool
        Whether lines of a few notes, and those that double another, are kept too.

    Returns
    -------
    lines : list of (ReadLine, ScoreLine)
        Those that are kept, the main one first, then in the order of the score.
    said : list of str
        What was left aside, and which lines double one that is kept.
    """
    ordered = sorted(lines, key=lambda line: line.order)
    kept: dict[object, ReadLine] = {}
    short: list[str] = []
    # A line is kept rather than its doubling, and the main one rather than both.
    for line in sorted(ordered, key=lambda line: not line.is_main):
        if as_written and len(line.melody):
            kept[id(line)] = line
            continue
        if len(line.melody) < FEWEST_IN_LINE and not line.is_main:
            short.append(f"{line.name} ({len(line.melody)} notes)")
            continue
        same = kept.setdefault(shape_of(line.melody), line)
        if same is not line:
            same.doubled_by.append(line.name)
    found = [line for line in ordered if any(line is each for each in kept.values())]
    beyond = found[MOST_LINES:]
    found = [line for line in found if line.is_main or line not in beyond]
    placed = [(line, line.placed(at, len(found))) for at, line in enumerate(found, 1)]
    for line, place in placed:
        if place.count > 1 or place.transposition_semitones:
            line.melody = line.melody.with_line(place)
    placed.sort(key=lambda pair: not pair[0].is_main)
    said = [f"left aside as too short: {listed(short)}"] if short else []
    if beyond:
        said.append(f"left aside beyond {MOST_LINES} lines: {len(beyond)}")
    said += [
        f"{listed(line.doubled_by)} "
        + (
            f"doubles {line.name} and is kept once"
            if len(line.doubled_by) == 1
            else f"double {line.name} and are kept once"
        )
        for line, _ in placed
        if line.doubled_by
    ]
    return placed, said


def read_tunes(
    lines: Iterable[tuple[ReadLine, ScoreLine]],
    kept: bytes,
    kept_format: str,
    texture: Texture | None,
    *,
    aside: Sequence[str] = (),
) -> tuple[ReadTune, ...]:
    """Make tunes of the lines of a piece; what concerns all of it stands with the main one.

    Parameters
    ----------
    lines : iterable of (ReadLine, ScoreLine)
        As of :func:`pieced`.
    kept : bytes
        What a corpus keeps of the piece, in the format of ``kept_format``.
    kept_format : str
        Such as ``midi``.
    texture : Texture or None
        All notes of the piece, where its harmony has no names.
    aside : sequence of str, optional
        Warnings about the whole piece.
    """
    return tuple(
        ReadTune(
            line.melody,
            tuple(map(ReadWarning, [*line.warnings, *(aside if line.is_main else ())])),
            kept,
            kept_format,
            texture if line.is_main else None,
            place,
        )
        for line, place in lines
    )


def shape_of(melody: Melody) -> tuple[object, ...]:
    """What a line shares with those that double it."""
    first = melody.midi[0] if melody.midi else 0
    steps = tuple(midi - first for midi in melody.midi)
    return first % 12, steps, melody.onset_ticks, melody.duration_ticks


def listed(names: Sequence[str]) -> str:
    """Some names, and how many more."""
    more = f" and {len(names) - 6} more" if len(names) > 6 else ""
    return f"{', '.join(names[:6])}{more}"
