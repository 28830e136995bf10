"""Five whole jobs: on the page by mouse, by keyboard, by touch, and by commands.

Run:  python -m benchmarks.pages.jobs [--keep NAME] [--hands mouse,keyboard,touch,commands]

The jobs: find a phrase and lay two tunes side by side; audit a song of one's own from its
file; describe a piece and gather what shows the same; make, print and share a teaching set;
add tunes to the shelf and tidy it. Each is done in Debian's Chromium on a copy of the
demo's corpus, with nothing but the controls that a person sees. The keyboard reaches a
control by Tab alone (Shift+Tab where it lies before); how often Tab is pressed from one
control to the next is counted. Files are handed over by the browser's own chooser, which
no script can press. A control that cannot be reached, seen or pressed ends the job there.
From the results of a search it is counted besides how many Tabs and other keys lead to
keeping the first of them, and the last. By commands each job is done as it is typed in a
terminal; a command that fails, or does not say what it should, ends the job.

Contents: Hand, JOBS, COMMANDS, done_by, by_commands, ways_to_keeping, main.
"""

from __future__ import annotations

import os
import shlex
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from playwright.sync_api import Browser, Locator, Page, sync_playwright
from playwright.sync_api import Error as BrowserError

from benchmarks.keeping import ROOT, about, asker, keep
from benchmarks.pages.workbench import FLAGS, started
from melodex.tasks.adding.add import add_paths

DEMO = ROOT / "corpus_demo"
HANDS = ("mouse", "keyboard", "touch", "commands")
WIDE, NARROW, TALL = 1280, 390, 800
MOST_TABS = 250
PATIENCE_MS = 60_000
FOUND = "3 5 3 1 3 1 4 6 4 3 1"
NEW_TUNE = "X:1\nT:A Tune to Tidy\nM:4/4\nL:1/4\nK:C\nCDEF|GABc|cBAG|FEDC|]\n"
IS_HERE = "(element) => element === document.activeElement"


class Hand:
    """One way of using a page; counts what it does."""

    def __init__(self, page: Page, way: str) -> None:
        self.page, self.way = page, way
        self.presses = 0
        self.tabs: list[int] = []

    def reach(self, place: Locator) -> None:
        """Go to a control by Tab."""
        place.wait_for()
        handle = place.element_handle()
        before = self.page.evaluate(
            "(e) => Boolean(document.activeElement.compareDocumentPosition(e) & 2)", handle
        )
        for pressed in range(MOST_TABS):
            if self.page.evaluate(IS_HERE, handle):
                self.tabs.append(pressed)
                return
            self.page.keyboard.press("Shift+Tab" if before else "Tab")
        raise AssertionError(f"{MOST_TABS} Tabs do not lead to {place}")

    def press(self, place: Locator, *, leads: bool = False) -> None:
        """Press a button, a tick or a link; ``leads`` to another page."""
        self.presses += 1

        def act() -> None:
            if self.way == "mouse":
                place.click()
            elif self.way == "touch":
                place.tap()
            else:
                self.reach(place)
                is_tick = place.get_attribute("type") == "checkbox"
                self.page.keyboard.press("Space" if is_tick else "Enter")

        if leads:
            with self.page.expect_event("load"):
                act()
        else:
            act()

    def write(self, place: Locator, text: str) -> None:
        """Write into a field, in place of what stands there."""
        self.presses += 1
        if self.way == "keyboard":
            self.reach(place)
        else:
            place.click() if self.way == "mouse" else place.tap()
        self.page.keyboard.press("ControlOrMeta+a")
        self.page.keyboard.type(text)

    def choose(self, place: Locator, value: str) -> None:
        """Choose from a list."""
        self.presses += 1
        if self.way == "keyboard":
            self.reach(place)
        place.select_option(value)

    def give(self, place: Locator, file: Path) -> None:
        """Give a file."""
        self.presses += 1
        if self.way == "keyboard":
            self.reach(place)
        place.set_input_files(file)

    def saved(self, place: Locator) -> bytes:
        """Press what makes a file, and return the file."""
        with self.page.expect_download() as taken:
            self.press(place)
        return Path(str(taken.value.path())).read_bytes()


def find_and_compare(hand: Hand, page: Page, folder: Path) -> None:
    """A phrase, its matches, and one of them note against note."""
    hand.write(page.locator("#phrase"), FOUND)
    page.keyboard.press("Enter")
    page.locator("#match-2").wait_for()
    side = page.locator("#match-2").get_by_role("link", name="Lay side by side")
    hand.press(side, leads=True)
    page.locator("main svg.music").first.wait_for()
    assert hand.saved(page.get_by_role("link", name="PDF to print"))[:5] == b"%PDF-"


def audit_an_own_song(hand: Hand, page: Page, folder: Path) -> None:
    """A song from its file, where it comes close, and one finding kept."""
    hand.press(page.locator(".top").get_by_role("link", name="My own tune"), leads=True)
    hand.give(page.locator("form.drop input[type=file]"), DEMO / "own" / "own_song.abc")
    hand.press(page.get_by_role("button", name="Read the file"), leads=True)
    if page.locator("#finding-1").count() == 0:
        hand.press(page.get_by_role("button", name="Compare"), leads=True)
    page.locator("#finding-1").wait_for()
    hand.press(page.locator("#finding-1 input[name=chosen]"))
    hand.write(page.locator("#keep-close input[name=into]"), "Close to mine")
    hand.press(page.locator("#keep-close button"))
    page.locator("#keep-close .kept a").wait_for()


def describe_and_gather(hand: Hand, page: Page, folder: Path) -> None:
    """What is in a piece, and what else shows it, into a set."""
    hand.press(page.locator(".top").get_by_role("link", name="Look inside"), leads=True)
    hand.write(page.locator("main input[name=tune]"), "Fog over the Basin")
    hand.press(page.get_by_role("button", name="Look inside"), leads=True)
    hand.press(page.locator(".doors").get_by_role("link", name="show it").first, leads=True)
    page.locator("#gathered-head").wait_for()
    hand.write(page.locator("#keep-gathered input[name=into]"), "Gathered")
    hand.press(page.locator("#keep-gathered button"))
    page.locator("#keep-gathered .kept a").wait_for()


def make_a_set(hand: Hand, page: Page, folder: Path) -> None:
    """A set of two passages with notes, on paper, and packed for somebody else."""
    hand.write(page.locator("#phrase"), FOUND)
    page.keyboard.press("Enter")
    page.locator("#match-2").wait_for()
    for rank in (1, 2):
        hand.press(page.locator(f"#match-{rank} input[name=chosen]"))
    hand.write(page.locator("#keep-found input[name=into]"), "For Tuesday")
    hand.press(page.locator("#keep-found button"))
    hand.press(page.locator("#keep-found .kept a"), leads=True)
    hand.write(page.locator("#passage-1 textarea"), "Sing it first")
    hand.press(page.locator("#passage-1").get_by_role("button", name="Later"))
    page.locator("#passage-2 textarea", has_text="Sing it first").wait_for()
    assert hand.saved(page.get_by_role("button", name="PDF to print"))[:5] == b"%PDF-"
    packed = hand.saved(page.get_by_role("link", name="Packed set, to share"))
    assert packed[:2] == b"PK"


def tidy_the_shelf(hand: Hand, page: Page, folder: Path) -> None:
    """A file put in, a tag and a remark on its tune, the tune removed and brought back."""
    file = folder / "tidy.abc"
    file.write_text(NEW_TUNE, encoding="utf-8")
    hand.press(page.locator(".top").get_by_role("link", name="Shelf"), leads=True)
    hand.give(page.locator("input[name=file]"), file)
    hand.press(page.get_by_role("button", name="Add", exact=True), leads=True)
    page.get_by_text("1 tune added").wait_for()
    hand.press(page.get_by_role("link", name="To the shelf"), leads=True)
    hand.write(page.locator("main input[name=title]"), "Tidy")
    hand.press(page.get_by_role("button", name="Look it up"), leads=True)
    hand.press(page.get_by_role("link", name="A Tune to Tidy"), leads=True)
    hand.write(page.locator("textarea[name=text]"), "From my uncle")
    hand.press(page.get_by_role("button", name="Write it"), leads=True)
    hand.write(page.locator("input[name=word]"), "for Tuesday")
    hand.press(page.get_by_role("button", name="Put on"), leads=True)
    hand.press(page.locator("summary", has_text="Remove it"))
    hand.press(page.locator("input[name=sure]"))
    hand.press(page.get_by_role("button", name="Remove", exact=True), leads=True)
    hand.press(page.get_by_role("button", name="Undo"), leads=True)
    page.get_by_text("From my uncle").wait_for()


Job = Callable[[Hand, Page, Path], None]
JOBS: dict[str, Job] = {
    "find and compare": find_and_compare,
    "audit an own song": audit_an_own_song,
    "describe and gather": describe_and_gather,
    "make, print and share a set": make_a_set,
    "add to the shelf and tidy it": tidy_the_shelf,
}


COMMANDS: dict[str, list[tuple[str, str]]] = {
    "find and compare": [
        (f"resemble '{FOUND}' --limit 2", "Marl Pit Hornpipe"),
        (f"compare --phrase '{FOUND}' 'Marl Pit Hornpipe' --bars 1-2", "same degree"),
        (f"compare --phrase '{FOUND}' 'Marl Pit Hornpipe' --output pair.pdf", ""),
    ],
    "audit an own song": [
        ("audit own.abc --limit 3 --into 'Close to mine'", "kept 6 passages"),
        ("lesson show 'Close to mine'", "Letter from the Far Lock"),
    ],
    "describe and gather": [
        ("describe 'Fog over the Basin'", "borrowed chord [12 tunes]"),
        ("gather --device 'borrowed chord' --into Gathered", "in the new set 'Gathered'"),
    ],
    "make, print and share a set": [
        (f"resemble '{FOUND}' --limit 2 --into 'For Tuesday'", "kept 2 passages"),
        ("lesson note 'For Tuesday' 1 'Sing it first'", "noted beside Marl Pit Hornpipe"),
        ("lesson move 'For Tuesday' 1 2", ""),
        ("lesson show 'For Tuesday'", "Note: Sing it first"),
        ("lesson print 'For Tuesday' --output set.pdf", ""),
        ("lesson pack 'For Tuesday' set.zip", ""),
        ("lesson unpack set.zip --as 'From somebody'", "From somebody"),
    ],
    "add to the shelf and tidy it": [
        ("add tidy.abc", "1 added"),
        ("list --title Tidy", "A Tune to Tidy"),
        ("remark 'A Tune to Tidy' 'From my uncle'", "From my uncle"),
        ("collection tag 'for Tuesday' 'A Tune to Tidy'", "1"),
        ("remove 'A Tune to Tidy'", "undo"),
        ("undo last", "A Tune to Tidy"),
        ("show 'A Tune to Tidy'", "From my uncle"),
    ],
}
"""What is typed after ``melodex``, and what the answer has to say."""


def by_commands(path: Path, folder: Path) -> list[dict[str, Any]]:
    """Each job as it is typed in a terminal: how it went."""
    shutil.copyfile(DEMO / "own" / "own_song.abc", folder / "own.abc")
    (folder / "tidy.abc").write_text(NEW_TUNE, encoding="utf-8")
    found = []
    for name, typed in COMMANDS.items():
        went = "done"
        for words, wanted in typed:
            command = [sys.executable, "-m", "melodex", "--corpus", str(path)]
            ran = subprocess.run(
                [*command, *shlex.split(words)],
                check=False,
                cwd=folder,
                env={**os.environ, "PYTHONPATH": str(ROOT)},
                capture_output=True,
                text=True,
            )
            said = " ".join((ran.stdout + ran.stderr).split())
            if ran.returncode or wanted not in said:
                went = f"ended at {words}: {said[-200:]}"
                break
        row = {"job": name, "hand": "commands", "went": went, "controls": len(typed)}
        found.append(row)
        print(row, file=sys.stderr)
    return found


def ways_to_keeping(browser: Browser, address: str) -> dict[str, Any]:
    """Keys from the results of a search to keeping the first of them, and the last."""
    keys: dict[str, Any] = {}
    for which in ("first", "last"):
        context = browser.new_context(viewport={"width": WIDE, "height": TALL})
        context.set_default_timeout(PATIENCE_MS)
        page = context.new_page()
        page.goto(address)
        page.locator("#phrase").fill(FOUND)
        page.keyboard.press("Enter")
        page.locator("#match-2").wait_for()
        ticks = page.locator("input[name=chosen]")
        # By Tab to the first tick, by arrows to the others, by Enter to the name of a set.
        pressed = {"Tab": 0, "ArrowDown": 0, "Space": 1, "Enter": 1}
        while not page.evaluate("document.activeElement.matches('[name=chosen]')"):
            page.keyboard.press("Tab")
            pressed["Tab"] += 1
        for _ in range(ticks.count() - 1 if which == "last" else 0):
            page.keyboard.press("ArrowDown")
            pressed["ArrowDown"] += 1
        page.keyboard.press("Space")
        page.keyboard.press("Enter")
        page.keyboard.type("By keys")
        page.keyboard.press("Enter")
        page.locator(".kept a").wait_for()
        keys[which] = pressed
        context.close()
    return keys


def done_by(browser: Browser, way: str, address: str, folder: Path) -> list[dict[str, Any]]:
    """Each job by one kind of hand, in a browser of its own: how it went."""
    found = []
    for name, job in JOBS.items():
        width = NARROW if way == "touch" else WIDE
        context = browser.new_context(
            viewport={"width": width, "height": TALL},
            has_touch=way == "touch",
            accept_downloads=True,
        )
        context.set_default_timeout(PATIENCE_MS)
        page = context.new_page()
        page.goto(address)
        hand, went = Hand(page, way), "done"
        try:
            job(hand, page, folder)
        except (AssertionError, BrowserError) as error:
            went = f"ended at {page.url}: {str(error).splitlines()[0]}"
        context.close()
        row = {"job": name, "hand": way, "went": went, "controls": hand.presses}
        if hand.tabs:
            row |= {"most tabs": max(hand.tabs), "tabs": sum(hand.tabs)}
        found.append(row)
        print(row, file=sys.stderr)
    return found


def main() -> None:
    """Do all jobs by each kind of hand, and say how they went."""
    parser = asker(__doc__)
    parser.add_argument("--hands", default=",".join(HANDS))
    options = parser.parse_args()
    rows: list[dict[str, Any]] = []
    with tempfile.TemporaryDirectory() as name, sync_playwright() as play:
        folder = Path(name)
        whole = folder / "demo.melodex"
        add_paths(whole, [DEMO])
        browser = play.chromium.launch(
            executable_path="/usr/bin/chromium", args=FLAGS.split()
        )
        keys: dict[str, Any] = {}
        for way in options.hands.split(","):
            path = folder / f"{way}.melodex"
            shutil.copyfile(whole, path)
            if way == "commands":
                rows += by_commands(path, folder)
                continue
            with started(path) as address:
                # The page is opened by its key once in each browser.
                rows += done_by(browser, way, address, folder)
                if way == "keyboard":
                    keys = ways_to_keeping(browser, address)
        browser.close()
    lines = [f"{r['hand']:9} {r['job']:30} {r['went']}" for r in rows]
    lines.append(f"{sum(r['went'] == 'done' for r in rows)} of {len(rows)}")
    lines += [f"from the results to keeping the {at}: {each}" for at, each in keys.items()]
    text = "\n".join(lines)
    print(text)
    done = {"jobs": rows, "keys to keeping": keys}
    keep(
        options.keep,
        {"about.json": about("playwright"), "jobs.json": done, "jobs.txt": text},
    )


if __name__ == "__main__":
    main()
