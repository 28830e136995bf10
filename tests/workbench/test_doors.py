"""Every fact of a page leads on; a finger that pushes plays nothing; narrow screens."""

from __future__ import annotations

from urllib.parse import parse_qs, urlsplit

from playwright.sync_api import expect

from melodex.reading.phrase.reader import read_phrase
from melodex.tasks.adding.add import add_paths
from tests.browser import followed

FOUND = "/find?phrase=3+5+3+1+3+1+4+6+4+3+1"

SWIPE = """(by) => {
  const key = document.querySelector('[data-midi="64"]');
  const { left, top } = key.getBoundingClientRect();
  const at = (kind, moved) => key.dispatchEvent(new PointerEvent(kind, {
    bubbles: true, cancelable: true, pointerId: 7, pointerType: "touch",
    clientX: left + 5 + moved, clientY: top + 90,
  }));
  at("pointerdown", 0);
  at("pointermove", by);
  at(by > 20 ? "pointercancel" : "pointerup", by);
}"""


def test_a_typed_phrase_is_laid_beside_what_it_found(workbench, visit):
    page = visit(workbench, FOUND)
    with followed(page):
        page.locator("#match-2").get_by_role("link", name="Lay side by side").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("The phrase")
    expect(page.locator("[name=a-phrase]")).to_have_value("3 5 3 1 3 1 4 6 4 3 1")
    expect(page.locator("main svg.music").first).to_be_visible()
    assert parse_qs(urlsplit(page.url).query)["b-bars"]


def test_rows_show_their_music_as_it_comes_into_view_and_are_ticked_together(
    workbench, visit
):
    page = visit(workbench, FOUND)
    page.locator("#match-4").scroll_into_view_if_needed()
    expect(page.locator("#match-4 .small-stave svg.music")).to_have_count(1)
    ticks = page.locator("input[name=chosen]")
    page.get_by_role("button", name="all", exact=True).click()
    expect(page.locator("input[name=chosen]:checked")).to_have_count(ticks.count())
    page.get_by_role("button", name="none", exact=True).click()
    expect(page.locator("input[name=chosen]:checked")).to_have_count(0)
    ticks.first.focus()
    page.keyboard.press("ArrowDown")
    expect(ticks.nth(1)).to_be_focused()


def test_a_dozen_tabs_lead_from_the_results_to_keeping_one(workbench, visit):
    page = visit(workbench, FOUND)
    expect(page.locator("#results-head")).to_be_focused()
    pressed = 0
    for key, wanted in (("Tab", "[name=chosen]"), ("Shift+Tab", "[name=into]")):
        while not page.evaluate("(s) => document.activeElement.matches(s)", wanted):
            page.keyboard.press(key)
            pressed += 1
            assert pressed <= 12
        if key == "Tab":
            page.keyboard.press("Space")
    page.keyboard.type("By keys")
    page.keyboard.press("Enter")
    expect(page.locator(".kept")).to_contain_text("Kept 1 passage")


def test_a_dozen_tabs_lead_from_the_last_result_to_keeping_it_too(workbench, visit):
    page = visit(workbench, FOUND)
    expect(page.locator("#results-head")).to_be_focused()
    pressed = 0
    while not page.evaluate("document.activeElement.matches('[name=chosen]')"):
        page.keyboard.press("Tab")
        pressed += 1
    ticks = page.locator("input[name=chosen]")
    expect(page.locator("#tick-keys")).to_be_visible()
    for _ in range(1, ticks.count()):
        page.keyboard.press("ArrowDown")
    expect(ticks.last).to_be_focused()
    page.keyboard.press("Space")
    page.keyboard.press("Enter")
    expect(page.locator("#keep-found [name=into]")).to_be_focused()
    assert pressed <= 12
    page.keyboard.type("By keys, the last")
    page.keyboard.press("Enter")
    expect(page.locator(".kept")).to_contain_text("Kept 1 passage")


def test_more_results_come_where_one_is(workbench, visit):
    page = visit(workbench, FOUND)
    with followed(page):
        page.get_by_role("link", name="Show 10 more").click()
    expect(page.locator("#match-11")).to_be_visible()


def test_the_shelf_leads_to_the_tunes_of_each_count_and_is_sorted(workbench, visit):
    page = visit(workbench, "/shelf")
    tally = page.locator(".tally", has=page.get_by_role("heading", name="Decades"))
    count = tally.locator("li span").first.inner_text()
    with followed(page):
        tally.get_by_role("link").first.click()
    expect(page.locator("#gathered-head")).to_contain_text(f"{count} tunes of 61")
    page.goto(workbench.base + "/tunes")
    with followed(page):
        page.get_by_role("link", name="Bars", exact=True).click()
    cells = page.locator("tbody td:nth-child(5)").all_inner_texts()
    bars = [int("".join(c for c in text if c.isdigit())) for text in cells]
    assert bars == sorted(bars)


def test_a_swipe_over_the_keys_plays_nothing_and_a_tap_does(workbench, visit):
    page = visit(workbench, width=390, has_touch=True)
    page.evaluate(SWIPE, 60)
    page.evaluate(SWIPE, 0)
    expect(page.locator("#stave g.note")).to_have_count(1)
    assert read_phrase(page.input_value("#phrase"), fewest=1).melody.midi == (64,)


def test_taps_become_lengths(workbench, visit):
    page = visit(workbench)
    page.evaluate(
        """() => {
          const button = document.querySelector(".tapping");
          const times = [1000, 1500, 1750, 2000, 3000];
          times.forEach((time) => {
            const tap = new MouseEvent("click", { bubbles: true });
            Object.defineProperty(tap, "timeStamp", { value: time });
            button.dispatchEvent(tap);
          });
        }"""
    )
    expect(page.locator("#phrase")).to_have_value("q e e h q")
    expect(page.locator("#phrase-said")).to_contain_text("a rhythm")


def test_music_is_drawn_anew_for_a_screen_that_has_become_narrow(workbench, visit):
    page = visit(workbench, "/tune?tune=The+Eel+Trap")
    page.fill("[data-bars-field]", "3-4")
    page.set_viewport_size({"width": 390, "height": 800})
    expect(page.locator("body.fitted")).to_have_count(1)
    expect(page.locator("[data-bars-field]")).to_have_value("3-4")
    box = page.locator("svg.music").bounding_box()
    assert box is not None
    assert box["x"] + box["width"] <= 390


def test_a_name_that_several_tunes_share_leads_to_each_of_them(workbench, visit):
    page = visit(workbench, "/inside?tune=the")
    ways = page.locator(".fault li a")
    expect(ways.first).to_be_visible()
    with followed(page):
        ways.first.click()
    expect(page.locator(".kicker")).to_have_text("what is in it")


def test_parts_are_offered_for_an_own_tune_only_where_there_are_parts(own_bench, tmp_path):
    path = tmp_path / "plain.abc"
    path.write_text("X:1\nT:Plain\nM:4/4\nL:1/4\nK:C\nCDEF|GABc|cBAG|FEDC|\n")
    corpus = tmp_path / "plain.melodex"
    add_paths(corpus, [path])
    for running, tune, is_offered in (
        (own_bench(), "Snail+Post", True),
        (own_bench(corpus), "Plain", False),
    ):
        for address in ("/own", f"/own?tune={tune}"):
            page = running.ask(address, Accept="text/html")[2].decode()
            assert ("Only lines of this part" in page) == is_offered


def test_what_is_done_does_not_cover_what_is_pressed_next(own_bench, visit):
    running = own_bench()
    page = visit(running, "/tune?tune=Snail+Post", width=390, has_touch=True)
    page.fill("input[name=word]", "for Tuesday")
    page.get_by_role("button", name="Put on").tap()
    expect(page.locator("#did button")).to_have_count(1)
    page.locator("summary", has_text="Remove it").tap()
    button = page.get_by_role("button", name="Remove", exact=True)
    # It lies under the bar, and is brought into sight.
    button.evaluate(
        "(b) => scrollBy(0, b.getBoundingClientRect().bottom - innerHeight + 30)"
    )
    button.evaluate("(b) => b.scrollIntoView({ block: 'nearest', behavior: 'instant' })")
    where, bar = button.bounding_box(), page.locator("#did > *").bounding_box()
    assert where
    assert bar
    assert where["y"] + where["height"] <= bar["y"]
