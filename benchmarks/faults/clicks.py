"""Random hands on the page: clicks, reloads, going back, second tabs; is anything lost?

Run:  python -m benchmarks.faults.clicks [--runs 200] [--seed 1] [--minutes 600]
      [--keep NAME]

Each run makes a teaching set of the demo's corpus and does sixty random things in
Debian's Chromium, without waiting for what it has done before: it types words beside
passages, types phrases, searches, keeps matches, moves passages, takes them out, undoes
that or a keeping, goes to other pages, reloads, goes back and forward, opens and closes
tabs. Every word is one of a kind and is only ever added behind others. At the end each
passage that was taken out, or whose keeping was undone, is brought back by the list of what
was done. Then every word has to stand in the corpus, every passage that was kept has to be
in the set, and each tab has to show the phrase that was typed in it last. A word that
stands glued to another is lost too.

Contents: Hand, run, main.
"""

from __future__ import annotations

import random
import shutil
import sqlite3
import sys
import tempfile
import time
from contextlib import closing
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright
from playwright.sync_api import Error as BrowserError

from benchmarks.keeping import ROOT, about, asker, keep
from benchmarks.pages.workbench import FLAGS, started
from melodex.corpus.reader import Corpus
from melodex.tasks.adding.add import add_paths
from melodex.tasks.lesson.sets import Lesson, open_lesson

STEPS = 60
MOST_TABS = 3
PATIENCE_MS = 8_000
"""Of a hand that wants something of a page."""
CHECKING_MS = 180_000
"""Of what makes ready and looks at the end, beside any load."""
LATEST_MS = 10_000
"""After which nothing that was pressed is still on its way."""
AWAY = ("Undo: Took out", "Undo: Undone: Kept")
"""How buttons of the list begin that bring passages back."""
TUNES = ("The Eel Trap", "Marl Pit Hornpipe", "Snail Post", "Foghorn Samba")
TEXTS = "[...document.querySelectorAll('[data-words]')].map((field) => field.value)"
ROOMS = ("Find", "Gather", "Teaching sets", "Shelf", "Look inside", "My own tune")


class Hand:
    """What one run has done: its tabs, and what must be there in the end."""

    def __init__(self, context: BrowserContext, base: str, seed: int) -> None:
        self.draw = random.Random(seed)
        self.context = context
        self.base = base
        self.set_name = f"Run {seed}"
        self.count = 0
        self.words: list[str] = []
        self.phrases: dict[int, str] = {}
        self.kept: set[tuple[str, str]] = set()
        self.log: list[str] = []
        self.tabs: list[Page] = []
        self.patience_ms = CHECKING_MS
        self.open_tab()
        self.page.goto(f"{base}/tune?tune=Snail+Post")
        for tune in TUNES:
            self.page.goto(f"{base}/tune?{_query(tune=tune, bars='1-4')}")
            self.page.locator("form[data-keep] [name=into]").fill(self.set_name)
            self.page.get_by_role("button", name="Keep", exact=True).click()
            self.page.locator(".kept a").wait_for()

        self.wait_for(PATIENCE_MS)

    def wait_for(self, patience_ms: int) -> None:
        """Wait so long for whatever is wanted from now on."""
        self.patience_ms = patience_ms
        for page in self.tabs:
            page.set_default_timeout(patience_ms)

    @property
    def page(self) -> Page:
        """The tab in front."""
        return self.tabs[-1]

    def open_tab(self) -> None:
        """A new tab, in front."""
        page = self.context.new_page()
        page.set_default_timeout(self.patience_ms)
        self.tabs.append(page)
        page.goto(self.base)

    # What hands do; each gives up where what it needs is not on the page.

    def is_at_set(self) -> bool:
        """Whether the set is in front; goes there first, as often as not."""
        at = "/set?" in self.page.url and self.page.locator("#set-body").count() > 0
        if not at:
            self.page.goto(f"{self.base}/set?{_query(name=self.set_name)}")
        return self.page.locator(".note textarea").count() > 0

    def write(self) -> None:
        """Type a word behind those that stand beside a passage."""
        if not self.is_at_set():
            return
        fields = self.page.locator(".note textarea")
        field = fields.nth(self.draw.randrange(fields.count()))
        self.count += 1
        word = f"word{self.count}of{self.set_name.split()[1]}"
        field.focus()
        self.page.keyboard.press("Control+End")
        self.page.keyboard.insert_text(f" {word}")
        # It counts wherever it stands: what a page does meanwhile may move its passage.
        if any(word in text for text in self.page.evaluate(TEXTS)):
            self.words.append(word)

    def press(self) -> None:
        """Move a passage, or take it out."""
        if not self.is_at_set():
            return
        what = self.draw.choice(("Earlier", "Later", "Remove"))
        buttons = self.page.locator(f".note button:enabled:text-is('{what}')")
        count = buttons.count()
        if count > (1 if what == "Remove" else 0):
            buttons.nth(self.draw.randrange(count)).click(no_wait_after=True)

    def undo(self) -> None:
        """Undo what was done last, where that is offered."""
        button = self.page.locator("#did button")
        if button.count():
            button.first.click(no_wait_after=True)

    def type_phrase(self) -> None:
        """Type a phrase on the first page."""
        if self.page.locator("#phrase").count() == 0:
            self.page.locator(".top >> text=Find").first.click()
        text = " ".join(self.draw.choice("1234567") for _ in range(8))
        self.page.locator("#phrase").fill(text)
        self.phrases[id(self.page)] = text

    def search(self) -> None:
        """Search, and keep the first match."""
        self.type_phrase()
        self.page.keyboard.press("Enter")
        self.page.locator("#found .match").first.wait_for()
        tick = self.page.locator("#match-1 input[name=chosen]")
        tick.check()
        kept = (
            tick.get_attribute("data-tune") or "",
            tick.get_attribute("data-bars") or "",
        )
        form = self.page.locator("form[data-keep]")
        form.locator("[name=into]").fill(self.set_name)
        form.get_by_role("button", name="Keep").click()
        form.locator(".kept a").wait_for()
        self.kept.add(kept)

    def go(self) -> None:
        """Go to another room."""
        room = self.draw.choice(ROOMS)
        self.page.locator(f".top a:has(b:text-is('{room}'))").click()

    def reload(self) -> None:
        """Load the page again."""
        self.page.reload()

    def back(self) -> None:
        """Go back."""
        self.page.go_back()

    def forward(self) -> None:
        """Go forward."""
        self.page.go_forward()

    def tab(self) -> None:
        """Open another tab, go to another, or close one."""
        if len(self.tabs) < MOST_TABS and self.draw.random() < 0.5:
            self.open_tab()
        elif len(self.tabs) == MOST_TABS and self.draw.random() < 0.3:
            self.tabs.pop(0).close(run_before_unload=False)
        else:
            self.tabs.insert(0, self.tabs.pop())

    def step(self) -> None:
        """Do something."""
        doing = self.draw.choices(
            (self.write, self.press, self.undo, self.type_phrase, self.search, self.go,
             self.reload, self.back, self.forward, self.tab),
            (16, 8, 4, 5, 2, 7, 5, 6, 3, 4),
        )[0]  # fmt: skip
        self.log.append(doing.__name__)
        try:
            doing()
        except BrowserError as error:
            # A page that goes away under the hand is no fault; what is lost shows later.
            self.log.append(str(error).splitlines()[0][:90])


def _query(**fields: str) -> str:
    from urllib.parse import urlencode

    return urlencode(fields)


def bring_back(hand: Hand) -> bool:
    """Undo, by the list, what took passages away and stands; whether there was any.

    They were removed, or their keeping was undone.
    """
    brought = False
    for tab in hand.tabs:
        # What was pressed last may still be waiting for its turn.
        tab.locator("#set[aria-busy]").wait_for(state="detached")
    page = hand.page
    while True:
        page.goto(f"{hand.base}/done")
        # The latest stands first: undoing in this order brings every passage back.
        button = page.locator(", ".join(f"button[aria-label^='{each}']" for each in AWAY))
        mine = [b for b in button.all() if hand.set_name in _set_of(b)]
        if not mine:
            return brought
        brought = True
        with page.expect_navigation():
            mine[0].click()


def _set_of(button: Any) -> str:
    return str(button.locator("xpath=..").locator("a").get_attribute("href")).replace(
        "+", " "
    )


def settled(page: Page) -> None:
    """Let a page of the set write what it holds."""
    page.locator("body").click(position={"x": 2, "y": 2})
    for _ in range(CHECKING_MS // 100):
        dirty = page.evaluate(
            "[...document.querySelectorAll('[data-words]')]"
            ".filter((f) => f.value !== f.defaultValue).length"
        )
        if not dirty:
            return
        page.wait_for_timeout(100)


def show_set(hand: Hand) -> None:
    """Let every tab show the set, and write what it holds of it."""
    for page in hand.tabs:
        page.goto(f"{hand.base}/set?{_query(name=hand.set_name)}")
        settled(page)


def lost(hand: Hand, corpus_path: Path) -> list[str]:
    """Everything that should be there in the end, and is not."""
    hand.wait_for(CHECKING_MS)
    hand.page.wait_for_timeout(600)
    bring_back(hand)
    show_set(hand)
    # A removal that was still on its way is in the list the next time.
    while bring_back(hand):
        show_set(hand)
    lesson = _lesson(hand, corpus_path)
    if hand.kept - _passages(lesson):
        # Beside a load the last removal may come after all that was looked at.
        hand.page.wait_for_timeout(LATEST_MS)
        bring_back(hand)
        lesson = _lesson(hand, corpus_path)
    written = " ".join(example.row.note for example in lesson.examples).split()
    gone = [f"word {word}" for word in hand.words if word not in written]
    gone += [f"passage {tune} {bars}" for tune, bars in hand.kept - _passages(lesson)]
    for page in hand.tabs:
        typed = hand.phrases.get(id(page))
        page.goto(hand.base)
        shown = page.locator("#phrase").input_value()
        if typed and shown != typed:
            gone.append(f"phrase {typed}; shown is {shown!r}")
    return gone


def _lesson(hand: Hand, corpus_path: Path) -> Lesson:
    with Corpus.open(corpus_path) as corpus:
        return open_lesson(corpus, hand.set_name)


def _changes(corpus_path: Path) -> list[str]:
    """What the corpus says that changes took out, the latest last."""
    with closing(sqlite3.connect(corpus_path)) as connection:
        rows = connection.execute(
            "SELECT change, kind, name FROM taken_out ORDER BY id"
        ).fetchall()
    return [" ".join(map(str, row)) for row in rows]


def _passages(lesson: Lesson) -> set[tuple[str, str]]:
    """Tune and bars of each passage: two of one tune do not stand for one another."""
    return {
        (e.row.tune_id, f"{e.excerpt.bar[0]}-{e.excerpt.bar[-1]}") for e in lesson.examples
    }


def run(browser: Browser, address: str, corpus_path: Path, seed: int) -> dict[str, Any]:
    """One run: what was done, and what was lost."""
    base = address.partition("/?")[0]
    context = browser.new_context(viewport={"width": 1000, "height": 800})
    context.new_page().goto(address)
    began = time.perf_counter()
    hand = Hand(context, base, seed)
    hand.kept = _passages(_lesson(hand, corpus_path))
    for _ in range(STEPS):
        hand.step()
    gone = lost(hand, corpus_path)
    context.close()
    return {
        "seed": seed,
        "words": len(hand.words),
        "kept": len(hand.kept),
        "lost": gone,
        "seconds": round(time.perf_counter() - began, 1),
        "log": [*hand.log, *_changes(corpus_path)] if gone else [],
    }


def main() -> None:
    """Run as often as asked, say what was lost and, if asked to, keep it."""
    parser = asker(__doc__)
    parser.add_argument("--runs", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1, help="of the first run")
    parser.add_argument("--minutes", type=float, default=600, help="begin no run after")
    options = parser.parse_args()
    results: list[dict[str, Any]] = []
    ends = time.monotonic() + 60 * options.minutes
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        demo, path = Path(folder) / "demo.melodex", Path(folder) / "clicks.melodex"
        add_paths(demo, [ROOT / "corpus_demo"])
        shutil.copy(demo, path)
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium", args=FLAGS.split()
        )
        with started(path) as address:
            for seed in range(options.seed, options.seed + options.runs):
                if time.monotonic() > ends:
                    break
                results.append(run(browser, address, path, seed))
                print(results[-1], file=sys.stderr)
        chromium = browser.version
        browser.close()
    words, kept = (sum(each[name] for each in results) for name in ("words", "kept"))
    gone = sum(len(each["lost"]) for each in results)
    text = (
        f"{len(results)} runs of {STEPS} steps, seeds from {options.seed}: "
        f"{words} words typed, {kept} passages kept, {gone} lost"
    )
    print(text)
    found = about("playwright", "starlette", "uvicorn") | {"chromium": chromium}
    keep(options.keep, {"raw.json": found | {"runs": results}, "summary.txt": text})


if __name__ == "__main__":
    main()
