"""ABC: a melody as text in ABC notation.

Accidentals are written out wherever two readers of the standard could differ: for
every altered note, and for every later note of that letter in the bar. A bar line is
written even where the source printed none, since a bar's accidentals end there. A line
is a phrase; within one, a backslash carries a line on. What ABC cannot say is carried in
a directive (see :mod:`melodex.reading.common.carried`).

Conventions: the unit length is an eighth; time and pitch are exact.

References
----------
The abc music standard 2.1 (2011), abcnotation.com: fields, note lengths, tuplets
``(p:q:r``, grace notes, repeats and endings.

Contents: abc_text, comparison_abc.
"""

from __future__ import annotations

import re
from collections import Counter, deque
from collections.abc import Mapping
from fractions import Fraction
from typing import TYPE_CHECKING

from melodex.errors import PresentationError
from melodex.melody import (
    TICKS_PER_QUARTER,
    KeyChange,
    Lyric,
    Melody,
    Metre,
    pitch_class_name,
)
from melodex.melody.placed import between
from melodex.presentation.notation.pitch import signature_alterations, spelled
from melodex.presentation.notation.values import DOTTED, UNVALUED, Written
from melodex.presentation.notation.writing import (
    WrittenBar,
    by_note,
    ending_ends,
    from_first_bar,
    write_out,
)
from melodex.reading.common.carried import FIELD, kept_beside

if TYPE_CHECKING:
    from melodex.tasks.compare.compare import Comparison

__all__ = ["abc_text", "comparison_abc"]

UNIT_TICKS = TICKS_PER_QUARTER // 2
BARS_A_LINE = 4
DECORATIONS = {"segno", "coda", "dacoda", "fine", "d.c.", "d.s.", "dacapo"}
"""Marks that ABC has a decoration for (abc 2.1, section 4.14)."""

NEW_LINE = "\n"
GOES_ON = "\\"
NOTE_MARK = re.compile(r"\{\{(\d+)(_?)\}\}")
"""Stands behind a note while lines are made: which it is, and whether it is tied on."""

SIGNS = {0: "=", 1: "^", 2: "^^", -1: "_", -2: "__"}
MODES = {
    "major": "",
    "ionian": "",
    "minor": "m",
    "aeolian": "m",
    "dorian": "dor",
    "phrygian": "phr",
    "lydian": "lyd",
    "mixolydian": "mix",
    "locrian": "loc",
}
VALUE_TICKS = {value: ticks for ticks, value in DOTTED.items()}


def abc_text(melody: Melody, *, excerpt: bool = False, number: int = 1) -> str:
    """Return a melody as one tune in ABC notation.

    Parameters
    ----------
    melody : Melody
        At least one note.
    excerpt : bool
        Whether it was cut from a longer one.
    number : int
        The ``X:`` number.

    Raises
    ------
    PresentationError
        If it cannot be written, or a note is altered more than twice.

    Examples
    --------
    >>> from melodex.melody import Key, Melody, Metre, MetreChange
    >>> q = TICKS_PER_QUARTER
    >>> melody = Melody((65, 70), (-1, -2), (0, q), (q, 2 * q), (1, 1), (1.0, 0.5),
    ...     (0, 0), keys=(KeyChange(0, Key(-1, "major"), -1),),
    ...     metres=(MetreChange(0, Metre(3, 4)),))
    >>> print(abc_text(melody).split("%%melodex-keeps")[0])
    X:1
    T:untitled
    M:3/4
    L:1/8
    K:F
    F2 B4 |
    <BLANKLINE>
    """
    bars = write_out(melody, excerpt=excerpt)
    music = music_lines(melody, bars)
    fields = header(melody, bars, number)
    text = "\n".join([*fields, *music]) + "\n"
    lost = lost_in(text, from_first_bar(melody, excerpt=excerpt))
    if lost:
        text += f"%%{FIELD} {lost}\n"
    return text


def lost_in(text: str, melody: Melody) -> str:
    """What reading the text again would not give of a melody."""
    from melodex.reading.abc.reader import read_abc

    tunes = read_abc(text).tunes
    return kept_beside(melody, tunes[0].melody) if len(tunes) == 1 else ""


def comparison_abc(comparison: Comparison) -> str:
    """Return both passages of a comparison as two tunes in a common key.

    Where one was moved, a note says so and names its own key.

    Raises
    ------
    PresentationError
        As :func:`abc_text`.
    """
    from melodex.presentation.engraving.sides import moved_words, parts_of

    a, b = comparison.a.melody, comparison.b.melody
    onto = "b" if a.key.mode == "none" else "a"
    parts, _ = parts_of(a, b, comparison.likeness, onto=onto)
    texts = []
    for index, (part, own) in enumerate(zip(parts, (a, b), strict=True), 1):
        text = abc_text(part.melody, excerpt=True, number=index)
        words = moved_words(part.melody, own)
        texts.append(
            text.replace("\nM:", f"\nN:{field_text(words)}\nM:", 1) if words else text
        )
    return "\n".join(texts)


def header(melody: Melody, bars: tuple[WrittenBar, ...], number: int) -> list[str]:
    """The fields before the music."""
    made = melody.credits
    lines = [f"X:{number}", f"T:{field_text(melody.credits.title or 'untitled')}"]
    fields = (
        ("C", made.composer),
        ("O", made.origin),
        ("R", made.rhythm),
        ("B", made.collection),
        ("S", f"dated {made.year}" if made.year else ""),
    )
    lines += [f"{name}:{field_text(text)}" for name, text in fields if text]
    if made.lyricist:
        lines.append(f"N:Words: {field_text(made.lyricist)}")
    if made.rights:
        lines.append(f"%%abc-copyright {field_text(made.rights)}")
    lines += [f"M:{metre_text(bars[0].metre)}", "L:1/8"]
    if melody.tempo_quarters_per_minute:
        lines.append(f"Q:1/4={round(melody.tempo_quarters_per_minute)}")
    return [*lines, f"K:{key_text(melody.keys[0] if melody.keys else None)}"]


def field_text(text: str) -> str:
    """Text that stays on its line and holds no comment or escape sign."""
    clean = "".join(c for c in text if c.isprintable())
    return clean.replace("\\", "\\\\").replace("%", "\\%")


def metre_text(metre: Metre | None) -> str:
    """A metre as in ``M:``."""
    if metre is None:
        return "none"
    if metre.groups:
        return f"({'+'.join(map(str, metre.groups))})/{metre.denominator}"
    return str(metre)


def key_text(change: KeyChange | None) -> str:
    """A key as in ``K:``; a signature that is not the usual one is spelled out."""
    if change is None:
        return "none"
    key, signature = change.key, change.signature_fifths
    if abs(signature) > 7:
        return "C"
    if (
        key.mode in MODES
        and key.signature_fifths == signature
        and abs(key.tonic_fifths) < 12
    ):
        return pitch_class_name(key.tonic_fifths) + MODES[key.mode]
    if key.mode not in MODES:
        return pitch_class_name(signature)
    signs = [SIGNS[sign] + letter.lower() for letter, sign in printed_signs(change).items()]
    return " ".join([pitch_class_name(key.tonic_fifths), "exp", *signs])


def printed_signs(change: KeyChange | None) -> dict[str, int]:
    """Letter -> alteration under the signature that :func:`key_text` writes."""
    if change is None or abs(change.signature_fifths) > 7:
        return {}
    return signature_alterations(change.signature_fifths)


def music_lines(melody: Melody, bars: tuple[WrittenBar, ...]) -> list[str]:
    """The music, a phrase or some bars to a line, with the words under each."""
    writer = BarWriter(melody)
    ends = ending_ends([bar.bar for bar in bars])
    text, begun = "", 0
    for place, (bar, end) in enumerate(zip(bars, ends, strict=True)):
        written = writer.bar(bar, end, is_first=place == 0)
        if begun == BARS_A_LINE and not written.startswith(NEW_LINE):
            text, begun = text + " " + GOES_ON + NEW_LINE, 0
        begun = 1 if NEW_LINE in written else begun + 1
        text += written if not text or text.endswith(NEW_LINE) else " " + written
    lines = [" ".join(line.split()) for line in text.split(NEW_LINE)]
    return with_words(melody, lines)


def with_words(melody: Melody, lines: list[str]) -> list[str]:
    """Lines of music without the marks of their notes, the words under each line."""
    out, words = [], by_note(melody.lyrics)
    for line in lines:
        notes = [(int(index), bool(tied)) for index, tied in NOTE_MARK.findall(line)]
        music = NOTE_MARK.sub("", line)
        if music.strip():
            out += [music, *word_lines(words, notes)]
    return out


def word_lines(
    words: Mapping[int, list[Lyric]], notes: list[tuple[int, bool]]
) -> list[str]:
    """A ``w:`` line for each verse under the notes of a line; a tied note comes twice."""
    if not words or not notes:
        return []
    inside = [word for note, tied in notes if not tied for word in words.get(note, ())]
    out = []
    for verse in range(1, max((word.verse for word in inside), default=1) + 1):
        sung = [word for word in inside if word.verse == verse]
        texts = {word.note: syllable_text(word.text) for word in sung}
        said = ["*" if tied else texts.get(note, "*") for note, tied in notes]
        out.append("w: " + " ".join(said))
    return out


def syllable_text(text: str) -> str:
    """A syllable as ``w:`` takes it: blanks as tildes, hyphens inside escaped."""
    body = text.removesuffix("-")
    clean = field_text(re.sub(r"[_*|]", "", body)).strip().replace(" ", "~")
    clean = clean.replace("-", "\\-")
    return (clean or "~") + ("-" if text.endswith("-") else "")


class BarWriter:
    """Writes bar after bar; remembers the signature and the altered letters."""

    def __init__(self, melody: Melody) -> None:
        self.melody = melody
        self.graces_of = by_note(melody.graces)
        self.signature = printed_signs(melody.keys[0] if melody.keys else None)
        self.altered: set[str] = set()
        self.in_ending = False
        self.marks = sorted((m.onset_ticks, mark_text(m.text)) for m in melody.marks)
        self.chords = sorted(
            (c.onset_ticks, f'"{chord_text(c.text)}"') for c in melody.printed_chords
        )

    def bar(self, bar: WrittenBar, ending_end: str, *, is_first: bool) -> str:
        """One bar with its lines; how a numbered ending ends in it, if one does."""
        self.altered.clear()
        out = "|: " if bar.bar.repeat_start else ""
        if bar.bar.ending:
            out += f"[{ending_text(bar.bar.ending)} "
            self.in_ending = True
        if not is_first:
            out += self.changes(bar)
        return f"{out}{self.events(bar)} {self.right_line(bar, ending_end)}"

    def changes(self, bar: WrittenBar) -> str:
        """Key and metre that change at a bar."""
        out = ""
        if bar.metre_change:
            out += f"[M:{metre_text(bar.metre_change.metre)}] "
        if bar.key_change:
            self.signature = printed_signs(bar.key_change)
            out += f"[K:{key_text(bar.key_change)}] "
        return out

    def events(self, bar: WrittenBar) -> str:
        """Notes, rests, chord symbols and marks; beams stand without spaces."""
        out = ""
        texts = self.texts(bar)
        sizes = Counter(event.tuplet for event in bar.events)
        tuplet: int | None = None
        for place, event in enumerate(bar.events):
            end = event.onset_ticks + event.duration_ticks
            if self.begins_phrase(event):
                out += NEW_LINE
            while texts and texts[0][0] < end:
                out += texts.popleft()[1]
            if event.tuplet is not None and event.tuplet != tuplet:
                group = bar.tuplets[event.tuplet]
                out += f"({group.actual}:{group.normal}:{sizes[event.tuplet]}"
            tuplet = event.tuplet
            out += self.event(event)
            if event.note is not None:
                out += f"{{{{{event.note}{'_' * event.tied_from}}}}}"
            after = bar.events[place + 1] if place + 1 < len(bar.events) else None
            if after and (event.beam is None or after.beam != event.beam):
                out += " "
        return out

    def begins_phrase(self, event: Written) -> bool:
        """Whether the phrase of a note is not that of the note before it."""
        note, phrase = event.note, self.melody.phrase
        return bool(note and not event.tied_from and phrase[note] != phrase[note - 1])

    def texts(self, bar: WrittenBar) -> deque[tuple[int, str]]:
        """Section marks and chord symbols of a bar with their onsets."""
        low, high = bar.bar.onset_ticks, bar.bar.onset_ticks + bar.bar.duration_ticks
        # A chord that holds from before the bar of the first note stands at its place.
        is_first = low <= self.melody.onset_ticks[0] < high
        marks = between(self.marks, low, high)
        since = self.chords[0][0] if is_first and self.chords else low
        chords = between(self.chords, min(since, low), high)
        chords = [(max(onset, low), text) for onset, text in chords]
        return deque(sorted([*marks, *chords]))

    def event(self, event: Written) -> str:
        """One note, rest or blank."""
        unvalued = event.value == UNVALUED
        length = length_text(
            event.duration_ticks if unvalued else VALUE_TICKS[event.value, event.dots]
        )
        if event.note is None:
            return ("x" if event.blank else "z") + length
        midi, fifths = self.melody.midi[event.note], self.melody.fifths[event.note]
        graces = "" if event.tied_from else self.graces(event.note)
        tie = "-" if event.tied_to else ""
        return f"{graces}{self.pitch(midi, fifths, event.note)}{length}{tie}"

    def graces(self, note: int) -> str:
        """The grace notes before a note."""
        graces = self.graces_of.get(note)
        if not graces:
            return ""
        slash = "/" if graces[0].slashed else ""
        return f"{{{slash}{''.join(self.pitch(g.midi, g.fifths, note) for g in graces)}}}"

    def pitch(self, midi: int, fifths: int, note: int) -> str:
        """A pitch with its accidental where one is needed."""
        letter, alteration, octave = spelled(midi, fifths)
        if alteration not in SIGNS:
            raise PresentationError(
                f"a note in bar {self.melody.bar[note]} is altered more than twice",
                where=self.melody.title,
                hint="ABC has no sign for it; MusicXML has",
            )
        sign = ""
        if letter in self.altered or alteration != self.signature.get(letter, 0):
            self.altered.add(letter)
            sign = SIGNS[alteration]
        if octave >= 5:
            return sign + letter.lower() + "'" * (octave - 5)
        return sign + letter + "," * (4 - octave)

    def right_line(self, bar: WrittenBar, ending_end: str) -> str:
        """The right bar line."""
        closes = self.in_ending and ending_end
        self.in_ending = self.in_ending and not closes
        if bar.bar.repeat_times:
            return ":" * (bar.bar.repeat_times - 1) + "|"
        if bar.bar.line == "final":
            return "|]"
        return "||" if bar.bar.line == "double" or closes else "|"


def ending_text(text: str) -> str:
    """Numbers of an ending: digits, commas and dashes."""
    return "".join(c for c in text if c in "0123456789,-") or "1"


def bracket_text(text: str) -> str:
    """Text inside a bracketed field."""
    return field_text(text.replace("[", "(").replace("]", ")"))


def mark_text(text: str) -> str:
    """A section mark, or a sign that sends the player elsewhere."""
    return f"!{text}!" if text.lower() in DECORATIONS else f"[P:{bracket_text(text)}]"


def chord_text(text: str) -> str:
    """Text inside quotation marks."""
    return field_text(text.replace('"', "'").replace("♭", "b").replace("♯", "#"))


def length_text(ticks: int) -> str:
    """A length in unit lengths: ``2``, ``/2``, ``3/2``, or nothing for one."""
    length = Fraction(ticks, UNIT_TICKS)
    top = "" if length.numerator == 1 else str(length.numerator)
    return top + (f"/{length.denominator}" if length.denominator > 1 else "")
