"""What hands do on a page: dropping, choosing bars to hear, keys alone, a phone."""

from __future__ import annotations

import json
import re
from pathlib import Path

from click.testing import CliRunner
from playwright.sync_api import Page, expect

from melodex.cli import melodex
from melodex.corpus.reader import Corpus
from melodex.tasks.passage import find_passage
from tests.browser import followed, lit_notes, watched

DEMO = Path(__file__).parents[2] / "corpus_demo"
OWN_SONG = DEMO / "own" / "own_song.abc"
MARL_PIT = "3 5 3 1 3 1 4 6 4 3 1"

DROP_FILE = """([name, text]) => {
  const data = new DataTransfer();
  data.items.add(new File([text], name));
  const how = { dataTransfer: data, bubbles: true, cancelable: true };
  const event = new DragEvent("drop", how);
  document.querySelector("h1").dispatchEvent(event);
  return event.defaultPrevented;
}"""
# A folder cannot be put into a DataTransfer by a script; this has the same methods
# (File and Directory Entries API, W3C: a reader gives some entries at a time, then none).
DROP_FOLDER = """(files) => {
  const entries = files.map(([path, text]) => ({
    isFile: true, isDirectory: false, fullPath: `/${path}`,
    file: (take) => take(new File([text], path.split("/").pop())),
  }));
  const waiting = entries.map((entry) => [entry]);
  const folder = {
    isFile: false, isDirectory: true, fullPath: "/book",
    createReader: () => ({ readEntries: (take) => take(waiting.shift() ?? []) }),
  };
  const event = new Event("drop", { bubbles: true, cancelable: true });
  event.dataTransfer = {
    types: ["Files"], files: [new File([""], "book")],
    items: [{ webkitGetAsEntry: () => folder }],
  };
  document.querySelector("h1").dispatchEvent(event);
}"""


KERN = "**kern\n*M4/4\n=1\n4g\n4e\n4f\n4d\n=2\n1c\n==\n*-\n"


def tabbed_to(page: Page, selector: str, key: str = "Tab") -> None:
    """Press Tab until something has the focus, as a person without a mouse does."""
    for _ in range(80):
        page.keyboard.press(key)
        if page.evaluate("(s) => document.activeElement.matches(s)", selector):
            return
    raise AssertionError(f"Tab does not lead to {selector}")


def kept_width(page: Page, pixels: int) -> None:
    """Wait until the page has noted how wide it is.

    Asked for again and again from here: a wait in words of JavaScript is evaluated in the
    page after the first time, and the page's policy forbids that.
    """
    for _ in range(200):
        if f"={pixels}" in page.evaluate("document.cookie"):
            return
        page.wait_for_timeout(25)
    raise AssertionError(f"no cookie holds the width of {pixels} pixels")


# Dropping


def test_a_file_dropped_anywhere_on_the_first_page_is_read(workbench, visit):
    page = visit(workbench)
    page.evaluate(DROP_FILE, [OWN_SONG.name, OWN_SONG.read_text(encoding="utf-8")])
    expect(page.get_by_role("heading", level=1)).to_have_text("Letter from the Far Lock")
    expect(page.locator("svg.music")).to_have_count(1)


def test_a_page_that_takes_no_files_is_not_left_for_one(workbench, visit):
    page = visit(workbench, "/sets")
    assert page.evaluate(DROP_FILE, ["tune.abc", "X:1"])
    expect(page.locator("#told")).to_have_text("This page takes no files. The shelf does.")
    assert page.url.endswith("/sets")


def test_a_folder_dropped_on_the_shelf_is_added_with_its_names(own_bench, visit):
    running = own_bench(empty=True)
    page = visit(running, "/shelf")
    tune = "X:1\nT:{}\nM:4/4\nL:1/4\nK:C\nCDEF|GABc|\n"
    page.evaluate(
        DROP_FOLDER,
        [
            ["book/one/first.abc", tune.format("The First")],
            ["book/two/first.abc", tune.format("The Second")],
            ["book/three/third.krn", KERN],
            ["book/letter.txt", "dear reader"],
        ],
    )
    expect(page.locator(".lead")).to_contain_text("3 tunes added")
    words = ["--corpus", str(running.corpus_path), "list", "--format", "json"]
    rows = json.loads(CliRunner().invoke(melodex, words).stdout)["tunes"]
    found = {row["source"].partition(" ")[0] for row in rows}
    assert found == {
        "book/one/first.abc", "book/two/first.abc", "book/three/third.krn"
    }  # fmt: skip


def test_a_folder_where_one_tune_is_wanted_is_answered_in_words(workbench, visit):
    page = visit(workbench, "/inside")
    page.evaluate(DROP_FOLDER, [["book/first.abc", "X:1"]])
    expect(page.locator(".drop .bad")).to_contain_text("Drop a file here")


# Bars


def test_the_bars_that_are_chosen_are_heard_and_no_others(workbench, visit):
    page = visit(workbench, "/tune?tune=The+Eel+Trap")
    page.click('[data-bar="3"]')
    page.click('[data-bar="4"]', modifiers=["Shift"])
    with Corpus.open(workbench.corpus_path) as corpus:
        whole = find_passage("The Eel Trap", corpus).whole
    pitches = [m for m, bar in zip(whole.midi, whole.bar, strict=True) if bar in {3, 4}]
    heard = page.evaluate('melodexSound.plan(melodexSound.players.tune, "a", 60, false)')
    assert [note[2] for note in heard] == pitches
    assert heard[0][3] == 0
    watched(page)
    page.get_by_role("button", name="Play bars 3–4").click()
    expect(page.locator("html")).to_have_attribute("data-sound", "running")
    first = whole.bar.index(3)
    lit = {int(n.removeprefix("tunep0n").partition("c")[0]) for n in lit_notes(page)}
    assert lit <= set(range(first, first + len(pitches)))
    page.fill("[data-bars-field]", "")
    expect(page.get_by_role("button", name="Play", exact=True)).to_be_visible()
    every = page.evaluate('melodexSound.plan(melodexSound.players.tune, "a", 60, false)')
    assert [note[2] for note in every] == list(whole.midi)


def test_bars_of_a_tune_of_the_corpus_are_chosen_by_eye_from_the_first_page(
    workbench, visit
):
    page = visit(workbench)
    page.click("text=Take it from a tune")
    page.locator("input[name=tune]").press_sequentially("Eel Tr")
    expect(page.locator("#tunes-found option")).to_have_count(1)
    page.fill("input[name=tune]", "The Eel Trap")
    page.click("text=Choose bars on its music")
    page.click('[data-bar="1"]')
    page.click('[data-bar="2"]')
    page.click("text=Find these bars elsewhere")
    expect(page.locator("#match-1")).to_be_visible()
    expect(page).to_have_url(re.compile("bars=1-2$"))
    assert "phrase=" not in page.url


# Keys alone


def test_a_phrase_is_found_heard_and_kept_without_a_mouse(own_bench, visit):
    running = own_bench()
    page = visit(running)
    tabbed_to(page, "#phrase")
    page.keyboard.type(MARL_PIT)
    page.keyboard.press("Enter")
    expect(page.locator("#results-head")).to_be_focused()
    tabbed_to(page, "#match-1 input[name=chosen]")
    page.keyboard.press("Space")
    tabbed_to(page, '#match-1 [data-play="both"]')
    watched(page)
    page.keyboard.press("Enter")
    expect(page.locator("html")).to_have_attribute("data-sound", "running")
    page.keyboard.press("Escape")
    expect(page.locator(".lit")).to_have_count(0)
    tabbed_to(page, "#match-2 summary")
    page.keyboard.press("Enter")
    expect(page.locator("#match-2 .part svg.music")).to_have_count(1)
    expect(page.locator("#told")).to_have_text("The notes are there.")
    # The field for keeping stands over the matches.
    tabbed_to(page, "#keep-found input[name=into]", "Shift+Tab")
    page.keyboard.type("By keys")
    page.keyboard.press("Enter")
    expect(page.locator("#told")).to_have_text("Kept 1 passage in the new set By keys.")
    tabbed_to(page, ".kept a")
    with followed(page):
        page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_have_text("By keys")
    tabbed_to(page, "#passage-1 textarea")
    page.keyboard.type("Slowly.")
    # Words are kept where one leaves them; no button has to be found.
    tabbed_to(page, ".top a")
    with followed(page):
        page.keyboard.press("Enter")
    page.go_back()
    expect(page.locator("#passage-1 textarea")).to_have_value("Slowly.")


def test_the_keys_say_which_letters_play_them(workbench, visit):
    page = visit(workbench)
    keys = page.locator(".keyboard button")
    expect(keys).to_have_count(25)
    # White keys on the middle row of an English keyboard, black ones above their gaps.
    expect(page.locator('[data-midi="60"] .letter')).to_have_text("A")
    expect(page.locator('[data-midi="61"] .letter')).to_have_text("W")
    expect(page.locator('[data-midi="72"] .letter')).to_have_text("K")
    page.get_by_role("button", name="Octave higher").click()
    expect(page.locator('[data-midi="72"] .letter')).to_have_text("A")


# A phone


def test_on_a_phone_the_note_typed_last_is_in_sight(workbench, visit):
    page = visit(workbench, width=390)
    page.fill("#phrase", "1 2 3 4 5 6 7 1' 7 6 5 4 3 2 1")
    expect(page.locator("#stave g.note")).to_have_count(15)
    # What the stave's own frame cuts off is not in sight either.
    expect(page.locator("#stave g.note").last).to_be_in_viewport(ratio=0.95)


def test_music_is_drawn_anew_for_a_screen_that_has_become_wide(workbench, visit):
    page = visit(workbench, "/tune?tune=The+Eel+Trap", width=390)
    lines = page.locator("svg.music g.system")
    expect(lines.first).to_be_attached()
    systems = lines.count()
    page.set_viewport_size({"width": 1200, "height": 900})
    kept_width(page, 1200)
    page.reload()
    expect(lines.first).to_be_attached()
    assert lines.count() < systems
