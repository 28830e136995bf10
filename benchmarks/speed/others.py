"""The other ways of searching, the store, and the summary, for the speed benchmark.

Contents: judge_part (parasail), script_part (music21), adding_part, summary.
"""

from __future__ import annotations

import difflib
import itertools
import statistics
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import music21
import parasail

import benchmarks.material as corpora
from melodex.corpus.chunks import UNKNOWN_LENGTH, TuneNotes
from melodex.corpus.packing import unpack
from melodex.matching.engine.compiled import CompiledEngine
from melodex.matching.query import EncodedQuery
from melodex.matching.search import search
from melodex.settings import NEAR_SEMITONES, AlignmentCosts

COSTS = AlignmentCosts()
UNKNOWN = UNKNOWN_LENGTH & 0xFF
SCRIPT_TUNES = 24
FIRST_LETTER = 33
LOWEST = 36
LETTERS = 90
BEYOND = chr(FIRST_LETTER + LETTERS)
"""Pitches that parasail is shown: as many as there are printable letters."""

Sampler = Callable[[Callable[[], Any], int], tuple[list[tuple[float, float]], Any]]


def letters_of(pitch: bytes, move: int = 0) -> str:
    """A melody as text; a pitch beyond the letters is one that nothing comes near."""
    places = (value + move - LOWEST for value in pitch)
    return "".join(
        chr(FIRST_LETTER + place) if 0 <= place < LETTERS else BEYOND for place in places
    )


def pitch_matrix() -> Any:
    """Points of pitch alone, as a substitution matrix."""
    letters = "".join(chr(FIRST_LETTER + k) for k in range(LETTERS))
    matrix = parasail.matrix_create(letters + BEYOND, 0, 0, case_sensitive=True)
    for a in range(LETTERS + 1):
        for b in range(LETTERS + 1):
            row = COSTS.far_pitch
            if LETTERS not in (a, b) and abs(a - b) <= NEAR_SEMITONES:
                row = COSTS.same_pitch if a == b else COSTS.near_pitch
            matrix[a, b] = row[3]
    return matrix


def by_parasail(
    query: EncodedQuery, texts: list[str], matrix: Any, moves: range
) -> list[int]:
    """Best points of each tune over all transpositions, scan mode, 8 or 16 bits."""
    profiles = [
        parasail.profile_create_16(letters_of(query.pitch, move), matrix) for move in moves
    ]
    gap = -COSTS.gap
    return [
        max(
            parasail.sw_scan_profile_16(profile, text, gap, gap).score
            for profile in profiles
        )
        for text in texts
    ]


def judge_part(name: str, tunes: list[TuneNotes], queries: int) -> list[dict[str, Any]]:
    """Parasail per tune over every transposition beside our search, pitch only."""
    kept = [
        TuneNotes(t.tune_id, t.pitch, bytes([UNKNOWN]) * len(t.pitch))
        for t in tunes
        if t.pitch and min(t.pitch) >= LOWEST and max(t.pitch) < LOWEST + LETTERS
    ]
    chunks = corpora.packed(kept)
    kept = [tune for chunk in chunks for tune in unpack(chunk)]
    texts, matrix = [letters_of(tune.pitch) for tune in kept], pitch_matrix()
    chosen = [t for t in kept if 60 <= len(t.pitch) <= 200]
    chosen = chosen[:: max(len(chosen) // queries, 1)][:queries]
    return [
        {"corpus": name, "phrase": number, **judged(chunks, kept, texts, query, matrix)}
        for notes in (12, 24, 40)
        for number, query in enumerate(corpora.queries_from(chosen, notes, 5))
    ]


def judged(
    chunks: list[Any],
    tunes: list[TuneNotes],
    texts: list[str],
    query: EncodedQuery,
    matrix: Any,
) -> dict[str, Any]:
    """One phrase: both samples, and in how many tunes the points differ."""
    # As many transpositions as octaves apart call for: four and a half octaves.
    moves = range(-27, 27)
    by_parasail(query, texts[:500], matrix, moves)
    clock, cpu = time.perf_counter(), time.process_time()
    points = by_parasail(query, texts, matrix, moves)
    theirs = (time.perf_counter() - clock, time.process_time() - cpu)
    ours = []
    for _ in range(6):
        clock, cpu = time.perf_counter(), time.process_time()
        hits = search(chunks, query, limit=20)
        ours.append((time.perf_counter() - clock, time.process_time() - cpu))
    columns = [(tune.pitch, tune.length_class) for tune in tunes]
    exact = CompiledEngine().best(columns, query, COSTS)
    other = [n for n, value in enumerate(points) if value != exact[n][0]]
    # Where the two differ, the best transposition lies beyond those tried above.
    widest = by_parasail(query, [texts[n] for n in other], matrix, range(-LETTERS, LETTERS))
    return {
        "tunes": len(tunes),
        "notes": sum(len(tune.pitch) for tune in tunes),
        "phrase_notes": query.note_count,
        "transpositions": len(moves),
        "parasail": [theirs],
        "melodex": ours[1:],
        "ratio_cpu": theirs[1] / min(sample[1] for sample in ours[1:]),
        "beyond_the_transpositions": len(other),
        "tunes_with_other_points": sum(
            value != exact[n][0] for n, value in zip(other, widest, strict=True)
        ),
        "hits": len(hits),
    }


# ---- what a user would write today ------------------------------------------------


def script_part(samples: Sampler) -> dict[str, Any]:
    """Music21 alone: read tunes, compare interval texts, in every key by nature."""
    name, text = next(entry for entry in corpora.abc_texts() if entry[1].count("X:") > 300)
    pieces = ["X:" + part for part in text.split("X:")[1 : SCRIPT_TUNES + 1]]

    def read() -> list[Any]:
        return [music21.converter.parseData(piece, format="abc") for piece in pieces]

    reading, scores = samples(read, 1)
    wanted = intervals_of(scores[0])[:11]

    def look() -> list[float]:
        return [
            difflib.SequenceMatcher(None, wanted, intervals_of(one)).ratio()
            for one in scores
        ]

    looking, _ = samples(look, 2)
    return {
        "collection": Path(name).name,
        "tunes": len(pieces),
        "reading": reading,
        "comparing": looking,
        "note": "compares by difflib's ratio, which is not the exact alignment; "
        "read anew in every process, as a script does",
        "milliseconds_per_tune": {
            "reading": 1000 * min(s[1] for s in reading) / len(pieces),
            "comparing": 1000 * min(s[1] for s in looking) / len(pieces),
        },
    }


def intervals_of(sheet: Any) -> list[int]:
    """Semitones between successive notes of a music21 stream."""
    pitches = [n.pitch.midi for n in sheet.recurse().notes if hasattr(n, "pitch")]
    return [after - before for before, after in itertools.pairwise(pitches)]


# ---- the store --------------------------------------------------------------------


def adding_part(label: str, path: Path, passes: int) -> dict[str, Any]:
    """Bytes a note in the chunk table; what adding a tune costs the database."""
    import sqlite3

    from melodex.corpus.writing.rows.packing import ChunkTable

    connection = sqlite3.connect(path, isolation_level=None)
    size, notes = connection.execute(
        "SELECT sum(length(tune_ids) + length(lengths) + length(notes)), sum(note_count) "
        "FROM chunk"
    ).fetchone()
    table, found = ChunkTable(connection), []
    for number in range(40 * passes):
        tune = TuneNotes(f"{2**47 + number:012x}0000", bytes([60, 62, 64] * 25), bytes(75))
        melody, text = corpora.melody_json(tune)
        start = time.perf_counter()
        cpu = time.process_time()
        connection.execute("BEGIN IMMEDIATE")
        columns = insert_columns(melody, tune.tune_id, text)
        connection.execute(
            f"INSERT INTO tune ({', '.join(columns)}) "
            f"VALUES ({', '.join('?' * len(columns))})",
            list(columns.values()),
        )
        table.add(tune)
        table.flush()
        connection.execute("COMMIT")
        found.append(
            (round(time.perf_counter() - start, 6), round(time.process_time() - cpu, 6))
        )
    connection.close()
    return {
        "corpus": label,
        "bytes_per_note": size / notes,
        "adding_one_tune": found,
        "median_milliseconds": 1000 * statistics.median(s[0] for s in found),
        "largest_milliseconds": 1000 * max(s[0] for s in found),
        "median_cpu_milliseconds": 1000 * statistics.median(s[1] for s in found),
    }


def insert_columns(melody: Any, tune_id: str, text: str) -> dict[str, Any]:
    """A row of the table of tunes."""
    from melodex.corpus.rows import tune_columns

    row = {**tune_columns(melody), "tune_id": tune_id, "melody": text}
    return {**row, "facet_crc32": 0}


# ---- the summary -------------------------------------------------------------------


def summary(result: dict[str, Any]) -> str:
    """A short table of a run."""
    versions = result["versions"]
    lines = [
        f"{result['command']}   {result['date']}",
        f"{result['processor']}, {result['processors']} processors, load at start "
        f"{result['load_average_of_1_5_15_minutes'][0]}; Python {result['python']}, "
        + ", ".join(f"{name} {each}" for name, each in versions.items()),
        "Milliseconds are the smallest samples, of CPU time unless said; medians over "
        "the phrases.",
    ]
    lines += search_lines(result.get("search", []))
    for row in result.get("judge", []):
        lines.append(
            f"parasail, {row['corpus']}, pitch only, {row['transpositions']} "
            f"transpositions, phrase of {row['phrase_notes']}: "
            f"{1000 * row['parasail'][0][1]:.0f} ms against "
            f"{1000 * min(s[1] for s in row['melodex']):.1f} (CPU): "
            f"{row['ratio_cpu']:.0f} times; tunes with other points: "
            f"{row['tunes_with_other_points']} (and {row['beyond_the_transpositions']} "
            "whose best transposition lies further off)"
        )
    for row in result.get("growth", []):
        lines.append(
            f"growth: {row['notes']:>10,} notes, phrase of {row['phrase_notes']:>3}: "
            f"{1000 * min(s[1] for s in row['samples']):8.1f} ms "
            f"(bound {1000 * min(s[1] for s in row['bound_only']):.1f})"
        )
    for row in result.get("adding", []):
        lines.append(
            f"store, {row['corpus']}: {row['bytes_per_note']:.3f} bytes a note; adding "
            f"one tune {row['median_milliseconds']:.2f} ms (clock, median)"
        )
    for row in result.get("cold", []):
        lines.append(
            f"cold, {row['corpus']}: {1000 * min(s[0] for s in row['resemble']):.0f} ms "
            f"against {1000 * min(s[0] for s in row['import numpy']):.0f} ms to import "
            f"numpy (clock): {row['ratio_clock']:.2f}, CPU {row['ratio_cpu']:.2f}; peak "
            f"{max(row['peak_kilobytes']) / 1024:.0f} MB"
        )
    if "music21" in result:
        each = result["music21"]["milliseconds_per_tune"]
        lines.append(
            f"music21 script: reading {each['reading']:.0f} ms a tune, comparing "
            f"{each['comparing']:.1f} ms a tune ({result['music21']['note']})"
        )
    return "\n".join(lines) + "\n"


def search_lines(rows: list[dict[str, Any]]) -> list[str]:
    """The search part, a line for each corpus and phrase length."""
    ways = [
        "compiled, one thread",
        "compiled, bound only",
        "compiled, exhaustive",
        "numpy",
    ]
    lines = []
    for corpus, notes in dict.fromkeys((r["corpus"], r["phrase_notes"]) for r in rows):
        some = [r for r in rows if (r["corpus"], r["phrase_notes"]) == (corpus, notes)]
        cells = [
            f"{way} {1000 * statistics.median(min(s[1] for s in r[way]) for r in some):.1f}"
            for way in ways
        ]
        clock = statistics.median(min(s[0] for s in r["compiled, threads"]) for r in some)
        ratio = statistics.median(r["exhaustive_to_search"] for r in some)
        share = statistics.median(r["share_aligned"] for r in some)
        lines.append(
            f"{corpus} ({some[0]['notes']:,} notes), phrase of {notes}: "
            + ", ".join(cells)
            + f" ms; threads {1000 * clock:.1f} ms (clock); exhaustive/search {ratio:.1f}; "
            f"aligned {share:.2%}; recall {min(r['recall'] for r in some)}, numpy "
            f"{min(r['recall_numpy'] for r in some)}"
        )
    return lines
