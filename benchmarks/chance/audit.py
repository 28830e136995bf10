"""The audit against borrowings that were planted, and against tunes without any.

New tunes come from a Markov model of order 2 fitted to real tunes. Into each of one
half a stretch of a corpus tune is put: 8 to 16 notes, in another key, in the rhythm of
another tune, with up to a fifth of its notes changed by one to four semitones. Found
is a borrowing if the first passage of the audit touches at least half of it: *in its
source*, or at all (an old figure has many sources, and the audit may name another).

What can be found depends on how much there is to search: a figure of eight notes that
nothing sets apart stands in several tunes of a large collection by chance. So the same
tunes are audited against the whole corpus and against smaller ones drawn from it that
hold the sources. Results are also told by the length of the borrowing.

Time: an audit of a tune of 200 notes against some 100,000 tunes, as a multiple of one
search for that whole tune, in turn.

Many: what is gained where the model of the corpus is learned once and not for each of
many own tunes, in seconds of the processor; each tune is audited in both ways, in turn,
by one reader that keeps its notes, and the answers are compared.

Real tunes are the ABC collections of the installed music21 package.

What the largest corpus allows any order to reach is worked out beside it on demand
(:mod:`benchmarks.chance.audit_ceiling`).

Run:  python -m benchmarks.chance.audit [--tunes 200] [--clean N] [--ceiling] [--speed]
          [--many N] [--keep NAME]
"""

from __future__ import annotations

import json
import statistics
import tempfile
import time
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from random import Random
from typing import Any

from benchmarks.chance.audit_ceiling import Planting, ceiling_table, ceilings
from benchmarks.chance.calibration import Notes, markov_tunes
from benchmarks.keeping import about, asker, keep
from benchmarks.material import melody_json, real_tunes, synthetic_tunes, write_corpus
from melodex.corpus.chunks import TuneNotes
from melodex.corpus.reader import Corpus
from melodex.matching.dealing.held import Held
from melodex.matching.engine.choice import engine
from melodex.matching.query import encode_query
from melodex.matching.search import search
from melodex.presentation.data.forms import as_json
from melodex.tasks.audit.audit import Audit, audit
from melodex.tasks.audit.findings import Finding
from melodex.tasks.passage import Passage

LENGTHS = (8, 16)
CHANGED = 0.2
OWN_NOTES = (50, 120)
SIZES = (60, 1000, 0)
"""Tunes in the corpora; 0 is all there are."""

MANY_TUNES = 4000
"""Tunes of the corpus against which many are audited."""

LOOSE = 30.0
"""Findings up to this are looked at; the program lists those up to 1 unless asked."""

LEVELS = (30.0, 10.0, 1.0, 0.1, 0.01, 0.001, 1e-4, 1e-6)
SEED = 23


@dataclass(frozen=True, slots=True)
class Own:
    """A tune to audit; what was planted where, if anything."""

    notes: Notes
    source: str = ""
    first: int = 0
    last: int = -1
    changed: int = 0


def passage(notes: Notes, tune_id: str = "ffffffffffff0000") -> Passage:
    """Notes as a tune that stands in no corpus."""
    melody, _ = melody_json(TuneNotes(tune_id, *notes))
    return Passage(melody, melody, 0, tune_id, False)


def planted(new: Notes, source: TuneNotes, rhythm: Notes, dice: Random) -> Own:
    """A new tune into which a stretch of another is put."""
    count = dice.randint(*LENGTHS)
    start = dice.randrange(len(source.pitch) - count + 1)
    line = list(source.pitch[start : start + count])
    places = dice.sample(range(count), dice.randint(0, int(CHANGED * count)))
    for place in places:
        line[place] += dice.choice([-4, -3, -2, -1, 1, 2, 3, 4])
    pitch, classes = new
    at = dice.randrange(1, len(pitch) - count)
    # In a key in which it goes on from the note before it, as a borrower would write.
    move = pitch[at - 1] - line[0] + dice.choice([-4, -2, -1, 0, 1, 2, 3, 5])
    line = [min(max(note + move, 0), 127) for note in line]
    beat = dice.randrange(len(rhythm[1]) - count + 1)
    return Own(
        (
            pitch[:at] + bytes(line) + pitch[at + count :],
            classes[:at] + rhythm[1][beat : beat + count] + classes[at + count :],
        ),
        source.tune_id,
        at,
        at + count - 1,
        len(places),
    )


def tunes_to_audit(real: Sequence[TuneNotes], count: int) -> tuple[list[Own], list[Own]]:
    """So many with a borrowing and so many without."""
    dice = Random(SEED)
    notes = [(tune.pitch, tune.length_class) for tune in real]
    sized = [pair for pair in notes if OWN_NOTES[0] <= len(pair[0]) <= OWN_NOTES[1]]
    made = markov_tunes(sized, 2 * count, dice)
    with_one = []
    for new in made[:count]:
        source = dice.choice([tune for tune in real if len(tune.pitch) >= 30])
        with_one.append(planted(new, source, dice.choice(sized), dice))
    return with_one, [Own(new) for new in made[count:]]


def touched(finding: Finding, own: Own) -> bool:
    """Whether a finding covers at least half of what was planted."""
    first = finding.own.first_note
    last = first + len(finding.own.melody) - 1
    both = min(last, own.last) - max(first, own.first) + 1
    return 2 * both >= own.last - own.first + 1


def told(found: Audit, own: Own) -> dict[str, Any]:
    """What an audit says of a tune, in short."""
    hits = [f for f in found.findings if touched(f, own)] if own.source else []
    first = found.findings[0] if found.findings else None
    return {
        "notes": len(own.notes[0]),
        "windows": found.windows,
        "borrowed": own.last - own.first + 1,
        "changed": own.changed,
        "first_touches": bool(hits) and hits[0] is first,
        "first_is_source": bool(hits)
        and hits[0] is first
        and hits[0].tune.tune_id == own.source,
        "source_rank": next((f.rank for f in hits if f.tune.tune_id == own.source), None),
        "expected": first.expected_by_chance if first else None,
        "least": min(
            (
                f.expected_by_chance
                for f in found.findings
                if f.expected_by_chance is not None
            ),
            default=None,
        ),
        "verdict": first.commonness.verdict if first else None,
    }


def audited(path: Path, tunes: Sequence[Own], workers: int) -> list[dict[str, Any]]:
    """All audits against one corpus, the tunes dealt out among processes."""
    with ProcessPoolExecutor(workers) as pool:
        return list(pool.map(partial(one_audit, path), tunes, chunksize=10))


def one_audit(path: Path, own: Own) -> dict[str, Any]:
    """One audit in short."""
    with Corpus.open(path) as corpus:
        return told(audit(corpus, passage(own.notes), threshold=LOOSE), own)


def share(rows: Sequence[dict[str, Any]], field: str) -> float:
    """In how many rows something holds."""
    return sum(bool(row[field]) for row in rows) / max(len(rows), 1)


def summary(
    with_one: Sequence[dict[str, Any]], clean: Sequence[dict[str, Any]]
) -> dict[str, Any]:
    """The curve: for each level, what is found and what is found where nothing is."""

    def within(row: dict[str, Any], level: float, which: str = "least") -> bool:
        return row[which] is not None and row[which] <= level

    def first_by(level: float) -> list[bool]:
        return [r["first_touches"] and within(r, level, "expected") for r in with_one]

    by_length = {}
    for notes in range(LENGTHS[0], LENGTHS[1] + 1, 2):
        rows = [row for row in with_one if row["borrowed"] in {notes, notes + 1}]
        by_length[f"{notes}-{notes + 1}"] = {
            "tunes": len(rows),
            "first_touches": share(rows, "first_touches"),
            "first_is_source": share(rows, "first_is_source"),
        }
    return {
        "first_touches": share(with_one, "first_touches"),
        "first_is_source": share(with_one, "first_is_source"),
        "clean_without_0.01": sum(not within(row, 0.01) for row in clean)
        / max(len(clean), 1),
        "by_length": by_length,
        "levels": {
            str(level): {
                "borrowing_first": sum(first_by(level)) / max(len(with_one), 1),
                "clean_with_a_passage": sum(within(row, level) for row in clean)
                / max(len(clean), 1),
            }
            for level in LEVELS
        },
    }


def corpus_of(real: Sequence[TuneNotes], wanted: set[str], size: int) -> list[TuneNotes]:
    """The tunes wanted and as many others as make up the size; all for size 0."""
    if not size:
        return list(real)
    others = [tune for tune in real if tune.tune_id not in wanted]
    held = [tune for tune in real if tune.tune_id in wanted]
    return held + Random(SEED).sample(others, max(size - len(held), 0))


def speed(real: list[TuneNotes], folder: Path, rounds: int = 5) -> dict[str, Any]:
    """Audits of a tune of 200 notes and searches for it, in turn."""
    path = folder / "large.melodex"
    large = synthetic_tunes(real, 10_000_000, SEED)
    write_corpus(path, large)
    dice = Random(SEED)
    long_ones = [t for t in real if len(t.pitch) >= 200]
    model = [(t.pitch, t.length_class) for t in long_ones]
    own = [(p[:200], c[:200]) for p, c in markov_tunes(model, rounds + 1, dice)]
    audits, searches = [], []
    with Corpus.open(path) as corpus:
        for number, notes in enumerate(own):
            query = encode_query(passage(notes).phrase())
            start = time.perf_counter()
            search(corpus.chunks(), query)
            middle = time.perf_counter()
            found = audit(corpus, passage(notes))
            end = time.perf_counter()
            if number:  # the first warms up
                searches.append(middle - start)
                audits.append(end - middle)
    return {
        "tunes": len(large),
        "notes": sum(len(tune.pitch) for tune in large),
        "windows": found.windows,
        "search_seconds": searches,
        "audit_seconds": audits,
        "multiple": statistics.median(a / s for a, s in zip(audits, searches, strict=True)),
    }


def many(real: list[TuneNotes], folder: Path, count: int) -> dict[str, Any]:
    """Audits of so many tunes, the model learned once and learned for each."""
    path = folder / "many.melodex"
    write_corpus(path, Random(SEED).sample(real, MANY_TUNES))
    with_one, clean = tunes_to_audit(real, count)
    own = [passage(each.notes) for each in (with_one + clean)[::2]][:count]
    once: list[float] = []
    each_time: list[float] = []
    with Held.open(path) as corpus:
        audit(corpus, own[0])  # warms up
        for number, tune in enumerate(own):
            told = set()
            ways = [(once, False), (each_time, True)]
            for seconds, anew in ways if number % 2 else ways[::-1]:
                kept = dict(corpus.kept_work)
                if anew:
                    corpus.kept_work.clear()
                start = time.process_time()
                found = audit(corpus, tune)
                seconds.append(time.process_time() - start)
                corpus.kept_work.update(kept)
                told.add(as_json(found))
            assert len(told) == 1, tune
    return {
        "tunes": MANY_TUNES,
        "own": count,
        "once_processor_seconds": once,
        "each_time_processor_seconds": each_time,
        "share": statistics.median(a / b for a, b in zip(once, each_time, strict=True)),
    }


def measure(
    count: int, clean_count: int, sizes: Sequence[int], folder: Path, workers: int
) -> dict[str, Any]:
    """Audits against corpora of several sizes; of tunes without a borrowing so many."""
    real = real_tunes()
    with_one, clean = tunes_to_audit(real, count)
    clean = clean[:clean_count]
    found = {}
    for size in sizes:
        name = str(size or len(real))
        rows: list[dict[str, Any]] = []
        none: list[dict[str, Any]] = []
        # A small shelf cannot hold all the sources: several, each with some of them.
        part = max(size // 2, 1) if size and count > size else count
        for first in range(0, count, part):
            here = slice(first, first + part)
            tunes = corpus_of(real, {own.source for own in with_one[here]}, size)
            path = folder / f"{name}-{first}.melodex"
            write_corpus(path, tunes)
            rows += audited(path, with_one[here], workers)
            none += audited(path, clean[here], workers)
        found[name] = {"summary": summary(rows, none), "planted": rows, "clean": none}
        print(f"{name} tunes:", json.dumps(found[name]["summary"], indent=1), flush=True)
    return found


def ceiling(count: int, workers: int) -> list[dict[str, Any]]:
    """What could be found at most of the same borrowings, against all real tunes."""
    real = real_tunes()
    with_one, _ = tunes_to_audit(real, count)
    low, high = OWN_NOTES
    model = [tune.pitch for tune in real if low <= len(tune.pitch) <= high]
    planted = [
        Planting(own.notes[0], own.source, own.first, own.last - own.first + 1, own.changed)
        for own in with_one
    ]
    return ceilings(real, model, planted, workers)


def words(run: dict[str, Any]) -> str:
    """The run as tables."""
    lines = [run["command"]]
    for size, found in run.get("corpora", {}).items():
        told, clean = found["summary"], len(found["clean"])
        lines += [
            "",
            f"Against {size} tunes: {len(found['planted'])} with a borrowing, "
            f"{clean} without.",
        ]
        if clean:
            share_without = told["clean_without_0.01"]
            lines.append(
                f"  clean tunes with no passage at 0.01 or less: {share_without:.1%}"
            )
        lines += [
            "  first passage, by the number expected up to which passages are listed:",
            "    up to      is the borrowing   is there in clean tunes",
        ]
        lines += [
            f"    {level:10} {row['borrowing_first']:16.1%} "
            + (f"{row['clean_with_a_passage']:25.1%}" if clean else f"{'not tried':>25}")
            for level, row in told["levels"].items()
        ]
        lines.append(f"  by notes borrowed, up to {LOOSE:g}:")
        lines += [
            f"    {notes:6} {row['tunes']:4} tunes, the borrowing first in "
            f"{row['first_touches']:6.1%}, in its source in {row['first_is_source']:6.1%}"
            for notes, row in told["by_length"].items()
        ]
    if "ceiling" in run:
        lines += ceiling_table(run["ceiling"])
    if "speed" in run:
        speed = run["speed"]
        lines += [
            "",
            f"An audit of 200 notes ({speed['windows']} windows) against "
            f"{speed['tunes']:,} tunes: {statistics.median(speed['audit_seconds']):.2f} s, "
            f"{speed['multiple']:.1f} times one search for the whole tune.",
        ]
    if "many" in run:
        of = run["many"]
        lines += [
            "",
            f"{of['own']} audits against {of['tunes']:,} tunes, in processor seconds: "
            f"{sum(of['once_processor_seconds']):.1f} where the model is learned once, "
            f"{sum(of['each_time_processor_seconds']):.1f} where for each; "
            f"the median of each pair is {of['share']:.2f} times; the same answers.",
        ]
    return "\n".join(lines) + "\n"


def main() -> None:
    """Measure, print, and keep what was asked for."""
    parser = asker(__doc__)
    parser.add_argument("--tunes", type=int, default=200)
    parser.add_argument("--clean", type=int, help="of those without a borrowing, so many")
    parser.add_argument("--ceiling", action="store_true")
    parser.add_argument("--sizes", default=",".join(map(str, SIZES)))
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--speed", action="store_true")
    parser.add_argument("--many", type=int, default=0, metavar="N", help="own tunes")
    said = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        run: dict[str, Any] = about("music21") | {"engine": engine().name}
        if said.tunes:
            sizes = [int(size) for size in said.sizes.split(",")]
            clean = said.tunes if said.clean is None else said.clean
            run["corpora"] = measure(said.tunes, clean, sizes, folder, said.workers)
        if said.ceiling:
            run["ceiling"] = ceiling(said.tunes, said.workers)
            print("\n".join(ceiling_table(run["ceiling"])), flush=True)
        if said.speed:
            run["speed"] = speed(real_tunes(), folder)
            print(json.dumps(run["speed"], indent=1))
        if said.many:
            run["many"] = many(real_tunes(), folder, said.many)
    keep(said.keep, {"audit.json": json.dumps(run), "summary.txt": words(run)})


if __name__ == "__main__":
    main()
