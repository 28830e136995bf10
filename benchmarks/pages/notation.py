"""Notation: whether what is read is drawn and exported whole, and read again the same.

Run:  python -m benchmarks.pages.notation [--keep NAME] [--tunes 1500] [--seconds 420]

Real tunes are those that music21 installs: all its MusicXML and a seeded sample of its
ABC; of each its picture, its ABC, MusicXML and MIDI are made. ABC and MusicXML are read
again by our reader, MusicXML by music21, MIDI by mido, and pitch, onset and length are
compared. Invented tunes have random rhythms, tuplets rounded to ticks, ties, grace
notes, endings and changes of metre and key. The brackets of endings are compared with
the source's own elements. Collisions are looked for between the boxes of texts, their
widths estimated from the letters. ``--seconds`` stops the comparison with music21.

Contents: real_melodies, outcomes, endings, invented, collisions, paper, main.
"""

from __future__ import annotations

import io
import random
import re
import time
import zipfile
from collections import Counter
from itertools import combinations
from pathlib import Path
from typing import Any
from xml.etree.ElementTree import Element, ParseError, fromstring

import mido
import music21

from benchmarks.keeping import about, asker, keep
from benchmarks.material import MUSIC21, abc_texts
from benchmarks.pages.invented import abc_tune, midi_tune, musicxml_tune
from melodex.errors import MelodexError
from melodex.melody import TICKS_PER_QUARTER, Melody
from melodex.presentation.engraving.pictures import engrave_melody, engrave_sheet
from melodex.presentation.notation.abc import abc_text
from melodex.presentation.notation.midi import midi_bytes
from melodex.presentation.notation.musicxml.document import musicxml_text
from melodex.presentation.notation.writing import write_out
from melodex.presentation.pages import rendered
from melodex.reading import read_bytes, read_path
from melodex.reading.abc.reader import read_abc
from melodex.tasks.passage import Passage

SEED = 20261128
PACKAGES = ("music21", "mido", "verovio", "typst")
TIME = ("midi", "fifths", "onset_ticks", "duration_ticks")


def sheets() -> list[Path]:
    """The MusicXML files of music21's corpus."""
    found = [
        path for kind in ("mxl", "xml", "musicxml") for path in MUSIC21.rglob(f"*.{kind}")
    ]
    return sorted(found)


def real_melodies(count: int) -> list[Melody]:
    """All MusicXML, and as many tunes of the ABC as make up the count."""
    out = [tune.melody for path in sheets() for tune in read_path(path).tunes]
    tunes = [
        part
        for _, text in abc_texts()
        for part in re.split(r"(?m)^(?=X:)", text)
        if part.startswith("X:")
    ]
    random.Random(SEED).shuffle(tunes)
    for text in tunes:
        if len(out) >= count:
            break
        out += [tune.melody for tune in read_abc(text, "corpus").tunes]
    return out


def outcomes(melodies: list[Melody], seconds: float, every: int) -> Counter[str]:
    """How many tunes come back the same from each format; some of them are drawn."""
    counts: Counter[str] = Counter()
    stop = time.perf_counter() + seconds
    for place, melody in enumerate(melodies):
        counts["tunes"] += 1
        try:
            one_tune(melody, counts, by_music21=time.perf_counter() < stop)
            if place % every == 0:
                draw_one(melody, counts)
        except MelodexError as error:
            counts["refused"] += 1
            print(melody.title, error)
    return counts


def one_tune(melody: Melody, counts: Counter[str], *, by_music21: bool) -> None:
    """Write and export one tune and count what is right."""
    bars = write_out(melody)
    counts["bars"] += len(bars)
    counts["bars without note values"] += sum(bool(bar.fault) for bar in bars)
    texts = {"abc": abc_text(melody), "musicxml": musicxml_text(melody)}
    for form, text in texts.items():
        again = read_bytes(text.encode(), form, "").tunes[0].melody
        same = all(getattr(again, name) == getattr(melody, name) for name in TIME)
        counts[f"{form}: notes"] += same
        counts[f"{form}: id"] += again.content_id() == melody.content_id()
    counts["midi: notes"] += heard_by_mido(midi_bytes([melody])) == notes_of(melody)
    if by_music21:
        counts["read by music21"] += 1
        counts["music21: notes"] += close(heard_by_music21(texts["musicxml"]), melody)


def draw_one(melody: Melody, counts: Counter[str]) -> None:
    """Draw one tune and count what is right."""
    drawn = engrave_sheet(melody)
    counts["drawn"] += 1
    counts["drawn with every note"] += drawn.note_count == len(melody)
    justified(drawn.svg, counts)


def justified(svg: str, counts: Counter[str]) -> None:
    """Count the systems but the last that reach the full width, and all of them."""
    ends = [
        max((float(x) for _, x in re.findall(r"M\d+ (\d+) L(\d+) \1\b", system)), default=0)
        for system in svg.split('<g class="system"')[1:]
    ]
    widest = max(ends)
    counts["systems before the last"] += len(ends) - 1
    counts["of them within 1 % of the width"] += sum(e >= 0.99 * widest for e in ends[:-1])


def notes_of(melody: Melody) -> list[tuple[int, int, int]]:
    """Pitch, onset and length."""
    start = min(melody.bars[0].onset_ticks if melody.bars else 0, melody.onset_ticks[0])
    return [
        (pitch, onset - start, length)
        for pitch, onset, length in zip(
            melody.midi, melody.onset_ticks, melody.duration_ticks, strict=True
        )
    ]


def heard_by_mido(data: bytes) -> list[tuple[int, int, int]]:
    """Pitch, onset and length of each note of a MIDI file's first melody."""
    now, open_notes, out = 0, {}, []
    for message in mido.MidiFile(file=io.BytesIO(data)).tracks[1]:
        now += message.time
        if message.type == "note_on" and message.velocity:
            open_notes[message.note] = now
        elif message.type in {"note_on", "note_off"} and message.note in open_notes:
            begun = open_notes.pop(message.note)
            out.append((message.note, begun, now - begun))
    return sorted(out, key=lambda note: note[1])


def heard_by_music21(text: str) -> list[tuple[int, float, float]]:
    """Pitch, onset and length in quarters, ties merged, by music21."""
    score = music21.converter.parse(text, format="musicxml", forceSource=True)
    assert isinstance(score, music21.stream.Score)
    out: list[tuple[int, float, float]] = []
    for note in score.parts[0].flatten().notes:
        if not isinstance(note, music21.note.Note) or note.duration.isGrace:
            continue
        onset, length = float(note.offset), float(note.quarterLength)
        if note.tie and note.tie.type in {"stop", "continue"} and out:
            out[-1] = (*out[-1][:2], onset + length - out[-1][1])
        else:
            out.append((note.pitch.midi, onset, length))
    return out


def close(heard: list[tuple[int, float, float]], melody: Melody) -> bool:
    """Whether what was heard is the melody, times to within a 128th note."""
    mine = notes_of(melody)
    return len(heard) == len(mine) and all(
        a[0] == b[0]
        and all(
            abs(x - y / TICKS_PER_QUARTER) < 0.03 for x, y in zip(a[1:], b[1:], strict=True)
        )
        for a, b in zip(heard, mine, strict=True)
    )


# Endings


def endings() -> Counter[str]:
    """How many real files have the brackets of their endings where the source has them."""
    counts: Counter[str] = Counter()
    for path in sheets():
        tunes = read_path(path).tunes
        root = root_of(path)
        if not tunes or root is None or root.find(".//ending") is None:
            continue
        melody = tunes[0].melody
        source = brackets(root.findall("part")[int(melody.credits.number) - 1])
        if source:
            mine = brackets(fromstring(musicxml_text(melody)).findall("part")[0])
            counts["files with endings"] += 1
            counts["brackets as in the source"] += mine == source
    return counts


def root_of(path: Path) -> Element | None:
    """The root of a sheet, plain or packed, read without our reader."""
    data = path.read_bytes()
    try:
        if data.startswith(b"PK"):
            with zipfile.ZipFile(io.BytesIO(data)) as archive:
                names = [n for n in archive.namelist() if "META-INF" not in n]
                data = archive.read(
                    next(n for n in names if n.endswith(("xml", "musicxml")))
                )
        return fromstring(data)
    except (ParseError, StopIteration):
        return None


def brackets(part: Element) -> list[tuple[Any, ...]]:
    """First and last measure, numbers, and kind of end of each bracket."""
    out, begun = [], None
    for place, measure in enumerate(part.findall("measure")):
        for ending in measure.iter("ending"):
            kind = ending.get("type")
            if kind == "start":
                begun = (place, ending.get("number", "").replace(" ", ""))
            elif begun:
                out.append((begun[0], place, begun[1], kind))
                begun = None
    return out


# Invented tunes


def invented(count: int) -> dict[str, Counter[str]]:
    """What becomes of invented files of each format."""
    out = {}
    for form, make in (("abc", abc_tune), ("musicxml", musicxml_tune), ("midi", midi_tune)):
        counts: Counter[str] = Counter()
        for number in range(count):
            data = make(random.Random(f"{SEED}-{form}-{number}"))
            counts["files"] += 1
            for tune in read_bytes(data, form, f"{form}-{number}").tunes:
                counts["read"] += 1
                try:
                    one_tune(tune.melody, counts, by_music21=False)
                    if number % 5 == 0:
                        draw_one(tune.melody, counts)
                except MelodexError as error:
                    counts["refused"] += 1
                    print(form, number, error)
        out[form] = counts
    return out


# Collisions


def collisions(melodies: list[Melody], count: int) -> dict[str, Any]:
    """Pairs of texts whose boxes overlap, in passages of eight bars."""
    found, seen, examples = 0, 0, []
    for melody in melodies:
        if seen == count or len(melody) < 8:
            continue
        last = next(
            (n for n in range(len(melody)) if melody.bar[n] >= melody.bar[0] + 8), 0
        )
        part = melody.excerpt(0, (last or len(melody)) - 1)
        drawn = engrave_melody(part, excerpt=True)
        seen += 1
        overlapping = [
            (a[0], b[0]) for a, b in combinations(text_boxes(drawn.svg), 2) if overlap(a, b)
        ]
        found += len(overlapping)
        examples += [(melody.title, *pair) for pair in overlapping[:1]]
    return {"passages": seen, "collisions": found, "examples": examples[:10]}


def text_boxes(svg: str) -> list[tuple[str, float, float, float, float]]:
    """Each text with left, top, right and bottom."""
    out = []
    for text in fromstring(svg).iter("{http://www.w3.org/2000/svg}text"):
        words = "".join(text.itertext())
        size = float(text.get("font-size", "405"))
        width = sum(width_of(letter) for letter in words) * size
        left = float(text.get("x", 0))
        left -= {"middle": 0.5, "end": 1.0}.get(text.get("text-anchor", ""), 0.0) * width
        base = float(text.get("y", 0))
        out.append((words, left, base - 0.66 * size, left + width, base))
    return out


def width_of(letter: str) -> float:
    """Width of a letter of a serif face, in its size (common practice, no source)."""
    if letter.isupper():
        return 0.66
    return 0.3 if letter in "iljtf.,:;'-() " else 0.47


def overlap(a: tuple[Any, ...], b: tuple[Any, ...]) -> bool:
    """Whether two boxes overlap by more than a hair."""
    hair = 15
    across = min(a[3], b[3]) - max(a[1], b[1]) > hair
    return across and min(a[4], b[4]) - max(a[2], b[2]) > hair


def paper() -> dict[str, float]:
    """Seconds that a tune of 60 bars takes as PDF, after a first one; median of five."""
    music = " | ".join(["GABc dedB", "dedB dedB", "c2ec B2dB", "c2A2 A2z2"] * 15)
    melody = read_abc(f"X:1\nT:Sixty\nM:4/4\nL:1/8\nK:G\n{music} |]").tunes[0].melody
    whole = Passage(melody, melody, 0, melody.content_id(), False)
    times = []
    for _ in range(6):
        start = time.perf_counter()
        rendered(whole, "pdf")
        times.append(time.perf_counter() - start)
    return {
        "first": round(times[0], 2),
        "median of five more": round(sorted(times[1:])[2], 2),
    }


def main() -> None:
    """Measure, print, and keep what was measured if asked to."""
    options = asker(__doc__)
    options.add_argument("--tunes", type=int, default=1500)
    options.add_argument("--invented", type=int, default=300)
    options.add_argument("--seconds", type=float, default=420)
    options.add_argument("--every", type=int, default=1, help="draw one tune in so many")
    options.add_argument("--passages", type=int, default=300)
    chosen = options.parse_args()
    melodies = real_melodies(chosen.tunes)
    random.Random(SEED).shuffle(melodies)
    rows: dict[str, Any] = {}
    for name, measure in (
        ("paper, seconds", paper),
        ("endings", endings),
        ("real", lambda: outcomes(melodies, chosen.seconds, chosen.every)),
        ("invented", lambda: invented(chosen.invented)),
        ("collisions", lambda: collisions(melodies, chosen.passages)),
    ):
        rows[name] = measure()
        print(name, rows[name], flush=True)
    lines = [f"{name}: {row}" for name, row in rows.items()]
    text = "\n".join(lines).replace("Counter(", "").replace(")", "") + "\n"
    keep(
        chosen.keep,
        {"notation.json": about(*PACKAGES) | {"rows": rows}, "notation.txt": text},
    )


if __name__ == "__main__":
    main()
