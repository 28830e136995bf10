"""What keys are measured against: printed keys, and Roman numerals that people wrote.

The collections are those in the installed music21 package; nothing is copied.
Printed keys: the tunes of O'Neill, Ryan and Aird with eight notes or more, one key
throughout, and a mode among major, minor, dorian and mixolydian. Human analyses: of
the 20 chorales, 17 line up with their sheet (not 011, 014 and 017); of the Monteverdi
madrigals all that music21 reads with their sheet, of which about half line up: the
others serve where only the analysis is needed. Halves: the last bit of the SHA-256
of a title or file name; 0 is for fitting and tuning, 1 is only reported on.

Contents: half, labelled_tunes, Analysed, analysed_pieces, bootstrap_interval,
boundary_hits.
"""

from __future__ import annotations

import hashlib
import random
import re
import warnings
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import music21

from melodex.melody import TICKS_PER_QUARTER, Key, Melody, fifths_of
from melodex.reading.abc.reader import read_abc
from melodex.reading.decoding import decode
from melodex.reading.result import Choice

CORPUS = Path(music21.__file__).parent / "corpus"
PRINTED_MODES = ("major", "minor", "dorian", "mixolydian")
SAME_MODE = {"ionian": "major", "aeolian": "minor"}
NOT_ALIGNED = {"riemenschneider011", "riemenschneider014", "riemenschneider017"}
LEAST_IN_CHORDS = 0.8
OTHER_NAMES = {"248(2).12": "248.12-2"}
"""Numbers of works that music21's files go under by another name."""


def half(name: str) -> int:
    """0 for the half that is fitted and tuned on, 1 for the half that is reported."""
    return hashlib.sha256(name.encode()).digest()[-1] % 2


def read_folder(folder: str) -> list[Melody]:
    """All melodies of the ABC files of one collection."""
    return [
        tune.melody
        for path in sorted((CORPUS / folder).glob("*.abc"))
        for tune in read_abc(decode(path.read_bytes()), path.name, Choice()).tunes
    ]


def labelled_tunes() -> list[tuple[Melody, Key]]:
    """Tunes with their printed keys."""
    kept = []
    for folder in ("oneills1850", "ryansMammoth", "airdsAirs"):
        for melody in read_folder(folder):
            mode = SAME_MODE.get(melody.key.mode, melody.key.mode)
            one_key = len({change.key for change in melody.keys}) == 1
            if len(melody) >= 8 and one_key and mode in PRINTED_MODES:
                kept.append((melody, Key(melody.key.tonic_fifths, mode)))
    return kept


@dataclass(frozen=True)
class Analysed:
    """A piece with the key that a person heard at each beat, a quarter long.

    ``notes`` are (onset, length, midi, fifths, part) in quarters; ``chords`` are
    (onset, length, root, notes of the chord) in quarters and fifths.
    """

    name: str
    keys: tuple[Key, ...]
    notes: tuple[tuple[float, float, int, int, int], ...]
    chords: tuple[tuple[float, float, int, tuple[int, ...]], ...]

    @property
    def beats(self) -> int:
        """Number of beats with a key."""
        return len(self.keys)

    @property
    def lines_up(self) -> bool:
        """Whether the sheet and the analysis are of one piece, bar for bar.

        Judged by the share of sounding time that lies in the chord of its moment:
        .89 to .98 where they do, .4 to .7 where bars are counted otherwise.
        """
        inside = whole = 0.0
        for onset, length, _, fifths, _ in self.notes:
            for start, lasts, _, chord in self.chords:
                shared = min(onset + length, start + lasts) - max(onset, start)
                if shared > 0:
                    whole += shared
                    inside += shared * (fifths in chord)
        return inside >= LEAST_IN_CHORDS * max(whole, 1e-9)


def analysed_pieces(folder: str) -> list[Analysed]:
    """The analyses of ``bach/choraleAnalyses`` or ``monteverdi`` and their sheets."""
    pieces = []
    for path in sorted((CORPUS / folder).glob("*.rntxt")):
        if path.stem in NOT_ALIGNED:
            continue
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            piece = read_analysis(path)
        if piece is not None:
            pieces.append(piece)
    return pieces


def read_analysis(path: Path) -> Analysed | None:
    """One analysis with the notes of its sheet; None if music21 cannot read either."""
    from music21 import converter, corpus, roman

    work = re.search(r"BWV: *(\S+)", path.read_text(encoding="utf-8"))
    sheet_name = (
        f"bach/bwv{OTHER_NAMES.get(work[1], work[1])}"
        if work
        else f"monteverdi/{path.stem}"
    )
    try:
        analysis = converter.parse(path, format="romanText", forceSource=True)
        sheet = corpus.parse(sheet_name)
    except music21.Music21Exception:
        return None
    numerals = list(analysis.recurse().getElementsByClass(roman.RomanNumeral))
    if not numerals:
        return None
    chords, keys = [], []
    for numeral in numerals:
        onset = float(numeral.getOffsetInHierarchy(analysis))
        notes = tuple(sorted({place(pitch) for pitch in numeral.pitches}))
        chords.append((onset, float(numeral.quarterLength), place(numeral.root()), notes))
        keys.append(Key(place(numeral.key.tonic), numeral.key.mode))
    end = max(chords[-1][0] + chords[-1][1], 1.0)
    return Analysed(
        path.stem, keys_by_beat(chords, keys, end), sheet_notes(sheet), tuple(chords)
    )


def keys_by_beat(chords: list[Any], keys: list[Key], end: float) -> tuple[Key, ...]:
    """The key that holds as each quarter begins."""
    found, at = [], 0
    for beat in range(int(end + 0.999)):
        while at + 1 < len(chords) and chords[at + 1][0] <= beat:
            at += 1
        found.append(keys[at])
    return tuple(found)


def place(pitch: Any) -> int:
    """A music21 pitch on the line of fifths."""
    return fifths_of(pitch.step, int(pitch.alter))


def sheet_notes(sheet: Any) -> tuple[tuple[float, float, int, int, int], ...]:
    """Every note of every part."""
    return tuple(
        (float(n.offset), float(n.quarterLength), p.midi, place(p), part)
        for part, line in enumerate(sheet.parts)
        for n in line.flatten().notes
        for p in n.pitches
    )


def top_line(piece: Analysed) -> Melody:
    """The first part of a piece as a melody without a printed key."""
    line = sorted({n[0]: n for n in piece.notes if n[4] == 0}.values())
    ticks = [round(n[0] * TICKS_PER_QUARTER) for n in line]
    n = len(line)
    return Melody(
        midi=tuple(x[2] for x in line),
        fifths=tuple(x[3] for x in line),
        onset_ticks=tuple(ticks),
        duration_ticks=tuple(round(x[1] * TICKS_PER_QUARTER) for x in line),
        bar=tuple(1 + t // (4 * TICKS_PER_QUARTER) for t in ticks),
        beat_strength=(0.5,) * n,
        phrase=(0,) * n,
    )


def bootstrap_interval(
    pieces: Sequence[Any], measure: Callable[[Sequence[Any]], float], rounds: int = 1000
) -> tuple[float, float]:
    """95 % interval of a measure by drawing whole pieces anew, seeded.

    References
    ----------
    Efron and Tibshirani (1993), An Introduction to the Bootstrap: percentiles.
    """
    draw = random.Random(20)
    values = sorted(measure(draw.choices(pieces, k=len(pieces))) for _ in range(rounds))
    return values[int(0.025 * rounds)], values[int(0.975 * rounds) - 1]


def boundary_hits(
    truth: Sequence[Any], found: Sequence[Any], tolerance: int
) -> tuple[int, int, int]:
    """Boundaries met one to one within a tolerance, true ones, and found ones."""
    true = [i for i in range(1, len(truth)) if truth[i] != truth[i - 1]]
    said = [i for i in range(1, len(found)) if found[i] != found[i - 1]]
    free, hits = list(said), 0
    for place_ in true:
        near = [p for p in free if abs(p - place_) <= tolerance]
        if near:
            free.remove(min(near, key=lambda p: (abs(p - place_), p)))
            hits += 1
    return hits, len(true), len(said)
