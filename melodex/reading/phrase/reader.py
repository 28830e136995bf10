"""A typed phrase becomes notes: degrees, steps, names, solfa, ABC or a contour.

Conventions, the same for whoever types and whoever reads an answer:

- *Degrees* ``5 1 2 b3 2 1`` are those of the major scale on the tonic, whatever the
  mode: the minor third is always ``b3``. Unmarked degrees lie in the one octave that
  rises from the tonic, so ``7 1`` falls; ``1'`` is an octave above and ``7,`` an
  octave below. ``8`` is ``1'`` and ``9``, as in chords, ``2'``. ``5*2`` lasts two beats,
  ``2*1/2`` half a beat, ``1*1.5`` one and a half; so do ``5h``, ``2e`` and ``1q.``, by
  the first letters of *half*, *eighth* and *quarter*; without a length a degree lasts
  one. A dash holds the degree before it a beat more, as in numbered notation (``6 5 -``);
  one dash between each two only parts them. ``?`` among them is a note of which nothing is
  known, ``?*2`` one of which the length is.
- *Degrees in a list* ``1, 2, 3, 5``: the commas part them, and are no octave marks.
- *Steps* ``+2 +2 -4 0`` are semitones from note to note; each carries its sign.
- *ABC* ``K:F c3 d | f2 e2`` is standard 2.1; fields may stand before the notes on the
  same line, and may be left out.
- *Names* of notes and syllables of *solfa*: see :mod:`melodex.reading.phrase.names`.
- *Contour* ``+ + - 0 +``: up, up, down, same, up; also ``u u d s u``, or in words.
- *Rhythm* ``q. e q q``: lengths alone, see :mod:`melodex.reading.phrase.rhythm`.

What stands round a row of notes in an answer (``tune``, ``degree``, what is said in
brackets of how it was read) is set aside. Bar lines between degrees, steps and signs are
allowed and ignored. The notation is recognised from the text. Where two notations give
the same music, the first of :data:`NOTATIONS` is taken; where they differ,
:func:`plausible` and :func:`preferred` say which is meant
beyond doubt, or the musician is asked. A phrase has three notes or more: two are an
interval, and every tune holds it.

References
----------
Friedmann (1985), "A methodology for the discussion of contour", Journal of Music
Theory 29, 223-248, for the series of signs.

Contents: NOTATIONS, FEWEST_NOTES, MOST_NOTES, read_phrase.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

from melodex.errors import PhraseError
from melodex.melody import MODES, Key, Phrase, fifths_from_name
from melodex.reading.phrase.faults import (
    NO_ABC_NOTE,
    TYPOGRAPHY,
    CannotReadError,
    Fault,
    ambiguous,
    pointed_out,
    unreadable,
)
from melodex.reading.phrase.signs import (
    LISTED,
    read_contour,
    read_degree_list,
    read_degrees,
    read_steps,
)

__all__ = ["FEWEST_NOTES", "MOST_NOTES", "NOTATIONS", "read_phrase"]

NOTATIONS = {
    "degrees": "scale degrees",
    "steps": "steps in semitones",
    "abc": "ABC",
    "contour": "a contour",
    "names": "note names",
    "german": "German note names",
    "solfa": "solfa, do movable",
    "tonic-solfa": "English tonic sol-fa",
    "fixed-do": "solfa, do is C",
    "degree-list": "scale degrees in a list",
    "solfa-octave": "solfa, each in the octave above do",
    "rhythm": "a rhythm",
}
"""How a phrase can be written: the short name of each notation, and its name in words."""

FEWEST_NOTES = 3
MOST_NOTES = 512
"""What is longer is a piece: it is read from a file."""

MOST_CHARACTERS = 20_000
ROMANCE_SYLLABLES = frozenset(("do", "ut", "re", "mi", "fa", "sol", "la", "si"))
OCTAVE = 12
SURE_STEP = 7
"""Semitones: within a fifth from each note to the next, numbers are octaves."""

# Patterns are compiled when a text needs them, and kept by the module re.
ROW_TITLE = (
    r"(?i)\s*(?:tune|phrase|own|(?:scale )?degrees?|notes?|contour|steps)(?::|\s)\s*(?=\S)"
)
ROW_LETTER = r"\s*[AB]\s{2,}(?=(?:[A-G][b#]*\d\s*)+$)"
ROW_REMARK = r"\(\d+ notes, read as [^()]*\)\s*$"
QUOTED = r"(?m)^[ \t]*(?:>[> ]*)+"
"""How a mail begins the lines that it quotes."""
ROW_GOES_ON = r"(?<=\s)(?:\.{2,}|…)\s*$"
"""What stands before and behind a row of notes in an answer."""
NO_ABC = r"(?<!\S)[H-Yh-w](?!\S)|([A-Ga-g])-(?!\1)[A-Ga-g]"
"""A decoration without a note, which ABC would drop, or a tie between two pitches: what
has one was not meant as ABC, unless it is said to be."""

NO_ABC_WITHOUT_FIELD = (
    r"[H-WYh-wy]|[A-Ga-g]\d*[xX]|(?<!\S)[A-Ga-g]\d{2,}\s+[A-Ga-g]\d{2,}"
    r"|[A-Ga-g]\d*:(?![|:])|[a-g]\d*,|[A-G]\d*'"
    r"|^\s*(?:[A-Ga-g]\d/)+[A-Ga-g]\d\s*$"
)
"""Letters of decorations, a hidden rest behind a note, lengths of ten and more, a note
with a colon as a chord before its notes has one, octave marks against the case of their
letter, strokes that part notes with a number each: unlikely where nothing else says that
the text is ABC."""

GAP = r"(?<!\S)(?:\.{2,}|…|_{2,})(?=\s+\S)"
"""Dots or a line that stand for notes, with more notes behind them."""

ABC_FIELD = r"(?:^|[\s\[])[A-Za-z]:"
ABC_TEXT = r"\"[^\"\n]*\"|![^!\n]*!"

ABC_LETTERS = frozenset("ABCDEFGabcdefg")


def read_phrase(
    text: str,
    *,
    notation: str = "",
    tonic: str = "",
    mode: str = "",
    fewest: int = FEWEST_NOTES,
) -> Phrase:
    """Read a phrase that somebody typed.

    Parameters
    ----------
    text : str
        A phrase in any of :data:`NOTATIONS`, as this module's opening says.
    notation : str, optional
        One of :data:`NOTATIONS`; left out, it is recognised from the text.
    tonic : str, optional
        Name of the tonic such as ``F`` or ``Bb``, for degrees (C when left out) and
        for ABC without a key of its own.
    mode : str, optional
        A name in :data:`~melodex.melody.pitch.MODES`, for what ``tonic`` is for. Left
        out, degrees with ``b3`` and no ``3`` are minor and all others major.
    fewest : int, optional
        How many notes it must have; less than a phrase is enough to draw it while it
        is being typed.

    Returns
    -------
    Phrase
        ``has_rhythm`` is False where no length was typed: each note then lasts a
        quarter as a placeholder. ``has_tonic`` is False for steps, contours and ABC
        without a key. Pitches of steps start at an arbitrary place, those of a contour
        stand for its signs alone.

    Raises
    ------
    AmbiguousPhraseError
        If two notations fit; the message shows both readings.
    PhraseError
        If none fits, or the phrase is too short or too long; the message shows where.

    Examples
    --------
    >>> read_phrase("5 1' 2' b3' 2' 1'", tonic="F").melody.midi
    (72, 77, 79, 80, 79, 77)
    >>> read_phrase("+2 +2 -4 0").melody.interval_semitones
    (2, 2, -4, 0)
    >>> read_phrase("+ + - 0 +").contour
    (1, 1, -1, 0, 1)
    >>> read_phrase("b3 b2 b3")
    Traceback (most recent call last):
    ...
    melodex.errors.AmbiguousPhraseError: 'b3 b2 b3' can be read in more than one way
        as degrees:  Eb4 Db4 Eb4
        as abc:      B5*3/2 B5 B5*3/2
    say in which notation it is written
    """
    plain, is_row = without_surroundings(checked(text, notation))
    refuse_gap(plain)
    key = stated_key(tonic, mode)
    # A row of an answer has octaves where ABC has lengths.
    likely = tuple(name for name in NOTATIONS if not (is_row and name == "abc"))
    wanted = (notation,) if notation else likely
    found, faults = readings_of(plain, wanted, key, fewest)
    if not found:
        raise unreadable(text, faults)
    both = {"abc", "names"} <= set(found) and all_numbered(plain)
    if both and same_music(found["abc"], found["names"]):
        # Lengths that are all alike are octaves: they say nothing of a rhythm.
        del found["abc"]
    rivals = unlike(found)
    best = plausible(rivals)
    meant = preferred(best, plain) if len(best) > 1 else next(iter(best))
    rivals = {name: rivals[name] for name in rivals if name in best or name in OFFERED}
    if not meant:
        raise ambiguous(text, rivals)
    others = tuple(name for name in rivals if name != meant)
    return replace(rivals[meant], text=text, other_notations=others)


def unlike(found: dict[str, Phrase]) -> dict[str, Phrase]:
    """Of readings that are the same music, the first."""
    kept: dict[str, Phrase] = {}
    for name, phrase in found.items():
        if not any(same_music(phrase, one) for one in kept.values()):
            kept[name] = phrase
    return kept


OFFERED = frozenset(("solfa", "solfa-octave", "degrees"))
"""Notations that are offered beside another though they are less likely."""


def plausible(found: dict[str, Phrase]) -> dict[str, Phrase]:
    """The readings without those that leap where another reading does not.

    Of degrees parted by commas, the commas are octave marks only where the phrase leaps
    less for it. Syllables without octave are the nearest to each other, but lie in the
    octave above *do* where they begin on it and no leap is larger than a fifth.
    """
    leaps = {
        name: max(map(abs, phrase.melody.interval_semitones), default=0)
        for name, phrase in found.items()
    }
    dropped = set()
    if {"degrees", "degree-list"} <= set(found):
        for name, other in (("degrees", "degree-list"), ("degree-list", "degrees")):
            if leaps[name] > OCTAVE >= leaps[other]:
                dropped.add(name)
    if {"solfa", "solfa-octave"} <= set(found):
        from_do = found["solfa"].melody.midi[0] % OCTAVE == 0
        fits = from_do and leaps["solfa-octave"] <= SURE_STEP
        dropped.add("solfa" if fits else "solfa-octave")
    return {name: phrase for name, phrase in found.items() if name not in dropped}


def same_music(one: Phrase, other: Phrase) -> bool:
    """Whether two readings are looked for alike, but for the key that is claimed."""
    for lone in ("contour", "rhythm"):
        if (one.notation == lone) != (other.notation == lone):
            return False
    if one.has_pitch != other.has_pitch or one.has_length != other.has_length:
        return False
    steps = one.melody.interval_semitones == other.melody.interval_semitones
    spans = [set(phrase.melody.duration_ticks) for phrase in (one, other)]
    alike = one.melody.duration_ticks == other.melody.duration_ticks
    return steps and (alike or all(len(span) == 1 for span in spans))


def preferred(found: dict[str, Phrase], text: str) -> str:
    """The notation that is meant beyond doubt where two differ; empty where it is not.

    Names are meant where a flat stands behind a capital (``Bb``, which in ABC would be
    two notes), where capitals stand apart without a sign of ABC, or where all of them
    have octaves and no step is larger than a fifth, which lengths would rarely give.
    A text in which names leap by more than an octave has lengths, not octaves.
    """
    if set(found) == {"abc", "names"}:
        words = text.replace("|", " ").split()
        if "," in text and not re.fullmatch(LISTED, text):
            # Behind some letters only, a comma is an octave mark.
            return "abc"
        if text != text.lower() and text != text.upper() and "b" not in text:
            # Both cases, which only ABC tells apart.
            return "abc"
        if any(re.fullmatch(r"[A-G](?:b{1,2}|#{1,2})\d?", word) for word in words):
            return "names"
        if all(re.fullmatch(r"[A-G]", word) for word in words):
            return "names"
        steps = found["names"].melody.interval_semitones
        largest = max(map(abs, steps), default=0)
        if all_numbered(text) and largest <= SURE_STEP:
            return "names"
        if largest > 12:
            return "abc"
    if set(found) == {"solfa", "fixed-do"}:
        # Where so is called sol, si is the seventh; so and ti go with si for sharp 5.
        named = set(re.findall(r"[a-z]+", text.lower()))
        return "fixed-do" if named <= {*ROMANCE_SYLLABLES} else ""
    return ""


def all_numbered(text: str) -> bool:
    """Whether a number stands behind each letter, and nothing else does."""
    words = text.replace("|", " ").split()
    return all(re.fullmatch(r"[A-Ga-g]\d", word) for word in words)


def checked(text: str, notation: str) -> str:
    """The text in plain signs, unless it is empty or too long to be a phrase."""
    if notation and notation not in NOTATIONS:
        raise PhraseError(
            f"no notation is called {notation!r}", hint=f"one of {', '.join(NOTATIONS)}"
        )
    if not text.strip():
        raise PhraseError("the phrase is empty", hint="type degrees such as 5 1 2 b3 2 1")
    if len(text) > MOST_CHARACTERS:
        raise PhraseError("the phrase is too long", hint="read it from a file")
    return text.translate(TYPOGRAPHY)


def refuse_gap(text: str) -> None:
    """Ask what stands in a gap of no known length; dots at the end only say "and so on"."""
    gap = re.search(GAP, text)
    if gap is None:
        return
    line, column, pointer = pointed_out(text, gap.start())
    error = PhraseError(
        f"{gap[0]!r} does not say how many notes are missing",
        where=f"phrase, column {column}",
        hint="write ? for each of them, or look for what stands on one side alone",
    )
    error.column, error.pointed = column, f"    {line}\n    {pointer}"
    raise error


def without_surroundings(text: str) -> tuple[str, bool]:
    """The text without what an answer prints round a row of notes, and if it had a title.

    Places stay as they are.
    """

    def blank(found: re.Match[str]) -> str:
        return " " * len(found[0])

    if len(text) > 1 and text.count('"') == 2 and text[0] == text[-1] == '"':
        text = f" {text[1:-1]} "
    if text.lstrip().startswith(">"):
        text = re.sub(QUOTED, blank, text)
    if "\n" in text.strip():
        return text, False
    is_row = False
    for pattern in (ROW_TITLE, ROW_LETTER):
        if found := re.match(pattern, text):
            text, is_row = blank(found) + text[found.end() :], True
    if "notes, read as" in text:
        text = re.sub(ROW_REMARK, blank, text)
    if text.rstrip().endswith(("..", "…")):
        text = re.sub(ROW_GOES_ON, blank, text)
    return text, is_row


def readings_of(
    text: str, notations: tuple[str, ...], key: Key | None, fewest: int
) -> tuple[dict[str, Phrase], dict[str, Fault]]:
    """Read a text in each notation: phrases by notation, faults by notation."""
    found: dict[str, Phrase] = {}
    faults: dict[str, Fault] = {}
    for notation in notations:
        if len(notations) > 1 and not worth_trying(notation, text, found):
            # The usual case: large patterns need not be compiled to see that.
            faults[notation] = Fault(0, NO_ABC_NOTE)
            continue
        try:
            phrase = reader_of(notation)(text, key)
            check_count(len(phrase.melody), text, fewest)
            check_known(phrase)
            found[notation] = phrase
        except CannotReadError as refusal:
            faults[notation] = refusal.fault
    return found, faults


def worth_trying(notation: str, text: str, found: dict[str, Phrase]) -> bool:
    """Whether a text has what a notation needs at all."""
    if notation == "abc":
        return not ABC_LETTERS.isdisjoint(text) and may_be_abc(text)
    if notation == "contour":
        return len(text.strip()) > 1
    if notation == "degree-list":
        return "," in text
    if notation == "solfa-octave":
        return "solfa" in found
    if notation == "rhythm":
        # Numbers alone are degrees, unless they are said to be lengths.
        return not {"degrees", "names"} & set(found) and bool(re.search(RHYTHMIC, text))
    if notation == "german":
        return bool(re.search(r"(?ai)\b(?:H|[A-H](?:is|es)|[AE]s)(?![a-z])", text))
    if notation in {"names", "solfa", "tonic-solfa", "fixed-do"}:
        # Degrees with flats are no names: "b3" is a third.
        letters = any(c.isalpha() for c in text) or re.search(r"\d\d", text)
        return bool(letters) and not {"degrees", "german"} & set(found)
    return True


RHYTHMIC = (
    r"(?i)\*|/\d|[♩♪♫𝅗𝅝]|(?<![a-z])[whqest]*[qhw]"
    r"|quarter|eighth|sixteenth|crotchet|quaver|minim|breve|(?<![a-z])(?:ta|ti|too)(?![a-z])"
    r"|noire|croche|blanche|ronde|viertel|achtel|halbe|negra|corchea|blanca|croma"
)


def may_be_abc(text: str) -> bool:
    """Whether nothing in a text speaks against ABC."""
    if re.search(NO_ABC, text):
        return False
    if re.search(ABC_FIELD, text):
        return True
    return not re.search(NO_ABC_WITHOUT_FIELD, re.sub(ABC_TEXT, " ", text))


def reader_of(notation: str) -> Callable[[str, Key | None], Phrase]:
    """The function that reads a notation; most are loaded when they are needed."""
    if notation in READERS:
        return READERS[notation]
    if notation == "rhythm":
        from melodex.reading.phrase.rhythm import read_rhythm

        return read_rhythm
    if notation == "abc":
        from melodex.reading.phrase.abc import read_abc_phrase

        return read_abc_phrase
    from melodex.reading.phrase import names

    found: Callable[[str, Key | None], Phrase] = getattr(
        names, f"read_{notation.replace('-', '_')}"
    )
    return found


READERS: dict[str, Callable[[str, Key | None], Phrase]] = {
    "degrees": read_degrees,
    "degree-list": read_degree_list,
    "steps": read_steps,
    "contour": read_contour,
}


def stated_key(tonic: str, mode: str) -> Key | None:
    """The key named beside a phrase; a mode alone is on C."""
    if mode and mode not in MODES:
        raise PhraseError(f"no mode is called {mode!r}", hint=f"one of {', '.join(MODES)}")
    if not tonic and not mode:
        return None
    try:
        fifths = fifths_from_name(tonic.translate(TYPOGRAPHY) or "C")
    except ValueError as error:
        raise PhraseError(
            f"{tonic!r} is no tonic", hint="a note name such as F, Bb or F#"
        ) from error
    if abs(fifths) > 15:
        raise PhraseError(f"{tonic!r} has too many accidentals for a tonic")
    return Key(fifths, mode)


# What all notations share


def check_known(phrase: Phrase) -> None:
    """Refuse a phrase with notes that are not known, if nothing else is."""
    if phrase.has_pitch and sum(phrase.has_pitch) + sum(phrase.has_length) < FEWEST_NOTES:
        raise CannotReadError(0, f"fewer than {FEWEST_NOTES} things are known of it")


def check_count(count: int, text: str, fewest: int) -> None:
    """Refuse a phrase that is too short to look for, or too long to be one."""
    if count < fewest:
        has = {0: "none", 1: "one"}.get(count, f"only {count}")
        raise CannotReadError(
            len(text.rstrip()), f"a phrase has {fewest} notes or more, this has {has}"
        )
    if count > MOST_NOTES:
        raise CannotReadError(
            0, f"more than {MOST_NOTES} notes", "read the piece from a file"
        )
