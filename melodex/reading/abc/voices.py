"""Which lines of an ABC tune belong to which voice.

Conventions: fields before the first ``V:`` of the body hold for every voice;
music there belongs to the first voice.

References
----------
The ABC music standard 2.1 (December 2011), section 7.

Contents: lines_by_voice, chosen_voices.
"""

from __future__ import annotations

import re

from melodex.errors import HostileInputError, ReadingError
from melodex.reading.abc.header import Header, Line, Voice, is_field, voice_of

__all__ = ["chosen_voices", "lines_by_voice"]

INLINE_VOICE = re.compile(r"\[V:([^\]]{0,500}+)\]")

MOST_VOICES = 1000
"""Of a tune: four times the lines of one that are kept."""

MOST_SHARED = 100_000
"""Fields before the first voice, times the voices that they hold for."""


def lines_by_voice(header: Header) -> dict[str, list[Line]]:
    """Deal the lines of a tune's body out to its voices, in order of appearance.

    Raises
    ------
    HostileInputError
        If there are too many voices, or too much that holds for all of them.
    """
    if not header.voices and not any("V:" in line.text for line in header.body):
        return {"": header.body}
    dealt: dict[str, list[Line]] = {name: [] for name in header.voices}
    shared: list[Line] = []
    current = next(iter(header.voices), "")
    switched = False
    for line in header.body:
        if line.text.startswith("V:"):
            current, switched = switch(header, line.text[2:], dealt, shared), True
        elif not switched and is_field(line.text) and line.text[0] in "KLMQUm":
            shared.append(line)
            refuse_too_much(dealt, shared)
            for lines in dealt.values():
                lines.append(line)
        else:
            current = deal_line(header, line, current, dealt, shared)
            switched = switched or bool(INLINE_VOICE.search(line.text))
    return {name: lines for name, lines in dealt.items() if lines} or {"": header.body}


def switch(
    header: Header, value: str, dealt: dict[str, list[Line]], shared: list[Line]
) -> str:
    """The voice that a ``V:`` field turns to; a new one gets the shared fields."""
    name, voice = voice_of(value)
    known = header.voices.get(name)
    if known is None or (known == Voice(name, known.field) and voice.name != name):
        header.voices[name] = voice
    if name not in dealt:
        dealt[name] = list(shared)
        refuse_too_much(dealt, shared)
    return name


def refuse_too_much(dealt: dict[str, list[Line]], shared: list[Line]) -> None:
    """Refuse a tune whose voices, or what all of them share, cost too much."""
    if len(dealt) > MOST_VOICES:
        raise HostileInputError(
            f"more than {MOST_VOICES} voices in one tune", limit=MOST_VOICES
        )
    if len(dealt) * len(shared) > MOST_SHARED:
        raise HostileInputError(
            f"{len(shared)} fields before its {len(dealt)} voices, which hold for each",
            limit=MOST_SHARED,
        )


def deal_line(
    header: Header,
    line: Line,
    current: str,
    dealt: dict[str, list[Line]],
    shared: list[Line],
) -> str:
    """Deal out one line of music, cut at ``[V:]``; return the voice it ends in."""
    if is_field(line.text):
        dealt.setdefault(current, list(shared)).append(line)
        return current
    parts = INLINE_VOICE.split(line.text)
    column = 0
    for place, part in enumerate(parts):
        if place % 2:
            current = switch(header, part, dealt, shared)
            column += len("[V:]") + len(part)
        elif part.strip() or len(parts) == 1:
            dealt.setdefault(current, list(shared)).append(Line(line.number, part, column))
            column += len(part)
        else:
            column += len(part)
    return current


def chosen_voices(header: Header, voices: dict[str, list[Line]], wanted: str) -> list[str]:
    """The voices to try, in order: the one asked for, or all.

    Raises
    ------
    ReadingError
        If the tune has voices but not the one asked for.
    """
    names = list(voices)
    if not wanted or names == [""]:
        return names
    by_label = {header.voices[name].name: name for name in names if name in header.voices}
    if wanted in voices:
        return [wanted]
    if wanted in by_label:
        return [by_label[wanted]]
    if wanted.isdigit() and 1 <= int(wanted) <= len(names):
        return [names[int(wanted) - 1]]
    raise ReadingError(
        f"there is no voice {wanted}", hint=f"it has the voices {', '.join(names)}"
    )
