"""Maps of pieces: whether real tunes have them whole, and no word lies on another.

Run:  python -m benchmarks.pages.maps [--keep NAME] [--tunes 200]

Real tunes are those that music21 installs: a seeded sample, half sheets of MusicXML, half
ABC. Of each the map is drawn twice and compared byte for byte; notes and bars in it are
counted; the seconds of the processor that its analysis and its drawing take are measured.
Chromium lays the words out, and boxes of words that overlap are counted: by more than a
pixel across and 3.5 down, since a box is taller than the letters in it.

Contents: sample, one_map, overlaps, main.
"""

from __future__ import annotations

import random
import re
import time
from collections import Counter
from statistics import median
from typing import Any

from playwright.sync_api import sync_playwright

from benchmarks.keeping import about, asker, keep, line_by_line
from benchmarks.material import abc_texts
from benchmarks.pages.notation import sheets
from melodex.melody import Melody
from melodex.presentation.map.content import piece_map
from melodex.presentation.map.drawing import drawn_map
from melodex.presentation.map.strips import ruled_strips
from melodex.reading import read_path
from melodex.reading.abc.reader import read_abc
from melodex.tasks.describe.describe import describe
from melodex.tasks.passage import Passage

SEED = 20261128
FLAGS = ["--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--mute-audio"]
OVERLAPS = """() => {
  const boxes = [...document.querySelectorAll('text')].map(
    (text) => [text.textContent, text.getBoundingClientRect()]);
  const found = [];
  boxes.forEach(([words, a], place) => {
    for (const [others, b] of boxes.slice(place + 1)) {
      const across = Math.min(a.right, b.right) - Math.max(a.left, b.left);
      const down = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
      if (across > 1 && down > 3.5) found.push([words, others]);
    }
  });
  const width = document.querySelector('svg').getBoundingClientRect();
  const outside = boxes.filter(
    ([, b]) => b.left < width.left - 1 || b.right > width.right + 1);
  return [found, outside.map(([words]) => words)];
}"""


def sample(count: int) -> list[Melody]:
    """Half from sheets, half from ABC, the same each time."""
    draw = random.Random(SEED)
    out: list[Melody] = []
    for path in draw.sample(sheets(), len(sheets())):
        if len(out) >= count // 2:
            break
        out += [tune.melody for tune in read_path(path).tunes[:1] if len(tune.melody)]
    tunes = [
        part
        for _, text in abc_texts()
        for part in re.split(r"(?m)^(?=X:)", text)
        if part.startswith("X:")
    ]
    draw.shuffle(tunes)
    for text in tunes:
        if len(out) >= count:
            break
        out += [tune.melody for tune in read_abc(text, "corpus").tunes if len(tune.melody)]
    return out[:count]


def one_map(melody: Melody, counts: Counter[str], seconds: dict[str, list[float]]) -> str:
    """Draw one map and count what is right."""
    start = time.process_time()
    found = describe(Passage(melody, melody, 0, melody.content_id(), False))
    middle = time.process_time()
    piece = piece_map(found)
    svg = drawn_map(piece)
    seconds["described"].append(middle - start)
    seconds["drawn"].append(time.process_time() - middle)
    strips = ruled_strips(piece)
    counts["maps"] += 1
    counts["strips"] += len(strips)
    counts["bars"] += len(piece.bars)
    counts["bars on strips"] += sum(r.strip.last - r.strip.first + 1 for r in strips)
    paths = re.findall(r'<path d="([^"]+)" fill="currentColor"', svg)
    notes = sum(path.count("z") for path in paths)
    counts["maps with every note"] += notes == len(melody)
    counts["same bytes twice"] += svg == drawn_map(piece_map(found))
    counts["most bars"] = max(counts["most bars"], len(piece.bars))
    return svg


def overlaps(svgs: list[str], counts: Counter[str]) -> list[Any]:
    """Count words that lie on others, or outside of the picture."""
    examples: list[Any] = []
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=FLAGS
        )
        page = browser.new_page(viewport={"width": 1100, "height": 900})
        for svg in svgs:
            page.set_content(svg)
            found, outside = page.evaluate(OVERLAPS)
            counts["words on words"] += len(found)
            counts["maps with words on words"] += bool(found)
            counts["words outside"] += len(outside)
            examples += found[:1] + outside[:1]
        browser.close()
    return examples


def main() -> None:
    """Measure, print, and keep what was measured if asked to."""
    options = asker(__doc__)
    options.add_argument("--tunes", type=int, default=200)
    chosen = options.parse_args()
    counts: Counter[str] = Counter()
    seconds: dict[str, list[float]] = {"described": [], "drawn": []}
    svgs = [one_map(melody, counts, seconds) for melody in sample(chosen.tunes)]
    examples = overlaps(svgs, counts)
    times = {
        f"{name}, seconds of the processor": {
            "median": round(median(each), 3),
            "most": round(max(each), 3),
        }
        for name, each in seconds.items()
    }
    rows = {"counts": dict(counts), "times": times, "examples": examples[:12]}
    text = line_by_line(rows)
    print(text)
    keep(chosen.keep, {"maps.json": about("music21") | {"rows": rows}, "maps.txt": text})


if __name__ == "__main__":
    main()
