"""What an export of ours carries beside the notation, so that reading it loses nothing.

A notation has no sign for everything: MusicXML has none for a phrase, ABC none for the
number of a bar. An exported file says such things in a field of its own, together with a
digest of what the notation alone gives when it is read. Whoever changes the file changes
that digest; then the field is out of date and counts for nothing.

Conventions: pitches and times are never carried, they are what the notation says. The
field is JSON: ``reads`` the digest, and a column of a Melody under each name. Files are
untrusted: every value is checked for its type and range.

Contents: FIELD, kept_beside, restored.
"""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

from melodex.melody import Melody
from melodex.melody.marks import CREDITS_COLUMNS, PROVENANCE, RECORD_COLUMNS
from melodex.melody.shape import UNREADABLE
from melodex.reading.bounded import one_line

__all__ = ["FIELD", "kept_beside", "restored"]

FIELD = "melodex-keeps"
"""Name of the directive in ABC and of the miscellaneous field in MusicXML."""

NOTE_COLUMNS = ("bar", "beat_strength", "phrase")
COLUMNS = (*NOTE_COLUMNS, *RECORD_COLUMNS, "tempo_quarters_per_minute")
TIMED = ("bars", "keys", "metres", "chords", "marks", "tuplets")
MOST_CHARACTERS = 2_000_000
"""Characters of the JSON of one tune that are read."""
MOST_TEXT = 500
NO_BREAK = "\u00a0"
"""A space that Python calls not printable."""

MOST_TICKS = 2**40
"""Ticks of an onset that are believed: decades of music."""


def kept_beside(melody: Melody, read_back: Melody) -> str:
    """Return what a notation loses of a melody; empty for nothing.

    Parameters
    ----------
    melody : Melody
        What was written, its first bar at 0.
    read_back : Melody
        What reading the notation gave; its notes must be those of the melody.
    """
    mine, theirs = melody.to_dict(), read_back.to_dict()
    notes = ("midi", "fifths", "onset_ticks", "duration_ticks")
    if any(mine[name] != theirs[name] for name in notes):
        return ""
    lost = {name: mine[name] for name in COLUMNS if mine[name] != theirs[name]}
    unsaid = {
        name: mine["credits"][name]
        for name in CREDITS_COLUMNS
        if name not in PROVENANCE and mine["credits"][name] != theirs["credits"][name]
    }
    if unsaid:
        lost["credits"] = unsaid
    if not lost:
        return ""
    lost["reads"] = read_back.content_id()
    return json.dumps(lost, separators=(",", ":"), sort_keys=True)


def restored(melody: Melody, text: str) -> Melody:
    """Return a melody with what its file carries; as it is where that does not fit.

    Parameters
    ----------
    melody : Melody
        As the notation alone gives it.
    text : str
        What :func:`kept_beside` returned, perhaps.
    """
    if len(text) > MOST_CHARACTERS:
        return melody
    try:
        carried = json.loads(text)
        known = melody.content_id(), melody.earlier_id()
        if not isinstance(carried, dict) or carried.get("reads") not in known:
            return melody
        data = melody.to_dict()
        for name in COLUMNS:
            if name in carried:
                data[name] = checked(name, carried[name], len(melody))
        made = Melody.from_dict(data)
        said = checked_credits(carried.get("credits", {}))
        return replace(made, credits=replace(melody.credits, **said))
    except UNREADABLE:
        return melody


def checked(name: str, values: Any, notes: int) -> Any:
    """A column whose values are of the right types and within bounds.

    Raises
    ------
    ValueError
        If they are not.
    """
    if name == "tempo_quarters_per_minute":
        require(
            values is None or (isinstance(values, int | float) and 1 <= values <= 10_000)
        )
        return values
    require(isinstance(values, list) and len(values) < 1_000_000)
    if name in NOTE_COLUMNS:
        whole = name != "beat_strength"
        require(len(values) == notes)
        require(all(isinstance(v, int) if whole else is_share(v) for v in values))
        require(not whole or all(0 <= v < MOST_TICKS for v in values))
        return values
    for row in values:
        require(isinstance(row, list) and fits(name, row, notes))
    if name in TIMED:
        place = {"bars": 1, "chords": 2, "marks": 2, "tuplets": 4}.get(name, 0)
        onsets = [row[place] for row in values]
        require(onsets == sorted(onsets))
    return [[shown(v) if isinstance(v, str) else v for v in row] for row in values]


def shown(text: str) -> str:
    """A text without what would break a line, steer a terminal or turn its direction."""
    if text.isprintable():
        return text
    return "".join(c for c in text if c.isprintable() or c == NO_BREAK)


def is_share(value: Any) -> bool:
    """Whether a value is a number from 0 to 1."""
    return isinstance(value, int | float) and 0 <= value <= 1


def require(holds: bool) -> None:
    """Go on only if something holds."""
    if not holds:
        raise ValueError("what the file carries is not what melodex writes")


SHAPES: dict[str, tuple[str, ...]] = {
    "bars": ("t", "t", "t", "b", "n", "s", "s", "s"),
    "keys": ("t", "key", "f", "b"),
    "metres": ("t", "metre"),
    "chords": ("s", "t", "t"),
    "marks": ("s", "t", "t"),
    "graces": ("note", "midi", "f", "b"),
    "tuplets": ("note", "note", "n", "n", "t", "t"),
    "lyrics": ("note", "s", "n"),
}
"""Kinds of the values of each record: t time or count, n small number, s text, b yes or
no, f fifths."""


def fits(name: str, row: list[Any], notes: int) -> bool:
    """Whether a record has values of the kinds that it must have."""
    shape = SHAPES[name]
    if not len(shape) - (name == "bars") <= len(row) <= len(shape):
        return False
    return all(is_kind(kind, value, notes) for kind, value in zip(shape, row, strict=False))


def is_kind(kind: str, value: Any, notes: int) -> bool:
    """Whether a value is of a kind."""
    if kind == "s":
        return isinstance(value, str) and len(value) <= MOST_TEXT
    if kind == "b":
        return isinstance(value, bool)
    if kind == "key":
        return is_row(value, 2) and is_kind("f", value[0], 0) and is_kind("s", value[1], 0)
    if kind == "metre":
        return value is None or is_metre(value)
    limits = {"t": (0, MOST_TICKS), "n": (0, 1000), "f": (-60, 60)}
    low, high = limits.get(kind, (0, notes - 1 if kind == "note" else 127))
    return isinstance(value, int) and not isinstance(value, bool) and low <= value <= high


def is_row(value: Any, length: int) -> bool:
    """Whether a value is a list of a length."""
    return isinstance(value, list) and len(value) == length


def is_metre(value: Any) -> bool:
    """Whether a value is a packed metre that a stave can show."""
    if not is_row(value, 4) or not isinstance(value[3], list) or len(value[3]) > 128:
        return False
    top, bottom, symbol, groups = value
    numbers = all(is_kind("n", number, 0) for number in (top, bottom, *groups))
    return (
        numbers
        and 0 < top <= 128
        and bottom in {1, 2, 4, 8, 16, 32, 64, 128}
        and (symbol in {"", "C", "C|"})
    )


def checked_credits(values: Any) -> dict[str, Any]:
    """Credits of the right types."""
    if not isinstance(values, dict):
        raise ValueError("credits are no table")
    known = set(CREDITS_COLUMNS) - set(PROVENANCE)
    for name, value in values.items():
        require(name in known)
        usual = isinstance(value, str) and len(value) <= MOST_TEXT
        year = name == "year" and (value is None or is_kind("t", value, 0))
        require(year or (name != "year" and usual))
    return {n: one_line(v) if isinstance(v, str) else v for n, v in values.items()}
