"""A phrase in ABC: whole or without its header, by the reader of ABC files.

Contents: NO_ABC_NOTE, read_abc_phrase.
"""

from __future__ import annotations

import re
from dataclasses import replace

from melodex.melody import TICKS_PER_QUARTER, Bar, Key, Melody, Phrase, pitch_class_name
from melodex.reading.phrase.faults import NO_ABC_NOTE, CannotReadError
from melodex.reading.phrase.typed import FREE_METRE_STRENGTH
from melodex.reading.result import Choice

__all__ = ["read_abc_phrase"]

MODE_WORDS = r"(?:maj|min|dor|phr|lyd|mix|loc|aeo|ion)[a-z]*"
LEADING_FIELD = (
    rf"(?i)\s*(?:\[(?P<inner>[KLMQVXTC]):\s*(?P<held>[^\]\n]*)\]"
    rf"|(?P<key>K):[ ]*(?P<tonic>[^\s\[]+(?:[ ]+{MODE_WORDS}\b)?)"
    rf"|(?P<field>[LMQ]):[ ]*(?P<value>[^\s\[]+)|(?P<other>[A-JN-PR-WY-Z]):[^\n]*\n)"
)
ABC_TUNE = r"(?m)^X:"
HEADER_IN_LINE = rf"(?i)\s*[A-JN-PR-Z]:[^\n]*?\s(?=K:)K:[ ]*[^\s\[]+(?:[ ]+{MODE_WORDS}\b)?"
"""A whole header that a field of one line has joined, from its first field to its key."""
ABC_WORD = r"""(?x)\s+|\\|%[^\n]*|"[^"\n]*"|![^!\s]*!|\+[a-z]+\+      # text and decorations
    |\[[A-Za-z]:[^\]\n]*\]                                 # an inline field
    |(?:\^{1,2}|_{1,2}|=)?(?P<note>[A-Ga-g])[',]*(?P<length>\d*(?:/+\d*)?)
    |[zxZX](?P<rest>\d*(?:/+\d*)?)
    |(?:[|:]+|\[\||\|\])(?:\[?\d[\d,-]*)?|\[\d[\d,-]*      # bar lines and endings
    |\((?P<tuplet>\d(?::\d?){0,2})|(?P<broken>[<>]+)|(?P<tie>-)
    |[()\[\]{}/.~uvHLMOPST&]
    """


def read_abc_phrase(text: str, key: Key | None) -> Phrase:
    """Read ABC, whole or without its header, by the reader of ABC files."""
    text = parted_header(text)
    if re.search(ABC_TUNE, text):
        lines: tuple[str, ...] = ()
        tune, has_key, start = text, True, 0
    else:
        fields, start = leading_fields(text)
        has_key = "K" in fields
        lines = header_lines(fields, key)
        tune = "\n".join((*lines, text[start:].lstrip("\n"), ""))
    if has_key and key:
        raise CannotReadError(0, "the phrase has a key of its own", "leave the tonic out")
    has_lengths = abc_has_lengths(text, start) if lines else True
    melody = abc_melody(tune, text, start, len(lines))
    if not has_lengths:
        melody = evenly(melody)
    has_tonic = (has_key or key is not None) and melody.key.mode != "none"
    if not has_tonic:
        melody = replace(melody, keys=())
    return Phrase(melody, "abc", has_rhythm=has_lengths, has_tonic=has_tonic)


def parted_header(text: str) -> str:
    """A header that stands in one line, a line for each field; places stay.

    So comes a tune that is pasted into a field of one line: its ends of lines are blanks.
    """
    found = None if "\n" in text.strip() else re.match(HEADER_IN_LINE, text)
    if not found:
        return text
    header = re.sub(r"\s(?=[A-Z]:)", "\n", found[0])
    rest = text[found.end() :]
    return header + ("\n" + rest[1:] if rest[:1].isspace() else rest)


def leading_fields(text: str) -> tuple[dict[str, str], int]:
    """Fields such as ``K:F`` before the first note, and where the notes begin."""
    fields: dict[str, str] = {}
    field, place = re.compile(LEADING_FIELD), 0
    while found := field.match(text, place):
        name = found["inner"] or found["key"] or found["field"] or found["other"]
        value = found["held"] or found["tonic"] or found["value"] or ""
        fields[name.upper()] = value.strip()
        place = found.end()
    return fields, place


def header_lines(fields: dict[str, str], key: Key | None) -> tuple[str, ...]:
    """The header that ABC wants; the key comes last."""
    fallback = "none"
    if key:
        fallback = f"{pitch_class_name(key.tonic_fifths)} {key.mode or 'major'}"
    given = [f"{name}:{fields[name]}" for name in "MLQ" if name in fields]
    return ("X:1", *given, f"K:{fields.get('K', fallback)}")


def abc_has_lengths(text: str, start: int) -> bool:
    """Whether any length, rest, tie or tuplet is written; a stray sign raises."""
    sign = re.compile(ABC_WORD)
    place, notes, lengths = start, 0, False
    while place < len(text):
        word = sign.match(text, place)
        if not word or word.end() == place:
            raise CannotReadError(place, f"{text[place]!r} is not understood in ABC")
        notes += bool(word["note"])
        rhythm = ("length", "tuplet", "broken", "tie")
        lengths = lengths or any(word[name] for name in rhythm) or word["rest"] is not None
        place = word.end()
    if not notes:
        raise CannotReadError(start, NO_ABC_NOTE)
    return lengths


def abc_melody(tune: str, text: str, start: int, header: int) -> Melody:
    """The one melody of an ABC text; what its reader complains of is a fault here."""
    from melodex.reading.abc.reader import read_abc

    reading = read_abc(tune, "phrase", Choice(chords_alone=False))
    if not reading.tunes:
        reasons = "; ".join(refusal.reason for refusal in reading.refusals)
        raise CannotReadError(start, reasons or NO_ABC_NOTE)
    if len(reading.tunes) > 1:
        raise CannotReadError(0, f"these are {len(reading.tunes)} tunes", "type one phrase")
    for warning in reading.tunes[0].warnings:
        if "not understood" in warning.text:
            place = start + warning.column - 1 if warning.line == header + 1 else 0
            raise CannotReadError(max(place, 0), warning.text)
    melody = reading.tunes[0].melody
    # Where a phrase came from is what was typed, not a file.
    return melody.with_credits(source="", number="")


def evenly(melody: Melody) -> Melody:
    """The same notes a quarter each: no length was typed."""
    count = len(melody)
    return replace(
        melody,
        onset_ticks=tuple(i * TICKS_PER_QUARTER for i in range(count)),
        duration_ticks=(TICKS_PER_QUARTER,) * count,
        beat_strength=(FREE_METRE_STRENGTH,) * count,
        bar=(1,) * count,
        bars=(Bar(1, 0, count * TICKS_PER_QUARTER),),
        metres=(),
        chords=(),
        marks=(),
        tuplets=(),
    )
