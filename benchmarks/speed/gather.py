"""How long gathering takes over a large corpus, wish by wish.

The corpus is made in a temporary folder: tunes of O'Neill, Ryan and Aird from music21's
corpus with a chord symbol at each bar, drawn from those that hold the bar's notes (with
sevenths, borrowed chords and secondary dominants among them), added as a musician would
add them; then every row is copied under new numbers and ids until there are as many
tunes as asked for. Copies have the same music, so each wish finds the share of tunes
that it finds in the originals; titles, composers and years differ. Each wish is asked
once to warm up and then several times, on a corpus opened anew.

Run:  python -m benchmarks.speed.gather [--tunes N] [--corpus FILE] [--keep NAME]
"""

from __future__ import annotations

import json
import random
import resource
import sqlite3
import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

from benchmarks.keeping import about, asker, keep
from benchmarks.material import MUSIC21
from melodex.analysis.keys import read_keys
from melodex.corpus.chunks import TuneNotes, encode_notes
from melodex.corpus.facets import FACET_TABLES
from melodex.corpus.reader import Corpus
from melodex.corpus.writing.rows.packing import ChunkTable
from melodex.corpus.writing.store import CorpusWriter
from melodex.melody import ChordSymbol, Melody, pitch_class_name
from melodex.reading import FileReading, read_path
from melodex.reading.result import ReadTune
from melodex.tasks.gather.gather import Wish, gather

COLLECTIONS = ("oneills1850", "ryansMammoth", "airdsAirs")
ORIGINALS = 1_000
TIMES = 3
SHOWN = 30
SEED = 6

CHORDS = (
    # Root in fifths above the tonic, ending, notes in fifths above the root, weight.
    *((0, "", (0, 1, 4), 6), (1, "7", (0, 1, 4, -2), 5), (-1, "", (0, 1, 4), 4)),
    *((3, "m", (0, 1, -3), 3), (2, "m7", (0, 1, -3, -2), 3), (4, "m", (0, 1, -3), 1)),
    *((2, "7", (0, 1, 4, -2), 1), (3, "7", (0, 1, 4, -2), 1), (-1, "m", (0, 1, -3), 1)),
    *((-2, "", (0, 1, 4), 1), (-4, "", (0, 1, 4), 1), (1, "7sus4", (0, 1, -1, -2), 1)),
    *((0, "maj7", (0, 1, 4, 5), 1), (5, "m7b5", (0, -6, -3, -2), 1)),
    *((-5, "7", (0, 1, 4, -2), 1), (-2, "7", (0, 1, 4, -2), 1), (0, "6", (0, 1, 4, 3), 1)),
)

WISHES = {
    "a device": Wish(device="minor plagal cadence"),
    "a device that many show": Wish(device="authentic cadence"),
    "a word in the reasons of devices": Wish(device="Gm"),
    "a progression": Wish(progression="ii V I"),
    "a progression, exactly": Wish(progression="ii7 V7 I", exact_progression=True),
    "a progression in chord symbols": Wish(progression="Fm Bb7 C"),
    "a rare progression": Wish(progression="bVI bVII iv bII"),
    "a long progression": Wish(progression="I vi ii V7 I IV iv I"),
    "a melody note on a chord": Wish(note_on_chord="7 on iv"),
    "a melody note that many have": Wish(note_on_chord="5 on I"),
    "a figure of the melody": Wish(phrase="5 6 5 3 1"),
    "a figure, nearly": Wish(phrase="5 6 5 3 1 2", nearly=True),
    "a mode": Wish(mode="dorian"),
    "a mode that most have": Wish(mode="major"),
    "a metre": Wish(metre="compound"),
    "key centres": Wish(key_centres=3),
    "a change of key": Wish(key_change="relative"),
    "a change of mode": Wish(mode_change=True),
    "a modal passage": Wish(modal="mixolydian"),
    "a section of 6 bars": Wish(section_bars=6),
    "odd sections": Wish(odd_sections=True),
    "a returning figure": Wish(returning="sequence"),
    "part of a title": Wish(title="jig"),
    "part of a composer's name": Wish(composer="maker 7"),
    "years": Wish(after=1900, before=1905),
    "a collection": Wish(collection="book 3"),
    "rights": Wish(rights="public"),
    "four at once": Wish(metre="compound", mode="major", device="borrowed", key_centres=2),
    "five at once": Wish(
        metre="simple", progression="ii V I", note_on_chord="5 on V", after=1900, title="a"
    ),
}


def originals() -> Iterator[Melody]:
    """Real tunes, each with a chord at every bar."""
    files = [f for name in COLLECTIONS for f in sorted((MUSIC21 / name).glob("*.abc"))]
    tunes = [tune.melody for path in files for tune in read_path(path).tunes]
    step = max(1, len(tunes) // ORIGINALS)
    for number, melody in enumerate(tunes[::step][:ORIGINALS]):
        yield replace(melody, chords=tuple(symbols(melody, random.Random(SEED + number))))


def symbols(melody: Melody, draw: random.Random) -> Iterator[ChordSymbol]:
    """A chord for each bar that holds notes, one that shares some of them."""
    tonic = read_keys(melody).reading.key.tonic_fifths
    for bar in melody.bars:
        inside = [
            fifths
            for fifths, onset in zip(melody.fifths, melody.onset_ticks, strict=True)
            if bar.onset_ticks <= onset < bar.onset_ticks + bar.duration_ticks
        ]
        if not inside:
            continue
        weights = [
            weight * (0.05 + sum(f - tonic - root in notes for f in inside)) ** 2
            for root, _, notes, weight in CHORDS
        ]
        root, ending, *_ = draw.choices(CHORDS, weights)[0]
        text = f"{pitch_class_name(tonic + root)}{ending}"
        yield ChordSymbol(text=text, onset_ticks=bar.onset_ticks, bar=bar.number)


def build(path: Path, tunes: int) -> None:
    """Add the originals, then copy their rows until there are enough."""
    melodies = list(originals())
    with CorpusWriter.open(path) as writer:
        for book in range(10):
            part = melodies[book::10]
            read = tuple(ReadTune(melody, kept_format="abc") for melody in part)
            writer.add_reading(FileReading(f"{book}.abc", read), collection=f"book {book}")
    copy_rows(path, tunes)


def copy_rows(path: Path, tunes: int) -> None:
    """Copy every tune with its facets, under new numbers and ids."""
    database = sqlite3.connect(path)
    database.execute("PRAGMA foreign_keys = OFF")
    database.execute("PRAGMA cache_size = -400000")
    indexes = database.execute(
        "SELECT name, sql FROM sqlite_master WHERE type = 'index' AND sql IS NOT NULL"
    ).fetchall()
    for name, _ in indexes:
        database.execute(f"DROP INDEX {name}")
    first = database.execute("SELECT max(id) FROM tune").fetchone()[0]
    tables = ("tune", "place", *FACET_TABLES)
    for copy in range(1, -(-tunes // first)):
        for table in tables:
            database.execute(
                copying(database, table),
                {"move": copy * first, "copy": copy, "first": first},
            )
    database.execute("UPDATE tune SET composer = 'maker ' || (id % 100)")
    database.execute("UPDATE tune SET year = 1700 + id % 300")
    database.execute("UPDATE tune SET title = title || ' ' || id")
    database.execute(
        "UPDATE tune SET rights = CASE WHEN id % 5 THEN 'public domain' ELSE 'asked' END"
    )
    database.execute("UPDATE tune SET title_folded = lower(title)")
    database.execute(
        "UPDATE tune_facet SET (title_folded, composer_folded, rights_folded, year) = "
        "(SELECT title_folded, composer, rights, year FROM tune WHERE tune.id = tune)"
    )
    for _, sql in indexes:
        database.execute(sql)
    chunks(database)
    database.commit()
    database.execute("PRAGMA optimize")
    database.close()


def copying(database: sqlite3.Connection, table: str) -> str:
    """The statement that copies the originals' rows of a table once."""
    columns = [row[1] for row in database.execute(f"PRAGMA table_info({table})")]
    changed = {
        "tune": {"id": "id + :move", "tune_id": "printf('%012x0000', (id + :move) * 7919)"},
        "place": {
            "id": "id + :move",
            "tune": "tune + :move",
            "file": "file || :copy",
            "kept_source": "NULL",
        },
    }.get(table, {"tune": "tune + :move"})
    picked = ", ".join(changed.get(column, column) for column in columns)
    of = "id" if table in {"tune", "place"} else "tune"
    return (
        f"INSERT INTO {table} ({', '.join(columns)}) SELECT {picked} FROM {table} "
        f"WHERE {of} <= :first"
    )


def chunks(database: sqlite3.Connection) -> None:
    """Pack the notes of all tunes anew, under their ids."""
    rows = database.execute(
        "SELECT id, tune_id, melody FROM tune ORDER BY id LIMIT 1000000"
    )
    notes: dict[str, tuple[bytes, bytes]] = {}
    tunes = []
    for _, tune_id, text in rows:
        if text not in notes:
            notes[text] = encode_notes(Melody.from_dict(json.loads(text)))
        tunes.append(TuneNotes(tune_id, *notes[text]))
    database.execute("DELETE FROM chunk")
    table = ChunkTable(database)
    for tune in tunes:
        table.add(tune)
    table.flush()


def measure(path: Path) -> dict[str, object]:
    """Ask every wish several times."""
    found: dict[str, object] = {}
    for name, wish in WISHES.items():
        times = []
        for _ in range(TIMES + 1):
            cpu, clock = time.process_time(), time.perf_counter()
            with Corpus.open(path) as corpus:
                answer = gather(corpus, wish, limit=SHOWN)
            times.append((time.perf_counter() - clock, time.process_time() - cpu))
        clocks = sorted(clock for clock, _ in times[1:])
        row = {
            "seconds, median": round(statistics.median(clocks), 3),
            "seconds, longest": round(clocks[-1], 3),
            "processor seconds, median": round(
                statistics.median(cpu for _, cpu in times[1:]), 3
            ),
            "first time": round(times[0][0], 3),
            "tunes": answer.tunes,
            "passages shown": len(answer.examples),
            "remarks": list(answer.remarks),
            "samples": [round(clock, 4) for clock, _ in times],
        }
        found[name] = row
        print(f"{name}: {row}", file=sys.stderr, flush=True)
    return found


def counts(path: Path) -> dict[str, int]:
    """Rows by table."""
    with sqlite3.connect(path) as database:
        return {
            table: database.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
            for table in ("tune", *FACET_TABLES)
        }


def main() -> None:
    """Build, measure, print, and keep the run if asked."""
    parser = asker(__doc__)
    parser.add_argument("--tunes", type=int, default=100_000)
    parser.add_argument("--corpus", type=Path, help="one that an earlier run has built")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = options.corpus or Path(folder) / "gather.melodex"
        if not path.exists():
            build(path, options.tunes)
        result = {
            **about(),
            "sqlite": sqlite3.sqlite_version,
            "bytes": path.stat().st_size,
            "rows": counts(path),
            "wishes": measure(path),
            "peak memory, MB": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024,
        }
    keep(options.keep, {"result.json": result, "summary.txt": summary(result)})
    print(summary(result), end="")


def summary(result: dict[str, object]) -> str:
    """A table of the wishes, the slowest first."""
    lines = [f"{name}: {value}\n" for name, value in result.items() if name != "wishes"]
    wishes = result["wishes"]
    assert isinstance(wishes, dict)
    slowest = sorted(wishes.items(), key=lambda item: -item[1]["seconds, median"])
    lines += [
        f"{row['seconds, median']:7.3f} s ("
        f"processor {row['processor seconds, median']:.3f}, "
        f"longest {row['seconds, longest']:.3f}, first {row['first time']:.3f}) "
        f"{row['tunes']:7,} tunes: {name}\n"
        for name, row in slowest
    ]
    return "".join(lines)


if __name__ == "__main__":
    main()
