"""Read every MusicXML sheet of music21's corpus twice: how fast, and do they agree.

Run ``python -m benchmarks.reading.musicxml [--every N] [--witness-seconds S]
[--keep NAME]``. Times are of one process, sheet by sheet, ours first; both read each
file from disk. The first sheet is read by both before the clock starts. music21 is told
to parse the source and not to load its pickled cache. Ratios are within the run;
absolute times are this machine's, and halve when others use it.
"""

import os
import platform
import signal
import sys
import time
from contextlib import contextmanager
from importlib.metadata import version

import tests.plain.sheet_by_music21 as witness
from benchmarks.keeping import asker, command, keep
from melodex.reading import read_path


@contextmanager
def at_most(seconds):
    """Interrupt what takes longer: some large sheets keep music21 busy for minutes."""

    def give_up(number, frame):
        raise TimeoutError(f"more than {seconds} s")

    signal.signal(signal.SIGALRM, give_up)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)


def measured(path, witness_seconds):
    """One sheet: seconds of each reader, notes, and their first difference."""
    start = time.perf_counter()
    reading = read_path(path)
    ours_seconds = time.perf_counter() - start
    row = {
        "sheet": witness.name_of(path),
        "bytes": path.stat().st_size,
        "melodex_seconds": round(ours_seconds, 5),
        "refusal": "; ".join(refusal.reason for refusal in reading.refusals),
        "notes": sum(len(tune.melody) for tune in reading.tunes),
        "warnings": sum(len(tune.warnings) for tune in reading.tunes),
    }
    if reading.refusals or not witness_seconds:
        return row
    start = time.perf_counter()
    try:
        with at_most(witness_seconds):
            score = witness.parsed_by_music21(path)
    except Exception as error:
        return row | {"music21_error": f"{type(error).__name__}: {error}"[:200]}
    row["music21_seconds"] = round(time.perf_counter() - start, 5)
    ours, part_index, voice = witness.rows_by_melodex(path)
    try:
        theirs = witness.rows_by_music21(score, part_index, voice)
    except Exception as error:
        return row | {"music21_error": f"{type(error).__name__}: {error}"[:200]}
    row["difference"] = witness.first_difference(ours, theirs)
    return row


def summary_of(rows, command, load=None):
    """The figures of a run, as text."""
    read = [row for row in rows if not row["refusal"]]
    both = [row for row in read if "difference" in row]
    differing = [row for row in both if row["difference"]]
    ours = sum(row["melodex_seconds"] for row in rows)
    lines = [
        f"command: {command}",
        f"machine: {platform.machine()}, {platform.system()}, {os.cpu_count()} cores, "
        f"one process; load average before {'not noted' if load is None else load}",
        f"python {platform.python_version()}, music21 {version('music21')}",
        f"sheets {len(rows)}, read {len(read)}, refused {len(rows) - len(read)}, "
        f"with warnings {sum(row['warnings'] > 0 for row in read)}",
        f"notes in the melodies {sum(row['notes'] for row in read)}",
        f"melodex {len(rows) / ours:.1f} sheets a second",
    ]
    if both:
        shared = sum(row["melodex_seconds"] for row in both)
        theirs = sum(row["music21_seconds"] for row in both)
        lines += [
            f"on the {len(both)} sheets that both read: melodex {len(both) / shared:.1f} "
            f"a second, music21 {len(both) / theirs:.1f}, ratio {theirs / shared:.1f}",
            f"same in every note {len(both) - len(differing)}, differing {len(differing)}, "
            f"not read by music21 {sum('music21_error' in row for row in rows)}",
        ]
    for row in rows:
        said = row["refusal"] or row.get("music21_error") or row.get("difference")
        if said:
            known = witness.EXPLAINED.get(row["sheet"], "")
            lines.append(f"  {row['sheet']}: {said}" + (f" -- {known}" if known else ""))
    return "\n".join(lines) + "\n"


def main():
    """Measure, print the summary, and keep both where that is asked for."""
    parser = asker(__doc__)
    parser.add_argument("--every", type=int, default=1, help="read every Nth sheet")
    parser.add_argument("--witness-seconds", type=int, default=20, help="0: melodex alone")
    arguments = parser.parse_args()
    paths = witness.corpus_sheets()[:: arguments.every]
    load = round(os.getloadavg()[0], 2)
    measured(paths[0], arguments.witness_seconds)
    rows = []
    for path in paths:
        rows.append(measured(path, arguments.witness_seconds))
        print(f"\r{len(rows)} of {len(paths)}", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    summary = summary_of(rows, command(), load)
    print(summary, end="")
    keep(arguments.keep, {"sheets.json": rows, "summary.txt": summary})


if __name__ == "__main__":
    main()
