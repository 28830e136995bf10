"""Wishes about the whole tune: metre, kind, key, range, tempo, words, length, plan, makers.

Conventions: each wish is a condition on ``tune_facet`` with its values. What a musician
says in several ways is understood in all of them: ``6/8`` or ``compound``, ``C`` for
common time, ``jig``, ``JIG`` and ``Jigs``, ``G``, ``E minor``, ``Em``, ``e-moll`` or ``mi
mineur``, ``D4-B5``, ``100-120``, ``1930s``; ``jig or reel`` and ``not 4/4`` too. Tempo
counts quarter notes in a minute. Names of metres, kinds and keys are common practice, no
source.

Contents: whole_clauses, narrows, tunes_of, key_named, parts_said, pitch_named, like.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from melodex.corpus.rows import folded, kind_of
from melodex.corpus.tunes.titles import BARE_TITLE, bare, quoted
from melodex.errors import AnalysisError
from melodex.melody import MODES, fifths_from_name, fifths_of, midi_of
from melodex.reading.phrase.faults import CannotReadError
from melodex.reading.phrase.names import read_fixed_do, read_german
from melodex.tasks.gather.lines import asks_of_lines, pieces_with
from melodex.tasks.gather.names import mode_named
from melodex.tasks.gather.wish import IN_TURN, NEGATED, Wish

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = [
    "key_named",
    "like",
    "narrows",
    "parts_said",
    "pitch_named",
    "tunes_of",
    "whole_clauses",
]

Clause = tuple[str, list[Any]]

METRE_CLASSES = ("simple", "compound", "irregular", "mixed", "free")
METRE_NAMES = {
    "c": "4/4",
    "common": "4/4",
    "common time": "4/4",
    "c|": "2/2",
    "cut": "2/2",
    "cut time": "2/2",
    "alla breve": "2/2",
    "waltz": "3/4",
}
NUMBERS_UP = ("two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")
NUMBER_WORDS = {word: number for number, word in enumerate(NUMBERS_UP, 2)}
NUMBER_WORDS |= {"twelve": 12, "sixteen": 16}
METRE_WORDS = r"\b(?:in|time|metre|meter|takt)\b"
SIGNATURE = r"(?a)(\d{1,2})\s*/\s*(\d{1,2})"
KEY = r"(?a)\s*([A-Ga-g](?:[#b♯♭]| ?(?:sharp|flat)\b)?)\s*(.*)"
SIGNS = {"♯": "#", "♭": "b", "sharp": "#", "flat": "b"}
SMALL_MODES = {"m": "minor", "min": "minor", "-": "minor", "maj": "major", "M": "major"}
PITCH = r"([A-Ga-g])(#|b|♯|♭)?(-?\d)"
SPAN = r"\s*(?:(?:from|above|over)\s+(?P<from>\S+)|(?:up to|below|under)\s+(?P<to>\S+)|"
SPAN += r"(?P<one>[^\s–]+?)(?:\s*(?:-|–|\bto\b|\s)\s*(?P<other>\S+))?)\s*"
BEFORE_TEMPO = r"(?i)^\s*(?:♩|q|m\.?m\.?|quarter|crotchet)\s*=?\s*"
BEHIND_TEMPO = r"(?i)\s*(?:bpm|m\.?m\.?)\s*$"
BEHIND_LENGTH = r"(?i)\s*(?:bars?|measures?)\s*$"
GERMAN_KEY = r"(?i)\s*([a-h](?:is|es|s)?)[ -]?(dur|moll)\s*"
ROMANCE_KEY = r"(?i)\s*(do|ut|re|mi|fa|sol|la|si)(?:[ -]?([#b]|\w+?))?(?:[ -]([a-z]+))?\s*"
EITHER = r"(?i)\s*,\s*|\s+or\s+"
DECADE = r"(?a)(\d{3}0)(?:s|'s)?"
MOST = 100_000
"""Stands for no upper end, of a tempo or of bars."""


def tunes_of(corpus: Corpus, wish: Wish) -> set[int]:
    """Rows of the tunes that meet every wish about the whole tune or a line of it."""
    clauses: list[str] = []
    values: list[Any] = []
    for clause, given in whole_clauses(wish):
        clauses.append(clause)
        values += given
    where = f" WHERE {' AND '.join(clauses)}" if clauses else ""
    found = corpus.query(f"SELECT tune FROM tune_facet{where}", values)
    kept = {row[0] for row in found}
    return kept & pieces_with(corpus, wish) if asks_of_lines(wish) else kept


def narrows(wish: Wish) -> bool:
    """Whether anything is asked about the whole tune."""
    return asks_of_lines(wish) or next(whole_clauses(wish), None) is not None


def whole_clauses(wish: Wish) -> Iterator[Clause]:
    """A condition and its values for each wish about the whole tune.

    Raises
    ------
    AnalysisError
        If a wish cannot be understood.
    """
    for name in CLAUSES:
        if asked := getattr(wish, name):
            yield from clauses_said(name, asked)
    if wish.key_centres is not None:
        yield "key_centres >= ?", [wish.key_centres]
    for column in ("composer", "rights"):
        if text := getattr(wish, column):
            yield f"{column}_folded LIKE ? ESCAPE '\\'", [like(folded(text))]
    if wish.after is not None:
        yield "year >= ?", [wish.after]
    if wish.before is not None:
        yield "year <= ?", [wish.before]
    if wish.tag:
        yield "tune IN (SELECT tag.tune FROM tag WHERE tag.name = ?)", [wish.tag]


def clauses_said(name: str, asked: str) -> Iterator[Clause]:
    """The conditions of one wish; ``A or B`` is one condition, and so is ``not A``."""
    if name not in IN_TURN:
        yield from CLAUSES[name](asked)
        return
    each, values = [], []
    for part in parts_said(asked):
        clauses = list(CLAUSES[name](part))
        each.append(" AND ".join(f"({clause})" for clause, _ in clauses) or "1")
        values += [value for _, given in clauses for value in given]
    met = " OR ".join(f"({one})" for one in each)
    is_negated = re.match(NEGATED, asked)
    yield f"NOT coalesce(({met}), 0)" if is_negated else f"({met})", values


def parts_said(asked: str) -> list[str]:
    """What is asked for in turn: ``jig or reel`` and ``jig, reel`` are two."""
    plain = re.sub(NEGATED, "", asked, count=1)
    return [part for part in re.split(EITHER, plain) if part.strip()] or [asked]


def metre_in_signs(text: str) -> str:
    """A metre as it is printed, of what is said in words: ``six eight``, ``3/4 time``."""
    said = " ".join(text.casefold().split())
    if said in METRE_NAMES:
        return METRE_NAMES[said]
    said = re.sub(METRE_WORDS, " ", said).strip()
    numbers = [NUMBER_WORDS.get(word) for word in re.split(r"[\s-]+", said)]
    if len(numbers) == 2 and all(numbers):
        return f"{numbers[0]}/{numbers[1]}"
    return METRE_NAMES.get(said, said)


def of_metre(text: str) -> Iterator[Clause]:
    """A class of metre, or the time signature that is printed first."""
    plain = metre_in_signs(text)
    if plain.casefold() in METRE_CLASSES:
        yield "metre_class = ?", [plain.casefold()]
    elif found := re.fullmatch(SIGNATURE, plain):
        yield "metre = ?", [f"{int(found[1])}/{int(found[2])}"]
    else:
        raise AnalysisError(
            f"{text!r} is no metre",
            hint=f"write 6/8, common time, or one of {', '.join(METRE_CLASSES)}",
        )


def of_kind(text: str) -> Iterator[Clause]:
    """A kind of dance or song; where the file names none, the title may."""
    for word in kind_of(text).split():
        pattern = like(f" {word} ")
        yield (
            "(' ' || kind || ' ' LIKE ? ESCAPE '\\' OR "
            "(kind = '' AND ' ' || title_folded || ' ' LIKE ? ESCAPE '\\'))",
            [pattern, pattern],
        )


def of_key(text: str) -> Iterator[Clause]:
    """A tonic and its mode; major where none is said."""
    tonic, mode = key_named(text)
    yield "tonic_fifths = ? AND mode = ?", [tonic, mode or "major"]


def of_tonic(text: str) -> Iterator[Clause]:
    """A tonic in any mode."""
    tonic, mode = key_named(text)
    if mode:
        raise AnalysisError(f"{text!r} is more than a tonic", hint="ask for it as a key")
    yield "tonic_fifths = ?", [tonic]


def key_named(text: str) -> tuple[int, str]:
    """Place of a tonic on the line of fifths, and the mode, empty where none is said."""
    if other := key_in_other_words(folded(text.replace("♭", "b").replace("♯", "#"))):
        return other
    found = re.fullmatch(KEY, text)
    said = found[2].strip() if found else ""
    mode = SMALL_MODES.get(said) or mode_named(said)
    if not found or (mode and mode not in MODES):
        raise AnalysisError(
            f"{text!r} is no key", hint="write G, E minor, Em, Bb or D dorian"
        )
    name = found[1][0].upper() + found[1][1:].strip()
    for said_sign, sign in SIGNS.items():
        name = name.replace(said_sign, sign)
    return fifths_from_name(name), mode


def key_in_other_words(text: str) -> tuple[int, str] | None:
    """A key in German or in syllables: ``h-moll``, ``si bemol majeur``; else None."""
    try:
        return german_key(text) or key_in_syllables(text)
    except CannotReadError:
        return None


def german_key(text: str) -> tuple[int, str] | None:
    """A key as German musicians name it."""
    found = re.fullmatch(GERMAN_KEY, text)
    if not found:
        return None
    return read_german(found[1], None).melody.fifths[0], mode_named(found[2])


def key_in_syllables(text: str) -> tuple[int, str] | None:
    """A key as French, Italian and Spanish musicians name it."""
    found = re.fullmatch(ROMANCE_KEY, text)
    if not found:
        return None
    words = [word for word in (found[2], found[3]) if word]
    mode = mode_named(words.pop()) if words and mode_named(words[-1]) in MODES else ""
    name = found[1] + ("" if words and words[0] in "#b" else " ") + " ".join(words)
    return read_fixed_do(name, None).melody.fifths[0], mode


def of_mode(text: str) -> Iterator[Clause]:
    """The mode of the whole tune."""
    yield "mode = ?", [mode_named(text)]


def of_range(text: str) -> Iterator[Clause]:
    """Pitches between which all notes lie."""
    low, high = span_of(text, pitch_named, "a range", "D4-B5, up to A5 or from C4")
    if low is not None:
        yield "lowest_midi >= ?", [low]
    if high is not None:
        yield "highest_midi <= ?", [high]


def of_highest(text: str) -> Iterator[Clause]:
    """The highest note."""
    yield "highest_midi = ?", [pitch_named(text)]


def of_lowest(text: str) -> Iterator[Clause]:
    """The lowest note."""
    yield "lowest_midi = ?", [pitch_named(text)]


def pitch_named(text: str) -> int:
    """A note with its octave as a MIDI number; octave 4 starts on middle C."""
    found = re.fullmatch(PITCH, text.strip())
    if not found:
        raise AnalysisError(f"{text!r} is no note with an octave", hint="write A5 or Bb4")
    sign = {"#": 1, "♯": 1, "b": -1, "♭": -1}.get(found[2] or "", 0)
    return midi_of(fifths_of(found[1].upper(), sign), int(found[3]))


def of_tempo(text: str) -> Iterator[Clause]:
    """Quarter notes in a minute."""
    plain = re.sub(BEHIND_TEMPO, "", re.sub(BEFORE_TEMPO, "", text))
    low, high = span_of(plain, number_named, "a tempo", "120, 100-120 or from 140")
    if low is not None and low == high:
        # A mark of 119.9 is one of 120.
        low, high = low - 0.5, high + 0.5
    yield "tempo BETWEEN ? AND ?", [low or 0, MOST if high is None else high]


def of_length(text: str) -> Iterator[Clause]:
    """Printed bars of the whole tune."""
    plain = re.sub(BEHIND_LENGTH, "", text)
    low, high = span_of(plain, number_named, "a length in bars", "32, 16-32 or up to 24")
    yield "bar_count BETWEEN ? AND ?", [low or 0, MOST if high is None else high]


def number_named(text: str) -> int:
    """A whole number."""
    if not re.fullmatch(r"(?a)\d{1,5}", text):
        raise AnalysisError(f"{text!r} is no number")
    return int(text)


def span_of(
    text: str, read: Any, what: str, example: str
) -> tuple[float | None, float | None]:
    """Lower and upper end of ``A-B``, ``A``, ``from A`` or ``up to B``."""
    found = re.fullmatch(SPAN, text)
    try:
        ends = {name: read(end) for name, end in (found or {}).groupdict().items() if end}  # type: ignore[union-attr]
    except (AnalysisError, AttributeError) as error:
        raise AnalysisError(f"{text!r} is not {what}", hint=f"write {example}") from error
    low, high = ends.get("from", ends.get("one")), ends.get("to", ends.get("other"))
    if "one" in ends and "other" not in ends:
        high = low
    if low is not None and high is not None and low > high:
        raise AnalysisError(f"{text!r} ends before it begins", hint=f"write {example}")
    return low, high


def of_title(text: str) -> Iterator[Clause]:
    """Every word of a title or the beginning or end of one, in any order."""
    for word in folded(text).split():
        yield f"{BARE_TITLE} LIKE ? ESCAPE '\\'", [like(bare(word))]


def of_maker(text: str) -> Iterator[Clause]:
    """Composer or lyricist."""
    yield from in_index(text, "makers")


def of_lyrics(text: str) -> Iterator[Clause]:
    """Words that are sung."""
    yield from in_index(text, "lyrics")


def in_index(text: str, column: str) -> Iterator[Clause]:
    """Words in a column of the full-text index, which knows no runs under three letters."""
    for word in folded(text).split():
        if len(word) > 2:
            yield (
                "tune IN (SELECT rowid FROM tune_words_fts WHERE tune_words_fts MATCH ?)",
                [f"{{{column}}}: {quoted(word)}"],
            )
        else:
            yield (
                f"tune IN (SELECT tune FROM tune_words WHERE instr({column}, ?))",
                [word],
            )


def of_decade(text: str) -> Iterator[Clause]:
    """Ten years by their first: ``1930s``."""
    found = re.fullmatch(DECADE, text.strip())
    if not found:
        raise AnalysisError(f"{text!r} is no decade", hint="write 1930s")
    yield "year BETWEEN ? AND ?", [int(found[1]), int(found[1]) + 9]


def of_plan(text: str) -> Iterator[Clause]:
    """Sections by their letters: ``AABA``; the prime of a varied section counts not."""
    plain = re.sub(r"(?i)\b(?:form|plan)\b", "", text)
    letters = "".join(re.findall(r"[A-Za-z]+", plain)).upper()
    if not letters:
        raise AnalysisError(f"{text!r} is no plan of sections", hint="write AABA")
    yield (
        "tune IN (SELECT tune FROM (SELECT tune, "
        "upper(replace(group_concat(label, ''), '''', '')) AS plan "
        "FROM (SELECT tune, label FROM section ORDER BY tune, place) GROUP BY tune) "
        "WHERE plan = ?)",
        [letters],
    )


def of_collection(text: str) -> Iterator[Clause]:
    """A collection by its name, in capitals or not."""
    yield (
        "tune IN (SELECT place.tune FROM place JOIN collection "
        "ON collection.id = place.collection WHERE lower(collection.name) = lower(?))",
        [text.strip()],
    )


CLAUSES = {
    "metre": of_metre,
    "kind": of_kind,
    "key": of_key,
    "tonic": of_tonic,
    "range": of_range,
    "highest": of_highest,
    "lowest": of_lowest,
    "tempo": of_tempo,
    "length": of_length,
    "plan": of_plan,
    "title": of_title,
    "maker": of_maker,
    "lyrics": of_lyrics,
    "decade": of_decade,
    "collection": of_collection,
    "mode": of_mode,
}


def like(text: str) -> str:
    """A LIKE pattern for a text that stands anywhere."""
    escaped = text.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")
    return f"%{escaped}%"
