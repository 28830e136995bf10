"""Whether plain data has the shape of a melody: kinds, bounds, and the order of time.

Conventions: columns and records are those of :meth:`melodex.melody.Melody.to_dict`. What
is asked is what every reader keeps to and everything behind it relies on, with room to
spare: whole numbers where places and pitches stand, changes in order, indexes that lead to
a note. So a stored melody in which a value was exchanged is told to be damaged where it is
read, and not stumbled over where it is used. A column is looked at as a whole, since
melodies are read by the thousand.

Contents: refuse_misshapen, MOST_TICKS, MOST_NUMBER, FARTHEST_FIFTHS, UNREADABLE.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from operator import le
from typing import Any

from melodex.melody.marks import CREDITS_COLUMNS
from melodex.melody.pitch import MODES
from melodex.melody.tune_id import DYNAMICS, WORKED_CHORDS, WORKED_LINES

__all__ = ["FARTHEST_FIFTHS", "MOST_NUMBER", "MOST_TICKS", "UNREADABLE", "refuse_misshapen"]

MOST_TICKS = 1 << 31
"""Ticks of a place: 213,000 quarters, twice what readers let a piece last."""

MOST_NUMBER = 1_000_000
"""Of a bar, and of whatever else is counted."""

FARTHEST_FIFTHS = 100
"""On the line of fifths from C, either way: fourteen signs on one note."""

FASTEST = 100_000
"""Quarters a minute; readers stop far below."""

UNREADABLE = (ValueError, KeyError, TypeError, AttributeError, IndexError, RecursionError)
"""What making a melody, or another record, out of damaged JSON may raise."""

Check = Callable[[Sequence[Any]], bool]


def whole(lowest: int, highest: int) -> Check:
    """A check of a column for whole numbers of a range; true and false are none."""
    return lambda column: (
        set(map(type, column)) <= {int}
        and (not column or lowest <= min(column) <= max(column) <= highest)
    )


def of_kinds(*kinds: type) -> Check:
    """A check of a column for values of some kinds."""
    allowed = set(kinds)
    return lambda column: set(map(type, column)) <= allowed


def shares(column: Sequence[Any]) -> bool:
    """Whether a column holds numbers from 0 to 1."""
    return set(map(type, column)) <= {int, float} and all(0 <= v <= 1 for v in set(column))


def keys(column: Sequence[Any]) -> bool:
    """Whether a column holds tonics with modes."""
    return set(map(type, column)) <= ROWS and all(
        len(key) == 2
        and type(key[1]) is str
        and (key[1] in MODES or key[1] == "none")
        and FIFTHS([key[0]])
        for key in column
    )


def metres(column: Sequence[Any]) -> bool:
    """Whether a column holds time signatures, or none where the metre is free."""
    return all(metre is None or fits_metre(metre) for metre in column)


def fits_metre(metre: Any) -> bool:
    """Whether a value is a time signature whose units last."""
    if type(metre) not in ROWS or len(metre) != 4:
        return False
    top, bottom, symbol, groups = metre
    return (
        whole(1, MOST_NUMBER)([top, bottom])
        and type(symbol) is str
        and type(groups) in ROWS
        and len(groups) <= 1000
        and whole(1, MOST_NUMBER)(groups)
    )


ROWS = {list, tuple}
TICKS, COUNT = whole(0, MOST_TICKS), whole(0, MOST_NUMBER)
BAR = whole(-MOST_NUMBER, MOST_NUMBER)
MIDI, FIFTHS = whole(-128, 255), whole(-FARTHEST_FIFTHS, FARTHEST_FIFTHS)
TEXT, TRUTH = of_kinds(str), of_kinds(bool)
SHARE: Check = shares

NOTES: dict[str, Check] = {
    "midi": MIDI,
    "fifths": FIFTHS,
    "onset_ticks": TICKS,
    "duration_ticks": TICKS,
    "bar": BAR,
    "beat_strength": SHARE,
    "phrase": COUNT,
}
CHORD = (TEXT, BAR, TICKS, SHARE, TEXT)
RECORDS: dict[str, tuple[int, tuple[Check, ...]]] = {
    "bars": (7, (BAR, TICKS, TICKS, TRUTH, COUNT, TEXT, TEXT, TEXT)),
    "keys": (4, (TICKS, keys, FIFTHS, TRUTH)),
    "metres": (2, (TICKS, metres)),
    "chords": (3, CHORD),
    WORKED_CHORDS: (3, CHORD),
    "marks": (3, (TEXT, BAR, TICKS)),
    "graces": (4, (COUNT, MIDI, FIFTHS, TRUTH)),
    "tuplets": (6, (COUNT, COUNT, whole(1, 1000), whole(1, 1000), TICKS, TICKS)),
    "lyrics": (3, (COUNT, TEXT, COUNT)),
    DYNAMICS: (3, (TEXT, TICKS, TICKS)),
    WORKED_LINES: (4, (TEXT, BAR, BAR, TEXT)),
}
"""How many values a record has at least, and the check of each, in order of its fields."""

MAY_BE_MISSING = {WORKED_CHORDS, DYNAMICS, WORKED_LINES}
IN_ORDER = {"bars": 1, "keys": 0, "metres": 0, "chords": 2, WORKED_CHORDS: 2}
"""Records that never go back, and which of their values says where they stand."""

ON_NOTES = {"graces": (0,), "lyrics": (0,), "tuplets": (0, 1)}
"""Records on notes, and which of their values lead to one; a grace note may be last."""

BACK = "goes back in time"


def refuse_misshapen(data: Mapping[str, Any]) -> None:
    """Refuse plain data that is no melody.

    Parameters
    ----------
    data : mapping
        What should be of :meth:`Melody.to_dict`.

    Raises
    ------
    KeyError, TypeError, ValueError
        If a column is missing, holds values of another kind or beyond all music, or
        goes back in time; the message names it.

    Examples
    --------
    >>> from melodex.melody import Melody
    >>> good = Melody().to_dict()
    >>> refuse_misshapen(good)
    >>> refuse_misshapen({**good, "tempo_quarters_per_minute": "fast"})
    Traceback (most recent call last):
    ValueError: the tempo is none
    """
    count = len(data["midi"])
    for name, fits in NOTES.items():
        require(type(data[name]) in ROWS and fits(data[name]), name)
    require(never_falls(data["onset_ticks"]), "onset_ticks", BACK)
    for name, (least, checks) in RECORDS.items():
        rows = data.get(name, ()) if name in MAY_BE_MISSING else data[name]
        if rows:
            require(fits_records(rows, least, checks), name)
            place = IN_ORDER.get(name)
            require(place is None or never_falls([row[place] for row in rows]), name, BACK)
            for leads in ON_NOTES.get(name, ()):
                require(max(row[leads] for row in rows) <= count, name)
    tempo = data["tempo_quarters_per_minute"]
    if tempo is not None and not (type(tempo) in {int, float} and 0 < tempo <= FASTEST):
        raise ValueError("the tempo is none")
    require(fits_credits(data["credits"]), "credits")


def require(holds: bool, name: str, what: str = "is not what a melody has") -> None:
    """Go on only if a column is as it should be."""
    if not holds:
        raise ValueError(f"{name!r} {what}")


def never_falls(values: Sequence[Any]) -> bool:
    """Whether numbers never fall."""
    return all(map(le, values, values[1:]))


def fits_records(rows: Any, least: int, checks: Sequence[Check]) -> bool:
    """Whether a column of records has values of the right kinds."""
    if type(rows) not in ROWS or not set(map(type, rows)) <= ROWS:
        return False
    lengths = set(map(len, rows))
    if not least <= min(lengths) <= max(lengths) <= len(checks):
        return False
    if len(lengths) == 1:
        return fit(zip(*rows, strict=True), checks)
    places = range(len(checks))
    return fit(([row[k] for row in rows if len(row) > k] for k in places), checks)


def fit(columns: Iterable[Sequence[Any]], checks: Sequence[Check]) -> bool:
    """Whether each column fits its check, as far as there are columns."""
    return all(fits(column) for fits, column in zip(checks, columns, strict=False))


def fits_credits(told: Any) -> bool:
    """Whether a value says where a melody comes from."""
    if type(told) is not dict or not told.keys() <= set(CREDITS_COLUMNS):
        return False
    year = told.get("year")
    texts = [told[name] for name in told if name != "year"]
    return TEXT(texts) and (year is None or BAR([year]))
