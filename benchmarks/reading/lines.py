"""Read every line of every MusicXML sheet of music21's corpus twice: do they agree?

Run ``python -m benchmarks.reading.lines [--every N] [--only WORDS] [--witness-seconds S]
[--keep NAME]``; ``--only`` reads the sheets whose paths hold one of some words.
music21 parses the source and not its pickled cache. A line is the same where a voice of a
part as music21 tells it apart, or the second, third or fourth notes of its chords, has
the same pitch, spelling, onset and length throughout. music21 does not number the voice
of a measure that has one alone: a line that has all its notes in one part, each with the
same pitch, onset and length, is counted as the same by its notes. Of the others it is
said how many notes are otherwise. Where each note of those still has the same bar and the
same place in it, music21's bars are longer or shorter than their metre says: that is an
explanation. So is it where all notes agree to two hundredths of a quarter (a sheet rounds
its triplets to its divisions; music21 takes the rounded lengths, we the triplets), and
where they stand in several parts of music21, which parts a voice that changes the staff.

The other way round, notes that music21 has in a part and no line of ours holds are
counted: what stands under the top of chords that do not move as voices, and lines of few
notes.
"""

import sys
from collections import Counter

import tests.plain.sheet_by_music21 as witness
from benchmarks.keeping import about, asker, keep
from benchmarks.reading.musicxml import at_most

IN_BARS = "the same in each bar, where music21's bars have other lengths"
ROUNDED = "the same but for triplets that the sheet rounds"
PARTED = "a voice that changes the staff, in several parts of music21"
EXPLANATIONS = (IN_BARS, ROUNDED, PARTED)
HUNDREDTHS = 2
"""Of a quarter, by which a rounded triplet may be off."""


def near(note, notes):
    """Whether a note is among some, but for the rounding of a sheet."""
    onset, length, midi = note
    off = range(-HUNDREDTHS, HUNDREDTHS + 1)
    return any((onset + a, length + b, midi) in notes for a in off for b in off)


def measured(path, witness_seconds):
    """One sheet: its lines, those that are the same, and what is otherwise."""
    row = {"sheet": witness.name_of(path)}
    ours = witness.lines_by_melodex(path)
    if not ours:
        return row | {"refused": True}
    try:
        with at_most(witness_seconds):
            score = witness.parsed_by_music21(path)
            theirs = witness.lines_by_music21(score)
            sounding = witness.sounding_by_music21(score)
            in_bars = witness.in_bars_by_music21(score)
    except Exception as error:
        return row | {"music21_error": f"{type(error).__name__}: {error}"[:200]}
    same, by_notes = 0, 0
    others: list[str] = []
    known: dict[str, list[str]] = {why: [] for why in EXPLANATIONS}
    for name, rows, places in ours:
        if any(not witness.first_difference(rows, them) for _, them in theirs):
            same += 1
            continue
        own = [witness.rounded(note) for note in rows]
        otherwise, part = min(
            (sum(note not in part for note in own), place)
            for place, part in enumerate(sounding)
        )
        by_notes += not otherwise
        if otherwise:
            first = next(note for note in own if note not in sounding[part])
            said = f"{name}: {otherwise} of {len(rows)} notes, the first {first}"
            if any(part.issuperset(places) for part in in_bars):
                known[IN_BARS].append(said)
            elif all(near(note, sounding[part]) for note in own):
                known[ROUNDED].append(said)
            elif all(near(note, set().union(*sounding)) for note in own):
                known[PARTED].append(said)
            else:
                others.append(said)
    held = {witness.rounded(note) for _, rows, _ in ours for note in rows}
    return row | {
        "lines": len(ours),
        "notes": sum(len(rows) for _, rows, _ in ours),
        "same": same,
        "same_by_notes": by_notes,
        "explained": {why: found for why, found in known.items() if found},
        "otherwise": others,
        "notes_in_music21": sum(map(len, sounding)),
        "notes_in_no_line": sum(note not in held for part in sounding for note in part),
    }


def summary_of(rows, facts):
    """The figures of a run, as text."""
    both = [row for row in rows if "lines" in row]
    total: Counter[str] = Counter()
    for row in both:
        for name in ("lines", "notes", "same", "same_by_notes"):
            total[name] += row[name]
        total["in music21"] += row["notes_in_music21"]
        total["in no line"] += row["notes_in_no_line"]
        for why, found in row["explained"].items():
            total[why] += len(found)
        total["otherwise"] += len(row["otherwise"])
    agreeing = total["same"] + total["same_by_notes"]
    lines = [
        f"{facts}",
        f"sheets {len(rows)}, read by both {len(both)}, refused by us "
        f"{sum('refused' in row for row in rows)}, not read by music21 "
        f"{sum('music21_error' in row for row in rows)}",
        f"lines {total['lines']}, notes {total['notes']}",
        f"same in every note {agreeing} ({100 * agreeing / max(total['lines'], 1):.2f} %): "
        f"as a voice {total['same']}, by their notes {total['same_by_notes']}",
        *(f"{why} {total[why]}" for why in EXPLANATIONS),
        f"otherwise, not explained {total['otherwise']}",
        f"notes of music21 {total['in music21']}, in no line of ours {total['in no line']}",
    ]
    for row in rows:
        known = witness.EXPLAINED.get(row["sheet"], "")
        said = [
            f"{text}; {why}"
            for why, found in row.get("explained", {}).items()
            for text in found
        ]
        said += row.get("otherwise") or [row.get("music21_error", "")]
        said = ["refused"] if "refused" in row else [text for text in said if text]
        lines += [f"  {row['sheet']}: {text}" for text in said]
        lines += [f"    {known}"] * bool(known and said)
    return "\n".join(lines) + "\n"


def main():
    """Compare, print the summary, and keep it where that is asked for."""
    parser = asker(__doc__)
    parser.add_argument("--every", type=int, default=1, help="read every Nth sheet")
    parser.add_argument("--only", default="", help="words, parted by commas")
    parser.add_argument("--witness-seconds", type=int, default=60)
    arguments = parser.parse_args()
    facts = about("music21")
    rows = []
    words = arguments.only.split(",")
    paths = [
        path
        for path in witness.corpus_sheets()[:: arguments.every]
        if any(word in witness.name_of(path) for word in words)
    ]
    for path in paths:
        rows.append(measured(path, arguments.witness_seconds))
        print(f"\r{len(rows)} of {len(paths)}", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    summary = summary_of(rows, facts)
    print(summary, end="")
    odd = [row for row in rows if row.get("otherwise") != [] or row["explained"]]
    keep(arguments.keep, {"summary.txt": summary, "odd.json": odd})


if __name__ == "__main__":
    main()
