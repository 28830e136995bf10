"""What is printed around the notes: keys, metres, bars, chord symbols, words, credits.

Conventions: bars carry the number that is printed: a pickup is 0, and the two halves
of a bar that a repeat sign splits share one number. Each record can be packed as a
list of its values, as it is kept in a corpus.

Contents: Key, KeyChange, MetreChange, Bar, ChordSymbol, SectionMark, Grace, Tuplet,
Lyric, Dynamic, WorkedLine, Credits, PROVENANCE, RECORD_COLUMNS, CREDITS_COLUMNS, bars_text,
of_notes, tuplets_over, packed, unpacked.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from operator import attrgetter
from typing import Any, TypeVar

from melodex.melody.metre import Metre
from melodex.melody.pitch import MODES, pitch_class_name
from melodex.records import dataclass

__all__ = [
    "CREDITS_COLUMNS",
    "PROVENANCE",
    "RECORD_COLUMNS",
    "Bar",
    "ChordSymbol",
    "Credits",
    "Dynamic",
    "Grace",
    "Key",
    "KeyChange",
    "Lyric",
    "MetreChange",
    "SectionMark",
    "Tuplet",
    "WorkedLine",
    "bars_text",
    "of_notes",
    "packed",
    "tuplets_over",
    "unpacked",
]


@dataclass(frozen=True, slots=True)
class Key:
    """A tonic and a mode.

    Parameters
    ----------
    tonic_fifths : int
        Tonic on the line of fifths; 0 and without meaning where mode is ``none``.
    mode : str
        A name in :data:`~melodex.melody.pitch.MODES`, or ``none``.
    """

    tonic_fifths: int
    mode: str

    @property
    def signature_fifths(self) -> int:
        """Sharps (+) or flats (-) of the signature that goes with the key."""
        return self.tonic_fifths - MODES.get(self.mode, 0)

    def __str__(self) -> str:
        if self.mode == "none":
            return "no key"
        return f"{pitch_class_name(self.tonic_fifths)} {self.mode}"


@dataclass(frozen=True, slots=True)
class KeyChange:
    """A printed key and where it starts to hold.

    ``signature_fifths`` is what was printed, which need not be the usual
    signature of the key; ``stated`` is False where the source printed a
    signature only and the mode is a guess (major).
    """

    onset_ticks: int
    key: Key
    signature_fifths: int
    stated: bool = True


@dataclass(frozen=True, slots=True)
class MetreChange:
    """A time signature and where it starts to hold; None for free metre."""

    onset_ticks: int
    metre: Metre | None


@dataclass(frozen=True, slots=True)
class Bar:
    """What lies between two bar lines.

    Parameters
    ----------
    number : int
        As printed; a pickup is 0; the halves of a split bar share a number.
    onset_ticks, duration_ticks : int
        Where it starts and how much it holds.
    repeat_start : bool
        Whether a repeat begins at its left line.
    repeat_times : int
        0, or how often the passage ending at its right line is played.
    ending : str
        Text of a numbered ending that starts here, such as ``1`` or ``1,2``.
    line : str
        Its right line: ``""`` plain, ``double``, ``final`` or ``none``.
    ending_end : str
        Where the source says that a numbered ending ends at its right line:
        ``closed`` by a stroke down, or ``open``; else empty.
    """

    number: int
    onset_ticks: int
    duration_ticks: int
    repeat_start: bool = False
    repeat_times: int = 0
    ending: str = ""
    line: str = ""
    ending_end: str = ""


@dataclass(frozen=True, slots=True)
class ChordSymbol:
    """A chord symbol as printed, its bar, and where it starts.

    Of a chord that was worked out ``certainty`` says how sure it is, 0 to 1, and
    ``other`` is the next best chord.
    """

    text: str
    bar: int
    onset_ticks: int
    certainty: float = 1.0
    other: str = ""


@dataclass(frozen=True, slots=True)
class SectionMark:
    """A part name or rehearsal mark and where it stands."""

    text: str
    bar: int
    onset_ticks: int


@dataclass(frozen=True, slots=True)
class WorkedLine:
    """What another line of the piece does, as it was worked out: kind, bars, sentence."""

    kind: str
    first_bar: int
    last_bar: int
    sentence: str


@dataclass(frozen=True, slots=True)
class Dynamic:
    """How loud it is to be, as printed.

    Parameters
    ----------
    sign : str
        A mark such as ``mf``, or ``crescendo`` or ``diminuendo``.
    onset_ticks, end_ticks : int
        Where it stands; of a hairpin where it ends, of a mark the same place.
    """

    sign: str
    onset_ticks: int
    end_ticks: int


@dataclass(frozen=True, slots=True)
class Grace:
    """A grace note, before the note of index ``note``; ``slashed`` is short."""

    note: int
    midi: int
    fifths: int
    slashed: bool = False


@dataclass(frozen=True, slots=True)
class Tuplet:
    """Sounding notes ``first`` to ``last``: ``actual`` in the time of ``normal``.

    The stretch starts at ``onset_ticks`` and lasts ``duration_ticks``, rests in it
    included; lengths that do not come out in whole ticks are rounded.
    """

    first: int
    last: int
    actual: int
    normal: int
    onset_ticks: int
    duration_ticks: int


@dataclass(frozen=True, slots=True)
class Lyric:
    """A syllable under the note of index ``note``, in one verse (from 1)."""

    note: int
    text: str
    verse: int = 1


@dataclass(frozen=True, slots=True)
class Credits:
    """Where a melody comes from and whose it is; empty where unknown.

    ``source`` is the path as given when added, ``number`` the ``X:`` number of a
    tune or the position of a part, ``part`` the voice or instrument chosen.
    """

    title: str = ""
    composer: str = ""
    lyricist: str = ""
    year: int | None = None
    collection: str = ""
    source: str = ""
    number: str = ""
    rights: str = ""
    rhythm: str = ""
    origin: str = ""
    part: str = ""


OnNote = TypeVar("OnNote", Grace, Lyric)


def of_notes(records: tuple[OnNote, ...], first: int, last: int) -> tuple[OnNote, ...]:
    """What stands on notes ``first`` to ``last``, as the notes are counted from there."""
    return tuple(
        replace(record, note=record.note - first)
        for record in records
        if first <= record.note <= last
    )


def tuplets_over(tuplets: tuple[Tuplet, ...], first: int, last: int) -> tuple[Tuplet, ...]:
    """What of tuplets is over notes ``first`` to ``last``, counted from there."""
    return tuple(
        replace(t, first=max(t.first, first) - first, last=min(t.last, last) - first)
        for t in tuplets
        if t.first <= last and t.last >= first
    )


PROVENANCE = ("collection", "source", "number")

RECORD_COLUMNS: dict[str, type] = {
    "bars": Bar,
    "keys": KeyChange,
    "metres": MetreChange,
    "chords": ChordSymbol,
    "marks": SectionMark,
    "graces": Grace,
    "tuplets": Tuplet,
    "lyrics": Lyric,
}


def bars_text(first: int, last: int) -> str:
    """Bars in words, such as ``bar 5`` or ``bars 5-8``."""
    return f"bar {first}" if first == last else f"bars {first}-{last}"


def names_of(kind: Any) -> tuple[str, ...]:
    """Names of the fields of a record."""
    names: tuple[str, ...] = kind.__match_args__
    return names


COLUMNS_OF: dict[type, Callable[[Any], tuple[Any, ...]]] = {
    kind: attrgetter(*names_of(kind))
    for kind in (*RECORD_COLUMNS.values(), Key, Metre, Dynamic, WorkedLine)
}
"""Getters made once: asking a dataclass for its fields each time is the larger part
of writing a melody."""
CREDITS_COLUMNS = names_of(Credits)
KEYED = frozenset({KeyChange, MetreChange})
"""Records whose second value is a record."""


def packed(record: Any) -> list[Any]:
    """A small record as a list of its values, records inside it as lists too."""
    kind = type(record)
    values = list(COLUMNS_OF[kind](record))
    if kind is Bar:
        if not values[-1]:
            # Few bars say so; left out, tunes keep the id that they always had.
            values.pop()
    elif kind is ChordSymbol:
        if not record.other:
            # Printed symbols are as they always were.
            del values[3:]
    elif kind is Metre:
        values[-1] = list(values[-1])
    elif kind in KEYED and values[1] is not None:
        values[1] = packed(values[1])
    return values


def unpacked(name: str, row: list[Any]) -> Any:
    """The record that :func:`packed` made a list of."""
    values = list(row)
    if name == "keys":
        values[1] = Key(*values[1])
    elif name == "metres" and values[1] is not None:
        numerator, denominator, symbol, groups = values[1]
        values[1] = Metre(numerator, denominator, symbol, tuple(groups))
    return RECORD_COLUMNS[name](*values)
