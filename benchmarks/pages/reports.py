"""Pages: how long they take beyond the search, and how large they are.

Run:  python -m benchmarks.pages.reports [--keep NAME] [--repeats 5] [--tunes 300]

Cold is a new Python process that reads a stored result and writes its page; the time
beyond the search is that of the process less that of one which only loads the result.
Warm is within one process, after one page. The music is invented: phrases of four
bars with chord symbols, seeded. Engraving is measured on tunes that music21 installs.

Contents: tunes, result_for, cold, warm, engraving, main.
"""

from __future__ import annotations

import pickle
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from benchmarks.keeping import about, asker, keep
from benchmarks.material import MUSIC21
from melodex.corpus.reader import Corpus
from melodex.corpus.writing.store import CorpusWriter
from melodex.melody import Melody
from melodex.melody.cutting import notes_of_bars
from melodex.presentation.engraving.pictures import engrave_melody
from melodex.presentation.pages import rendered
from melodex.reading.abc.reader import read_abc
from melodex.reading.result import Choice
from melodex.tasks.audit.audit import audit
from melodex.tasks.compare.compare import compare
from melodex.tasks.passage import Passage
from melodex.tasks.resemble import resemble

PACKAGES = ("verovio", "typst", "jinja2", "music21")
WRITE = """
import pickle, sys
result = pickle.load(open(sys.argv[1], "rb"))
if sys.argv[2] != "nothing":
    from melodex.presentation.pages import rendered
    rendered(result, sys.argv[2])
"""
CHORDS = ("C", "Am7", "Dm7", "G7", "F", "Em", "Fm", "Cmaj7")


def tunes(count: int, bars: int, seed: int) -> str:
    """Invented tunes in ABC, one chord symbol a bar; every other one quotes the first."""
    draw = random.Random(seed)
    shared = [melody_bar(draw) for _ in range(4)]
    out = []
    for number in range(1, count + 1):
        music = [melody_bar(draw) for _ in range(bars)]
        place = draw.randrange(0, max(1, bars - 3))
        music[place : place + 4] = shared
        key = draw.choice(["C", "D", "F", "G", "Bb"])
        lines = " | ".join(f'"{draw.choice(CHORDS)}"{bar}' for bar in music)
        out.append(f"X:{number}\nT:Bench {number}\nM:4/4\nL:1/8\nK:{key}\n{lines} |\n")
    return "\n".join(out)


def melody_bar(draw: random.Random) -> str:
    """Eight eighths or fewer, by step or skip."""
    pattern = draw.choice(["11111111", "221111", "2222", "31211", "11222"])
    return "".join(
        draw.choice("CDEFGABcde") + (length if length != "1" else "") for length in pattern
    )


def result_for(task: str, home: Path) -> Any:
    """A comparison of 4 bars, ten matches of 4 bars, or an audit of 20 findings."""
    path = home / f"{task}.melodex"
    with CorpusWriter.open(path) as writer:
        writer.add_reading(read_abc(tunes(60, 16, 1), "bench.abc", Choice()))
    own = read_abc(tunes(1, 32, 1), "own.abc", Choice()).tunes[0].melody
    own = own.with_credits(title="Own song")
    whole = Passage(own, own, 0, own.content_id(), False)
    with Corpus.open(path) as corpus:
        if task == "audit":
            return audit(corpus, whole, threshold=1e9, limit=20)
        first, last = notes_of_bars(own, 1, 32)
        found = audit(corpus, whole, threshold=1e9, limit=1).findings[0]
        phrase = found.own.phrase()
        assert first <= found.own.first_note <= last
        if task == "resemble":
            return resemble(corpus, phrase, limit=10)
        return compare(found.own, found.tune)


def cold(stored: Path, form: str, repeats: int) -> list[float]:
    """Seconds of new processes that load a result and write one form of it."""
    times = []
    for _ in range(repeats + 1):
        start = time.perf_counter()
        subprocess.run([sys.executable, "-c", WRITE, str(stored), form], check=True)
        times.append(time.perf_counter() - start)
    return times[1:]


def warm(result: Any, form: str, repeats: int) -> tuple[list[float], int]:
    """Seconds within this process after one run, and the size in bytes."""
    content = rendered(result, form)
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        rendered(result, form)
        times.append(time.perf_counter() - start)
    return times, len(content.encode() if isinstance(content, str) else content)


def engraving(count: int) -> dict[str, Any]:
    """Whole tunes of music21's ABC collections, seeded: notes counted in the picture."""
    import re

    texts: list[str] = []
    for path in sorted(MUSIC21.rglob("*.abc")):
        text = path.read_bytes().decode("utf-8", "replace")
        texts += [part for part in re.split(r"(?m)^(?=X:)", text) if part.startswith("X:")]
    melodies: list[Melody] = []
    for text in random.Random(20261125).sample(texts, count + count // 3):
        melodies += [t.melody for t in read_abc(text, "corpus", Choice()).tunes]
    melodies = [melody for melody in melodies if len(melody)][:count]
    start = time.perf_counter()
    drawn = [engrave_melody(melody).note_count for melody in melodies]
    seconds = time.perf_counter() - start
    whole = sum(n == len(m) for n, m in zip(drawn, melodies, strict=True))
    return {"tunes": len(melodies), "whole": whole, "notes": sum(drawn), "seconds": seconds}


def measured(repeats: int, tune_count: int) -> dict[str, Any]:
    """All rows."""
    rows: dict[str, Any] = {}
    with tempfile.TemporaryDirectory() as name:
        home = Path(name)
        for task in ("compare", "resemble", "audit"):
            result = result_for(task, home)
            stored = home / f"{task}.pickle"
            stored.write_bytes(pickle.dumps(result))
            nothing = cold(stored, "nothing", repeats)
            for form in ("html", "pdf"):
                times, size = warm(result, form, repeats)
                rows[f"{task} {form}"] = {
                    "items": len(
                        getattr(result, "matches", getattr(result, "findings", "1"))
                    ),
                    "cold": cold(stored, form, repeats),
                    "nothing": nothing,
                    "warm": times,
                    "bytes": size,
                }
    rows["engraving"] = engraving(tune_count)
    return rows


def summary(rows: dict[str, Any]) -> str:
    """The rows as text; of the times, the medians."""

    def middle(times: list[float]) -> float:
        return sorted(times)[len(times) // 2]

    lines = ["page              items  cold beyond search  warm      bytes"]
    for name, row in rows.items():
        if name != "engraving":
            beyond = middle(row["cold"]) - middle(row["nothing"])
            times = f"{beyond:>14.2f} s  {middle(row['warm']):>5.2f} s"
            lines.append(f"{name:<17} {row['items']:>5}  {times}  {row['bytes']:>9,}")
    drawn = rows["engraving"]
    lines.append(
        f"engraving: {drawn['whole']} of {drawn['tunes']} real tunes whole, "
        f"{drawn['notes']:,} notes counted, {drawn['seconds']:.1f} s"
    )
    return "\n".join(lines) + "\n"


def main() -> None:
    """Measure, print, and keep what was measured if asked to."""
    options = asker(__doc__)
    options.add_argument("--repeats", type=int, default=5)
    options.add_argument("--tunes", type=int, default=300)
    chosen = options.parse_args()
    rows = measured(chosen.repeats, chosen.tunes)
    text = summary(rows)
    print(text, end="")
    run = about(*PACKAGES) | {"rows": rows}
    keep(chosen.keep, {"pages.json": run, "pages.txt": text})


if __name__ == "__main__":
    main()
