"""Read every Humdrum file of music21's corpus twice: how fast, and do they agree.

Run ``python -m benchmarks.reading.kern [--every N] [--keep NAME]``. Times are of the
processor, in one process, file by file, ours first with all lines made into melodies;
both read each file from disk. The first file is read by both before the clock starts.
music21 is told to parse the source and not to load its pickled cache. A spine agrees
where every written note has the same onset, length, pitch and spelling.
"""

import sys
import time
from importlib.metadata import version

import tests.plain.kern_by_music21 as witness
from benchmarks.keeping import asker, command, keep
from melodex.reading import Choice, read_path

ALL_LINES = Choice(lines="all")


def measured(path):
    """One file: seconds of each reader, lines, notes, and what differs."""
    start = time.process_time()
    reading = read_path(path, ALL_LINES)
    ours = time.process_time() - start
    row = {
        "file": path.relative_to(witness.corpus_root()).as_posix(),
        "bytes": path.stat().st_size,
        "melodex_seconds": round(ours, 5),
        "refusal": "; ".join(map(str, reading.refusals)),
        "lines": len(reading.tunes),
        "notes": sum(len(tune.melody) for tune in reading.tunes),
    }
    start = time.process_time()
    try:
        score = witness.parsed_by_music21(path)
    except Exception as error:
        return row | {"music21_error": f"{type(error).__name__}: {error}"[:200]}
    row["music21_seconds"] = round(time.process_time() - start, 5)
    mine, theirs = witness.rows_by_melodex(path), witness.rows_by_music21(score)
    row["spines"] = len(mine)
    differing = [witness.difference(*pair) for pair in zip(mine, theirs, strict=False)]
    if len(mine) != len(theirs):
        differing.append(f"melodex {len(mine)} spines, music21 {len(theirs)}")
    row["differences"] = [text for text in differing if text]
    return row


def summary_of(rows, said):
    """The figures of a run, as text."""
    both = [row for row in rows if "differences" in row]
    spines = sum(row["spines"] for row in both)
    apart = [(row["file"], text) for row in both for text in row["differences"]]
    ours = sum(row["melodex_seconds"] for row in both)
    theirs = sum(row["music21_seconds"] for row in both)
    lines = [
        f"command: {said}",
        f"python {sys.version.split()[0]}, music21 {version('music21')}",
        f"files {len(rows)}, refused {sum(bool(row['refusal']) for row in rows)}, "
        f"not read by music21 {len(rows) - len(both)}",
        f"lines {sum(row['lines'] for row in rows)}, "
        f"notes {sum(row['notes'] for row in rows)}",
        f"spines read by both {spines}, equal in every written note {spines - len(apart)}",
        f"processor seconds: melodex {ours:.1f}, music21 {theirs:.1f}, "
        f"times {theirs / max(ours, 1e-9):.1f}",
        *(f"refused: {row['refusal']}" for row in rows if row["refusal"]),
        *(
            f"{row['file']}: {row['music21_error']}"
            for row in rows
            if "music21_error" in row
        ),
        *(f"{name}: {text}" for name, text in apart),
    ]
    return "\n".join(lines) + "\n"


def main():
    """Read them, print the figures and keep them where asked."""
    asked = asker(__doc__)
    asked.add_argument("--every", type=int, default=1, help="read each Nth file alone")
    options = asked.parse_args()
    paths = witness.corpus_files()[:: options.every]
    measured(paths[0])
    rows = [measured(path) for path in paths]
    summary = summary_of(rows, command())
    print(summary, end="")
    odd = [row for row in rows if row["refusal"] or row.get("differences") != []]
    keep(options.keep, {"summary.txt": summary, "odd.json": odd})


if __name__ == "__main__":
    main()
