"""Ask for phrases that are sung, whistled and played, and count the tunes found.

Run:  python -m benchmarks.hearing.recall [--phrases 40] [--kinds piano whistle]
      [--tracker built-in network] [--half reported] [--each] [--keep NAME]

Reported for each kind of sound: of how many clips the tune is first, among three and
among ten, of all of music21's ABC tunes, by the exact search for every reading at once
(``melodex.tasks.recording``); how well the notes fit those that were sounded (onset
within 80 ms, the same semitone after the move that fits most: the F measure of MIREX's
note tracking, with a wider window); CPU seconds a second of sound.

Phrases of the half for tuning set the constants; those of the other half are reported.

Contents: main.
"""

from __future__ import annotations

import json
import time
from collections import Counter
from collections.abc import Sequence
from typing import Any

import numpy as np

from benchmarks.hearing.network import network_tracker
from benchmarks.hearing.sounds import KINDS, Sung, melodies, phrases, sound_of
from benchmarks.keeping import about, asker, keep
from melodex.corpus.chunks import (
    TUNES_PER_CHUNK,
    PackedChunk,
    TuneNotes,
    encode_notes,
)
from melodex.corpus.packing import pack
from melodex.errors import MelodexError
from melodex.melody import Melody
from melodex.reading.recording.reader import hear
from melodex.reading.recording.record import HeardNote, Recording
from melodex.reading.recording.tracking import Tracker
from melodex.reading.recording.waveform import RATE_HZ, Waveform
from melodex.reading.recording.yin import YinTracker
from melodex.tasks.recording.recording import best_of_readings

SEED = 28
NEAR_SECONDS = 0.08
LEADING_SILENCE = 0.4


def packed(tunes: dict[str, Melody]) -> list[PackedChunk]:
    """All tunes, packed as in a corpus."""
    notes = [TuneNotes(name, *encode_notes(tune)) for name, tune in sorted(tunes.items())]
    return [
        pack(notes[start : start + TUNES_PER_CHUNK])
        for start in range(0, len(notes), TUNES_PER_CHUNK)
    ]


def note_f(sung: Sung, notes: Sequence[HeardNote]) -> float:
    """F measure of notes with onset and semitone, in the key that fits most."""
    best = 0
    pairs = [
        (heard.midi - round(float(midi)), place, index)
        for place, (midi, onset) in enumerate(zip(sung.midi, sung.onset, strict=True))
        for index, heard in enumerate(notes)
        if abs(heard.onset_seconds - onset - LEADING_SILENCE) <= NEAR_SECONDS
    ]
    for move in Counter(pair[0] for pair in pairs):
        places, used = set(), set()
        for at, place, index in pairs:
            if at == move and place not in places and index not in used:
                places.add(place)
                used.add(index)
        best = max(best, len(places))
    return 2 * best / (len(notes) + len(sung.midi)) if len(notes) else 0.0


def asked(
    sung: Sung, kind: str, chunks: Sequence[PackedChunk], tracker: Tracker
) -> dict[str, Any]:
    """One clip: where its tune came, how well its notes fit, and what it took."""
    samples = sound_of(sung, kind)
    seconds = len(samples) / RATE_HZ
    before = time.process_time()
    try:
        heard: Recording = hear(Waveform(samples), kind, tracker)
    except MelodexError as error:
        return {"rank": 0, "f": 0.0, "seconds": seconds, "cpu": 0.0, "refused": str(error)}
    middle = time.process_time()
    hits = best_of_readings(chunks, heard, limit=10)
    ids = [hit.tune_id for _, hit in hits]
    return {
        "rank": ids.index(sung.tune_id) + 1 if sung.tune_id in ids else 0,
        "f": note_f(sung, heard.notes),
        "seconds": seconds,
        "cpu": middle - before,
        "search": time.process_time() - middle,
        "notes": f"{len(sung.midi)} sounded, {len(heard.notes)} heard",
        "reading": hits[0][0] if hits else "",
    }


def summary(rows: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Figures of the clips of one kind."""
    ranks = np.array([row["rank"] for row in rows])
    seconds = sum(row["seconds"] for row in rows)
    return {
        "clips": len(rows),
        **{
            f"among {k}": round(float(np.mean((ranks > 0) & (ranks <= k))), 3)
            for k in (1, 3, 10)
        },
        "note_f": round(float(np.mean([row["f"] for row in rows])), 3),
        "cpu_seconds_per_second_heard": round(sum(row["cpu"] for row in rows) / seconds, 4),
        "cpu_seconds_per_search": round(
            float(np.mean([row.get("search", 0.0) for row in rows])), 3
        ),
        "refused": sum("refused" in row for row in rows),
    }


def main() -> None:
    """Ask, print, and keep where that is wanted."""
    parser = asker(__doc__)
    parser.add_argument("--phrases", type=int, default=40, help="of both halves together")
    parser.add_argument("--kinds", nargs="+", default=list(KINDS), choices=list(KINDS))
    parser.add_argument("--tracker", nargs="+", default=["built-in"])
    parser.add_argument("--half", default="reported", choices=["tuning", "reported"])
    parser.add_argument("--each", action="store_true", help="print every clip")
    said = parser.parse_args()
    tunes = melodies()
    chunks = packed(tunes)
    chosen = [sung for sung in phrases(tunes, said.phrases, SEED) if sung.half == said.half]
    results: dict[str, Any] = {}
    for name in said.tracker:
        tracker = YinTracker() if name == "built-in" else network_tracker()
        rows: dict[str, list[dict[str, Any]]] = {}
        for kind in said.kinds:
            rows[kind] = [asked(sung, kind, chunks, tracker) for sung in chosen]
            print(name, kind, json.dumps(summary(rows[kind])), flush=True)
            for sung, row in zip(chosen, rows[kind], strict=True):
                if said.each and row["rank"] != 1:
                    print("   ", sung.seed, json.dumps(row))
        everything = [row for kind in said.kinds for row in rows[kind]]
        print(name, "all", json.dumps(summary(everything)), flush=True)
        results[name] = {kind: summary(part) for kind, part in rows.items()}
        results[name]["all"] = summary(everything)
    if said.keep:
        packages = ["numpy"] + ["swift-f0"] * ("network" in said.tracker)
        facts = about(*packages) | {"tunes": len(tunes), "half": said.half}
        keep(said.keep, {"recall.json": facts | {"results": results}})


if __name__ == "__main__":
    main()
