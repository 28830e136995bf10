"""Numerals: how often they equal those that people wrote, for 20 chorales.

Run:  python -m benchmarks.analysis.harmony.numerals [--keep NAME]

The chords of the analyses in music21's corpus (Roman text files of Bach chorales) are
written out as chord symbols, read by melodex, and named in the key that the analysis
states and in the key that melodex reads from the symbols alone. Three figures each: equal
letter for letter; equal once the letters are read for the signs that they stand for in a
text file, ``o`` for ° and 6/5 for the one figure over the other (Roman text has no others;
Tymoczko, Gotham, Cuthbert and Ariza, "The RomanText format", ISMIR 2019); and equal once
the notation is the same. What the notation settles:
``o`` is the sign of diminished; 6/5, 4/3 and 2 are 65, 43 and 42; the analyses write
VI, VII and III of minor without the flat that melodex counts from the major scale; they
write IV7 where the key makes the seventh a major one, melodex IVmaj7. Nothing else is
made equal. 95 % intervals draw whole pieces anew.

Contents: Named, read_analyses, neutral, measure, main.
"""

from __future__ import annotations

import re
import warnings
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from benchmarks.analysis.keys.truth import CORPUS, bootstrap_interval, place
from benchmarks.keeping import about, asker, keep
from melodex.analysis.harmony.chords import parse_chord
from melodex.analysis.harmony.numerals import numerals
from melodex.analysis.harmony.placed import place_chords
from melodex.analysis.keys import read_keys
from melodex.melody import (
    TICKS_PER_QUARTER,
    Bar,
    ChordSymbol,
    Key,
    Melody,
    pitch_class_name,
)

BAR_TICKS = 4 * TICKS_PER_QUARTER
QUALITIES = {
    (4, 1): "",
    (-3, 1): "m",
    (-3, -6): "dim",
    (4, 8): "aug",
    (4, 1, -2): "7",
    (4, 1, 5): "maj7",
    (-3, 1, -2): "m7",
    (-3, 1, 5): "m(maj7)",
    (-3, -6, -2): "m7b5",
    (-3, -6, -9): "dim7",
    (4, 8, 5): "maj7(#5)",
    (4, 8, -2): "7(#5)",
}
"""Third, fifth and seventh above a root, in fifths."""


@dataclass(frozen=True)
class Named:
    """A chord of an analysis: its numeral, key, symbol and place in quarters."""

    figure: str
    tonic_fifths: int
    mode: str
    symbol: str
    onset: float


def symbol_of(numeral: Any) -> str:
    """The chord symbol of an analysed chord, empty where no symbol is in use for it."""
    root, bass = place(numeral.root()), place(numeral.bass())
    members = [getattr(numeral, name) for name in ("third", "fifth", "seventh")]
    above = tuple(place(pitch) - root for pitch in members if pitch is not None)
    if above not in QUALITIES:
        return ""
    over = "" if bass == root else f"/{pitch_class_name(bass)}"
    return f"{pitch_class_name(root)}{QUALITIES[above]}{over}"


def read_analyses() -> dict[str, list[Named]]:
    """Every chord of every chorale analysis that music21 reads."""
    from music21 import converter, roman

    pieces = {}
    for path in sorted((CORPUS / "bach/choraleAnalyses").glob("*.rntxt")):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            analysis = converter.parse(path, format="romanText", forceSource=True)
            found = list(analysis.recurse().getElementsByClass(roman.RomanNumeral))
        pieces[path.stem] = [
            Named(
                numeral.figure,
                place(numeral.key.tonic),
                numeral.key.mode,
                symbol_of(numeral),
                float(numeral.getOffsetInHierarchy(analysis)),
            )
            for numeral in found
        ]
    return pieces


FIGURE = re.compile(
    r"([b#]*)([IViv]+)([o°ø+]?)((?:maj)?(?:\d/\d|\d*))(?:\[[^]]*\])?(?:/([b#]*)([IViv]+))?"
)
STACKED = {"6/5": "65", "4/3": "43", "4/2": "42", "6/4": "64"}
FIGURES = STACKED | {"2": "42"}
LOWERED = {"III", "VI", "VII"}


def typeset(figure: str) -> str:
    """A numeral of a text file with the signs that its letters stand for."""
    figure = figure.replace("o", "°")
    for typed, stacked in STACKED.items():
        figure = figure.replace(typed, stacked)
    return figure


def notation_of(figure: str, ours: str) -> str:
    """In what notation two numerals of one chord are apart; empty where in none."""
    shown = typeset(figure)
    if shown == ours:
        return "" if figure == ours else "a letter for a sign"
    if re.sub(r"(?<![\d/])2\b", "42", shown) == ours:
        return "2 for 42"
    plain = re.sub(r"[()]|maj", "", ours)
    flats = re.sub(r"(?<![\d/])2\b", "42", shown) != plain
    seventh = plain != ours
    told = ("seventh of the key", seventh), ("flat in minor", flats)
    return " and ".join(name for name, differs in told if differs)


def neutral(figure: str, mode: str, *, signed: bool) -> tuple[str, ...] | str:
    """A numeral without the differences of notation that the module names.

    ``signed`` says that degrees of minor have their flats already.
    """
    found = FIGURE.fullmatch(
        figure.replace("(maj7)", "7").replace("(", "").replace(")", "")
    )
    if not found:
        return figure
    sign, letters, quality, figures, goal_sign, goal = found.groups(default="")
    minor = mode == "minor" and not signed
    if minor and letters in LOWERED and not sign:
        sign = "b"
    if minor and goal.upper() in LOWERED and goal.isupper() and not goal_sign:
        goal_sign = "b"
    figures = figures.removeprefix("maj")
    return (
        sign + letters,
        quality.replace("o", "°"),
        FIGURES.get(figures, figures),
        goal_sign + goal,
    )


def melody_of(piece: Sequence[Named]) -> Melody:
    """A sheet with the symbols of an analysis and nothing else."""
    onsets = [round(named.onset * TICKS_PER_QUARTER) for named in piece]
    bars = (onsets[-1] // BAR_TICKS) + 1
    return Melody(
        bars=tuple(Bar(i + 1, i * BAR_TICKS, BAR_TICKS) for i in range(bars)),
        chords=tuple(
            ChordSymbol(named.symbol or "?", onset // BAR_TICKS + 1, onset)
            for named, onset in zip(piece, onsets, strict=True)
        ),
    )


@dataclass(frozen=True)
class Compared:
    """Chords compared, and how many are equal: as printed, typeset, in one notation.

    ``notation`` names the notation that parts each of those that are the same chord.
    """

    chords: int
    as_printed: int
    as_typeset: int
    in_one_notation: int
    differences: tuple[tuple[str, str], ...]
    notation: tuple[str, ...]


def compared(
    piece: Sequence[Named], texts: Sequence[str], taken: Sequence[bool]
) -> Compared:
    """Compare the numerals of some chords with those of the analysis."""
    pairs = [
        (named, text) for named, text, take in zip(piece, texts, taken, strict=True) if take
    ]
    apart = [
        (named.figure, text)
        for named, text in pairs
        if neutral(named.figure, named.mode, signed=False)
        != neutral(text, named.mode, signed=True)
    ]
    printed = sum(named.figure == text for named, text in pairs)
    shown = sum(typeset(named.figure) == text for named, text in pairs)
    parted = Counter(apart)
    notation = []
    for named, text in pairs:
        if parted[named.figure, text]:
            parted[named.figure, text] -= 1
        elif named.figure != text:
            notation.append(notation_of(named.figure, text))
    alike = len(pairs) - len(apart)
    return Compared(len(pairs), printed, shown, alike, tuple(apart), tuple(notation))


def in_stated_keys(piece: Sequence[Named]) -> Compared:
    """Every chord, named in the key that the analysis states."""
    chords = [parse_chord(named.symbol or "?") for named in piece]
    keys = [Key(named.tonic_fifths, named.mode) for named in piece]
    texts = [numeral.text for numeral in numerals(chords, keys)]
    return compared(piece, texts, [True] * len(piece))


def in_read_keys(piece: Sequence[Named]) -> Compared:
    """The chords whose tonic melodex reads as the analysis has it, from symbols alone."""
    melody = melody_of(piece)
    placed = place_chords(melody, read_keys(melody).spans)
    right = [
        here.key.mode != "none" and here.key.tonic_fifths == named.tonic_fifths
        for here, named in zip(placed, piece, strict=True)
    ]
    return compared(piece, [here.numeral.text for here in placed], right)


def share(field: str) -> Callable[[Sequence[Compared]], float]:
    """Share of the chords of some pieces that are equal."""
    return lambda found: (
        sum(getattr(one, field) for one in found) / max(1, sum(one.chords for one in found))
    )


def measure() -> tuple[list[dict[str, Any]], Counter[tuple[str, str]], Counter[str]]:
    """Figures of both ways, and what differs in the stated keys, in notation and beyond."""
    pieces = read_analyses()
    rows = []
    for way, name in (
        (in_stated_keys, "keys of the analysis"),
        (in_read_keys, "keys read from the symbols, where the tonic is right"),
    ):
        found = [way(piece) for piece in pieces.values()]
        for field in ("as_printed", "as_typeset", "in_one_notation"):
            low, high = bootstrap_interval(found, share(field), 1000)
            rows.append(
                {
                    "task": f"numerals of {len(pieces)} chorales, {name}",
                    "measure": field.replace("_", " "),
                    "value": round(share(field)(found), 4),
                    "interval_95": [round(low, 4), round(high, 4)],
                    "equal": sum(getattr(one, field) for one in found),
                    "n": sum(one.chords for one in found),
                }
            )
    stated = [in_stated_keys(piece) for piece in pieces.values()]
    apart = Counter(pair for piece in stated for pair in piece.differences)
    return rows, apart, Counter(name for piece in stated for name in piece.notation)


def main() -> None:
    """Measure both ways; keep the figures if a name is given."""
    choice = asker(__doc__).parse_args()
    rows, apart, notation = measure()
    text = [
        f"{row['task']}\n  {row['measure']:16} {row['equal']} of {row['n']} = "
        f"{row['value']:.4f} [{row['interval_95'][0]:.3f}, {row['interval_95'][1]:.3f}]"
        for row in rows
    ]
    text.append("What is the same chord in another notation, in the keys of the analysis:")
    text += [f"  {name:38} {n}" for name, n in notation.most_common()]
    text.append("What differs in the keys of the analysis (theirs, ours, how often):")
    text += [f"  {theirs:14} {ours:14} {n}" for (theirs, ours), n in apart.most_common()]
    print("\n".join(text))
    run = about("music21") | {"rows": rows, "differences": apart.most_common()}
    run["notation"] = notation.most_common()
    keep(choice.keep, {"numerals.json": run, "numerals.txt": "\n".join(text) + "\n"})


if __name__ == "__main__":
    main()
