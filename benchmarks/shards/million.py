"""A million synthetic tunes on one machine: built, split, checked, copied, searched.

Synthetic tunes (see ``benchmarks.material``) are put into one corpus file with all rows
that ``melodex add`` writes of a tune but those of analysis and the source text. The file is
split into shards, which are listed, checked and copied. Then the notes of as many tunes as
are asked for are put into a file of their own, with the rows of those tunes alone that are
found, and phrases are searched for in it, with chance and all. Last, workers that hold a
shard each tell how much memory they take beyond its notes. Each part keeps its figures in
the folder, and a run that was stopped goes on: parts that are there are not done again.

Run:  python -m benchmarks.shards.million FOLDER [--tunes 1000000] [--built 1000000]
          [--shards 8] [--parts PART ...] [--keep NAME]
"""

from __future__ import annotations

import hashlib
import json
import os
import statistics
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from functools import partial
from itertools import chain
from pathlib import Path
from typing import Any

from benchmarks.keeping import about, asker, keep
from benchmarks.material import melody_json, queries_from, real_tunes, synthetic_tunes
from benchmarks.shards.cost import most_megabytes
from benchmarks.shards.cost import timed as measured
from melodex.corpus.chunks import ID_BYTES, TuneNotes, encode_notes
from melodex.corpus.reader import Corpus
from melodex.corpus.rows import tune_columns, words_of
from melodex.corpus.writing.preparing import PreparedFile, PreparedTune
from melodex.corpus.writing.rows.lines import flush_notes
from melodex.corpus.writing.store import CorpusWriter
from melodex.matching.asking import Notes, Question
from melodex.matching.dealing.dealer import Processes
from melodex.matching.dealing.held import Held, Shards, places_of
from melodex.matching.evidence.ranking import REORDERED
from melodex.matching.query import EncodedQuery, encode_query
from melodex.matching.search import search
from melodex.melody import Phrase
from melodex.melody.tune_id import content_id_of
from melodex.reading.result import Choice
from melodex.settings import AlignmentCosts
from melodex.tasks.collection.shards import list_shards, split
from melodex.tasks.collection.upkeep import backup, check
from melodex.tasks.resemble import resemble

BATCH = 20_000
"""Tunes that are drawn together, so that all of them need not be held at once."""

PART = 500
"""Tunes to a file of those that are added."""

SEED = 23


PHRASES, TIMES = 12, 3


def rows_of(tune: TuneNotes, number: int) -> PreparedTune:
    """A synthetic tune as rows, without those of analysis."""
    melody, _ = melody_json(tune)
    text = melody.content_text()
    tune_id = content_id_of(text)
    return PreparedTune(
        tune_id=tune_id,
        tune={
            "tune_id": tune_id,
            **tune_columns(melody),
            "part": "",
            # Of no rows at all.
            "facet_crc32": 0,
            "melody": text,
        },
        facets={},
        notes=TuneNotes(tune_id, *encode_notes(melody)),
        number=str(number),
        occurrence=1,
        warnings=(),
        kept=b"",
        kept_format="",
        words=words_of(melody),
        piece=tune_id,
    )


def file_of(job: tuple[str, list[TuneNotes]]) -> PreparedFile:
    """Some tunes as one file."""
    name, tunes = job
    rows = [rows_of(tune, number) for number, tune in enumerate(tunes, start=1)]
    return PreparedFile(name, f"/{name}", Choice(), "synthetic", tunes=rows)


def drawn(model: list[TuneNotes], batch: int) -> list[TuneNotes]:
    """The tunes of a batch."""
    lengths = [len(tune.pitch) for tune in model if 12 <= len(tune.pitch) <= 600]
    mean = sum(lengths) / len(lengths)
    return synthetic_tunes(model, int(BATCH * mean) + 1, SEED + batch)


def jobs_of(model: list[TuneNotes], batch: int) -> list[tuple[str, list[TuneNotes]]]:
    """The files of a batch."""
    tunes = drawn(model, batch)
    return [
        (f"synthetic-{batch:03}-{first // PART:03}.abc", tunes[first : first + PART])
        for first in range(0, len(tunes), PART)
    ]


def timed(work: Callable[[], Any]) -> tuple[Any, dict[str, float]]:
    """What something gave, with its seconds of the clock, of processors, and the load."""
    found, row = measured(work)
    return found, {**row, "load": round(os.getloadavg()[0], 1)}


def build(folder: Path, tunes: int) -> dict[str, Any]:
    """Put tunes into one file with all rows; batches that are there already stay."""
    model, whole = real_tunes(), folder / "whole.melodex"

    def work() -> int:
        made = 0
        with ProcessPoolExecutor(2) as pool, CorpusWriter.open(whole) as writer:
            for batch in range(-(-tunes // BATCH)):
                first = f"/synthetic-{batch:03}-000.abc"
                if not writer.rows("SELECT 1 FROM place WHERE file = ?", [first]):
                    writer.add_prepared(list(pool.map(file_of, jobs_of(model, batch))))
                    made += BATCH
                    print(f"{(batch + 1) * BATCH:,} tunes", flush=True)
        return made

    made, row = timed(work)
    with Corpus.open(whole) as corpus:
        counts = {"tunes": corpus.tune_count, "notes": corpus.note_count}
    return {**counts, "bytes": whole.stat().st_size, "tunes of this run": made, **row}


def shards(folder: Path, count: int) -> dict[str, Any]:
    """Split the file, list and check the shards, and copy them."""
    whole, parts = folder / "whole.melodex", folder / "shards"
    _, split_row = timed(partial(split, whole, parts, count))
    listed, list_row = timed(partial(list_shards, parts))
    assert not listed.faults
    _, copy_row = timed(partial(backup, parts, folder / "copy"))
    found, check_row = timed(partial(check, parts))
    assert not found.report.faults
    sizes = [state.shard.bytes for state in listed.states]
    return {
        "shards": count,
        "tunes": found.report.tune_count,
        "bytes of the largest": max(sizes),
        "split": split_row,
        "listed": list_row,
        "copied": copy_row,
        "checked": check_row,
    }


def notes_of(batches: Sequence[int]) -> list[TuneNotes]:
    """The notes of some batches, each tune by an id of its own."""
    model = real_tunes()
    found = []
    for batch in batches:
        for number, tune in enumerate(drawn(model, batch)):
            told = f"{batch} {number}".encode()
            tune_id = hashlib.sha256(told).hexdigest()[: 2 * ID_BYTES]
            found.append(replace(tune, tune_id=tune_id))
    return found


def notes_alone(folder: Path, tunes: int) -> dict[str, Any]:
    """Put the notes of many tunes into one file, and search it."""
    path = folder / "notes.melodex"
    batches = range(-(-tunes // BATCH))
    with ProcessPoolExecutor(2) as pool:
        held = [*chain(*pool.map(notes_of, [batches[::2], batches[1::2]]))]
    asked = [tune for tune in real_tunes() if len(tune.pitch) >= 40][:: 12_000 // PHRASES]
    with CorpusWriter.open(path) as writer, writer.transaction():
        for tune in held:
            writer.parts[0].chunks.add(tune)
        flush_notes(writer)
    found: dict[str, Any] = {}
    for notes in (12, 24, 40):
        phrases = [phrase_of(query) for query in queries_from(asked, notes, 7)]
        put_found(path, held, phrases)
        times = []
        with Held.open(path) as corpus:
            found["tunes"], found["notes"] = corpus.tune_count, corpus.note_count
            for _ in range(TIMES):
                for phrase in phrases:
                    _, row = timed(partial(resemble, corpus, phrase))
                    times.append(row)
        seconds = sorted(row["seconds"] for row in times)
        spent = [row["processor_seconds"] for row in times]
        found[f"{notes} notes"] = {
            "seconds, median": round(statistics.median(seconds), 3),
            "seconds, longest": seconds[-1],
            "processor seconds, median": round(statistics.median(spent), 3),
            "load": times[-1]["load"],
        }
        print(notes, found[f"{notes} notes"], flush=True)
    return found


def phrase_of(query: EncodedQuery) -> Phrase:
    """A phrase of notes with their rhythm."""
    melody, _ = melody_json(TuneNotes("", query.pitch, query.length_class))
    return Phrase(melody=melody, text="", notation="", has_rhythm=True, has_tonic=False)


def put_found(path: Path, held: list[TuneNotes], phrases: list[Phrase]) -> None:
    """Write the rows of the tunes that are found, so that they can be read."""
    by_id = {tune.tune_id: tune for tune in held}
    with Corpus.open(path) as corpus:
        chunks = list(corpus.chunks())
        there = {row[0] for row in corpus.query("SELECT tune_id FROM tune")}
    hits = [search(chunks, encode_query(phrase), limit=REORDERED) for phrase in phrases]
    wanted = {hit.tune_id for row in hits for hit in row} - there
    with CorpusWriter.open(path) as writer, writer.transaction():
        for tune_id in sorted(wanted):
            row = rows_of(by_id[tune_id], 1)
            writer.insert("tune", {**row.tune, "tune_id": tune_id})


def memory(folder: Path) -> dict[str, Any]:
    """What one who holds a shard takes beyond its packed notes, after some questions."""
    parts = folder / "shards"
    asked = [tune for tune in real_tunes() if len(tune.pitch) >= 40][::4_000]
    phrases = [phrase_of(query) for query in queries_from(asked, 24, 7)]
    processes = Processes(2)
    try:
        with Corpus.open(parts) as corpus:
            notes = Notes(Shards(processes, places_of(corpus)[:2]))
            for phrase in phrases:
                notes.answers([Question(encode_query(phrase), 100, AlignmentCosts())])
            sizes = [
                part.connection.execute("SELECT sum(length(notes)) FROM chunk").fetchone()
                for part in corpus.parts[:2]
            ]
        held = [next(iter(seat._processes)) for seat in processes.seats]
        most = most_megabytes(held)
    finally:
        processes.close()
    largest = max(size for (size,) in sizes) / 2**20
    return {
        "megabytes of a worker, at most": most,
        "megabytes of the notes of its shard": round(largest, 1),
        "megabytes beyond": round(most - largest, 1),
    }


def main() -> None:
    """Do what is not done, print it, and keep what was asked for."""
    parser = asker(__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--tunes", type=int, default=1_000_000)
    parser.add_argument("--built", type=int, default=1_000_000)
    parser.add_argument("--shards", type=int, default=8)
    parser.add_argument("--parts", nargs="*", help="these alone, such as 'notes alone'")
    said = parser.parse_args()
    parts: dict[str, Callable[[], dict[str, Any]]] = {
        "notes alone": partial(notes_alone, said.folder, said.tunes),
        "built": partial(build, said.folder, said.built),
        "in shards": partial(shards, said.folder, said.shards),
        "memory": partial(memory, said.folder),
    }
    run = about("numpy", "music21")
    for name, work in parts.items():
        if said.parts and name not in said.parts:
            continue
        file = said.folder / f"{name.replace(' ', '-')}.json"
        if not file.exists():
            file.write_text(json.dumps(work()), encoding="utf-8")
        run[name] = json.loads(file.read_text(encoding="utf-8"))
        print(name, run[name], flush=True)
    keep(said.keep, {"million.json": run})


if __name__ == "__main__":
    main()
