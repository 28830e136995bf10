"""How often keys are right: global, local, and modes that colour a passage.

Run:  python -m benchmarks.analysis.keys.lines [--keep NAME]

Everything is measured on the half that nothing was fitted or tuned on (see
``truth``), with 95 % intervals by drawing whole tunes or pieces anew. Local keys
are compared beat by beat with human analyses; a boundary is met if one is said within
two beats, one to one. Modal passages have no printed truth: in printed major tunes
a middle stretch has its 7ths lowered (mixolydian), or its 3rds too (dorian), and the
passage must be found; false alarms are counted in the same tunes as printed.

Contents: measure_global, measure_local, measure_modal, main.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

from benchmarks.analysis.harmony.guessed import guess_chord
from benchmarks.analysis.keys.fit import beats_of, chords_by_beat, human_kind
from benchmarks.analysis.keys.profiles import pitch_class_lengths, profile_keys
from benchmarks.analysis.keys.truth import (
    PRINTED_MODES,
    Analysed,
    analysed_pieces,
    bootstrap_interval,
    boundary_hits,
    half,
    labelled_tunes,
    top_line,
)
from benchmarks.keeping import about, asker, keep
from melodex.analysis.keys import modal_passages, read_keys
from melodex.analysis.keys.home import same_key
from melodex.analysis.keys.local import (
    CHORDS,
    VOICES,
    local_keys_from_weights,
)
from melodex.analysis.keys.spans import KeySpan
from melodex.melody import (
    TICKS_PER_QUARTER,
    Bar,
    ChordSymbol,
    Key,
    Melody,
    pitch_class_name,
)

TOLERANCE_BEATS = 2
Row = dict[str, Any]


def row(task: str, what: str, items: Sequence[Any], measure: Callable[[Any], float]) -> Row:
    """One measured figure with its interval."""
    low, high = bootstrap_interval(items, measure, 400)
    value = measure(items)
    print(
        f"{task:34} {what:24} {value:.4f}  [{low:.3f}, {high:.3f}]  n={len(items)}",
        flush=True,
    )
    return {
        "task": task,
        "measure": what,
        "value": round(value, 4),
        "interval_95": [round(low, 4), round(high, 4)],
        "n": len(items),
    }


def share(place: int) -> Callable[[Any], float]:
    """Mean of one column."""
    return lambda items: sum(item[place] for item in items) / len(items)


def balanced(items: Any) -> float:
    """Mean over the printed modes of the share that is right."""
    rates = []
    for mode in PRINTED_MODES:
        of_mode = [item[1] for item in items if item[2] == mode]
        if of_mode:
            rates.append(sum(of_mode) / len(of_mode))
    return sum(rates) / len(rates)


def unstated(melody: Melody) -> Melody:
    """The melody with its signature alone: the mode is what is asked for."""
    change = melody.keys[0]
    major = Key(change.signature_fifths, "major")
    return replace(melody, keys=(replace(change, key=major, stated=False),))


def fitted_key(melody: Melody, *, use_signature: bool) -> Key:
    """Our own reading of the notes alone."""
    return read_keys(melody, chords=(), use_signature=use_signature).reading.key


def profile_key(melody: Melody, *, profile: str) -> Key:
    """The key whose published profile fits best."""
    return profile_keys(pitch_class_lengths(melody), profile)[0][0]


def measure_global(tunes: list[tuple[Melody, Key]]) -> list[Row]:
    """Tonic, tonic and mode, and balance over modes, by each way of finding the key."""
    rows = []
    ways: dict[str, Callable[[Melody], Key]] = {
        "no signature": partial(fitted_key, use_signature=False),
        "signature used": partial(fitted_key, use_signature=True),
        "Krumhansl-Kessler": partial(profile_key, profile="krumhansl-kessler"),
        "Albrecht-Shanahan": partial(profile_key, profile="albrecht-shanahan"),
    }
    for name, way in ways.items():
        found = []
        for melody, key in tunes:
            said = way(unstated(melody))
            tonic = said.mode != "none" and (said.tonic_fifths - key.tonic_fifths) % 12 == 0
            exact = said.mode != "none" and same_key(said, key)
            if "-" in name:
                # A profile spells one tonic a pitch class.
                exact = tonic and said.mode == key.mode
            found.append((tonic, exact, key.mode))
        task = f"global key, {name}"
        rows.append(row(task, "tonic", found, share(0)))
        rows.append(row(task, "tonic and mode", found, share(1)))
        rows.append(row(task, "balanced over modes", found, balanced))
        for mode in PRINTED_MODES:
            rows.append(
                row(task, f"of {mode}", [f for f in found if f[2] == mode], share(1))
            )
    return rows


def by_voices(piece: Analysed) -> list[Key]:
    """Local keys from the notes of all voices."""
    beats = beats_of(piece)
    found = local_keys_from_weights(
        [cell for cell, _ in beats],
        chords=[guess_chord(cell, low) for cell, low in beats],
        setting=VOICES,
    )
    return [Key(local.tonic_fifths, local.mode) for local in found]


def by_chords(piece: Analysed) -> list[Key]:
    """Local keys from the chords of the analysis, without its keys."""
    runs: list[tuple[dict[int, float], Any, int]] = []
    for cell, chord in chords_by_beat(piece):
        if runs and runs[-1][1] == chord:
            before, _, count = runs[-1]
            both = {f: before.get(f, 0.0) + cell.get(f, 0.0) for f in before | cell}
            runs[-1] = (both, chord, count + 1)
        else:
            runs.append((dict(cell), chord, 1))
    found = local_keys_from_weights(
        [{f: w / n for f, w in cell.items()} for cell, _, n in runs],
        chords=[chord for _, chord, _ in runs],
        counts=[n**0.5 for _, _, n in runs],
        setting=CHORDS,
    )
    return [
        Key(local.tonic_fifths, local.mode)
        for local, (_, _, n) in zip(found, runs, strict=True)
        for _ in range(n)
    ]


SUFFIXES = ("", "7", "maj7", "m", "m7", "dim", "m7b5", "dim7")
"""A chord symbol for each kind of chord."""


def by_symbols(piece: Analysed) -> list[Key]:
    """Local keys from the chords of the analysis written as a lead sheet."""
    symbols = tuple(
        ChordSymbol(
            pitch_class_name(root) + SUFFIXES[human_kind(root, notes)],
            1,
            round(onset * TICKS_PER_QUARTER),
        )
        for onset, _, root, notes in piece.chords
    )
    end = Bar(1, 0, piece.beats * TICKS_PER_QUARTER)
    spans = read_keys(Melody(chords=symbols, bars=(end,))).spans
    return [span_at(spans, beat * TICKS_PER_QUARTER) for beat in range(piece.beats)]


def by_top_line(piece: Analysed) -> list[Key]:
    """Local keys from the top voice alone, as for any melody."""
    spans = read_keys(top_line(piece)).spans
    return [span_at(spans, beat * TICKS_PER_QUARTER) for beat in range(piece.beats)]


def span_at(spans: Sequence[KeySpan], onset_ticks: int) -> Key:
    """The key that the spans give at a place."""
    here = [span for span in spans if span.onset_ticks <= onset_ticks] or list(spans[:1])
    return here[-1].key if here else Key(0, "none")


def constant(piece: Analysed) -> list[Key]:
    """The commonest true key throughout: what saying one key can reach at best."""
    often = max(sorted(set(piece.keys), key=str), key=piece.keys.count)
    return [often] * piece.beats


def f1(items: Any) -> float:
    """F1 of boundaries over all pieces together."""
    hits, true, said = (sum(item[k] for item in items) for k in (2, 3, 4))
    return 2 * hits / (true + said) if true + said else 1.0


def beats_right(items: Any) -> float:
    """Share of beats with the right key over all pieces together."""
    return sum(item[0] for item in items) / sum(item[1] for item in items)


def measure_local(name: str, pieces: list[Analysed]) -> list[Row]:
    """Beats and boundaries by each source of keys; the first two need the sheet."""
    rows = []
    aligned = [piece for piece in pieces if piece.lines_up]
    for source, find, chosen in (
        ("four voices", by_voices, aligned),
        ("melody alone", by_top_line, aligned),
        ("chords", by_chords, pieces),
        ("lead sheet", by_symbols, pieces),
        ("one key (the best)", constant, pieces),
    ):
        items = []
        for piece in chosen:
            said = find(piece)
            said = [*said, *[said[-1]] * (piece.beats - len(said))][: piece.beats]
            right = sum(a == b for a, b in zip(piece.keys, said, strict=True))
            items.append(
                (right, piece.beats, *boundary_hits(piece.keys, said, TOLERANCE_BEATS))
            )
        rows.append(row(f"local key, {name}, {source}", "beats right", items, beats_right))
        rows.append(row(f"local key, {name}, {source}", "boundary F1", items, f1))
    return rows


INFLECTED = {"mixolydian": {5: -2}, "dorian": {5: -2, 4: -3}}


def coloured(melody: Melody, tonic: int, mode: str) -> tuple[Melody, int, int] | None:
    """The middle third of a tune in another mode on the same tonic, and its bars."""
    numbers = sorted(set(melody.bar))
    low, high = numbers[len(numbers) // 3], numbers[2 * len(numbers) // 3]
    changed = {
        i: INFLECTED[mode][fifths - tonic]
        for i, fifths in enumerate(melody.fifths)
        if low <= melody.bar[i] <= high and fifths - tonic in INFLECTED[mode]
    }
    if len(changed) < 2:
        return None
    return (
        replace(
            melody,
            midi=tuple(m - (i in changed) for i, m in enumerate(melody.midi)),
            fifths=tuple(
                tonic + changed[i] if i in changed else f
                for i, f in enumerate(melody.fifths)
            ),
        ),
        low,
        high,
    )


def measure_modal(tunes: list[tuple[Melody, Key]]) -> list[Row]:
    """Passages found in coloured major tunes, and alarms in the tunes as printed."""
    rows = []
    major = [(melody, key) for melody, key in tunes if key.mode == "major"]
    for mode in INFLECTED:
        found = []
        for melody, key in major:
            made = coloured(melody, key.tonic_fifths, mode)
            if made is None:
                continue
            tune, low, high = made
            span = KeySpan(0, 0, 0, tune.end_ticks, key.tonic_fifths, "major", 1.0, "given")
            told = modal_passages(tune, spans=[span])
            met = [
                p
                for p in told
                if p.mode == mode and p.first_bar <= high and p.last_bar >= low
            ]
            found.append((bool(met),))
        rows.append(row(f"modal passage, {mode}", "found", found, share(0)))
    alarms = []
    for melody, key in major:
        span = KeySpan(0, 0, 0, melody.end_ticks, key.tonic_fifths, "major", 1.0, "given")
        alarms.append((bool(modal_passages(melody, spans=[span])),))
    rows.append(row("modal passage, as printed", "false alarms", alarms, share(0)))
    return rows


def main() -> None:
    """Measure everything; keep the figures if a name is given."""
    parser = asker(__doc__)
    parser.add_argument("--half", type=int, default=1, help="0 is the tuning half")
    choice = parser.parse_args()
    tunes = [pair for pair in labelled_tunes() if half(pair[0].title) == choice.half]
    rows = measure_global(tunes) + measure_modal(tunes)
    for name, folder in (
        ("chorales", "bach/choraleAnalyses"),
        ("Monteverdi", "monteverdi"),
    ):
        pieces = [p for p in analysed_pieces(folder) if half(p.name) == choice.half]
        rows += measure_local(name, pieces)
    run = about("music21") | {
        "half": "tuning" if choice.half == 0 else "reported; nothing was fitted on it",
        "boundary_tolerance_beats": TOLERANCE_BEATS,
        "rows": rows,
    }
    lines = [
        f"{r['task']:44} {r['measure']:22} {r['value']:.3f} "
        f"[{r['interval_95'][0]:.3f}, {r['interval_95'][1]:.3f}] n={r['n']}"
        for r in rows
    ]
    keep(choice.keep, {"keys.json": run, "keys.txt": "\n".join(lines)})


if __name__ == "__main__":
    main()
