"""What was typed, ticked and done stays: through more results, other doors, undoing."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

from melodex.corpus.reader import Corpus
from melodex.corpus.tunes.particulars import remarks_of
from melodex.tasks.lesson.sets import list_lessons, open_lesson
from tests.browser import followed

COMMON = "/find?phrase=1+2+3+1"
EEL_TRAP = "/tune?tune=e30a69995b53"


def drafts_at(page, address, place):
    """What the workbench says is half written there, as a page asks for it."""
    asks = f"/drafts?place={place}"
    with page.expect_response(lambda answer: asks in answer.url) as found:
        page.goto(address)
    return found.value.json()["drafts"]


def test_more_results_keep_what_was_ticked_and_the_name_that_was_typed(own_bench, visit):
    page = visit(own_bench(), COMMON)
    ticks = page.locator("input[name=chosen]")
    ticks.nth(2).check()
    ticks.nth(4).check()
    page.fill("input[name=into]", "Half a name")
    with followed(page):
        page.get_by_role("link", name="Show 10 more").click()
    expect(ticks).to_have_count(20)
    expect(page.locator("input[name=chosen]:checked")).to_have_count(2)
    expect(ticks.nth(4)).to_be_checked()
    expect(page.locator("input[name=into]")).to_have_value("Half a name")


def test_a_name_that_was_sent_from_more_results_is_offered_no_more(own_bench, visit):
    """It stayed a draft of the page with ten results, where it was typed."""
    running = own_bench()
    page, into = visit(running, COMMON), "input[name=into]"
    with page.expect_response("**/drafts"):
        page.fill(into, "Sent further down")
    with followed(page):
        page.get_by_role("link", name="Show 10 more").click()
    expect(page.locator(into)).to_have_value("Sent further down")
    page.locator("input[name=chosen]").first.check()
    with page.expect_response(
        lambda answer: (
            (answer.request.post_data or "").count("Sent further down") == 1
            and answer.url.endswith("/drafts")
            and "sent" in answer.request.post_data
        )
    ):
        page.get_by_role("button", name="Keep", exact=True).click()
    assert drafts_at(visit(running), running.base + COMMON, "%2Ffind") == {}


def test_a_name_that_is_typed_while_another_is_sent_stays_a_draft(own_bench, visit):
    """What stood there when the answer came was taken for what had been sent."""
    running = own_bench()
    page, into = visit(running, COMMON), "input[name=into]"
    page.locator("input[name=chosen]").first.check()
    page.fill(into, "First name")
    page.evaluate(
        """() => {
          const plain = window.fetch;
          window.fetch = async (address, options) => {
            if (address === "/keep") await new Promise((go) => { window.goOn = go; });
            return plain(address, options);
          };
        }"""
    )
    page.get_by_role("button", name="Keep", exact=True).click()
    with page.expect_response(
        lambda answer: "Next name" in (answer.request.post_data or "")
    ):
        page.fill(into, "Next name")
    page.evaluate("goOn()")
    expect(page.locator("#did")).to_contain_text("in the new set First name.")
    found = drafts_at(visit(running), running.base + COMMON, "%2Ffind")
    assert found == {"into 0": ["Next name"]}


def test_words_that_have_no_room_are_refused_whole_and_not_cut(own_bench, visit):
    page = visit(own_bench(), "/tune?tune=The+Eel+Trap")
    field = page.locator("textarea[name=text]")
    field.fill("Begun. ")
    page.context.grant_permissions(["clipboard-read", "clipboard-write"])
    page.evaluate("navigator.clipboard.writeText('word '.repeat(1000))")
    field.press("End")
    field.press("Control+v")
    expect(page.locator(".cut")).to_have_text(
        "Nothing was put in: these would be 5,007 letters, and 4,000 can be kept here."
    )
    expect(field).to_have_value("Begun. ")
    field.press_sequentially("on")
    expect(page.locator(".cut")).to_have_count(0)
    expect(field).to_have_value("Begun. on")


def test_a_remark_half_written_is_there_by_every_door_to_its_tune(own_bench, visit):
    page = visit(own_bench(), "/tune?tune=The+Eel+Trap")
    field = "textarea[name=text]"
    with page.expect_response("**/drafts"):
        page.fill(field, "Half a thought")
    origin = page.url.split("/tune")[0]
    for door in (EEL_TRAP, "/tune?tune=The+Eel+Trap&bars=1-2"):
        page.goto(origin + door)
        expect(page.locator(field)).to_have_value("Half a thought")
        # Another tab finds it by the workbench.
        other = page.context.new_page()
        other.goto(origin + door)
        expect(other.locator(field)).to_have_value("Half a thought")
        other.close()
    page.goto(origin + "/tune?tune=Marl+Pit+Hornpipe")
    expect(page.locator(field)).to_have_value("")
    page.goto(origin + EEL_TRAP)
    with followed(page):
        page.get_by_role("button", name="Write it").click()
    page.goto(origin + "/tune?tune=The+Eel+Trap")
    expect(page.locator(field)).to_have_value("")


def test_remarks_half_written_in_several_tabs_are_all_there_when_those_are_closed(
    own_bench, visit
):
    running = own_bench()
    address = "/tune?tune=The+Eel+Trap"
    field = "textarea[name=text]"
    first, second = visit(running, address), visit(running, address)
    for page, text in ((first, "First thought"), (second, "Second")):
        with page.expect_response(lambda answer: answer.request.method == "POST"):
            page.fill(field, text)
    first.context.close()
    second.context.close()
    third = visit(running, address)
    expect(third.locator(field)).to_have_value("First thought\n\nSecond")
    # Who goes on with them has them: they do not come back beside what became of them.
    with third.expect_response(
        lambda answer: (
            answer.request.method == "POST" and "more" in answer.request.post_data
        )
    ):
        third.locator(field).press("End")
        third.locator(field).press_sequentially(", and more")
    third.context.close()
    last = visit(running, address)
    expect(last.locator(field)).to_have_value("First thought\n\nSecond, and more")
    with followed(last):
        last.get_by_role("button", name="Write it").click()
    found = drafts_at(
        visit(running), running.base + address, "%2Ftune%3Ftune%3De30a69995b53"
    )
    assert "Second" not in str(found)


def test_keeping_is_undone_and_done_again_where_one_is(own_bench, visit):
    running = own_bench()
    page = visit(running, COMMON)
    page.locator("input[name=chosen]").first.check()
    page.fill("input[name=into]", "Kept here")
    page.get_by_role("button", name="Keep", exact=True).click()
    did = page.locator("#did")
    expect(did).to_contain_text("Kept 1 passage in the new set Kept here.")
    address = page.url
    did.get_by_role("button", name="Undo").focus()
    page.keyboard.press("Enter")
    expect(did).to_contain_text("Undone: Kept 1 passage")
    expect(did.get_by_role("button", name="Undo")).to_be_focused()
    with Corpus.open(running.corpus_path) as corpus:
        assert not list_lessons(corpus)
    did.get_by_role("button", name="Undo").click()
    expect(did).not_to_contain_text("Undone")
    with Corpus.open(running.corpus_path) as corpus:
        assert len(open_lesson(corpus, "Kept here").examples) == 1
    assert page.url == address
    expect(page.locator("input[name=chosen]").first).to_be_checked()


def test_putting_a_tune_back_is_said_and_undone_in_turn(own_bench, visit):
    running = own_bench()
    page = visit(running, "/tune?tune=The+Eel+Trap")
    page.get_by_text("Remove it from the corpus").click()
    page.locator("input[name=sure]").check()
    with followed(page):
        page.get_by_role("button", name="Remove").click()
    for said in ("Undone: Removed The Eel Trap.", "Removed The Eel Trap.") * 2:
        with followed(page):
            page.locator("#did").get_by_role("button", name="Undo").click()
        expect(page.locator("#did span")).to_have_text(said)
        with Corpus.open(running.corpus_path) as corpus:
            found = corpus.tune_rows("WHERE title = ?", ["The Eel Trap"])
        assert bool(found) == said.startswith("Undone")


def test_a_remark_is_put_back_by_its_own_undoing_and_not_by_the_last_change(
    own_bench, visit
):
    running = own_bench()
    page = visit(running, "/tune?tune=The+Eel+Trap")
    page.fill("textarea[name=text]", "Heard at the lock")
    with followed(page):
        page.get_by_role("button", name="Write it").click()
    with followed(page):
        page.locator("#did").get_by_role("button", name="Undo").click()
    # Something else is done after it.
    running.send("/shelf/remove", "tune=Marl+Pit+Hornpipe&sure=yes")
    page.goto(running.base + "/done")
    undone = page.locator("main form", has_text="Undone: Wrote a note on The Eel Trap.")
    with followed(page):
        undone.get_by_role("button", name="Undo").click()
    with Corpus.open(running.corpus_path) as corpus:
        assert not corpus.tune_rows("WHERE title = ?", ["Marl Pit Hornpipe"])
        tune = corpus.resolve("The Eel Trap")
        assert [remark.text for remark in remarks_of(corpus, tune)] == ["Heard at the lock"]
    for count in (0, 1):
        with followed(page):
            page.locator("#did").get_by_role("button", name="Undo").click()
        with Corpus.open(running.corpus_path) as corpus:
            assert len(remarks_of(corpus, tune)) == count


def test_a_remark_is_taken_off_again_whatever_signs_it_has(own_bench):
    """It is kept as SQLite can hold it, and was looked for as it was typed."""
    running = own_bench()
    running.send("/shelf/remark", "tune=The+Eel+Trap&text=Heard%00here")
    running.send("/undo", "deed=1")
    with Corpus.open(running.corpus_path) as corpus:
        assert not remarks_of(corpus, corpus.resolve("The Eel Trap"))


def test_small_staves_show_whole_systems_on_a_narrow_screen(workbench, visit):
    page = visit(workbench, "/find?phrase=3+5+3+1+3+1+4+6+4+3+1", width=390)
    for rank in (2, 3, 4):
        place = page.locator(f"#match-{rank} .small-stave")
        place.scroll_into_view_if_needed()
        expect(place.locator("svg.music")).to_have_count(1)
        cut = place.evaluate(
            """(place) => {
              const { bottom } = place.getBoundingClientRect();
              return [...place.querySelectorAll(".system")].filter((system) => {
                const seen = system.getBoundingClientRect();
                return seen.top < bottom && seen.bottom > bottom + 1;
              }).length;
            }"""
        )
        assert cut == 0


def test_what_to_do_about_a_fault_is_a_sentence(own_bench, visit):
    page = visit(own_bench(), COMMON)
    page.fill("input[name=into]", "Nothing yet")
    page.get_by_role("button", name="Keep", exact=True).click()
    expect(page.locator(".kept")).to_have_text(
        "Nothing was chosen. Tick what is to be kept."
    )


def test_a_page_of_a_tune_that_was_removed_leads_to_undoing_that(own_bench, visit):
    running = own_bench()
    running.send("/shelf/remove", "tune=The+Eel+Trap&sure=yes")
    page = visit(running, "/tune?tune=The+Eel+Trap")
    with followed(page):
        page.get_by_role("alert").get_by_role("link", name="what was done").click()
    with followed(page):
        page.locator("main form", has_text="Removed The Eel Trap.").get_by_role(
            "button", name="Undo"
        ).click()
    expect(page.get_by_role("heading", level=1)).to_have_text("The Eel Trap")


def test_another_reading_of_a_phrase_is_offered_while_it_is_typed(workbench, visit):
    page = visit(workbench)
    page.fill("#phrase", "C E G, F A C")
    said = page.locator("#phrase-said")
    expect(said).to_contain_text("read as ABC: C4 E4 G3 F4 A4 C4")
    said.get_by_role("button", name="Read it as note names").click()
    expect(said).to_contain_text("read as note names: C4 E4 G4 F4 A4 C5")
    expect(page.locator("#phrase")).to_have_value("C E G, F A C")
    page.keyboard.press("Enter")
    expect(page.locator("#found .sub").last).to_contain_text("read as note names")
    # What is typed next is read anew.
    page.fill("#phrase", "5 1 2 3")
    expect(said).to_contain_text("scale degrees")
    expect(said.get_by_role("button")).to_have_count(0)


@pytest.mark.parametrize("width", [390, 900])
def test_what_is_told_covers_no_undo(own_bench, visit, width):
    running = own_bench()
    page = visit(running, "/find?phrase=1+2+3+1", width=width)
    page.locator("input[name=chosen]").first.check()
    page.fill("input[name=into]", "Covered")
    page.get_by_role("button", name="Keep", exact=True).click()
    undo = page.locator("#did").get_by_role("button", name="Undo")
    told = page.locator("#told")
    expect(told).to_have_text("Kept 1 passage in the new set Covered.")
    expect(told).to_have_css("clip-path", "inset(50%)")
    # Something else is told beside it.
    page.get_by_role("button", name="all", exact=True).click()
    expect(told).to_contain_text("are ticked")
    expect(told).to_have_css("clip-path", "none")
    seen, free = told.bounding_box(), undo.bounding_box()
    assert seen["y"] + seen["height"] < free["y"]


def test_what_is_chosen_for_printing_is_read_whole_on_a_narrow_screen(own_bench, visit):
    running = own_bench()
    running.send("/keep", "source=tune&into=Narrow&tune=The+Eel+Trap&bars=1-4")
    page = visit(running, "/set?name=Narrow", width=390)
    cut = page.locator("form.print select").evaluate_all(
        """(selects) => selects.filter((select) => {
          const style = getComputedStyle(select);
          const pen = document.createElement("canvas").getContext("2d");
          pen.font = style.font;
          const text = pen.measureText(select.selectedOptions[0].text).width;
          const room = select.clientWidth - parseFloat(style.paddingLeft);
          return text + 16 > room;  // The arrow takes so much.
        }).map((select) => select.name)"""
    )
    assert cut == []


def test_without_scripts_nobody_is_told_to_click_on_bars(workbench, visit):
    page = visit(workbench, "/tune?tune=The+Eel+Trap", java_script_enabled=False)
    expect(page.locator(".music-with-bars svg")).to_be_visible()
    expect(page.get_by_text("Click or tap a bar")).to_be_hidden()
