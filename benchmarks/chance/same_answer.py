"""The same tunes, however they came to be in a corpus: is the answer the same?

Corpora of the ABC collections of the installed music21 package, one file each, are made
in ways that leave the same set of tunes: files in order of their names, backwards, and
shuffled; by one process and by two; with a commit after every file, as on a machine that
is slow; with tunes taken out and put in again; repaired after notes for matching were
lost; compacted; copied. Each is asked the same phrases, audits and gatherings, and the
bytes of the JSON are compared with those of the first.

Then one tune is taken out or put in, and the numbers expected by chance of the first ten
matches of each phrase are compared: a tune drawn at random, one that was drawn for the
sample on which chance is measured, and one that the search for the phrase found.

Run:  python -m benchmarks.chance.same_answer [--phrases 200] [--share 1] [--keep NAME]
"""

from __future__ import annotations

import math
import os
import shutil
import sqlite3
import statistics
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from random import Random
from typing import Any

from benchmarks.keeping import about, asker, keep
from benchmarks.material import abc_texts, packed, real_tunes
from melodex.corpus.care.copying import copy_corpus
from melodex.corpus.care.repairing import repair_corpus
from melodex.corpus.chunks import PackedChunk, TuneNotes
from melodex.corpus.packing import pack, unpack
from melodex.corpus.reader import Corpus
from melodex.corpus.shards import merging
from melodex.corpus.writing.removing import remove_places
from melodex.corpus.writing.store import CorpusWriter
from melodex.matching.asking import Notes
from melodex.matching.chance.drawing import drawn_tunes
from melodex.matching.chance.fit import expected_by_chance, fit_points
from melodex.matching.chance.sample import NULL_SAMPLE, OWN_BEST, measure_null, seed_of
from melodex.matching.dealing.held import Shards
from melodex.matching.query import EncodedQuery
from melodex.matching.search import search
from melodex.presentation.data.forms import as_json
from melodex.settings import AlignmentCosts
from melodex.tasks.adding import add
from melodex.tasks.audit.audit import audit
from melodex.tasks.gather.gather import Wish, gather
from melodex.tasks.passage import find_passage, read_span
from melodex.tasks.resemble import resemble

SEED = 20261128
COSTS = AlignmentCosts()
AUDITED_NOTES = (30, 70)

WISHES = (
    Wish(mode="minor"),
    Wish(mode="dorian"),
    Wish(mode="mixolydian"),
    Wish(metre="compound"),
    Wish(metre="irregular"),
    Wish(key_centres=2),
    Wish(key_centres=3),
    Wish(key_change="relative"),
    Wish(mode_change=True),
    Wish(odd_sections=True),
    Wish(section_bars=8),
    Wish(section_bars=6, mode="minor"),
    Wish(returning="sequence"),
    Wish(returning="inversion"),
    Wish(phrase="5 1 7 6 5 3"),
    Wish(phrase="1 2 3 1 5", nearly=True),
    Wish(progression="ii V I"),
    Wish(progression="I IV V I", mode="major"),
    Wish(device="cadence"),
    Wish(title="jig", metre="compound"),
)


def written(folder: Path, share: int) -> list[Path]:
    """The ABC collections as files of a folder, or every so manieth of them."""
    paths = []
    for name, text in abc_texts()[::share]:
        path = folder / name.removesuffix(".abc").replace("/", "_")
        path = path.with_suffix(".abc")
        path.write_text(text, encoding="utf-8")
        paths.append(path.relative_to(folder))
    return sorted(paths)


# The ways.


def in_order(corpus: Path, files: Sequence[Path]) -> None:
    """All in one go."""
    add.add_paths(corpus, files)


def backwards(corpus: Path, files: Sequence[Path]) -> None:
    """The last file first, each by a run of its own."""
    for file in reversed(files):
        add.add_paths(corpus, [file])


def shuffled_by_two(corpus: Path, files: Sequence[Path]) -> None:
    """In any order, read by two processes."""
    mixed = list(files)
    Random(SEED).shuffle(mixed)
    add.add_paths(corpus, mixed, workers=2)


def with_pauses(corpus: Path, files: Sequence[Path]) -> None:
    """A commit after every file or part, as if reading took long."""
    usual, add.SECONDS_PER_COMMIT = add.SECONDS_PER_COMMIT, -1.0
    try:
        add.add_paths(corpus, files)
    finally:
        add.SECONDS_PER_COMMIT = usual


def out_and_in_again(corpus: Path, files: Sequence[Path]) -> None:
    """A thousand tunes and three files taken out, and all added again."""
    shutil.copyfile("in_order.melodex", corpus)
    dice = Random(SEED)
    with CorpusWriter.open(corpus) as writer:
        ids = [row[0] for row in writer.rows("SELECT tune_id FROM tune ORDER BY tune_id")]
        writer.remove(dice.sample(ids, min(1000, len(ids) // 3)))
        for file in dice.sample(list(files), 3):
            remove_places(writer, source=str(file))
    add.add_paths(corpus, files)


def repaired(corpus: Path, files: Sequence[Path]) -> None:
    """The notes for matching of some chunks spoilt, and repaired."""
    del files
    shutil.copyfile("in_order.melodex", corpus)
    connection = sqlite3.connect(corpus)
    connection.execute("UPDATE chunk SET checksum = checksum + 1 WHERE id % 2")
    connection.commit()
    connection.close()
    repair_corpus(corpus)


def compacted(corpus: Path, files: Sequence[Path]) -> None:
    """Copied, and written anew by SQLite."""
    del files
    shutil.copyfile("in_order.melodex", corpus)
    connection = sqlite3.connect(corpus)
    connection.execute("VACUUM")
    connection.close()


def copied(corpus: Path, files: Sequence[Path]) -> None:
    """The backup of one that was made backwards."""
    del files
    copy_corpus(Path("backwards.melodex"), corpus)


WAYS: tuple[Callable[[Path, Sequence[Path]], None], ...] = (
    in_order,
    backwards,
    shuffled_by_two,
    with_pauses,
    out_and_in_again,
    repaired,
    compacted,
    copied,
)


# The questions.


def answers(
    corpus: Corpus, phrases: int, audits: int, shards: Shards | None = None
) -> Iterator[tuple[str, str]]:
    """Every question and the JSON of its answer, by those who hold shards if there are."""
    dice = Random(SEED)
    held = Notes(shards) if shards else None
    rows = corpus.query(
        "SELECT tune_id, note_count FROM tune ORDER BY tune_id", merge=merging.in_order(0)
    )
    for number in range(phrases):
        tune_id, notes = dice.choice([row for row in rows if row[1] >= 30])
        first = dice.randrange(1, notes - 24)
        last = first + dice.choice((8, 12, 16, 24))
        passage = find_passage(tune_id, corpus, notes=read_span(f"{first}-{last}", "notes"))
        phrase = replace(passage.phrase(), has_rhythm=number % 2 == 0)
        yield (
            f"phrase {number}",
            as_json(resemble(corpus, phrase, limit=20, explain=True, notes=held)),
        )
    own = [row[0] for row in rows if AUDITED_NOTES[0] <= row[1] <= AUDITED_NOTES[1]]
    for number, tune_id in enumerate(dice.sample(own, audits)):
        found = audit(corpus, find_passage(tune_id, corpus), threshold=30.0, notes=held)
        yield f"audit {number}", as_json(found)
    for number, wish in enumerate(WISHES):
        yield f"gathering {number}", as_json(gather(corpus, wish, limit=50, shards=shards))


def compared(folder: Path, share: int, phrases: int, audits: int) -> list[dict[str, Any]]:
    """What each way differs in from the first."""
    os.chdir(folder)
    files = written(folder, share)
    first: dict[str, str] = {}
    found = []
    for way in WAYS:
        path = Path(f"{way.__name__}.melodex")
        start = time.monotonic()
        way(path, files)
        with Corpus.open(path) as corpus:
            told = dict(answers(corpus, phrases, audits))
            row = {
                "way": way.__name__,
                "tunes": corpus.tune_count,
                "chunks": len(list(corpus.chunks())),
                "answers": len(told),
                "seconds": round(time.monotonic() - start, 1),
            }
        first = first or told
        row["different"] = [name for name in first if first[name] != told[name]]
        found.append(row)
        print(row, flush=True)
    return found


# One tune more or less.


def without(chunks: Sequence[PackedChunk], tune_id: str) -> list[PackedChunk]:
    """The corpus but for one tune."""
    key = bytes.fromhex(tune_id)
    return [
        pack(tune for tune in unpack(chunk) if tune.tune_id != tune_id)
        if key in chunk.tune_ids
        else chunk
        for chunk in chunks
    ]


def told_of(chunks: Sequence[PackedChunk], query: EncodedQuery) -> dict[str, float]:
    """Expected numbers of the first ten matches, by tune."""
    hits = search(chunks, query, limit=OWN_BEST, costs=COSTS)
    fit = fit_points(measure_null(chunks, query, COSTS, hits))
    assert fit is not None
    tunes = sum(chunk.tune_count for chunk in chunks)
    notes = sum(chunk.note_count for chunk in chunks)
    return {
        hit.tune_id: expected_by_chance(
            fit, hit.points, corpus_tunes=tunes, corpus_notes=notes
        )
        for hit in hits[:10]
    }


def moved(phrases: int) -> dict[str, dict[str, float]]:
    """By what factor expected numbers move with one tune, for each kind of tune."""
    chunks = packed(real_tunes())
    tunes = [tune for chunk in chunks for tune in unpack(chunk) if len(tune.pitch) >= 30]
    tunes.sort(key=lambda tune: tune.tune_id)
    dice = Random(SEED + 1)
    factors: dict[str, list[float]] = {"any": [], "sampled": [], "found": []}
    for _ in range(phrases):
        query = phrase_of(dice.choice(tunes), dice)
        before = told_of(chunks, query)
        sampled = drawn_tunes(chunks, seed_of(query), NULL_SAMPLE)
        gone = {
            "any": dice.choice(tunes).tune_id,
            "sampled": dice.choice(sampled)[0].hex(),
            "found": dice.choice(list(before)),
        }
        for kind, tune_id in gone.items():
            after = told_of(without(chunks, tune_id), query)
            both = before.keys() & after.keys()
            factors[kind].append(
                math.exp(max(abs(math.log(before[t] / after[t])) for t in both))
            )
    return {
        kind: {
            "phrases": len(found),
            "median_factor": statistics.median(found),
            "largest_factor": max(found),
            "above_1.05": sum(factor > 1.05 for factor in found),
            "above_1.5": sum(factor > 1.5 for factor in found),
        }
        for kind, found in factors.items()
    }


def phrase_of(tune: TuneNotes, dice: Random) -> EncodedQuery:
    """Some notes of a tune."""
    notes = dice.choice((8, 12, 16, 24))
    first = dice.randrange(len(tune.pitch) - notes)
    part = slice(first, first + notes)
    return EncodedQuery(tune.pitch[part], tune.length_class[part])


def summary(run: dict[str, Any]) -> str:
    """The run in words."""
    lines = [run["command"], ""]
    for row in run["ways"]:
        lines.append(
            f"{row['way']:18} {row['tunes']:6} tunes in {row['chunks']:3} chunks, "
            f"{row['answers']} answers, {len(row['different'])} different"
        )
    lines += ["", "One tune less: the largest factor among the first ten of each phrase"]
    for kind, row in run["one_tune"].items():
        lines.append(
            f"{kind:8} {row['phrases']} phrases, median {row['median_factor']:.4f}, "
            f"largest {row['largest_factor']:.3f}, above 1.5: {row['above_1.5']}"
        )
    return "\n".join(lines) + "\n"


def main() -> None:
    """Measure, print, and keep what was asked for."""
    parser = asker(__doc__)
    parser.add_argument("--phrases", type=int, default=200)
    parser.add_argument("--audits", type=int, default=20)
    parser.add_argument("--share", type=int, default=1)
    parser.add_argument("--moved", type=int, default=60)
    said = parser.parse_args()
    run = about("music21")
    run["one_tune"] = moved(said.moved)
    print(run["one_tune"], flush=True)
    with tempfile.TemporaryDirectory() as folder:
        run["ways"] = compared(Path(folder), said.share, said.phrases, said.audits)
    print(summary(run))
    keep(said.keep, {"same_answer.json": run, "summary.txt": summary(run)})


if __name__ == "__main__":
    main()
