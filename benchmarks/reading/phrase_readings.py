"""Are phrases read as whoever typed them meant?

Every phrase of :mod:`benchmarks.reading.phrases`, and of four more lists that were not
looked at before, is read, and falls into one of three: *as meant* (the music
is what is written beside it, or asking was meant), *asked back* (it was refused with its
place, or the meant reading was offered among others), *wrong in silence* (other music, and
nothing said of it). The last must be none.

Contents: MEANINGS, judged, report.
"""

from __future__ import annotations

import re
import time
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction

from benchmarks.keeping import about, asker, keep
from benchmarks.reading.phrases import WRITTEN, Written
from benchmarks.reading.phrases_fifth import FIFTH
from benchmarks.reading.phrases_fourth import FOURTH
from benchmarks.reading.phrases_held_out import HELD_OUT
from benchmarks.reading.phrases_third import THIRD
from melodex.errors import MelodexError, PhraseError
from melodex.melody import TICKS_PER_QUARTER, Phrase
from melodex.reading.phrase.reader import read_phrase

AS_MEANT, ASKED, WRONG = "as meant", "asked back", "wrong in silence"
LETTERS = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
SIGNS = {"^": 1, "v": -1, "=": 0}
NOTE = r"([A-G])(#{0,2}|b{0,2})(-?\d)(?:\*(.+))?"

Meaning = tuple[tuple[int | None, ...], tuple[Fraction | None, ...]]
"""Semitones from the first pitch, lengths by the first length; None where unknown."""


def meanings(meant: str) -> Iterator[Meaning | tuple[int, ...] | None]:
    """What is meant: notes, the signs of a contour, or None for being asked."""
    for choice in meant.split(" or "):
        words = choice.split()
        if words == ["ask"] or ".." in words:
            yield None
        elif all(word in SIGNS for word in words):
            yield tuple(SIGNS[word] for word in words)
        else:
            yield of_notes(words)


def of_notes(words: list[str]) -> Meaning:
    """Notes as written by hand, in the form of :data:`Meaning`; rests are left out."""
    pitches: list[int | None] = []
    lengths: list[Fraction | None] = []
    for word in words:
        if word.startswith("r*"):
            continue
        name, _, length = word.partition("*")
        note = re.fullmatch(NOTE, word)
        pitches.append(midi(note) if note else None)
        lengths.append(Fraction(length) if length else None)
        assert note or name == "?", word
    return relative(pitches, lengths)


def midi(note: re.Match[str]) -> int:
    """A pitch by its name, octave 4 from middle C."""
    letter, sign, octave, _ = note.groups()
    return LETTERS[letter] + sign.count("#") - sign.count("b") + 12 * int(octave)


def relative(pitches: list[int | None], lengths: list[Fraction | None]) -> Meaning:
    """Pitches from the first that is known, lengths as multiples of the first known."""
    first = next((p for p in pitches if p is not None), 0)
    unit = next((x for x in lengths if x is not None), Fraction(1))
    return (
        tuple(None if p is None else p - first for p in pitches),
        tuple(None if x is None else x / unit for x in lengths),
    )


def read_meaning(phrase: Phrase) -> Meaning | tuple[int, ...]:
    """What the program made of it, in the same form."""
    if phrase.contour:
        return phrase.contour
    melody = phrase.melody
    count = len(melody)
    heard = phrase.has_pitch or (True,) * count
    timed = phrase.has_length or (phrase.has_rhythm,) * count
    pitches = [p if known else None for p, known in zip(melody.midi, heard, strict=True)]
    lengths = [
        Fraction(ticks, TICKS_PER_QUARTER) if known else None
        for ticks, known in zip(melody.duration_ticks, timed, strict=True)
    ]
    return relative(pitches, lengths)


def same(read: object, meant: object) -> bool:
    """Whether both are the same music; lengths that are all alike say nothing."""
    if not (isinstance(read, tuple) and isinstance(meant, tuple)):
        return False
    if not (read and meant and isinstance(read[0], tuple) and isinstance(meant[0], tuple)):
        return read == meant
    alike = all(set(x[1]) <= {None, 1} for x in (read, meant))
    return read[0] == meant[0] and (read[1] == meant[1] or alike)


def judged(written: Written) -> tuple[str, str]:
    """How a phrase was read, and what the program said of it."""
    wanted = list(meanings(written.meant))
    try:
        phrase = read_phrase(written.phrase, notation=written.notation)
    except PhraseError as error:
        return (AS_MEANT if None in wanted else ASKED), str(error)
    read = read_meaning(phrase)
    said = f"{phrase.notation}: {read}"
    if any(same(read, one) for one in wanted):
        return AS_MEANT, said
    for other in phrase.other_notations:
        offered = read_meaning(read_phrase(written.phrase, notation=other))
        if any(same(offered, one) for one in wanted):
            return ASKED, f"{said}; offered {other}"
    return WRONG, said


def report() -> tuple[str, dict[str, object]]:
    """All of them, counted by kind; those that were wrong or asked back one by one."""
    counts: dict[str, Counter[str]] = {}
    lines: list[str] = []
    start = time.process_time()
    phrases = [*WRITTEN, *HELD_OUT, *THIRD, *FOURTH, *FIFTH]
    for written in phrases:
        try:
            how, said = judged(written)
        except MelodexError as error:
            how, said = WRONG, f"failed: {error}"
        counts.setdefault(written.kind, Counter())[how] += 1
        if how != AS_MEANT:
            lines.append(f"{how:16} {written.kind:12} {short(written.phrase)!r:44} {said}")
    seconds = time.process_time() - start
    total = sum(counts.values(), Counter())
    rows = [f"{'':14}{AS_MEANT:>10}{ASKED:>12}{WRONG:>18}"]
    for kind, row in [*counts.items(), ("all", total)]:
        rows.append(f"{kind:14}{row[AS_MEANT]:>10}{row[ASKED]:>12}{row[WRONG]:>18}")
    data = {"phrases": len(phrases), "seconds": round(seconds, 3), "counts": dict(total)}
    return "\n".join([*rows, "", *sorted(lines)]), data


def short(text: str) -> str:
    """As much of a phrase as a line bears."""
    return text if len(text) < 40 else f"{text[:37]}..."


def main() -> None:
    """Read all phrases and print what became of them."""
    options = asker(__doc__).parse_args()
    text, data = report()
    print(text)
    keep(options.keep, {"about.json": about(), "readings.txt": text, "readings.json": data})


if __name__ == "__main__":
    main()
