"""Notes by their names: letters, German letters, and the syllables of solfa.

Conventions: a number after a name is the octave in scientific pitch notation, in which
4 starts on middle C and A4 is the A of ISO 16:1975. A name without one is the nearest to
the note beside it, upwards where both ways are six semitones; the first, where no note
has an octave, lies in octave 4. Of syllables, ``'`` and ``,`` set a note an octave above
or below the one that rises from *do*; where none stands, each is the nearest to the one
before. ``'`` after a letter is an octave above; letters of the same case without it are
then in the octave that begins on middle C. ``*2`` after any of them is a length in beats;
``?`` is a note not known.

- *names* ``F# A C#5`` and ``Bb``, ``B♭``, ``B flat``, also ``Fx`` for a double sharp;
- *german* ``Fis A Cis H``: H is B natural, B is B flat, -is raises and -es lowers;
- *solfa* ``do re me fa``: movable, with the chromatic syllables *di ri fi si li* and
  *ra me se le te*;
- *tonic-solfa* ``doh ray me fah soh lah te``, in which *me* is the third and *te* the
  seventh;
- *solfa-octave* ``do do sol sol``: movable, where a syllable without a mark is in the
  octave that rises from *do*, as in tonic sol-fa;
- *fixed-do* ``do re mib fa# si``: *do* is C and *si* is B; also in words, as ``si bemolle``
  and ``do dièse``.

Which syllable is which note is common practice; no source.

Contents: read_names, read_german, read_solfa, read_solfa_octave, read_tonic_solfa,
read_fixed_do.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

from melodex.melody import (
    Key,
    KeyChange,
    Phrase,
    degree_fifths,
    fifths_of,
    midi_of,
    pitch_class,
    spell,
)
from melodex.reading.phrase.faults import CannotReadError
from melodex.reading.phrase.typed import (
    LETTER,
    TypedNote,
    Word,
    beats_of,
    phrase_of,
    with_unknown,
)

__all__ = [
    "read_fixed_do",
    "read_german",
    "read_names",
    "read_solfa",
    "read_solfa_octave",
    "read_tonic_solfa",
]

WORDS = r"[^\s|;]+"
LIST = r"\s*(?:[^\s,;|]+\s*[,;]\s*)+[^\s,;|]+\s*"
"""Commas between all words, as in a sentence: none of them is an octave mark."""

WRAPPED = r"\s*(?:\(.*\)|\[.*\])\s*"
"""A whole phrase in brackets: they part nothing and say nothing."""

SIGNS = {"": 0, "#": 1, "##": 2, "x": 2, "b": -1, "bb": -2, "𝄫": -2, "n": 0, "=": 0}
SPELLED_OUT = {"sharp": "#", "flat": "b", "natural": "n"}
NAME = r"(?a)([A-Ga-g])(#{1,2}|bb?|𝄫|x|n|=)?(-?\d)?('*)(?:\*(.+))?"
MIDI_NUMBER = r"(?a)\d{2,3}"
LOWEST_NUMBER, HIGHEST_NUMBER = 21, 108
"""Numbers of the keys of a piano, A0 to C8 (MIDI 1.0, note numbers)."""

GERMAN = r"(?ai)([A-H])(isis|is|eses|es|ses|s)?(\d)?('*)(?:\*(.+))?"
GERMAN_SIGNS = {"isis": 2, "is": 1, "eses": -2, "ses": -2, "es": -1, "s": -1, "": 0}
"""Semitones of the endings of German note names."""

SYLLABLE = r"(?ai)([a-z]+?)(#|b)?(-?\d)?([',]*)(?:\*(.+))?"
PLAIN = {"do": "1", "re": "2", "mi": "3", "fa": "4", "sol": "5", "so": "5", "la": "6"}
SOLFA = {
    **PLAIN,
    "ti": "7",
    "di": "#1",
    "ri": "#2",
    "fi": "#4",
    "si": "#5",
    "li": "#6",
    "ra": "b2",
    "me": "b3",
    "se": "b5",
    "le": "b6",
    "te": "b7",
    "ut": "1",
}
TONIC_SOLFA = {
    "doh": "1",
    "d": "1",
    "ray": "2",
    "r": "2",
    "me": "3",
    "m": "3",
    "fah": "4",
    "f": "4",
    "soh": "5",
    "s": "5",
    "lah": "6",
    "l": "6",
    "te": "7",
    "t": "7",
    "de": "#1",
    "re": "#2",
    "fe": "#4",
    "se": "#5",
    "maw": "b3",
    "taw": "b7",
}
FIXED_DO = {**PLAIN, "si": "7", "ut": "1"}
SAID_SIGNS = {
    **dict.fromkeys(("diesis", "diese", "sostenido"), "#"),
    **dict.fromkeys(("bemolle", "bemol"), "b"),
    **dict.fromkeys(("bequadro", "becuadro", "becarre"), ""),
}
"""Sharp, flat and natural in Italian, French and Spanish, without accents."""
ACCENTS = str.maketrans({"é": "e", "É": "E", "è": "e", "ó": "o", "á": "a", "í": "i"})
"""As syllables are written in French and Spanish."""

MIDDLE_OCTAVE = 4
LARGEST_FALL = 5
"""Semitones down that are nearer than the way up to the same name."""

Heard = tuple[int, int | None, "str | None", int]
"""Place on the line of fifths, pitch where it was said, length, place in the text."""


def read_names(text: str, key: Key | None) -> Phrase:
    """Read note names, with or without octaves, or the numbers of a keyboard's keys."""
    refuse_key(key)
    return phrase_of(with_unknown(words(parted(spelled_out(text))), all_named), "names")


def all_named(typed: Sequence[Word]) -> list[TypedNote]:
    """Note names as notes."""
    return nearest(beside_marks(typed, [named(word, place) for word, place in typed]))


def read_german(text: str, key: Key | None) -> Phrase:
    """Read note names as German musicians write them."""
    refuse_key(key)

    def notes(typed: Sequence[Word]) -> list[TypedNote]:
        return nearest(beside_marks(typed, [german(word, place) for word, place in typed]))

    return phrase_of(with_unknown(words(parted(text)), notes), "german")


def read_solfa(text: str, key: Key | None) -> Phrase:
    """Read movable solfa with the chromatic syllables."""
    return movable(text, key, "solfa", SOLFA)


def read_solfa_octave(text: str, key: Key | None) -> Phrase:
    """Read movable solfa whose syllables without a mark rise from do."""
    return movable(text, key, "solfa-octave", SOLFA)


def read_tonic_solfa(text: str, key: Key | None) -> Phrase:
    """Read movable solfa in its English spelling, also by initials."""
    return movable(text, key, "tonic-solfa", TONIC_SOLFA)


def read_fixed_do(text: str, key: Key | None) -> Phrase:
    """Read syllables as names of notes: do is C."""
    refuse_key(key)

    def notes(typed: Sequence[Word]) -> list[TypedNote]:
        return sung([syllable(word, place, FIXED_DO) for word, place in typed], 0)

    typed = with_unknown(words(signs_joined(text.translate(ACCENTS))), notes)
    phrase = phrase_of(typed, "fixed-do")
    return replace(phrase, has_tonic=False)


# Words


def words(text: str) -> Iterator[tuple[str, int]]:
    """The words of a phrase with their places; bar lines, dashes, strokes part them."""
    pattern = r"(?<=[A-Za-z#\d])-(?=[A-Za-z])|(?<=\d)/(?=[A-Za-z])|→|(?<=\s)[->/](?=\s)"
    parted = re.sub(pattern, " ", text)
    if re.fullmatch(WRAPPED, parted):
        parted = re.sub(r"[()\[\]]", " ", parted)
    if re.fullmatch(LIST, parted):
        parted = parted.replace(",", " ")
    for found in re.compile(WORDS).finditer(parted):
        yield found[0], found.start()


def spelled_out(text: str) -> str:
    """A text in which ``B flat`` is one word, its places as they were."""

    def joined(found: re.Match[str]) -> str:
        sign = SPELLED_OUT[found[2].lower()]
        return (found[1] + sign + (found[3] or "")).ljust(len(found[0]))

    pattern = r"(?ai)\b([A-G])[ -]?(sharp|flat|natural)\b[ ]?(\d\b)?"
    return re.sub(pattern, joined, text)


def signs_joined(text: str) -> str:
    """A text in which ``si bemolle`` is one word, its places as they were."""

    def joined(found: re.Match[str]) -> str:
        return (found[1] + SAID_SIGNS[found[2].lower()]).ljust(len(found[0]))

    names, said = "|".join(FIXED_DO), "|".join(SAID_SIGNS)
    return re.sub(rf"(?ai)\b({names})[ -]?({said})\b", joined, text)


def parted(text: str) -> str:
    """A text without the commas behind letters, unless they are octave marks."""
    return text if "'" in text else re.sub(r"[,;](?=\s|$)", " ", text)


def refuse_key(key: Key | None) -> None:
    """Names say their pitch; a tonic beside them would say nothing."""
    if key:
        raise CannotReadError(
            0, "note names have pitches of their own", "leave the tonic out"
        )


def named(word: str, place: int) -> Heard:
    """One note name."""
    if re.fullmatch(MIDI_NUMBER, word):
        number = int(word)
        if LOWEST_NUMBER <= number <= HIGHEST_NUMBER:
            return spell(number, 0), number, None, place
    parts = re.fullmatch(NAME, word)
    if not parts:
        raise CannotReadError(place, f"{word!r} is no note name", hint_for(word))
    letter, sign, octave, raised, length = parts.groups()
    fifths = fifths_of(letter, SIGNS[sign or ""])
    if raised and octave:
        raise CannotReadError(place, f"{word!r} names two octaves")
    midi = None if octave is None else in_range(midi_of(fifths, int(octave)), word, place)
    if raised:
        midi = in_range(midi_of(fifths, MIDDLE_OCTAVE + len(raised)), word, place)
    return fifths, midi, length, place


def hint_for(word: str, otherwise: str = "write F# A C#5, parted by spaces") -> str:
    """What to write instead of a word that is no note name."""
    if re.fullmatch(LETTER, word):
        return "a length stands behind its note: C4*1 D4*1/2"
    return otherwise


def german(word: str, place: int) -> Heard:
    """One note name with H, -is and -es."""
    parts = re.fullmatch(GERMAN, word)
    if not parts:
        hint = hint_for(word, "write Fis A Cis H")
        raise CannotReadError(place, f"{word!r} is no note name", hint)
    letter, ending = parts[1].upper(), (parts[2] or "").lower()
    vowel = letter in "AE"
    if ending in {"s", "ses"} and not vowel:
        raise CannotReadError(place, f"{word!r} is no note name", "-es lowers, as in Des")
    alteration = GERMAN_SIGNS[ending]
    if letter == "B":
        letter, alteration = "B", alteration - 1
    fifths = fifths_of("B" if letter == "H" else letter, alteration)
    octave = MIDDLE_OCTAVE + len(parts[4]) if parts[4] else parts[3]
    midi = None if octave is None else in_range(midi_of(fifths, int(octave)), word, place)
    return fifths, midi, parts[5], place


def in_range(midi: int, word: str, place: int) -> int:
    """A pitch that MIDI can hold."""
    if not 0 <= midi <= 127:
        raise CannotReadError(place, f"{word!r} is too high or too low to be heard")
    return midi


# Octaves


def nearest(heard: Sequence[Heard]) -> list[TypedNote]:
    """Give each note without an octave the one nearest to its neighbour."""
    if not heard:
        return []
    pitches = [midi for _, midi, _, _ in heard]
    anchor = next((i for i, midi in enumerate(pitches) if midi is not None), None)
    if anchor is None:
        anchor, pitches[0] = 0, midi_of(heard[0][0], MIDDLE_OCTAVE)
    for place in range(anchor - 1, -1, -1):
        pitches[place] = beside(pitches[place + 1] or 0, pitch_class(heard[place][0]), -1)
    for place in range(anchor + 1, len(heard)):
        if pitches[place] is None:
            pitches[place] = beside(pitches[place - 1] or 0, pitch_class(heard[place][0]))
    return [
        TypedNote(
            in_range(midi or 0, "a note", place),
            fifths,
            None if length is None else beats_of(length, place),
        )
        for (fifths, _, length, place), midi in zip(heard, pitches, strict=True)
    ]


def beside_marks(typed: Sequence[Word], heard: Sequence[Heard]) -> list[Heard]:
    """Give notes without a mark an octave, where marks above it stand beside them.

    "G G D' D'" goes up, though the G above lies nearer. Letters of both cases tell octaves
    by their case, and numbers by themselves: there the nearest is meant.
    """
    marked = ["'" in word for word, _ in typed]
    said = [midi is not None for _, midi, _, _ in heard]
    alike = len({word[:1].isupper() for word, _ in typed}) == 1
    if not any(marked) or said != marked or not alike:
        return list(heard)
    return [
        (fifths, midi_of(fifths, MIDDLE_OCTAVE) if midi is None else midi, length, place)
        for fifths, midi, length, place in heard
    ]


def beside(midi: int, wanted_class: int, direction: int = 1) -> int:
    """The pitch of a class that is nearest to another; of two equal ways, upwards."""
    up = (wanted_class - midi) % 12
    most = 12 - LARGEST_FALL - 1 if direction > 0 else LARGEST_FALL
    return midi + up if up <= most else midi + up - 12


# Syllables


def movable(text: str, key: Key | None, notation: str, table: Mapping[str, str]) -> Phrase:
    """Syllables that count from the tonic."""
    tonic = key.tonic_fifths if key else 0
    in_octave = notation == "solfa-octave"

    def notes(typed: Sequence[Word]) -> list[TypedNote]:
        return sung(
            [syllable(word, place, table) for word, place in typed], tonic, in_octave
        )

    typed = with_unknown(words(text.translate(ACCENTS)), notes)
    above = {note.fifths - tonic for note in typed if note.heard}
    mode = (key.mode if key else "") or (
        "minor" if -3 in above and 4 not in above else "major"
    )
    change = KeyChange(
        0, Key(tonic, mode), Key(tonic, mode).signature_fifths, bool(key and key.mode)
    )
    return phrase_of(typed, notation, keys=(change,))


Syllable = tuple[int, int | None, "str | None", int]
"""Fifths above do, octaves above the one that rises from do, length, place."""


def syllable(word: str, place: int, table: Mapping[str, str]) -> Syllable:
    """One syllable."""
    parts = re.fullmatch(SYLLABLE, word)
    name = parts[1].lower() if parts else ""
    if not parts or name not in table or (parts[2] and table is not FIXED_DO):
        # "sib" is si and a flat, where a syllable may be flattened.
        raise CannotReadError(place, f"{word!r} is no syllable of solfa", "write do re mi")
    degree = table[name]
    alteration = degree.count("#") - degree.count("b")
    alteration += {"#": 1, "b": -1}.get(parts[2] or "", 0)
    marks = parts[4]
    if len(name) == 1 and parts[3]:
        # "M2" is a major second.
        raise CannotReadError(place, f"{word!r} is no syllable of solfa", "write do re mi")
    if len(set(marks)) > 1:
        raise CannotReadError(place, f"{marks!r} is no octave mark")
    octave = marks.count("'") - marks.count(",") if marks else None
    if parts[3] is not None:
        octave = int(parts[3]) - MIDDLE_OCTAVE
    return degree_fifths(int(degree[-1]), alteration), octave, parts[5], place


def sung(
    syllables: Sequence[Syllable], tonic: int, in_octave: bool = False
) -> list[TypedNote]:
    """Syllables as notes: nearest to one another, or by their octave marks."""
    do = 55 + (pitch_class(tonic) - 55) % 12
    marked = in_octave or any(octave is not None for _, octave, _, _ in syllables)
    heard: list[Heard] = []
    for above, octave, length, place in syllables:
        midi = None
        if marked:
            midi = in_range(do + rising(above) + 12 * (octave or 0), "a syllable", place)
        heard.append((tonic + above, midi, length, place))
    if heard and not marked:
        first = heard[0]
        heard[0] = (first[0], do + rising(syllables[0][0]), *first[2:])
    return nearest(heard)


def rising(above: int) -> int:
    """Semitones above do of a place on the line of fifths, -1 for a flattened do."""
    natural = (above + 1) % 7 - 1
    return pitch_class(natural) + (above - natural) // 7


def largest_step(phrase: Phrase) -> int:
    """The largest step of a phrase, in semitones, whichever way it goes."""
    return max((abs(b - a) for a, b in pairwise(phrase.melody.midi)), default=0)
