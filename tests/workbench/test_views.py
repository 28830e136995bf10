"""Every view: accessible, without other hosts, wide and narrow, light and dark."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, BrowserContext, Page, expect

DEMO = Path(__file__).parents[2] / "corpus_demo"
VIEWS = {
    "find": "/",
    "results": "/find?phrase=3+5+3+1+3+1+4+6+4+3+1&limit=3",
    "nothing typed right": "/find?phrase=1+2+x",
    "two readings": "/find?phrase=b3+b2+b3",
    "match": "/find/match?phrase=3+5+3+1+3+1+4+6+4+3+1&rank=2",
    "narrowing": "/find/narrow",
    "tunes": "/tunes?title=the",
    "tune": "/tune?tune=The+Eel+Trap&bars=3-4",
    "side by side, empty": "/beside",
    "side by side": "/beside?a=The+Eel+Trap&a-bars=1-4&b=Marl+Pit+Hornpipe&b-bars=1-4",
    "inside, empty": "/inside",
    "inside": "/inside?tune=Fog+over+the+Basin",
    "own, empty": "/own",
    "file at hand": "/hand?file={hand}",
    "own": "/own?tune=Letter+from+the+Far+Lock",
    "gather, empty": "/gather",
    "gather": "/gather?device=borrowed+chord&limit=6",
    "gathered passage": "/gather/passage?tune=The+Eel+Trap&bars=1-2",
    "gather, not understood": "/gather?key=H+of+nothing",
    "not understood": "/warnings",
    "map of the corpus": "/map",
    "tune families": "/families",
    "done": "/done",
    "read otherwise": "/find?phrase=C4+D4+G4",
    "sets": "/sets",
    "set": "/set?name=Seen",
    "set in order": "/set/order?name=Seen",
    "shelf": "/shelf",
    "work": "/work?id={work}",
    "unknown tune": "/tune?tune=Nowhere+Jig",
    "nowhere": "/nowhere",
}
CUT_OFF = """[...document.querySelectorAll("svg.music")]
  .filter((music) => music.getBoundingClientRect().right > innerWidth)
  .map((music) => music.outerHTML)"""
"""Music that one has to scroll sideways to see."""

WRONG = {
    "gather, not understood",
    "nothing typed right",
    "two readings",
    "unknown tune",
    "nowhere",
}


@pytest.fixture(scope="module")
def seen(workbench) -> dict[str, str]:
    """A set with two passages, a file with a refusal, and work that was done."""
    for tune in ("The+Eel+Trap", "Marl+Pit+Hornpipe"):
        fields = f"source=tune&into=Seen&why=a+turn&tune={tune}&bars=1-4"
        assert workbench.send("/keep", fields)[0] == 303
    edge = "seenedge"
    file = (
        f"--{edge}\r\nContent-Disposition: form-data; name=file; filename=half.abc\r\n\r\n"
        "X:1\nT:Half\nM:4/4\nL:1/4\nK:C\nCDEF|GABc|\n\nX:2\nT:No key\nCDEF|\n"
        f"\r\n--{edge}--\r\n"
    )
    dropped = workbench.ask(
        "/drop",
        method="POST",
        body=file.encode(),
        Origin=workbench.base,
        Content_Type=f"multipart/form-data; boundary={edge}",
    )
    assert dropped[1]["location"].startswith("/hand?"), dropped
    for deed in ("/shelf/families", "/shelf/check"):
        work = workbench.send(deed, "")[1]["location"].partition("id=")[2]
        # The news end with the work: from then on its page stays as it is.
        assert workbench.ask(f"/work/news?id={work}")[0] == 200
    hand = dropped[1]["location"].partition("file=")[2].partition("&")[0]
    return {"hand": hand, "work": work}


@pytest.fixture(scope="module", params=["light and wide", "dark and narrow"])
def screen(request, chromium: Browser, workbench) -> Iterator[tuple[BrowserContext, int]]:
    """One browser that knows the key for all views, and its width.

    Nothing moves in it: what fades out has too little contrast while it does.
    """
    dark, narrow = request.param.split(" and ")
    width = 390 if narrow == "narrow" else 1200
    context = chromium.new_context(
        color_scheme="dark" if dark == "dark" else "light",
        viewport={"width": width, "height": 900},
        reduced_motion="reduce",
    )
    context.set_default_timeout(60_000)
    context.new_page().goto(workbench.first_address)
    yield context, width
    context.close()


@pytest.fixture
def look(screen) -> Iterator[tuple[Page, int, list[str]]]:
    """A page, its width, and what it says and asks for: nothing of another page's."""
    context, width = screen
    page = context.new_page()
    noted: list[str] = []
    page.on("pageerror", lambda error: noted.append(str(error)))
    page.on("console", lambda message: noted.append(message.text))
    page.on("request", lambda request: noted.append(request.url))
    yield page, width, noted
    page.close()


@pytest.mark.parametrize("name", VIEWS)
def test_a_view_is_accessible_fits_and_asks_nobody_else(look, workbench, seen, name):
    page, width, noted = look
    page.goto(workbench.base + VIEWS[name].format(**seen))
    page.wait_for_load_state("networkidle")
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert page.evaluate(CUT_OFF) == []
    asked = [each for each in noted if each.startswith(("http:", "https:", "ws:"))]
    assert asked
    assert {urlsplit(each).netloc for each in asked} == {workbench.host}
    said = [each for each in noted if each not in asked and not each.startswith("data:")]
    # The browser itself says that a page was answered with a status of a fault.
    if name in WRONG:
        said = [each for each in said if not each.startswith("Failed to load resource")]
    assert said == []
    assert page.title().endswith("melodex")


def test_dark_is_dark_and_light_is_light(look, workbench):
    page, width, _ = look
    page.goto(workbench.base)
    shade = page.evaluate("getComputedStyle(document.body).backgroundColor")
    parts = [int(part) for part in shade[4:-1].split(",")]
    assert (sum(parts) > 600) == (width == 1200)


def test_the_keyboard_reaches_everything_of_the_first_page_in_order(workbench, visit):
    page = visit(workbench)
    reached = []
    for _ in range(24):
        page.keyboard.press("Tab")
        reached.append(
            page.evaluate(
                "(() => { const e = document.activeElement; return e.id || e.dataset.midi "
                "|| e.name || e.textContent.trim().slice(0, 24); })()"
            )
        )
    assert reached[0] == "Skip to content"
    assert [text.split(" ")[0] for text in reached[1:8]] == [
        "Find", "Side", "Look", "My", "Gather", "Teaching", "Shelf",
    ]  # fmt: skip
    assert reached[8:11] == ["phrase", "Find it", "stave"]
    # One stop for the whole keyboard; arrows move on it.
    assert reached.count("60") == 1
    assert "61" not in reached
    assert "Take it from a file" in reached


def test_the_skip_link_leads_to_the_content(workbench, visit):
    page = visit(workbench, "/shelf")
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.locator("#content")).to_be_focused()


def test_a_screen_reader_is_told_what_changed(workbench, visit):
    page = visit(workbench, "/find?phrase=3+5+3+1+3+1+4+6+4")
    expect(page.locator("#results-head")).to_be_focused()
    expect(page.locator("#told")).to_have_attribute("aria-live", "polite")
    page.locator("#match-3 summary").first.click()
    page.get_by_text("The notes are there.").wait_for()
    page.goto(workbench.base + "/gather")
    expect(page.locator("#left")).to_have_attribute("role", "status")


@pytest.mark.parametrize(
    "path", ["/inside?tune=Fog+over+the+Basin", "/set?name=Seen", f"{VIEWS['results']}"]
)
def test_paper_shows_the_music_and_no_buttons(workbench, seen, visit, path):
    page = visit(workbench, path)
    page.emulate_media(media="print")
    expect(page.locator("svg.music >> visible=true")).to_have_count(1)
    for what in (".top", "form", "button", ".bar", ".tools"):
        expect(page.locator(f"{what} >> visible=true"), what).to_have_count(0)
