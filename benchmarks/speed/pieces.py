"""Does a search take longer where the notes stand in pieces of four lines?

The same synthetic lines are packed twice: each as a tune of its own, and four by four as
lines of one piece. Asked are the best twenty for phrases cut from tunes, and chance is
measured, as ``resemble`` does; the two in turn, each by the least of the passes, in seconds
of the processor.

Run:  python -m benchmarks.speed.pieces [--notes N] [--queries N] [--passes N] [--keep NAME]
"""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from random import Random
from typing import Any

from benchmarks.keeping import about, asker, keep, line_by_line
from benchmarks.material import real_tunes, synthetic_tunes
from benchmarks.speed.search import COSTS, SEED, TOP, least, samples
from melodex.corpus.chunks import PackedChunk, TuneNotes
from melodex.corpus.packing import pack
from melodex.corpus.writing.rows.packing import by_piece
from melodex.matching.chance.fit import fit_points
from melodex.matching.chance.sample import OWN_BEST, measure_null
from melodex.matching.query import EncodedQuery
from melodex.matching.search import search

LINES = 4
LENGTHS = (12, 24)
"""Notes of the phrases."""


def packed(tunes: list[TuneNotes]) -> list[PackedChunk]:
    """Chunks of some tunes, pieces together."""
    return [pack(part) for part in by_piece(tunes)]


def in_pieces(tunes: list[TuneNotes]) -> list[TuneNotes]:
    """Tunes four by four as lines of one piece."""
    return [
        replace(tune, piece=tunes[place - place % LINES].tune_id)
        for place, tune in enumerate(tunes)
    ]


def asked(tunes: list[TuneNotes], count: int, length: int) -> list[EncodedQuery]:
    """Phrases of so many notes, from lines that have more."""
    dice = Random(SEED + length)
    usable = [tune for tune in tunes if len(tune.pitch) >= 2 * length]
    chosen = dice.sample(usable, count)
    return [
        EncodedQuery(tune.pitch[:length], tune.length_class[:length]) for tune in chosen
    ]


def answer(chunks: list[PackedChunk], query: EncodedQuery) -> int:
    """What ``resemble`` does with notes: search, and what chance would bring."""
    hits = search(chunks, query, limit=max(TOP, OWN_BEST), costs=COSTS)
    fit_points(measure_null(chunks, query, COSTS, hits))
    return len(hits)


def measure(notes: int, queries: int, passes: int) -> dict[str, Any]:
    """Both corpora, each phrase in turn."""
    tunes = synthetic_tunes(real_tunes(), notes, SEED)
    corpora = {
        "single": packed(tunes),
        "pieces": packed(in_pieces(tunes)),
    }
    told: dict[str, Any] = {
        **about("music21"),
        "pieces": len({line.piece for line in in_pieces(tunes)}),
        "lines": sum(chunk.tune_count for chunk in corpora["pieces"]),
        "notes": sum(chunk.note_count for chunk in corpora["pieces"]),
    }
    for length in LENGTHS:
        rows = []
        for query in asked(tunes, queries, length):
            row = {}
            for name, chunks in corpora.items():
                found, _ = samples(partial(answer, chunks, query), passes)
                row[name] = least(found)
            rows.append(row)
        single, pieces = (sum(row[name] for row in rows) for name in corpora)
        told[f"{length} notes"] = {
            "single_seconds": round(single / len(rows), 4),
            "pieces_seconds": round(pieces / len(rows), 4),
            "times": round(pieces / single, 3),
            "worst_times": round(max(row["pieces"] / row["single"] for row in rows), 3),
        }
    return told


def main() -> None:
    """Measure, print, and keep the run if asked."""
    parser = asker(__doc__)
    parser.add_argument("--notes", type=int, default=28_000_000)
    parser.add_argument("--queries", type=int, default=8)
    parser.add_argument("--passes", type=int, default=3)
    options = parser.parse_args()
    result = measure(options.notes, options.queries, options.passes)
    text = line_by_line(result)
    print(text)
    keep(options.keep, {"result.json": result, "summary.txt": text})


if __name__ == "__main__":
    main()
