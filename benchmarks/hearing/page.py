"""Sing phrases into the page in Debian's Chromium, by keyboard alone, and count the tunes.

Run:  python -m benchmarks.hearing.page [--phrases 40] [--kinds "sung, separated" ...]
      [--corpus FILE] [--keep NAME]

Each phrase is a file that a browser of its own takes for its microphone. Record is pressed
by a key; the recording ends by itself when it is quiet; Enter looks for what was heard.
Counted is the place of the tune among the first ten that the page shows. Timed, inside the
browser, are the way from the end of the recording to the notes, and from Enter to the
frame that shows the results: their sum is what a musician waits for. Of both the part that
grows with the recording is small, and each clip's length is kept beside its times.

Without ``--corpus`` the ABC collections that music21 installs are added to a corpus in a
temporary folder first. Phrases are those of the reported half of ``recall``, in turn one of
each kind.

Contents: main.
"""

from __future__ import annotations

import json
import re
import statistics
import tempfile
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import numpy as np
from playwright.sync_api import Page, Playwright, expect, sync_playwright

from benchmarks.hearing.recall import SEED
from benchmarks.hearing.sounds import Sung, melodies, phrases, sound_of
from benchmarks.keeping import about, asker, keep
from benchmarks.pages.workbench import FLAGS, corpus_of, started
from melodex.reading.recording.waveform import RATE_HZ

VOICES = ("sung, separated", "sung, joined", "sung, rough", "whistle")
LEAD_SECONDS, QUIET_SECONDS = 1.0, 3.0
PATIENCE_MS = 90_000

WATCH = """() => {
  const button = document.querySelector("[data-start]");
  window.times = {};
  new MutationObserver(() => {
    if (button.textContent === "Record") window.times.stopped ??= performance.now();
  }).observe(button, { childList: true });
  new MutationObserver(() => {
    if (document.querySelector("[data-note]")) window.times.heard ??= performance.now();
  }).observe(document.querySelector("[data-roll]"), { childList: true });
  document.getElementById("phrase").addEventListener("keydown", (event) => {
    if (event.key === "Enter") window.times.asked ??= performance.now();
  }, true);
  document.getElementById("found").addEventListener("found", () => {
    requestAnimationFrame(() => requestAnimationFrame(() => {
      window.times.found ??= performance.now();
    }));
  });
}"""


def microphone_file(sung: Sung, kind: str, folder: Path) -> tuple[Path, float]:
    """A WAV file of the phrase with quiet around it, and the seconds of the phrase."""
    from tests.reading.sounding import wav

    sound = sound_of(sung, kind).astype(float)
    # A room is never still: noise as soft as in the clip's own end.
    dice = np.random.default_rng(sung.seed)
    still = float(np.std(sound[-RATE_HZ // 20 :])) + 1e-5
    before, after = (
        dice.normal(0, still, round(seconds * RATE_HZ))
        for seconds in (LEAD_SECONDS, QUIET_SECONDS)
    )
    path = folder / "microphone.wav"
    path.write_bytes(wav(np.concatenate([before, sound, after])))
    return path, len(sound) / RATE_HZ


def tabbed_to(page: Page, name: str) -> None:
    """Go to a button by the Tab key alone."""
    for _ in range(80):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.textContent.trim()").startswith(name):
            return
    raise AssertionError(f"the Tab key does not come to {name}")


def sing(playwright: Playwright, address: str, sound: Path) -> dict[str, Any]:
    """Sing one phrase to the page: the ids found, in their order, and the times."""
    browser = playwright.chromium.launch(
        executable_path="/usr/bin/chromium",
        args=[
            *FLAGS.split(),
            "--use-fake-ui-for-media-stream",
            "--use-fake-device-for-media-stream",
            f"--use-file-for-fake-audio-capture={sound}%noloop",
        ],
    )
    try:
        context = browser.new_context(viewport={"width": 1200, "height": 900})
        context.set_default_timeout(PATIENCE_MS)
        parts = urlsplit(address)
        base = f"http://{parts.netloc}"
        key = address.partition("pass=")[2]
        context.add_cookies([{"name": f"melodex-{parts.port}", "value": key, "url": base}])
        page = context.new_page()
        page.goto(base)
        page.evaluate(WATCH)
        tabbed_to(page, "Sing it")
        page.keyboard.press("Enter")
        tabbed_to(page, "Record")
        page.keyboard.press("Enter")
        said = page.locator("[data-said]")
        outcome = re.compile(r"notes were heard|\bIt\b|sounds|heard in it|recording")
        expect(said).to_have_text(outcome, timeout=PATIENCE_MS)
        expect(said).not_to_contain_text("Sing, whistle", timeout=PATIENCE_MS)
        expect(said).not_to_contain_text("Listening", timeout=PATIENCE_MS)
        words = said.inner_text()
        if "notes were heard" not in words:
            return {"said": words, "ids": [], "times": {}}
        page.wait_for_timeout(300)
        # Back to the phrase, as a person would who uses no mouse.
        for _ in range(80):
            page.keyboard.press("Shift+Tab")
            if page.evaluate("document.activeElement.id") == "phrase":
                break
        page.keyboard.press("Enter")
        page.wait_for_function("() => window.times.found", timeout=PATIENCE_MS)
        ids = page.locator("[data-tune]").evaluate_all(
            "all => all.map(e => e.dataset.tune)"
        )
        return {"said": words, "ids": ids, "times": page.evaluate("window.times")}
    finally:
        browser.close()


def row_of(sung: Sung, kind: str, seconds: float, found: dict[str, Any]) -> dict[str, Any]:
    """What came of one phrase."""
    times, ids = found["times"], found["ids"]
    row = {
        "kind": kind,
        "phrase": sung.seed,
        "seconds": round(seconds, 1),
        "place": ids.index(sung.tune_id) + 1 if sung.tune_id in ids else 0,
        "said": found["said"][:80],
    }
    if times:
        row["ms_to_notes"] = round(times["heard"] - times["stopped"])
        row["ms_to_results"] = round(times["found"] - times["asked"])
    return row


def summary(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """Figures of some phrases."""
    waited = [
        row["ms_to_notes"] + row["ms_to_results"] for row in rows if "ms_to_notes" in row
    ]
    ten = [
        (row["ms_to_notes"] + row["ms_to_results"])
        for row in rows
        if "ms_to_notes" in row and row["seconds"] <= 10
    ]
    return {
        "phrases": len(rows),
        **{
            f"among {k}": round(sum(0 < row["place"] <= k for row in rows) / len(rows), 3)
            for k in (1, 3, 10)
        },
        "ms_from_stop_to_results": {
            "median": round(statistics.median(waited)) if waited else None,
            "longest": max(waited, default=None),
            "longest of 10 s at most": max(ten, default=None),
        },
    }


def main() -> None:
    """Sing, print, and keep where that is wanted."""
    parser = asker(__doc__)
    parser.add_argument("--phrases", type=int, default=40)
    parser.add_argument("--kinds", nargs="+", default=list(VOICES))
    parser.add_argument("--corpus", type=Path)
    said = parser.parse_args()
    half = [
        sung
        for sung in phrases(melodies(), 2 * said.phrases, SEED)
        if sung.half == "reported"
    ]
    rows: list[dict[str, Any]] = []
    with tempfile.TemporaryDirectory() as name, sync_playwright() as playwright:
        folder = Path(name)
        corpus = said.corpus or corpus_of(folder)
        with started(corpus) as address:
            for place, sung in enumerate(half):
                kind = said.kinds[place % len(said.kinds)]
                sound, seconds = microphone_file(sung, kind, folder)
                rows.append(row_of(sung, kind, seconds, sing(playwright, address, sound)))
                print(json.dumps(rows[-1]), flush=True)
    results = {"all": summary(rows)}
    for kind in said.kinds:
        results[kind] = summary([row for row in rows if row["kind"] == kind])
    print(json.dumps(results, indent=1))
    if said.keep:
        facts = about("numpy", "playwright") | {"results": results, "phrases": rows}
        keep(said.keep, {"page.json": facts})


if __name__ == "__main__":
    main()
