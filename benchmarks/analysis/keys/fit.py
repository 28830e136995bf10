"""Fit the weights of keys on the tuning half, and write them into the package.

Run:  python -m benchmarks.analysis.keys.fit

Global key: a conditional logit over tonics and modes. Its weights are a sum of three
parts, each with its own penalty: one for a degree in a mode, one for a degree in
every mode, one for a step of the mode's own scale. The shared parts let dorian and
mixolydian, of which there are few, lean on what holds in every mode. Tunes are
weighted by the rarity of their mode, to a power, so that rare modes are said at all.
Penalties and power were chosen on a quarter of the tuning half.

Local key: counts of degrees and chords under human analyses, smoothed; madrigals
count less than chorales.

Contents: fit_global, fit_local, write_weights.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import minimize

from benchmarks.analysis.harmony.guessed import guess_chord
from benchmarks.analysis.keys.truth import (
    PRINTED_MODES,
    Analysed,
    analysed_pieces,
    half,
    labelled_tunes,
)
from melodex.analysis.keys import weights as keys_weights
from melodex.analysis.keys.evidence import GROUPS, REACH, TONIC_REACH, evidence
from melodex.analysis.keys.local import CHORD_KINDS
from melodex.melody import MODES, Key, Melody

LOWEST, DEGREES = -7, 18
OWN_PENALTY, SHARED_PENALTY = 3e-3, 1e-4
RARITY_POWER = {False: 0.4, True: 0.55}
UNUSED = {False: (), True: ("present",)}
"""Under a signature it is no news which notes are there."""
ROUNDS = 120
TONICS = 2 * TONIC_REACH + 1

LOWEST_NOTE, NOTES = -12, 27
LOWEST_ROOT, ROOTS = -9, 20
NOTE_PRIOR, CHORD_PRIOR, MADRIGAL_COUNT = 0.5, 5.0, 0.15

HEADER = '''"""Weights of keys, fitted by ``benchmarks.analysis.keys.fit``, not by hand.

Conventions: whole numbers are hundredths. ``OPEN`` and ``SIGNED`` hold, for each
mode, a row for each count of ``evidence.GROUPS`` over the degrees from
:data:`LOWEST_DEGREE` upward in fifths, and a constant: ``OPEN`` chooses among all
keys, ``SIGNED`` among those of a printed signature. ``NOTE_LOGS`` are logarithms of
the share of each degree from :data:`LOWEST_NOTE_DEGREE` upward, and ``CHORD_LOGS`` of
each chord, a row for each of ``local.CHORD_KINDS`` over the roots from
:data:`LOWEST_CHORD_ROOT` upward.

Fitted on the tuning halves of the printed keys of O'Neill, Ryan and Aird, and of the
human analyses of chorales and Monteverdi, all in music21's corpus.

Contents: LOWEST_DEGREE, OPEN, SIGNED, LOWEST_NOTE_DEGREE, NOTE_LOGS,
LOWEST_CHORD_ROOT, CHORD_LOGS.
"""

__all__ = [
    "CHORD_LOGS",
    "LOWEST_CHORD_ROOT",
    "LOWEST_DEGREE",
    "LOWEST_NOTE_DEGREE",
    "NOTE_LOGS",
    "OPEN",
    "SIGNED",
]
'''


def counts_by_tonic(melody: Melody) -> Any:
    """The evidence seen from every tonic, of shape (tonics, groups * degrees)."""
    found = evidence(melody)
    counts = np.asarray(found.counts, dtype=np.float32)
    starts = [REACH + tonic - TONIC_REACH + LOWEST for tonic in range(TONICS)]
    return np.stack(
        [counts[:, s : s + DEGREES].ravel() for s in starts]
    ), found.middle_fifths


def shared_parts() -> Any:
    """What each shared weight adds to, of shape (parts, modes * groups * degrees)."""
    parts = []
    for group in range(len(GROUPS)):
        for step in range(7):
            part = np.zeros((len(PRINTED_MODES), len(GROUPS), DEGREES), dtype=np.float32)
            for m, mode in enumerate(PRINTED_MODES):
                for degree in range(-1 - MODES[mode], 6 - MODES[mode]):
                    if 4 * degree % 7 == step:
                        part[m, group, degree - LOWEST] = 1
            parts.append(part.ravel())
        for degree in range(DEGREES):
            part = np.zeros((len(PRINTED_MODES), len(GROUPS), DEGREES), dtype=np.float32)
            part[:, group, degree] = 1
            parts.append(part.ravel())
    return np.array(parts)


def fit_global(tunes: list[tuple[Melody, Key]], *, signed: bool) -> tuple[Any, Any]:
    """Fit weights of shape (modes, groups, degrees) and constants of shape (modes,)."""
    modes = len(PRINTED_MODES)
    seen = [counts_by_tonic(melody) for melody, _ in tunes]
    counts = np.stack([one for one, _ in seen])
    for group in UNUSED[signed]:
        at = GROUPS.index(group) * DEGREES
        counts[:, :, at : at + DEGREES] = 0
    mode = np.array([PRINTED_MODES.index(key.mode) for _, key in tunes])
    tonic = np.array(
        [
            key.tonic_fifths - m + TONIC_REACH
            for (_, key), (_, m) in zip(tunes, seen, strict=True)
        ]
    )
    answer = tonic * modes + mode
    barred = np.zeros((len(tunes), TONICS * modes), dtype=np.float32)
    if signed:
        shift = np.array([MODES[name] for name in PRINTED_MODES])
        signature = (np.arange(TONICS)[:, None] - shift[None, :]).ravel()
        barred[signature[None, :] != signature[answer][:, None]] = -1e9
    often = np.bincount(mode, minlength=modes)
    rarity = (often.mean() / often) ** RARITY_POWER[signed]
    return solve(counts, answer, barred, (rarity * often.sum() / (rarity @ often))[mode])


def solve(counts: Any, answer: Any, barred: Any, importance: Any) -> tuple[Any, Any]:
    """Minimise the penalised loss of the conditional logit."""
    n, modes = len(counts), len(PRINTED_MODES)
    parts = shared_parts()
    own, shared = parts.shape[1], parts.shape[0]
    flat = counts.reshape(n * TONICS, -1)
    every = np.arange(n)

    def loss(theta: Any) -> tuple[float, Any]:
        small = theta.astype(np.float32)
        mine, ours = small[:own], small[own : own + shared]
        table = (mine + ours @ parts).reshape(modes, -1)
        points = (flat @ table.T + small[-modes:]).reshape(n, -1) + barred
        points -= points.max(1, keepdims=True)
        chance = np.exp(points)
        chance /= chance.sum(1, keepdims=True)
        value = -(importance * np.log(chance[every, answer] + 1e-12)).sum() / n
        value += OWN_PENALTY * (mine**2).sum() + SHARED_PENALTY * (ours**2).sum()
        chance[every, answer] -= 1
        slope = (chance * importance[:, None]).reshape(-1, modes).astype(np.float32)
        by_weight = (slope.T @ flat).ravel() / n
        return float(value), np.concatenate(
            [
                by_weight + 2 * OWN_PENALTY * mine,
                parts @ by_weight + 2 * SHARED_PENALTY * ours,
                slope.sum(0) / n,
            ]
        ).astype(float)

    start = np.zeros(own + shared + modes)
    theta = minimize(
        loss, start, jac=True, method="L-BFGS-B", options={"maxiter": ROUNDS}
    ).x
    table = theta[:own] + theta[own : own + shared] @ parts
    return table.reshape(modes, len(GROUPS), DEGREES), theta[-modes:]


def beats_of(piece: Analysed) -> list[tuple[dict[int, float], int | None]]:
    """For each beat, how long each pitch class sounds, and the lowest note."""
    cells: list[dict[int, float]] = [{} for _ in range(piece.beats)]
    lowest: list[tuple[int, int] | None] = [None] * piece.beats
    for onset, length, midi, fifths, _ in piece.notes:
        for beat in range(int(onset), min(math.ceil(onset + length), piece.beats)):
            sounds = min(onset + length, beat + 1) - max(onset, beat)
            if sounds <= 0:
                continue
            cells[beat][fifths] = cells[beat].get(fifths, 0.0) + sounds
            low = lowest[beat]
            if low is None or midi < low[0]:
                lowest[beat] = (midi, fifths)
    return [
        (cell, low[1] if low else None) for cell, low in zip(cells, lowest, strict=True)
    ]


def human_kind(root: int, notes: tuple[int, ...]) -> int:
    """The chord kind of a Roman numeral's notes."""
    above = {note - root for note in notes}
    if 4 in above:
        return 1 if -2 in above else 2 if 5 in above else 0
    if -3 in above and -6 in above:
        return 7 if -9 in above else 6 if -2 in above else 5
    if -3 in above:
        return 4 if -2 in above else 3
    return 0


def chords_by_beat(
    piece: Analysed,
) -> list[tuple[dict[int, float], tuple[int, int] | None]]:
    """For each beat, the chord notes of the analysis and its longest chord."""
    found = []
    for beat in range(piece.beats):
        cell: dict[int, float] = {}
        longest, chord = 0.0, None
        for onset, length, root, notes in piece.chords:
            sounds = min(onset + length, beat + 1) - max(onset, beat)
            if sounds <= 1e-6:
                continue
            for note in notes:
                cell[note] = cell.get(note, 0.0) + sounds
            if sounds > longest + 1e-9:
                longest, chord = sounds, (root, human_kind(root, notes))
        found.append((cell, chord))
    return found


Table = dict[str, Any]


def fit_local(pieces: list[tuple[Analysed, float]]) -> tuple[Table, Table]:
    """Fit log shares of degrees by mode, and of chords by mode.

    Voices and analysed chords are pooled: both are what a key sounds like, and one
    table then serves both.
    """
    notes = {mode: np.full(NOTES, NOTE_PRIOR) for mode in ("major", "minor")}
    chords = {mode: defaultdict[tuple[int, int], float](float) for mode in notes}
    for piece, often in pieces:
        sources = [chords_by_beat(piece)]
        if piece.lines_up:
            sources.append(
                [(cell, guess_chord(cell, low)) for cell, low in beats_of(piece)]
            )
        for source in sources:
            for key, (cell, chord) in zip(piece.keys, source, strict=True):
                for fifths, sounds in cell.items():
                    at = min(max(fifths - key.tonic_fifths - LOWEST_NOTE, 0), NOTES - 1)
                    notes[key.mode][at] += often * sounds / 2
                if chord:
                    root = min(max(chord[0] - key.tonic_fifths - LOWEST_ROOT, 0), ROOTS - 1)
                    chords[key.mode][(root, chord[1])] += often / 2
    logs = {mode: np.log(row / row.sum()) for mode, row in notes.items()}
    return logs, {mode: smoothed(counted) for mode, counted in chords.items()}


def smoothed(counted: Mapping[tuple[int, int], float]) -> Any:
    """Log shares of chords, leaning on roots and kinds apart where there are few."""
    table = np.zeros((ROOTS, len(CHORD_KINDS)))
    for place, count in counted.items():
        table[place] = count
    total = table.sum()
    roots = (table.sum(1) + 0.3) / (total + 0.3 * ROOTS)
    kinds = (table.sum(0) + 0.5) / (total + 0.5 * len(CHORD_KINDS))
    apart = roots[:, None] * kinds[None, :]
    return np.log((table + CHORD_PRIOR * apart) / (total + CHORD_PRIOR))


def hundredths(row: Any) -> str:
    """A row of numbers as whole hundredths."""
    return " ".join(str(round(100 * float(number))) for number in row)


def rows_text(name: str, texts: list[str], constant: str = "") -> list[str]:
    """One entry of a table: a tuple of rows, with a constant beside it if given."""
    opening = f'    "{name}": (' + ("(" if constant else "")
    lines = [opening] + [f'        "{text}",' for text in texts]
    return [*lines, f"    ), {constant})," if constant else "    ),"]


def write_weights(path: Path) -> None:
    """Fit everything on the tuning half and write the module of weights."""
    lines = [HEADER, f"LOWEST_DEGREE = {LOWEST}", ""]
    tunes = [pair for pair in labelled_tunes() if half(pair[0].title) == 0]
    for name, signed in (("OPEN", False), ("SIGNED", True)):
        table, constants = fit_global(tunes, signed=signed)
        lines.append(f"{name} = {{")
        for mode, rows, constant in zip(PRINTED_MODES, table, constants, strict=True):
            lines += rows_text(
                mode, [hundredths(r) for r in rows], str(round(100 * constant))
            )
        lines += ["}", ""]
    logs, chords = fit_local(
        [(p, 1.0) for p in analysed_pieces("bach/choraleAnalyses") if half(p.name) == 0]
        + [(p, MADRIGAL_COUNT) for p in analysed_pieces("monteverdi") if half(p.name) == 0]
    )
    lines += [f"LOWEST_NOTE_DEGREE = {LOWEST_NOTE}", "", "NOTE_LOGS = {"]
    for mode, row in logs.items():
        words = hundredths(row).split()
        lines += [
            f'    "{mode}": "{" ".join(words[:14])}"',
            f'    " {" ".join(words[14:])}",',
        ]
    lines += ["}", "", f"LOWEST_CHORD_ROOT = {LOWEST_ROOT}", "", "CHORD_LOGS = {"]
    for mode, table in chords.items():
        lines.append(f'    "{mode}": (')
        for kind in table.T:
            words = hundredths(kind).split()
            lines += [
                f'        "{" ".join(words[:10])}"',
                f'        " {" ".join(words[10:])}",',
            ]
        lines.append("    ),")
    path.write_text("\n".join([*lines, "}", ""]), encoding="utf-8")


if __name__ == "__main__":
    write_weights(Path(keys_weights.__file__))
