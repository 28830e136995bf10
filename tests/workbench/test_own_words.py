"""Remarks on a tune on the page, undone there; bars and chords of a picture as doors."""

from __future__ import annotations

from urllib.parse import parse_qs, urlsplit

from playwright.sync_api import expect

from melodex.corpus.reader import Corpus
from melodex.corpus.tunes.particulars import remarks_of
from melodex.workbench.drafts import MOST_LETTERS, Drafts
from tests.browser import followed


def test_a_remark_is_written_printed_taken_off_and_brought_back(own_bench, visit):
    running = own_bench()
    page = visit(running, "/tune?tune=The+Eel+Trap")
    page.fill("textarea[name=text]", "Heard at the lock")
    page.select_option("select[name=kind]", "source")
    with followed(page):
        page.get_by_role("button", name="Write it").click()
    expect(page.locator(".remarks li")).to_contain_text("Source: Heard at the lock")
    # What was sent is not offered again.
    expect(page.locator("textarea[name=text]")).to_have_value("")
    tune = parse_qs(urlsplit(page.url).query)["tune"][0]
    described = running.ask(f"/inside?tune={tune}")[2].decode()
    assert "Heard at the lock" in described
    with followed(page):
        page.get_by_role("button", name="Take off this source").click()
    expect(page.locator(".remarks li")).to_have_count(0)
    with followed(page):
        page.get_by_role("button", name="Undo").click()
    expect(page.locator(".remarks li")).to_contain_text("Heard at the lock")
    with Corpus.open(running.corpus_path) as corpus:
        assert [row.kind for row in remarks_of(corpus, tune)] == ["source"]


def test_a_remark_half_written_is_there_in_every_tab_until_it_is_sent(own_bench, visit):
    running = own_bench()
    address = "/tune?tune=The+Eel+Trap"
    page = visit(running, address)
    field = "textarea[name=text]"
    with page.expect_response("**/drafts"):
        page.fill(field, "Half a thought")
    page.reload()
    expect(page.locator(field)).to_have_value("Half a thought")
    # The browser's own storage is gone, as after a crash or in another browser.
    other = visit(running, address)
    expect(other.locator(field)).to_have_value("Half a thought")
    other.fill(field, "Half a thought, and the rest")
    with followed(other):
        other.get_by_role("button", name="Write it").click()
    expect(other.locator(".remarks li")).to_contain_text("Half a thought, and the rest")
    expect(other.locator(field)).to_have_value("")
    third = visit(running, address)
    expect(third.locator(".remarks li")).to_have_count(1)
    expect(third.locator(field)).to_have_value("")


def test_words_of_every_form_that_changes_something_outlive_the_browser(own_bench, visit):
    running = own_bench()
    page = visit(running, "/sets")
    typed = {"[name=topic]": "Turns", "[name=level]": "second year"}
    for field, text in typed.items():
        with page.expect_response("**/drafts"):
            page.fill(field, text)
    other = visit(running, "/sets")
    for field, text in typed.items():
        expect(other.locator(field)).to_have_value(text)
    tune = visit(running, "/tune?tune=Snail+Post")
    with tune.expect_response("**/drafts"):
        tune.fill("[name=why]", "a turn")
    tune.fill("[name=into]", "Turns")
    tune.get_by_role("button", name="Keep", exact=True).click()
    expect(tune.locator(".kept a")).to_have_count(1)
    # What was kept is offered no more.
    expect(visit(running, "/tune?tune=Snail+Post").locator("[name=why]")).to_have_value("")


def test_the_name_of_a_copy_is_not_offered_again_once_the_copy_is_made(own_bench, visit):
    running = own_bench()
    running.send("/keep", "source=tune&into=Turns&tune=The+Eel+Trap&bars=1-4")
    page = visit(running, "/set?name=Turns")
    page.locator("summary", has_text="Copy or delete").click()
    with page.expect_response("**/drafts"):
        page.fill("[name=copy-name]", "Other turns")
    page.get_by_role("button", name="Copy", exact=True).click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Other turns")
    with page.expect_response("**/drafts?place=%2Fset%3Fname%3DTurns") as found:
        page.goto(f"{running.base}/set?name=Turns")
    assert found.value.json() == {"drafts": {}}
    expect(page.locator("[name=copy-name]")).to_have_value("")


def test_drafts_are_bounded_and_tabs_overwrite_nothing_of_one_another():
    drafts = Drafts()
    drafts.write("/tune", "one", {"text 0": "of one"})
    drafts.write("/tune", "two", {"text 0": "of two" * MOST_LETTERS})
    cut = ("of two" * MOST_LETTERS)[:MOST_LETTERS]
    assert drafts.of("/tune") == {"text 0": ["of one", cut]}
    drafts.write("/tune", "three", {"text 0": "gone on from of one"})
    assert drafts.of("/tune") == {"text 0": [cut, "gone on from of one"]}
    drafts.write("/tune", "three", {"text 0": ""})
    drafts.sent("/tune", "two", {"text 0": "another"})
    assert drafts.of("/tune") == {"text 0": ["of one"]}
    drafts.write("/tune", "one", {"text 0": ""})
    assert drafts.of("/tune") == {}
    for place in range(1000):
        drafts.write(f"/{place}", "one", {f"{n}": "x" for n in range(100)})
    assert len(drafts.kept) <= 200
    assert drafts.of("/0") == {}
    assert len(drafts.of("/999")) <= 40


def test_bars_and_chords_of_a_map_open_their_music(workbench, visit):
    page = visit(workbench, "/inside?tune=Fog+over+the+Basin")
    bar = page.locator("svg.map a.door", has=page.locator("rect")).nth(4)
    where = parse_qs(urlsplit(bar.get_attribute("href") or "").query)["bars"][0]
    with followed(page):
        bar.click()
    expect(page.locator("[data-bars-field]")).to_have_value(where)
    page.goto(workbench.base + "/inside?tune=Fog+over+the+Basin")
    with followed(page):
        page.locator("svg.map a.door", has=page.locator("text")).first.click()
    expect(page.locator("#gathered-head")).to_contain_text("of 61 show")
    assert "door" not in workbench.ask("/inside?tune=Fog+over+the+Basin&form=html")[
        2
    ].decode().replace("doors", "")


def test_a_wish_that_is_not_understood_leaves_the_others_where_they_are(workbench, visit):
    page = visit(workbench, "/gather?key=Nonesuch&metre=6%2F8&plan=AB")
    expect(page.locator(".fault[role=alert]")).to_contain_text("Nonesuch")
    expect(page.locator("input[name=key]")).to_have_value("Nonesuch")
    expect(page.locator("select[name=metre]")).to_have_value("6/8")
    expect(page.locator("#left")).to_contain_text("tunes of 61")
    page.goto(workbench.base + "/gather?after=soon")
    expect(page.locator(".fault[role=alert]")).to_contain_text("'soon'")
    expect(page.locator("input[name=after]")).to_have_value("soon")
