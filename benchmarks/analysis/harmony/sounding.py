"""Chords out of notes: how often they are those that people heard, or that were played.

Run:  python -m benchmarks.analysis.harmony.sounding [--kinds ...] [--fit SECONDS]
          [--keep NAME]

Measured on the chorales and madrigals of music21's corpus that have an analysis by a
person which lines up with the sheet (see ``keys.truth``), read from MusicXML by this
reader, on the same played as a piano plays (``retextured``), and on broken chords of known
harmony (``piano_textures``). Figures are shares of the sounding time: the root; root and
triad; all notes of the chord; the bass where the root is right; and of the places where
the chord changes the F measure, a change being found within half a quarter; where a
person named keys, the share in which key, root and bass are right together. How sure
chords are is held against how often their roots are right. Halves: 0 is what the points
were fitted on, 1 is only reported; intervals draw whole pieces anew. Left out, for the
sheet that is read is not the one that the analysis counts: riemenschneider015, whose
repeats are written out there. ``--fit`` climbs
from the present points by changing a few at random and prints what it came to.

Contents: Truth, truths, shares, measure, sureness, fit, main.
"""

from __future__ import annotations

import random
import re
import time
import warnings
from bisect import bisect_right
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import Any

from benchmarks.analysis.harmony.piano_textures import known_piece
from benchmarks.analysis.harmony.retextured import retextured
from benchmarks.analysis.keys.truth import (
    CORPUS,
    OTHER_NAMES,
    Analysed,
    analysed_pieces,
    bootstrap_interval,
    half,
    place,
)
from benchmarks.keeping import about, asker, keep
from melodex.analysis.harmony.heard import sounding
from melodex.analysis.harmony.heard.slices import Heard as Sounding
from melodex.analysis.harmony.heard.sounding import KINDS, SoundingChord, over_worked_chords
from melodex.analysis.piece import analyse
from melodex.melody import TICKS_PER_QUARTER, Melody
from melodex.melody.texture import Texture
from melodex.reading import read_path

OTHER_SHEET = {"riemenschneider015"}
PIECES_MADE = 120
TRIAD = {0, 4, -3, 1, -6, 8}
MEASURES = ("root", "root and triad", "all notes", "bass, where the root is right")
NEAR = 0.5
"""Quarters within which a change of chord counts as found."""
SURE_BINS = (0.0, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1.01)
FITTED = (
    "MEMBERS",
    "OTHER",
    "HELD",
    "LIGHTER",
    "ECHO",
    "KEYED",
    "KEYED_ENTERING",
    "ECHO_OTHER",
    "ROOT_IN_BASS",
    "NO_ROOT",
    "NO_THIRD",
    "NO_SEVENTH",
    "CHANGE",
    "ANYWHERE",
    "STRENGTHS",
    "FALLING_FIFTH",
    "SAME_ROOT",
    "LEADING",
    "ALONE",
    "ENTERING",
)
STEP = 0.15
"""How far a point is moved at random, as a standard deviation."""


@dataclass(frozen=True)
class Heard:
    """A chord that is true: onset and length in quarters, root, notes, bass, key.

    The key is a tonic on the line of fifths and a mode; empty where none is known.
    """

    onset: float
    length: float
    root: int
    notes: frozenset[int]
    bass: int
    key: tuple[int, str] | None = None


@dataclass(frozen=True)
class Truth:
    """A piece, its notes, and the chords that are true of it."""

    name: str
    kind: str
    melody: Melody
    texture: Texture
    chords: tuple[Heard, ...]
    half: int


def sheet_of(piece: Analysed, folder: str) -> Path | None:
    """The MusicXML sheet of an analysis, if the corpus has it as that."""
    text = (CORPUS / folder / f"{piece.name}.rntxt").read_text(encoding="utf-8")
    work = re.search(r"BWV: *(\S+)", text)
    name = f"monteverdi/{piece.name}"
    if work:
        name = f"bach/bwv{OTHER_NAMES.get(work[1], work[1])}"
    found = (CORPUS / f"{name}{suffix}" for suffix in (".mxl", ".xml", ".musicxml"))
    return next((path for path in found if path.exists()), None)


def heard_in(folder: str, name: str) -> tuple[Heard, ...]:
    """The chords of an analysis."""
    from music21 import converter, roman

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        path = CORPUS / folder / f"{name}.rntxt"
        analysis = converter.parse(path, format="romanText", forceSource=True)
    return tuple(
        Heard(
            float(numeral.getOffsetInHierarchy(analysis)),
            float(numeral.quarterLength),
            place(numeral.root()),
            frozenset(map(place, numeral.pitches)),
            place(numeral.bass()),
            (place(numeral.key.tonic), numeral.key.mode),
        )
        for numeral in analysis.recurse().getElementsByClass(roman.RomanNumeral)
    )


def analysed(folder: str, kind: str) -> Iterable[Truth]:
    """Pieces of a folder with a person's analysis."""
    for piece in analysed_pieces(folder):
        path = sheet_of(piece, folder)
        if path is None or piece.name in OTHER_SHEET or not piece.lines_up:
            continue
        for tune in read_path(path).tunes:
            if tune.texture is not None:
                chords = heard_in(folder, piece.name)
                yield Truth(
                    piece.name, kind, tune.melody, tune.texture, chords, half(piece.name)
                )


def made() -> Iterable[Truth]:
    """Broken chords of known harmony."""
    for seed in range(PIECES_MADE):
        piece = known_piece(seed)
        chords = tuple(
            Heard(onset, length, root, frozenset(root + d for d in KINDS[kind]), bass)
            for onset, length, root, bass, kind in piece.chords
        )
        # Twelve patterns in turn: each half has all of them.
        yield Truth(
            piece.name, "broken chords", piece.melody, piece.texture, chords, seed // 12 % 2
        )


FOLDERS = {"chorales": "bach/choraleAnalyses", "madrigals": "monteverdi"}


def truths(kinds: Sequence[str] = tuple(FOLDERS)) -> list[Truth]:
    """Everything that is measured against; of human analyses those of some kinds."""
    people = [piece for kind in kinds for piece in analysed(FOLDERS[kind], kind)]
    return [*people, *made(), *map(played, people)]


def played(truth: Truth) -> Truth:
    """A piece as a piano plays it, with the same chords."""
    found = retextured(
        truth.name, truth.texture, truth.melody, [chord.onset for chord in truth.chords]
    )
    chords = tuple(
        replace(
            chord,
            onset=chord.onset * found.stretch,
            length=chord.length * found.stretch,
        )
        for chord in truth.chords
    )
    kind = f"{truth.kind} on a piano"
    return Truth(truth.name, kind, found.melody, found.texture, chords, truth.half)


HEARD: dict[int, Sounding] = {}
"""What sounds in each piece: no fitted number changes it."""


def chords_heard(truth: Truth) -> list[SoundingChord]:
    """The chords of a piece; what sounds in it is worked out once."""
    key = id(truth)
    if key not in HEARD:
        HEARD[key] = Sounding(truth.texture.notes, truth.melody)
    return sounding.chords_of(HEARD[key], *sounding.best_path(HEARD[key]))


def changes(truth: Truth) -> tuple[int, int, int]:
    """Changes of chord that are true, told, and both."""
    true = [
        each.onset
        for before, each in pairwise(truth.chords)
        if (before.root, before.notes) != (each.root, each.notes)
    ]
    heard = chords_heard(truth)
    told = [
        each.onset_ticks / TICKS_PER_QUARTER
        for before, each in pairwise(heard)
        if (before.root_fifths, before.kind) != (each.root_fifths, each.kind)
    ]
    left = list(told)
    both = 0
    for onset in true:
        near = [each for each in left if abs(each - onset) < NEAR]
        if near:
            left.remove(min(near, key=lambda each: abs(each - onset)))
            both += 1
    return len(true), len(told), both


def f_of_changes(counts: Sequence[tuple[int, ...]]) -> float:
    """The F measure of changes over some pieces."""
    true, told, both = (sum(row[place] for row in counts) for place in range(3))
    return 2 * both / max(1, true + told)


def sureness(pieces: Sequence[Truth]) -> list[dict[str, Any]]:
    """By how sure chords are: their time in quarters, and how often the root is right."""
    times = [[0.0, 0.0] for _ in SURE_BINS[1:]]
    for truth in pieces:
        for found in chords_heard(truth):
            start, end = (
                t / TICKS_PER_QUARTER for t in (found.onset_ticks, found.end_ticks)
            )
            row = times[bisect_right(SURE_BINS, found.certainty) - 1]
            for heard in truth.chords:
                shared = min(end, ends(heard)) - max(start, heard.onset)
                if shared > 0:
                    row[0] += shared
                    row[1] += shared * (heard.root == found.root_fifths)
    return [
        {
            "sure": f"{low:.2f} to {min(high, 1):.2f}",
            "quarters": round(time, 1),
            "root_right": round(right / time, 3) if time else None,
        }
        for low, high, (time, right) in zip(SURE_BINS, SURE_BINS[1:], times, strict=False)
    ]


def in_keys(truth: Truth) -> tuple[float, float]:
    """Quarters compared, and those in which key, root and bass are right together."""
    melody = over_worked_chords(truth.texture, truth.melody)
    whole = right = 0.0
    first = 0
    for here in analyse(melody).harmony.chords:
        start, end = (t / TICKS_PER_QUARTER for t in (here.onset_ticks, here.end_ticks))
        while first < len(truth.chords) and ends(truth.chords[first]) <= start:
            first += 1
        for heard in truth.chords[first:]:
            if heard.onset >= end:
                break
            shared = min(end, ends(heard)) - max(start, heard.onset)
            same = (here.key.tonic_fifths, here.key.mode) == heard.key
            same = same and here.chord.root_fifths == heard.root
            whole += shared
            right += shared * (same and here.chord.lowest_fifths == heard.bass)
    return whole, right


def share_in_keys(rows: Sequence[tuple[float, float]]) -> float:
    """The share of time in which key, root and bass are right."""
    return sum(row[1] for row in rows) / max(1e-9, sum(row[0] for row in rows))


def shares(truth: Truth) -> tuple[float, ...]:
    """Quarters compared, quarters in which each measure is right; bass at the end."""
    whole = root = triad = notes = bass = 0.0
    first = 0
    for found in chords_heard(truth):
        start = found.onset_ticks / TICKS_PER_QUARTER
        end = found.end_ticks / TICKS_PER_QUARTER
        mine = [found.root_fifths + degree for degree in KINDS[found.kind]]
        while first < len(truth.chords) and ends(truth.chords[first]) <= start:
            first += 1
        for heard in truth.chords[first:]:
            shared = min(end, ends(heard)) - max(start, heard.onset)
            if heard.onset >= end:
                break
            same = heard.root == found.root_fifths
            its_triad = {f for f in heard.notes if f - heard.root in TRIAD}
            whole += shared
            root += shared * same
            triad += shared * (same and its_triad == set(mine[:3]))
            notes += shared * (heard.notes == set(mine))
            bass += shared * (same and heard.bass == found.bass_fifths)
    return whole, root, triad, notes, bass


def ends(heard: Heard) -> float:
    """Where a true chord ends."""
    return heard.onset + heard.length


def of(sums: Sequence[tuple[float, ...]], measure: int) -> float:
    """The share of a measure over some pieces."""
    right = sum(row[measure + 1] for row in sums)
    return right / max(1e-9, sum(row[1 if measure == 3 else 0] for row in sums))


def measure(pieces: Sequence[Truth]) -> list[dict[str, Any]]:
    """Every share of every kind of piece, by halves."""
    rows = []
    for kind in dict.fromkeys(piece.kind for piece in pieces):
        for which in (0, 1):
            taken = [p for p in pieces if p.kind == kind and p.half == which]
            if not taken:
                continue
            begun = time.process_time()
            sums = [shares(piece) for piece in taken]
            seconds = time.process_time() - begun
            counts = [changes(piece) for piece in taken]
            values: list[tuple[str, Sequence[Any], Callable[[Any], float]]] = [
                (name, sums, partial(of, measure=number))
                for number, name in enumerate(MEASURES)
            ]
            values.append(("changes of chord, F", counts, f_of_changes))
            if all(chord.key for chord in taken[0].chords):
                told = [in_keys(piece) for piece in taken]
                values.append(("key, root and bass together", told, share_in_keys))
            for name, samples, value_of in values:
                low, high = bootstrap_interval(samples, value_of)
                rows.append(
                    {
                        "task": f"{kind}, half {which}",
                        "measure": name,
                        "value": round(value_of(samples), 3),
                        "interval_95": [round(low, 3), round(high, 3)],
                        "pieces": len(taken),
                        "ms_a_piece": round(1000 * seconds / len(taken), 1),
                    }
                )
    return rows


def fit(pieces: Sequence[Truth], seconds: float) -> dict[str, Any]:
    """Climb from the present points; the mean share over the kinds of half 0 counts."""
    taken = [piece for piece in pieces if piece.half == 0]
    kinds = list(dict.fromkeys(piece.kind for piece in taken))

    def score() -> float:
        by_kind = [[shares(p) for p in taken if p.kind == kind] for kind in kinds]
        means = [sum(of(sums, m) for m in range(3)) / 3 for sums in by_kind]
        return sum(means) / len(means)

    rng, until, best = random.Random(1), time.monotonic() + seconds, score()
    while time.monotonic() < until:
        before = {name: getattr(sounding, name) for name in FITTED}
        for name in rng.sample(FITTED, rng.choice((1, 1, 2, 3))):
            setattr(sounding, name, moved(before[name], rng))
        found = score()
        if found > best and sounding.ANYWHERE > 0:
            best = found
            print(f"{best:.4f}", flush=True)
        else:
            for name, value in before.items():
                setattr(sounding, name, value)
    return {name: getattr(sounding, name) for name in FITTED}


def moved(value: Any, rng: random.Random) -> Any:
    """A point moved at random; of several one."""
    if isinstance(value, float):
        return value + rng.gauss(0, STEP)
    which = rng.randrange(len(value))
    return (*value[:which], value[which] + rng.gauss(0, STEP), *value[which + 1 :])


def main() -> None:
    """Measure, or fit."""
    ask = asker(__doc__)
    ask.add_argument("--fit", metavar="SECONDS", type=float, default=0.0)
    ask.add_argument("--kinds", nargs="+", choices=FOLDERS, default=tuple(FOLDERS))
    choice = ask.parse_args()
    pieces = truths(choice.kinds)
    fitted = fit(pieces, choice.fit) if choice.fit else {}
    rows = measure(pieces)
    text = [
        f"{row['task']:24} {row['measure']:30} {row['value']:.3f} "
        f"[{row['interval_95'][0]:.3f}, {row['interval_95'][1]:.3f}]  "
        f"{row['pieces']} pieces, {row['ms_a_piece']} ms each"
        for row in rows
    ]
    sure = sureness([piece for piece in pieces if piece.half == 1])
    text += [
        f"half 1, sure {row['sure']}: root right {row['root_right']} of the time, "
        f"{row['quarters']} quarters"
        for row in sure
    ]
    text += [f"{name} = {value}" for name, value in fitted.items()]
    print("\n".join(text))
    run = about("music21", "numpy") | {"rows": rows, "sureness": sure, "fitted": fitted}
    keep(choice.keep, {"sounding.json": run, "sounding.txt": "\n".join(text) + "\n"})


if __name__ == "__main__":
    main()
