"""A second reading of ABC: Debian's abc2midi, its MIDI read with mido.

The collections are those in the installed music21 package; nothing is copied.
Both readers get the same tunes. What abc2midi would play out (repeats, endings,
grace notes, decorations, chord symbols) is taken out of its text first, so that
both tell the written order; of notes that sound together the top one counts.
Compared are pitch, onset and duration of every note; bars are not, MIDI has none.

Run:  python -m benchmarks.reading.abc_witness [--every N] [--show N] [--keep NAME]

Contents: collection_files, plain_abc, witness_notes, our_notes, compare_all.
"""

from __future__ import annotations

import re
import subprocess
import tempfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from pathlib import Path

import mido

from benchmarks.keeping import asker, keep
from benchmarks.material import MUSIC21
from melodex.melody import TICKS_PER_QUARTER
from melodex.reading.abc.file import split_file
from melodex.reading.abc.reader import read_abc, tune_number
from melodex.reading.decoding import decode
from melodex.reading.result import ReadTune

MIDI_TICKS = 480
TUNES_A_RUN = 400
ONSET_TOLERANCE = 4
DURATION_TOLERANCE = 6
"""MIDI ticks; abc2midi starts notes one tick late and rounds tuplets."""

Notes = list[tuple[int, int, int]]
"""Pitch, onset and duration in MIDI ticks."""

SKIPPED = re.compile(
    r'(?P<keep>\[[KLM]:[^\]]*\]|\(\d[\d:]*)|\[[A-Za-z]:[^\]]*\]|(?<!\[)"[^"]*"|\{[^}]*\}|![^!|\s]*!'
    r"|(?P<bar>:*\[?\|[|\]:]*(?:\[?\d[\d,\-]*)?|:{2,}|\[\d[\d,\-]*|\[\"[^\"]*\")"
    r"|[H-WYh-w~.`*$!:]"
)


def collection_files() -> list[Path]:
    """Every ABC file of music21's corpus, in a fixed order."""
    return sorted(MUSIC21.rglob("*.abc"))


def plain_abc(kept: str, number: int) -> str:
    """A tune with nothing in it that a player would unfold or add."""
    lines = [f"X:{number}", "Q:1/4=120", "%%MIDI chordattack 0"]
    in_body = False
    for line in kept.split("\n"):
        line = re.sub(r"(?<!\\)%.*", "", line).rstrip()
        if re.match(r"[A-Za-z+]:(?![|:])", line):
            if line[0] in "KLM":
                lines.append(line)
            in_body = in_body or line[0] == "K"
        elif in_body:
            lines.append(SKIPPED.sub(plain_token, line))
    # An empty line would end the tune.
    return "\n".join(line for line in lines if line.strip()) + "\n\n"


def plain_token(found: re.Match[str]) -> str:
    """A key or metre stays, every bar line is a plain one, the rest goes."""
    if found["keep"]:
        return found["keep"]
    return "|" if found["bar"] else ""


def witness_notes(tunes: list[str]) -> Iterator[Notes | None]:
    """What abc2midi makes of tunes that are numbered from 1; None if nothing."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "t.abc"
        path.write_text("\n".join(tunes), encoding="latin-1", errors="replace")
        subprocess.run(
            ["abc2midi", str(path)],
            cwd=folder,
            capture_output=True,
            timeout=120,
            check=False,
        )
        for number in range(1, len(tunes) + 1):
            midi = Path(folder) / f"t{number}.mid"
            yield midi_notes(midi) if midi.exists() else None


def midi_notes(path: Path) -> Notes:
    """The top line of a MIDI file."""
    notes: Notes = []
    started: dict[int, int] = {}
    now = 0
    for message in mido.merge_tracks(mido.MidiFile(path).tracks):
        now += message.time
        if message.type == "note_on" and message.velocity:
            started[message.note] = now
        elif message.type in {"note_on", "note_off"} and message.note in started:
            onset = started.pop(message.note)
            notes.append((message.note, onset - 1, now - onset + 1))
    return top_line(notes)


def top_line(notes: Notes) -> Notes:
    """Of notes that start together the highest."""
    top: Notes = []
    for note in sorted(notes, key=lambda n: (n[1], -n[0])):
        if not top or note[1] - top[-1][1] > ONSET_TOLERANCE:
            top.append(note)
        elif note[0] > top[-1][0]:
            top[-1] = note
    return top


def our_notes(tune: ReadTune) -> Notes:
    """Our reading in MIDI ticks."""
    melody = tune.melody
    scale = MIDI_TICKS / TICKS_PER_QUARTER
    return [
        (midi, round(onset * scale), round(ticks * scale))
        for midi, onset, ticks in zip(
            melody.midi, melody.onset_ticks, melody.duration_ticks, strict=True
        )
    ]


def difference(ours: Notes, theirs: Notes | None) -> str:
    """Empty if both readings agree, else what is different first."""
    if theirs is None:
        return "abc2midi gives nothing"
    for place, (mine, yours) in enumerate(zip(ours, theirs, strict=False)):
        if mine[0] != yours[0]:
            return f"pitch of note {place + 1}: {mine} and {yours}"
        if abs(mine[1] - yours[1]) > ONSET_TOLERANCE:
            return f"onset of note {place + 1}: {mine} and {yours}"
        if abs(mine[2] - yours[2]) > DURATION_TOLERANCE:
            return f"duration of note {place + 1}: {mine} and {yours}"
    return "" if len(ours) == len(theirs) else f"{len(ours)} and {len(theirs)} notes"


@dataclass
class Comparison:
    """How two readings of many tunes compare."""

    compared: int = 0
    notes: int = 0
    voices: int = 0
    differences: dict[str, str] = field(default_factory=dict)


def compare_all(every: int = 1, always: frozenset[str] = frozenset()) -> Comparison:
    """Compare every N-th tune of the collections, and those that are named."""
    result = Comparison()
    chosen: list[tuple[str, ReadTune]] = []
    count = -1
    root = collection_files()[0].parents[1]
    for path in collection_files():
        name = path.relative_to(root).as_posix()
        header, texts = split_file(decode(path.read_bytes()))
        for text in texts:
            count += 1
            label = f"{name} X:{tune_number(text)}"
            if any("V:" in line for line in text.lines):
                result.voices += 1
            elif count % every == 0 or label in always:
                whole = "\n".join([*header.lines, "", *text.lines])
                chosen += [(label, tune) for tune in read_abc(whole, name).tunes]
    for start in range(0, len(chosen), TUNES_A_RUN):
        batch = chosen[start : start + TUNES_A_RUN]
        plain = [plain_abc(tune.kept.decode(), n) for n, (_, tune) in enumerate(batch, 1)]
        for (name, tune), theirs in zip(batch, witness_notes(plain), strict=True):
            ours = our_notes(tune)
            result.compared += 1
            result.notes += len(ours)
            what = difference(ours, theirs)
            if what:
                result.differences[name] = what
    return result


def main() -> None:
    """Compare, and print what differs."""
    parser = asker(__doc__)
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--show", type=int, default=1000)
    options = parser.parse_args()
    result = compare_all(options.every)
    lines = [
        f"{result.compared} tunes, {result.notes} notes compared",
        f"{len(result.differences)} tunes differ; {result.voices} with voices left out",
        str(dict(Counter(name.split("/")[0] for name in result.differences))),
        *(f"{name}: {what}" for name, what in result.differences.items()),
    ]
    print("\n".join(lines[: options.show + 3]))
    keep(options.keep, {"result.json": asdict(result), "summary.txt": "\n".join(lines)})


if __name__ == "__main__":
    main()
