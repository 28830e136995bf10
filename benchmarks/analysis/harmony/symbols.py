"""Chord symbols, ii V I and progressions: how often right, and how fast.

Run:  python -m benchmarks.analysis.harmony.symbols [--keep NAME] [--half 0]

Spellings are those of ``tests/analysis/chord_spellings.txt``, written by hand before
the grammar; music21 reads the same list for comparison (unequal in one way: its
notation of flats is its own). ii V I is compared with the human analyses of chorales
and of Monteverdi in music21's corpus: in them, ii (minor or diminished), then V with a
major third, then I or i, in one key, inversions and repeats run together. What is
found starts its I on the same chord and has the same tonic. Halves go by a digest of
the file name; 95 % intervals draw whole pieces anew.

Contents: measure_spellings, measure_two_five_ones, measure_speed, main.
"""

from __future__ import annotations

import random
import time
import warnings
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from benchmarks.analysis.keys.truth import CORPUS, bootstrap_interval, half, place
from benchmarks.keeping import ROOT, about, asker, keep
from melodex.analysis.harmony import chords, lines, numerals
from melodex.analysis.harmony import placed as harmony
from melodex.analysis.harmony import quality as chord_quality
from melodex.analysis.harmony.chords import Chord, parse_chord, parse_chords
from melodex.analysis.harmony.devices.finding import harmony as read_harmony
from melodex.analysis.harmony.devices.successions import find_two_five_ones, sure_tonic
from melodex.analysis.harmony.progression_search import chord_bytes, find_in_row, sift
from melodex.analysis.harmony.progressions import read_progression, tokens_of
from melodex.analysis.keys import read_keys
from melodex.melody import (
    TICKS_PER_QUARTER,
    Bar,
    ChordSymbol,
    Melody,
    fifths_from_name,
    midi_of,
    pitch_class_name,
)

LIST = ROOT / "tests" / "analysis" / "chord_spellings.txt"
BAR_TICKS = 4 * TICKS_PER_QUARTER
Row = dict[str, Any]


# Spellings.


def listed() -> list[tuple[str, ...]]:
    """The rows of the list: text, root, bass, family, degrees."""
    rows = []
    for line in LIST.read_text(encoding="utf-8").splitlines():
        if line.strip() and not line.startswith("# ") and line != "#":
            rows.append(tuple(line.split("\t")[:5]))
    return rows


def as_row(chord: Chord) -> tuple[str, ...]:
    """A chord in the columns of the list."""
    if not chord.sounds:
        return (chord.text, "N" if chord.understood else "?", "-", "-", "-")
    bass = "-" if chord.bass_fifths is None else pitch_class_name(chord.bass_fifths)
    names = " ".join(chord.degree_names)
    return (chord.text, pitch_class_name(chord.root_fifths), bass, chord.family, names)


def by_music21(text: str) -> tuple[int, int, frozenset[int]] | None:
    """Root, bass and all notes as music21 reads them, None where it refuses."""
    from music21 import harmony as harmony21

    try:
        symbol = harmony21.ChordSymbol(text)
        notes = frozenset(place(pitch) for pitch in symbol.pitches)
        return place(symbol.root()), place(symbol.bass()), notes
    except Exception:
        return None


def measure_spellings() -> list[Row]:
    """Right, silently wrong and not read, here and by music21."""
    ours = Counter({"right": 0, "silently wrong": 0, "not read": 0})
    theirs: Counter[str] = Counter()
    for row in listed():
        read = as_row(parse_chord(row[0]))
        silent = read[1] != "?"
        ours["right" if read == row else "silently wrong" if silent else "not read"] += 1
        if row[1] in {"?", "N"}:
            continue
        chord, found = parse_chord(row[0]), by_music21(row[0])
        wanted = frozenset({*chord.note_fifths, chord.lowest_fifths})
        same = found == (chord.root_fifths, chord.lowest_fifths, wanted)
        theirs["not read" if found is None else "right" if same else "otherwise"] += 1
    return [
        {
            "task": f"spellings, {who}",
            "measure": kind,
            "value": count,
            "n": sum(counted.values()),
        }
        for who, counted in (("melodex", ours), ("music21, those that sound", theirs))
        for kind, count in sorted(counted.items())
    ]


# ii V I.


@dataclass(frozen=True)
class Piece:
    """An analysed piece: chords, their onsets and lengths in quarters, keys, truth."""

    name: str
    chords: tuple[Chord, ...]
    onsets: tuple[float, ...]
    lengths: tuple[float, ...]
    tonics: tuple[int, ...]
    truth: frozenset[tuple[int, int]]


def family_of(degrees: frozenset[int]) -> str:
    """The family of a chord given as degrees above its root."""
    if 4 in degrees:
        if -2 in degrees:
            return "dominant"
        return "augmented" if 8 in degrees else "major"
    if -3 in degrees:
        if -6 in degrees:
            return "half-diminished" if -2 in degrees else "diminished"
        return "minor"
    return "power" if degrees <= {0, 1} else "suspended"


SEVENTHS = ((5, "7"), (-2, "b7"), (-9, "bb7"))


def chord_of(numeral: Any, number: int) -> Chord:
    """A chord of an analysis; its text only tells it from others."""
    root = place(numeral.root())
    degrees = frozenset({0} | {place(pitch) - root for pitch in numeral.pitches})
    bass = place(numeral.bass())
    return Chord(
        f"{numeral.figure}:{number}",
        root,
        None if bass == root else bass,
        tuple(sorted(degrees)),
        tuple(str(degree) for degree in sorted(degrees)),
        family_of(degrees),
        tuple(name for fifths, name in SEVENTHS if fifths in degrees),
    )


def truth_of(found: Sequence[Any]) -> frozenset[tuple[int, int]]:
    """Index of the I and tonic of every ii V I that a person wrote."""
    groups: list[tuple[Any, int, int]] = []
    for number, numeral in enumerate(found):
        applied = numeral.secondaryRomanNumeral is not None
        plain = not applied and numeral.figure[:1] in "iIvV"
        step = (
            numeral.scaleDegree if plain else 0,
            place(numeral.key.tonic),
            place(numeral.root()),
        )
        if groups and groups[-1][0] == step and plain:
            groups[-1] = (step, groups[-1][1], number)
        else:
            groups.append((step, number, number))
    return frozenset(
        (one[1], one[0][1])
        for two, five, one in zip(groups, groups[1:], groups[2:], strict=False)
        if (two[0][0], five[0][0], one[0][0]) == (2, 5, 1)
        and two[0][1] == five[0][1] == one[0][1]
        and found[two[2]].figure.startswith("ii")
        and found[five[2]].figure.startswith("V")
    )


def read_pieces(folder: str) -> list[Piece]:
    """All analyses of a folder of music21's corpus that it can read."""
    from music21 import Music21Exception, converter, roman

    pieces = []
    for path in sorted((CORPUS / folder).glob("*.rntxt")):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            try:
                analysis = converter.parse(path, format="romanText", forceSource=True)
            except Music21Exception:
                print("not read by music21:", path.name)
                continue
            found = list(analysis.recurse().getElementsByClass(roman.RomanNumeral))
            onsets = tuple(float(n.getOffsetInHierarchy(analysis)) for n in found)
        pieces.append(
            Piece(
                path.stem,
                tuple(chord_of(numeral, i) for i, numeral in enumerate(found)),
                onsets,
                tuple(float(numeral.quarterLength) for numeral in found),
                tuple(place(numeral.key.tonic) for numeral in found),
                truth_of(found),
            )
        )
    return pieces


def predicted(piece: Piece) -> list[int | None]:
    """The tonic at each chord as key spans from chords alone say."""
    onsets = [round(onset * TICKS_PER_QUARTER) for onset in piece.onsets]
    end = round((piece.onsets[-1] + piece.lengths[-1]) * TICKS_PER_QUARTER)
    melody = Melody(
        bars=tuple(
            Bar(i + 1, i * BAR_TICKS, BAR_TICKS) for i in range(end // BAR_TICKS + 1)
        ),
        chords=tuple(
            ChordSymbol(chord.text, onset // BAR_TICKS + 1, onset)
            for chord, onset in zip(piece.chords, onsets, strict=True)
        ),
    )
    held = harmony.keys_at(melody, read_keys(melody, chords=piece.chords).spans, onsets)
    return [sure_tonic(key.tonic_fifths, key.mode, certainty) for key, certainty in held]


def globally(piece: Piece) -> list[int | None]:
    """The commonest tonic of the person's analysis at every chord."""
    return [Counter(piece.tonics).most_common(1)[0][0]] * len(piece.tonics)


def as_heard(piece: Piece) -> list[int | None]:
    """The tonics of the person's analysis."""
    return list(piece.tonics)


def precision(counts: Sequence[tuple[int, int, int]]) -> float:
    """Share of what was found that is true."""
    return sum(c[0] for c in counts) / max(sum(c[1] for c in counts), 1)


def recall(counts: Sequence[tuple[int, int, int]]) -> float:
    """Share of what is true that was found."""
    return sum(c[0] for c in counts) / max(sum(c[2] for c in counts), 1)


def measure_two_five_ones(which_half: int) -> list[Row]:
    """Precision and recall of ii V I under three kinds of keys."""
    rows = []
    groups = {
        "chorales": read_pieces("bach/choraleAnalyses"),
        "Monteverdi": read_pieces("monteverdi"),
    }
    groups["both"] = groups["chorales"] + groups["Monteverdi"]
    ways: dict[str, Callable[[Piece], list[int | None]]] = {
        "predicted local keys": predicted,
        "keys of the analysis": as_heard,
        "one key for the piece": globally,
    }
    for group, all_pieces in groups.items():
        pieces = [piece for piece in all_pieces if half(piece.name) == which_half]
        for way, keys in ways.items():
            counts = []
            for piece in pieces:
                said = {
                    (last, piece.chords[last].root_fifths)
                    for _, last in find_two_five_ones(piece.chords, keys(piece))
                }
                counts.append((len(said & piece.truth), len(said), len(piece.truth)))
            for name, measure in (("precision", precision), ("recall", recall)):
                low, high = bootstrap_interval(counts, measure, 1000)
                rows.append(
                    {
                        "task": f"ii V I, {group}, {way}",
                        "measure": name,
                        "value": round(measure(counts), 4),
                        "interval_95": [round(low, 4), round(high, 4)],
                        "n": sum(c[2] for c in counts),
                        "found": sum(c[1] for c in counts),
                    }
                )
    return rows


# Speed.

TUNE = (
    "C A7 Dm7 G7 Em7 A7b9 Dm7 Db7 Cmaj7 F#m7b5 B7 Em Fm6 Bb7 Eb Ab Dm7b5 G7alt C Am7 "
    "D7/F# Gsus4 G7 C F/C G/B Am7 Fmaj7 D9 Dm7/G G13 C6/9"
)


def invented_tune() -> Melody:
    """70 notes over 32 chords."""
    draw = random.Random(1)
    names = draw.choices(["C", "D", "E", "F", "G", "A", "B", "Eb", "F#"], k=70)
    fifths = tuple(fifths_from_name(name) for name in names)
    texts = TUNE.split()
    half_bar = BAR_TICKS // 2
    return Melody(
        midi=tuple(midi_of(f, 5) for f in fifths),
        fifths=fifths,
        onset_ticks=tuple(i * half_bar for i in range(70)),
        duration_ticks=(half_bar,) * 70,
        bar=tuple(i // 2 + 1 for i in range(70)),
        beat_strength=tuple(1.0 if i % 2 == 0 else 0.5 for i in range(70)),
        phrase=(0,) * 70,
        bars=tuple(Bar(i + 1, i * BAR_TICKS, BAR_TICKS) for i in range(35)),
        chords=tuple(ChordSymbol(t, i + 1, i * BAR_TICKS) for i, t in enumerate(texts)),
    )


def forget() -> None:
    """Empty every memory of the rooms measured."""
    for module in (chord_quality, chords, harmony, lines, numerals):
        for thing in vars(module).values():
            if hasattr(thing, "cache_clear"):
                thing.cache_clear()


def timed(
    work: Callable[[], object], rounds: int, before: Callable[[], None] | None = None
) -> list[float]:
    """Milliseconds of each round, after three that warm up."""
    samples = []
    for number in range(rounds + 3):
        if before:
            before()
        start = time.perf_counter()
        work()
        if number >= 3:
            samples.append(round(1000 * (time.perf_counter() - start), 4))
    return samples


@dataclass(frozen=True)
class Span:
    """One key for the whole tune."""

    onset_ticks: int = 0
    tonic_fifths: int = 0
    mode: str = "major"


def measure_speed() -> list[Row]:
    """Milliseconds for a symbol, a tune, a search in one tune, and a sift."""
    melody, spans = invented_tune(), [Span()]
    texts = [symbol.text for symbol in melody.chords]
    row = tokens_of(read_harmony(melody, spans).chords)
    progression = read_progression("ii7 V7 I vi")
    draw = random.Random(2)
    piece = chord_bytes(row)
    data = bytes(draw.randrange(96) for _ in range(1_000_000 - len(piece))) + piece
    work: dict[str, tuple[Callable[[], object], int, Callable[[], None] | None]] = {
        "32 symbols, nothing remembered": (lambda: parse_chords(texts), 200, forget),
        "32 chords and 70 notes, nothing remembered": (
            lambda: read_harmony(melody, spans),
            100,
            forget,
        ),
        "32 chords and 70 notes": (lambda: read_harmony(melody, spans), 300, None),
        "progression of 4 in 32 chords": (lambda: find_in_row(progression, row), 50, None),
        "progression of 4, sift a million chords": (
            lambda: sift(progression, data),
            7,
            None,
        ),
    }
    rows = []
    for name, (call, rounds, before) in work.items():
        samples = sorted(timed(call, rounds, before))
        rows.append(
            {
                "task": f"speed, {name}",
                "measure": "median ms",
                "value": samples[len(samples) // 2],
                "best_ms": samples[0],
                "n": rounds,
                "samples_ms": samples,
            }
        )
    return rows


def main() -> None:
    """Measure everything; keep the figures if a name is given."""
    parser = asker(__doc__)
    parser.add_argument("--half", type=int, default=1, help="0 is the tuning half")
    choice = parser.parse_args()
    rows = measure_speed() + measure_spellings() + measure_two_five_ones(choice.half)
    text = [line_of(row) for row in rows]
    print("\n".join(text))
    run = about("music21") | {
        "half": "tuning" if choice.half == 0 else "reported; nothing was tuned on it",
        "rows": rows,
    }
    keep(choice.keep, {"chords.json": run, "chords.txt": "\n".join(text)})


def line_of(row: Row) -> str:
    """One figure as a line of text."""
    interval = row.get("interval_95")
    between = f"[{interval[0]:.3f}, {interval[1]:.3f}]" if interval else ""
    best = f"best {row['best_ms']:.3f}" if "best_ms" in row else ""
    figure = f"{row['task']:52} {row['measure']:14} {row['value']:<8}"
    return f"{figure} {between}{best} n={row['n']}"


if __name__ == "__main__":
    main()
