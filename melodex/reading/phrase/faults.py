"""What is said of a phrase that could not be read, or could be read in two ways.

Conventions: an error names the column, from 1, and carries the line with a caret under
the fault; of an ambiguous phrase it carries all readings.

Contents: Fault, CannotReadError, TYPOGRAPHY, pointed_out, unreadable, ambiguous.
"""

from __future__ import annotations

import re

from melodex.errors import REMEDIES, AmbiguousPhraseError, PhraseError
from melodex.melody import TICKS_PER_QUARTER, Phrase, note_name
from melodex.records import dataclass

__all__ = [
    "TYPOGRAPHY",
    "CannotReadError",
    "Fault",
    "ambiguous",
    "pointed_out",
    "unreadable",
]

SHOWN_CHARACTERS = 64
"""Of a phrase, what a line of a terminal of 80 columns shows beside a fault."""
NO_ABC_NOTE = "no note of ABC stands here"

TYPOGRAPHY = str.maketrans(
    {
        **dict(zip("’‘−–—♭♯♮𝄪", ["'", "'", *"---b#nx"], strict=True)),
        **dict(zip("０１２３４５６７８９＋－", "0123456789+-", strict=True)),
        **dict(zip("ＡＢＣＤＥＦＧ＃₀₁₂₃₄₅₆₇₈₉", "ABCDEFG#0123456789", strict=True)),
        # What a copied text holds between its signs, and nobody sees.
        **dict.fromkeys("\ufeff\u200b\u2060\u00ad", " "),
        # Marks of the direction of writing.
        **dict.fromkeys(map(chr, (*range(0x200E, 0x2010), *range(0x202A, 0x202F))), " "),
        **dict.fromkeys(map(chr, range(0x2066, 0x206A)), " "),
        # The hat over a scale degree has no column of its own.
        "\u0302": "",
    }
)
"""One sign for one sign, so that columns stay what was typed."""

WORDS = {
    "degrees": r"[b#]*[1-7].*",
    "steps": r"[+-]\d+",
    "abc": r"[A-Z]:.*|[\^_=]*[A-Ga-g][A-Ga-gz\d/',<>()-]*",
    "contour": r"[+-][+-]*0?|(?i:[uds]|up|down|same)",
    "names": r"[A-Ga-g](?:#|b|x)?-?\d?,?",
    "german": r"(?i:[a-h](?:is|es|s)?\d?)",
    "degree-list": r"[b#]*[1-7],",
    "solfa": r"(?i:do|re|mi|fa|sol?|la|ti)",
    "solfa-octave": r"",
    "tonic-solfa": r"(?i:doh|ray|me|fah|soh|lah|te)",
    "fixed-do": r"(?i:do|re|mi|fa|sol?|la|si)[#b]",
    "rhythm": r"(?i:[whqest]\.*)|\*.+|\d/\d+\.*|(?i:[a-z]*(?:quaver|breve)s?)|[♩♪].*"
    r"|(?i:crotchet|minim|dotted|whole|half|quarter|eighth|sixteenth)s?"
    r"|(?i:ta|ti|too)(?:-(?i:ta|ti|a))*",
}
"""Which words speak for a notation, to choose whose complaint is shown."""

KNOWN_NOTATIONS = (
    "type degrees such as 5 1 2 b3, note names such as F# A C#5, solfa such as do re mi, "
    "steps such as +2 +2 -4, ABC such as K:F c3 d f2, a contour such as u u d s, or a "
    "rhythm such as q. e h"
)

TABLATURE = r"(?m)^[ \t]*[A-Ga-g]?[ \t]*\|[-\d|hpx/\\~() ]*--"
"""A string of a guitar: its name where it has one, a stroke, frets between dashes."""

ONE_CHORD = (
    r"[A-G][b#]?(?:maj|min|dim|aug|sus|add|m|M|°|ø|\+)?\d{0,2}"
    r"(?:[b#]\d{1,2}|sus\d?|add\d{1,2}|maj\d{1,2})*(?:/[A-G][b#]?)?"
)
"""A chord symbol such as ``C#m7`` or ``Bb/D``."""

ONE_NUMERAL = r"[b#]?(?:VII|VI|V|IV|I{1,3}|vii|vi|v|iv|i{1,3})[°øo+]?(?:maj)?\d{0,2}"
"""A chord by its degree, such as ``bVII7``."""

BARE_NAME = r"[A-G][b#]?\d*"
"""A letter, or one with a number, may be a chord and may be a note."""

CHORD_IN_BRACKETS = r"\[[A-G][b#]?(?:m|maj|min|dim|sus|\d)[^\]\s]*\]"
"""As sheets of words with chords have them."""

LETTERS_OF_A_WORD = 3
"""What is shorter may be a note, a syllable or an article."""


@dataclass(frozen=True, slots=True)
class Fault:
    """What keeps a text from being read in one notation, and where (from 0)."""

    place: int
    reason: str
    hint: str = ""


class CannotReadError(Exception):
    """Carries a fault out of a reader of one notation."""

    def __init__(self, place: int, reason: str, hint: str = "") -> None:
        self.fault = Fault(place, reason, hint)
        super().__init__(reason)


def unreadable(text: str, faults: dict[str, Fault]) -> PhraseError:
    """The fault of the notation that fits best, with its place pointed out."""
    words = text.translate(TYPOGRAPHY).replace("|", " ").split()
    fitting = {
        name: sum(bool(re.fullmatch(WORDS[name], word)) for word in words)
        for name in faults
    }
    if len(faults) > 1 and (error := no_phrase_at_all(text, words)):
        return error

    def told_best(name: str) -> tuple[int, bool, int]:
        return fitting[name], faults[name].reason != NO_ABC_NOTE, faults[name].place

    notation = max(faults, key=told_best)
    fault = faults[notation]
    if len(faults) > 1 and not fitting[notation]:
        return PhraseError(
            f"{cut_short(text.strip())!r} is no phrase", hint=KNOWN_NOTATIONS
        )
    tried = f"as {notation}, " if len(faults) > 1 else ""
    line, column, pointer = pointed_out(text, fault.place)
    error = PhraseError(
        f"{tried}{fault.reason}", where=f"phrase, column {column}", hint=fault.hint
    )
    error.column, error.pointed = column, f"    {line}\n    {pointer}"
    return error


def no_phrase_at_all(text: str, words: list[str]) -> PhraseError | None:
    """What is said of tablature, chords and words, which are no notes."""
    if re.search(TABLATURE, text):
        hint = "write the notes, such as E4 F#4 G4, or scale degrees"
        return PhraseError("this is tablature, which is not read", hint=hint)
    shown = cut_short(" ".join(text.split()))
    if are_chords(words):
        what = f"{shown!r} are chords, and a phrase is notes"
        return PhraseError(what, hint=REMEDIES["gather chords"])
    if found := re.search(CHORD_IN_BRACKETS, text):
        what = f"{found[0]!r} is a chord among notes"
        where = f"phrase, column {pointed_out(text, found.start())[1]}"
        hint = f'leave the chords out, or write ABC with "{found[0][1:-1]}" before its note'
        return PhraseError(what, where=where, hint=hint)
    if are_words(words):
        what = f"{shown!r} are words, and a phrase is notes"
        return PhraseError(what, hint=REMEDIES["find title"])
    return None


def are_chords(words: list[str]) -> bool:
    """Whether all of a text is chords, by symbols or degrees, and cannot be notes."""
    chords = [word for part in words for word in re.split(r"[-–,]", part) if word]
    if all(re.fullmatch(BARE_NAME, word) for word in chords):
        return False
    return any(
        all(re.fullmatch(pattern, word) for word in chords)
        for pattern in (ONE_CHORD, ONE_NUMERAL)
    )


def are_words(words: list[str]) -> bool:
    """Whether most of a text is words that no notation has."""
    plain = [word.strip(".,;:!?'") for word in words]
    long = [word for word in plain if len(word) >= LETTERS_OF_A_WORD and word.isalpha()]
    strange = [w for w in long if not any(re.fullmatch(each, w) for each in WORDS.values())]
    return len(words) > 2 and 2 * len(strange) > len(words)


def pointed_out(text: str, place: int) -> tuple[str, int, str]:
    """The line a place stands in, cut to what fits; its column from 1; a caret line."""
    start = text.rfind("\n", 0, place) + 1
    line = text[start:].split("\n", 1)[0]
    column = place - start
    cut = max(0, column - SHOWN_CHARACTERS + 8)
    shown = "".join(
        c if c.isprintable() else " " for c in line[cut : cut + SHOWN_CHARACTERS]
    )
    return shown, column + 1, " " * (column - cut) + "^"


def ambiguous(text: str, found: dict[str, Phrase]) -> AmbiguousPhraseError:
    """All readings, for a person to choose from."""
    error = AmbiguousPhraseError(
        f"{cut_short(text.strip())!r} can be read in more than one way",
        hint=REMEDIES["choose notation"],
    )
    error.readings = tuple((name, spelled_out(found[name])) for name in found)
    return error


def cut_short(text: str) -> str:
    """A text as long as a message bears."""
    return text if len(text) <= SHOWN_CHARACTERS else text[:SHOWN_CHARACTERS] + "..."


def spelled_out(phrase: Phrase) -> str:
    """A reading in words: its first notes with their lengths, or its steps."""
    melody = phrase.melody
    if phrase.notation == "contour":
        words = [{1: "up", 0: "same", -1: "down"}[sign] for sign in phrase.contour]
    elif phrase.notation == "rhythm":
        words = ["?" + (star(ticks) or "*1") for ticks in melody.duration_ticks]
    elif phrase.notation == "steps":
        words = [f"{step:+d}" if step else "0" for step in melody.interval_semitones]
        words[0] += " semitones"
    else:
        words = [note_name(*pair) for pair in zip(melody.midi, melody.fifths, strict=True)]
        if phrase.has_rhythm:
            words = [
                name + star(ticks)
                for name, ticks in zip(words, melody.duration_ticks, strict=True)
            ]
    return " ".join(words[:12]) + (" ..." if len(words) > 12 else "")


def star(duration_ticks: int) -> str:
    """A length in beats as it is typed after a degree; nothing for one beat."""
    from fractions import Fraction

    beats = Fraction(duration_ticks, TICKS_PER_QUARTER)
    return "" if beats == 1 else f"*{beats}"
