"""The workbench: cold to first page, key to stave, search to results, list to first music.

Run:  python -m benchmarks.pages.workbench [--keep NAME] [--repeats 12] [--corpus FILE]
      python -m benchmarks.pages.workbench --picture

Without ``--corpus`` the ABC collections that music21 installs (some 13,000 tunes) are
added to a corpus in a temporary folder first. Times in the browser are taken inside
Debian's Chromium: a key press is timed from its event to the frame after the stave was
put into the page; a search from the press of Enter to the frame after the results were
put into the page, the first match engraved; a list of thirty rows from the start of its
navigation to the frame after its first stave. Each search is for another phrase, so that no
answer is at hand already. Twenty searches at once come from twenty
threads without a browser; each answer is compared with what the command line gives for
the same phrase, alone.

``--picture`` measures nothing and draws the picture of the README: what the demo's corpus
holds of a phrase.

Contents: corpus_of, cold, keys, searches, lists, together, picture, main.
"""

from __future__ import annotations

import http.client
import json
import os
import random
import signal
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.parse import quote_plus, urlsplit

from playwright.sync_api import Browser, Page, sync_playwright

from benchmarks.keeping import ROOT, about, asker, keep
from benchmarks.material import MUSIC21
from melodex.corpus.reader import Corpus
from melodex.tasks.adding.add import add_paths

PACKAGES = ("starlette", "uvicorn", "verovio", "jinja2", "playwright", "music21")
FLAGS = (
    "--no-sandbox --disable-gpu --disable-dev-shm-usage --disable-quic --no-first-run "
    "--disable-background-networking --disable-component-update --disable-sync "
    "--mute-audio"
)
SEED = 20261125
SHOWN = "/find?phrase=3+5+3+1+3+1+4+6+4+3+1"
AT_ONCE = 20

WATCH_KEYS = """() => {
  window.taken = [];
  let pressed = 0;
  const field = document.getElementById("phrase");
  field.addEventListener("keydown", () => { pressed = performance.now(); }, true);
  document.getElementById("stave").addEventListener("drawn", () => {
    const from = pressed;
    requestAnimationFrame(() => requestAnimationFrame(() => {
      window.taken.push(performance.now() - from);
    }));
  });
}"""
WATCH_SEARCHES = """() => {
  window.taken = [];
  let pressed = 0;
  document.getElementById("phrase").addEventListener("keydown", (event) => {
    if (event.key === "Enter") pressed = performance.now();
  }, true);
  document.getElementById("found").addEventListener("found", () => {
    const from = pressed;
    requestAnimationFrame(() => requestAnimationFrame(() => {
      window.taken.push(performance.now() - from);
    }));
  });
}"""


WATCH_ROWS = """addEventListener("drawn", () => {
  if (window.firstMusic) return;
  requestAnimationFrame(() => requestAnimationFrame(() => {
    window.firstMusic ??= performance.now();
  }));
}, true);"""
LISTED_KEYS = ("G", "D", "A", "E minor", "F", "B minor", "A minor", "Bb", "D minor")


def corpus_of(folder: Path) -> Path:
    """A corpus of the ABC collections that music21 installs."""
    files = sorted(MUSIC21.rglob("*.abc"))
    path = folder / "abc.melodex"
    result = add_paths(path, files)
    print(f"added {result.added:,} tunes", file=sys.stderr)
    return path


def phrases(count: int, seed: int) -> list[str]:
    """Invented phrases of eight degrees, none twice."""
    draw = random.Random(seed)
    found: dict[str, None] = {}
    while len(found) < count:
        found[" ".join(draw.choice("1234567") for _ in range(8))] = None
    return list(found)


@contextmanager
def started(corpus_path: Path) -> Iterator[str]:
    """A workbench in a process of its own; gives its first address."""
    command = [sys.executable, "-m", "melodex", "--corpus", str(corpus_path)]
    process = subprocess.Popen(
        [*command, "workbench", "--no-open"], stderr=subprocess.PIPE, text=True
    )
    assert process.stderr is not None
    try:
        yield process.stderr.readline().split()[-1]
    finally:
        process.send_signal(signal.SIGINT)
        process.wait(30)
        process.stderr.close()


def get(address: str, path: str) -> tuple[int, bytes]:
    """One request with the cookie."""
    parts = urlsplit(address)
    key = address.partition("pass=")[2]
    cookie = f"melodex-{parts.port}={key}"
    connection = http.client.HTTPConnection(parts.netloc, timeout=120)
    connection.request("GET", path, headers={"Cookie": cookie})
    answer = connection.getresponse()
    body = answer.read()
    connection.close()
    return answer.status, body


def cold(corpus_path: Path, repeats: int) -> list[float]:
    """Seconds from starting the program until the whole first page is there."""
    taken = []
    for _ in range(repeats):
        began = time.perf_counter()
        with started(corpus_path) as address:
            status, body = get(address, "/")
            taken.append(time.perf_counter() - began)
            assert status == 200
            assert b"Where have I met this?" in body
    return taken


def opened(browser: Browser, address: str) -> Page:
    """A page that knows the key."""
    page = browser.new_context(viewport={"width": 1200, "height": 900}).new_page()
    page.goto(address)
    return page


def keys(browser: Browser, address: str, repeats: int) -> list[float]:
    """Milliseconds from a key press to the frame that shows its stave."""
    taken: list[float] = []
    page = opened(browser, address)
    page.evaluate(WATCH_KEYS)
    for phrase in ("1 2 3", *phrases(repeats, SEED)):
        page.fill("#phrase", "")
        page.evaluate("() => { window.taken = []; }")
        for shown, word in enumerate(phrase.split()):
            # The space alone changes nothing that is drawn.
            page.keyboard.insert_text(" ")
            page.wait_for_timeout(120)
            page.evaluate("() => { window.taken = []; }")
            page.keyboard.press(word)
            page.locator(f"#stave g.note >> nth={shown}").wait_for(state="attached")
            page.wait_for_timeout(60)
            taken += page.evaluate("window.taken")[:1]
    page.context.close()
    # The first phrase warms up.
    return taken[3:]


def searches(browser: Browser, address: str, repeats: int) -> list[float]:
    """Milliseconds from Enter to the frame that shows the results, the first opened."""
    page = opened(browser, address)
    page.evaluate(WATCH_SEARCHES)
    for count, phrase in enumerate(phrases(repeats + 1, SEED + 1), 1):
        page.fill("#phrase", phrase)
        page.wait_for_timeout(400)
        page.keyboard.press("Enter")
        page.wait_for_function("(count) => window.taken.length === count", arg=count)
        assert page.locator("#match-1 svg.music").count() == 1
    taken: list[float] = page.evaluate("window.taken")
    page.context.close()
    # The first one warms up.
    return taken[1:]


def lists(browser: Browser, address: str) -> list[float]:
    """Milliseconds from going to a list of thirty rows to the frame with a stave."""
    page = opened(browser, address)
    page.add_init_script(WATCH_ROWS)
    base = address.partition("/?")[0]
    taken: list[float] = []
    for key in ("C", *LISTED_KEYS):
        page.goto(f"{base}/gather?key={quote_plus(key)}&limit=30")
        page.locator(".small-stave svg.music").first.wait_for()
        page.wait_for_timeout(100)
        assert page.locator(".matches > li").count() == 30
        taken.append(page.evaluate("window.firstMusic"))
    page.context.close()
    # The first one warms up.
    return taken[1:]


def together(corpus_path: Path, address: str) -> dict[str, Any]:
    """Twenty searches at once: seconds until all are answered, errors, wrong answers."""
    asked = phrases(AT_ONCE, SEED + 2)
    paths = [f"/find?phrase={quote_plus(phrase)}&form=json&limit=10" for phrase in asked]
    began = time.perf_counter()
    with ThreadPoolExecutor(AT_ONCE) as pool:
        answers = list(pool.map(lambda path: get(address, path), paths))
    seconds = time.perf_counter() - began
    wrong = 0
    words = [sys.executable, "-m", "melodex", "--corpus", str(corpus_path), "resemble"]
    for phrase, (status, body) in zip(asked, answers, strict=True):
        command = [*words, phrase, "--limit", "10", "--format", "json"]
        alone = subprocess.run(command, check=True, capture_output=True).stdout
        wrong += status == 200 and json.loads(body) != json.loads(alone)
    return {
        "seconds_until_all_are_answered": round(seconds, 3),
        "errors": sum(status != 200 for status, _ in answers),
        "wrong_answers": wrong,
    }


def picture() -> None:
    """Draw the page with what resembles a phrase of the demo's corpus."""
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        path = Path(folder) / "fen.melodex"
        add_paths(path, [ROOT / "corpus_demo"])
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=FLAGS.split()
        )
        with started(path) as address:
            page = opened(browser, address)
            page.set_viewport_size({"width": 1200, "height": 1500})
            page.goto(address.partition("/?")[0] + SHOWN)
            page.screenshot(path=ROOT / "benchmarks" / "pictures" / "workbench.png")
        browser.close()


def told(name: str, unit: str, taken: list[float], wanted: float) -> str:
    """A line of the summary."""
    ordered = sorted(taken)
    ninth = ordered[min(len(ordered) - 1, int(0.9 * len(ordered)))]
    middle = statistics.median(taken)
    verdict = "met" if middle < wanted else "MISSED"
    return (
        f"{name:<28} median {middle:8.3f} {unit}, 90th percentile {ninth:8.3f}, "
        f"least {ordered[0]:8.3f}, n {len(taken)}; wanted under {wanted:g}: {verdict}"
    )


def main() -> None:
    """Measure everything and, if asked to, keep it."""
    parser = asker(__doc__)
    parser.add_argument("--repeats", type=int, default=12)
    parser.add_argument("--corpus", type=Path)
    parser.add_argument("--note", default="", help="kept with the run")
    parser.add_argument("--picture", action="store_true")
    options = parser.parse_args()
    if options.picture:
        picture()
        return
    load_before = os.getloadavg()[0]
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        path = options.corpus or corpus_of(Path(folder))
        with Corpus.open(path) as corpus:
            tunes = corpus.tune_count
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=FLAGS.split()
        )
        samples: dict[str, list[float]] = {"cold_seconds": cold(path, options.repeats)}
        with started(path) as address:
            get(address, "/find/stave?phrase=1+2+3")
            samples["key_to_stave_ms"] = keys(browser, address, options.repeats)
            samples["search_to_results_ms"] = searches(browser, address, options.repeats)
            samples["list_to_first_music_ms"] = lists(browser, address)
            at_once = together(path, address)
        chromium = browser.version
        browser.close()
    lines = [
        f"{tunes:,} tunes; load average {load_before:.1f} before, "
        f"{os.getloadavg()[0]:.1f} after, on {os.cpu_count()} processors",
        told("cold to first page", "s ", samples["cold_seconds"], 0.7),
        told("key press to drawn stave", "ms", samples["key_to_stave_ms"], 100.0),
        told("Enter to shown results", "ms", samples["search_to_results_ms"], 250.0),
        told("list of 30 to first music", "ms", samples["list_to_first_music_ms"], 500.0),
        f"{AT_ONCE} searches at once: {at_once['errors']} errors, "
        f"{at_once['wrong_answers']} wrong answers, "
        f"{at_once['seconds_until_all_are_answered']} s until all are answered",
    ]
    if options.note:
        lines.append(options.note)
    print("\n".join(lines))
    run = about(*PACKAGES) | {
        "corpus": "added beforehand" if options.corpus else "added for this run",
        "chromium": chromium,
        "load_average_before": load_before,
        "tunes": tunes,
        "samples": {n: [round(v, 4) for v in taken] for n, taken in samples.items()},
        "together": at_once,
    }
    keep(options.keep, {"raw.json": run, "summary.txt": "\n".join(lines)})


if __name__ == "__main__":
    main()
