"""Checking a passage that comes from elsewhere, before anything is done with it.

Conventions: every number is within what a sheet of music can hold, every text is one
line; what is not so is refused, never mended. Names of columns are those of
:class:`melodex.melody.Melody`.

Contents: known_shape, checked_excerpt, checked_labels.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import fields
from itertools import pairwise
from typing import Any

from melodex.errors import LessonError
from melodex.melody import MODES, Credits, Melody
from melodex.melody.tune_id import WORKED_CHORDS
from melodex.tasks.lesson.labels import Labels, read_labels

__all__ = ["checked_excerpt", "checked_labels", "known_shape"]

MOST_NOTES = 600
MOST_RECORDS = 2000
MOST_TEXT = 500
LATEST_TICKS = 10080 * 4 * 5000
"""Five thousand whole notes: longer than any tune."""

FARTHEST_FIFTHS = 40
"""On the line of fifths from C, either way: more than five signs on one note."""
MOST_BARS = 100_000
"""Highest bar number of an excerpt that is believed."""


def known_shape(data: Any, shape: Mapping[str, type | tuple[type, ...]], what: str) -> None:
    """Refuse an object that lacks a member, or has one of another type.

    Raises
    ------
    LessonError
        Naming the member.
    """
    if not isinstance(data, dict):
        raise LessonError(f"{what} is no object")
    for name, kinds in shape.items():
        value = data.get(name)
        right = isinstance(value, kinds) and not (isinstance(value, bool))
        if name not in data or not right:
            raise LessonError(f"{name!r} of {what} is missing or of another type")


def checked_excerpt(data: Any, what: str) -> Melody:
    """Rebuild a passage, or refuse it.

    Parameters
    ----------
    data : object
        What should be of :meth:`Melody.to_dict`.
    what : str
        How to call it in messages.

    Raises
    ------
    LessonError
        If a column is missing, of another length, or holds what no sheet can.
    """
    require(isinstance(data, dict), f"the notes of {what} are no object")
    notes = data.get("midi")
    count = len(notes) if isinstance(notes, list) else 0
    require(1 <= count <= MOST_NOTES, f"{what} has no notes, or more than {MOST_NOTES}")
    for name, fits in COLUMNS.items():
        column = data.get(name)
        right = isinstance(column, list) and len(column) == count and all(map(fits, column))
        require(right, f"{name!r} of {what} makes no sense")
    for name, (widths, fits_record) in RECORDS.items():
        rows = data.get(name)
        if rows is None and name == WORKED_CHORDS:
            continue
        right = isinstance(rows, list) and len(rows) <= MOST_RECORDS
        right = right and all(isinstance(row, list) and len(row) in widths for row in rows)
        require(right and all(map(fits_record, rows)), f"{name!r} of {what} makes no sense")
    require(fits_credits(data.get("credits")), f"the credits of {what} make no sense")
    tempo = data.get("tempo_quarters_per_minute")
    require(tempo is None or number(1, 2000)(tempo), f"the tempo of {what} makes no sense")
    try:
        melody = Melody.from_dict(data)
    except (KeyError, TypeError, ValueError) as error:
        raise LessonError(f"the notes of {what} cannot be read: {error}") from error
    require(holds_together(melody), f"the notes of {what} contradict each other")
    return melody


def require(right: bool, message: str) -> None:
    """Refuse what is not right."""
    if not right:
        raise LessonError(message)


def whole(lowest: int, highest: int) -> Callable[[Any], bool]:
    """A check for whole numbers of a range; true and false are none."""
    return lambda value: type(value) is int and lowest <= value <= highest


def number(lowest: float, highest: float) -> Callable[[Any], bool]:
    """A check for numbers of a range."""
    return lambda value: type(value) in {int, float} and lowest <= value <= highest


def line(value: Any) -> bool:
    """Whether a value is a text of one line."""
    return isinstance(value, str) and len(value) <= MOST_TEXT and printable(value)


def printable(text: str) -> bool:
    """Whether a text holds no control characters and nothing that UTF-8 cannot carry."""
    return all(sign.isprintable() or sign == "\u00a0" for sign in text)


TICK, LENGTH = whole(0, LATEST_TICKS), whole(1, LATEST_TICKS)
BAR, NOTE = whole(0, MOST_BARS), whole(0, MOST_NOTES - 1)
MIDI, FIFTHS = whole(0, 127), whole(-FARTHEST_FIFTHS, FARTHEST_FIFTHS)
SIGNATURE = whole(-20, 20)
"""Bounds of each number: what any music of ours has, and a little more."""

COLUMNS: dict[str, Callable[[Any], bool]] = {
    "midi": MIDI,
    "fifths": FIFTHS,
    "onset_ticks": TICK,
    "duration_ticks": LENGTH,
    "bar": BAR,
    "beat_strength": number(0, 1),
    "phrase": whole(0, MOST_NOTES * 100),
}


def each(*checks: Callable[[Any], bool]) -> Callable[[list[Any]], bool]:
    """A check for a record: one check for each of its values, those that stand there."""
    return lambda row: all(fits(value) for fits, value in zip(checks, row, strict=False))


def truth(value: Any) -> bool:
    """Whether a value is true or false."""
    return isinstance(value, bool)


def fits_key(value: Any) -> bool:
    """Whether a value is a tonic and a mode."""
    pair = isinstance(value, list) and len(value) == 2
    return pair and FIFTHS(value[0]) and mode(value[1])


def mode(value: Any) -> bool:
    """Whether a value is the name of a mode, or ``none``."""
    return isinstance(value, str) and value in {*MODES, "none"}


def fits_metre(value: Any) -> bool:
    """Whether a value is a time signature, or none."""
    if value is None:
        return True
    if not isinstance(value, list) or len(value) != 4:
        return False
    top, bottom, symbol, groups = value
    return (
        whole(1, 128)(top)
        and whole(1, 128)(bottom)
        and bottom.bit_count() == 1
        and isinstance(symbol, str)
        and symbol in {"", "C", "C|"}
        and isinstance(groups, list)
        and len(groups) <= top
        and all(map(whole(1, 128), groups))
    )


RECORDS: dict[str, tuple[tuple[int, ...], Callable[[list[Any]], bool]]] = {
    "bars": ((7, 8), each(BAR, TICK, TICK, truth, whole(0, 99), line, line, line)),
    "keys": ((4,), each(TICK, fits_key, SIGNATURE, truth)),
    "metres": ((2,), each(TICK, fits_metre)),
    "chords": ((3,), each(line, BAR, TICK)),
    WORKED_CHORDS: ((3,), each(line, BAR, TICK)),
    "marks": ((3,), each(line, BAR, TICK)),
    "graces": ((4,), each(NOTE, MIDI, FIFTHS, truth)),
    "tuplets": ((6,), each(NOTE, NOTE, whole(1, 64), whole(1, 64), TICK, TICK)),
    "lyrics": ((3,), each(NOTE, line, whole(1, 99))),
}
"""How many values a record may have, and the check of them, in the order of its fields;
what may be left out stands last."""

CREDIT_TEXTS = {column.name for column in fields(Credits)} - {"year"}


def fits_credits(value: Any) -> bool:
    """Whether a value says where a passage comes from."""
    if not isinstance(value, dict) or set(value) != CREDIT_TEXTS | {"year"}:
        return False
    year = value["year"]
    return all(line(value[name]) for name in CREDIT_TEXTS) and (
        year is None or whole(-9999, 9999)(year)
    )


def holds_together(melody: Melody) -> bool:
    """Whether spelling agrees with pitch, time goes on, and indexes point to notes."""
    count = len(melody)
    spelled = zip(melody.midi, melody.fifths, strict=True)
    notes = [grace.note for grace in melody.graces] + [word.note for word in melody.lyrics]
    ordered = (melody.bars, melody.keys, melody.metres, melody.chords)
    return (
        all((7 * fifths - midi) % 12 == 0 for midi, fifths in spelled)
        and all(before < after for before, after in pairwise(melody.onset_ticks))
        and all(grows([r.onset_ticks for r in records]) for records in ordered)
        and all((7 * g.fifths - g.midi) % 12 == 0 for g in melody.graces)
        and all(note < count for note in notes)
        and all(t.first <= t.last < count for t in melody.tuplets)
    )


def grows(values: list[int]) -> bool:
    """Whether numbers never fall."""
    return all(a <= b for a, b in pairwise(values))


def checked_labels(data: Any, excerpt: Melody, what: str) -> Labels:
    """Rebuild the labels of a passage, or refuse them.

    Raises
    ------
    LessonError
        If they do not fit the passage.
    """
    shape = {"degrees": list, "numerals": list, "keys": list, "finds": list}
    known_shape(data, shape, f"the labels of {what}")
    right = (
        len(data["degrees"]) == len(excerpt)
        and all(d is None or FIFTHS(d) for d in data["degrees"])
        and len(data["numerals"]) == len(excerpt.chords)
        and all(map(line, data["numerals"]))
        and max(len(data["keys"]), len(data["finds"])) <= MOST_RECORDS
        and all(fits_members(each, KEY_LABEL) for each in data["keys"])
        and all(fits_members(each, FIND_LABEL) for each in data["finds"])
        and number(0, 1)(data.get("certainty"))
        and (data.get("topic") is None or fits_topic(data["topic"]))
    )
    require(right, f"the labels of {what} do not fit its notes")
    return read_labels(data)


KEY_LABEL: dict[str, Callable[[Any], bool]] = {
    "onset_ticks": TICK,
    "bar": BAR,
    "tonic_fifths": FIFTHS,
    "mode": mode,
    "how": line,
    "printed": truth,
}
FIND_LABEL: dict[str, Callable[[Any], bool]] = {
    "kind": line,
    "first_bar": BAR,
    "last_bar": BAR,
    "sentence": line,
}


def fits_topic(value: Any) -> bool:
    """Whether a value says what a passage was gathered for."""
    return fits_members(value, TOPIC) and len(value["spans"]) <= MOST_RECORDS


def fits_span(value: Any) -> bool:
    """Whether a value is a first and a last bar."""
    pair = isinstance(value, list) and len(value) == 2 and all(map(BAR, value))
    return pair and value[0] <= value[1]


TOPIC: dict[str, Callable[[Any], bool]] = {
    "kind": line,
    "asked": line,
    "spans": lambda value: isinstance(value, list) and all(map(fits_span, value)),
}


def fits_members(value: Any, checks: Mapping[str, Callable[[Any], bool]]) -> bool:
    """Whether an object has just these members, each as it should be."""
    return (
        isinstance(value, dict)
        and set(value) == set(checks)
        and all(fits(value[name]) for name, fits in checks.items())
    )
