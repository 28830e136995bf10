"""Nothing made on a page is lost: by another button, a reload, going back, or a fault."""

from __future__ import annotations

from urllib.parse import quote

from playwright.sync_api import expect

from melodex.corpus.reader import Corpus
from melodex.tasks.collection.holdings import remove_tunes
from melodex.tasks.lesson.sets import open_lesson
from melodex.tasks.passage import find_passage

TUNES = ("The+Eel+Trap", "Marl+Pit+Hornpipe", "Snail+Post")


def notes_in(running, name: str) -> dict[str, str]:
    with Corpus.open(running.corpus_path) as corpus:
        lesson = open_lesson(corpus, name)
    return {each.excerpt.title: each.row.note for each in lesson.examples}


def made_set(running, name: str) -> None:
    for tune in TUNES:
        running.send("/keep", f"source=tune&into={name}&tune={tune}&bars=1-4")


def test_words_are_written_whatever_is_done_next_and_undoing_leaves_them(own_bench, visit):
    running = own_bench()
    made_set(running, "Kept")
    page = visit(running, "/set?name=Kept")
    page.fill("#passage-1 textarea", "typed at one passage")
    page.locator("#passage-3 >> text=Remove").click()
    expect(page.locator("#did")).to_contain_text("Took out Snail Post")
    expect(page.locator("#passage-1 textarea")).to_have_value("typed at one passage")
    page.fill("#passage-2 textarea", "typed after the removal")
    # The place on the page and the focus stay where one works.
    page.locator("#did").get_by_role("button", name="Undo").click()
    expect(page.locator(".match")).to_have_count(3)
    expect(page.locator("#passage-2 textarea")).to_have_value("typed after the removal")
    page.fill("#passage-3 textarea", "typed, and left by a link")
    page.locator(".top >> text=Shelf").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("The shelf")
    page.go_back()
    expect(page.locator("#passage-3 textarea")).to_have_value("typed, and left by a link")
    page.fill("[data-words=name]", "Renamed")
    page.locator("[data-words=topic]").fill("Turns")
    page.locator("#passage-2 >> text=Earlier").click()
    expect(page.locator("#did")).to_contain_text("Moved Marl Pit Hornpipe")
    expect(page.get_by_role("heading", level=1)).to_have_text("Renamed")
    expect(page.locator("#passage-1 >> text=Later")).to_be_focused()
    assert notes_in(running, "Renamed") == {
        "Marl Pit Hornpipe": "typed after the removal",
        "The Eel Trap": "typed at one passage",
        "Snail Post": "typed, and left by a link",
    }


def test_without_scripts_every_button_carries_the_words_and_undo_is_offered(
    own_bench, visit
):
    running = own_bench()
    made_set(running, "Plain")
    page = visit(running, "/set?name=Plain", java_script_enabled=False)
    page.fill("#passage-2 textarea", "no script")
    page.locator("#passage-1 >> text=Remove").click()
    expect(page.locator(".did")).to_contain_text("Took out The Eel Trap")
    expect(page.locator("#passage-1 textarea")).to_have_value("no script")
    page.locator(".did").get_by_role("button", name="Undo").click()
    expect(page.locator(".match")).to_have_count(3)
    page.get_by_role("link", name="What was done").click()
    expect(page.locator(".deeds li")).to_have_count(6)
    page.get_by_role("button", name="Undo: Wrote words in Plain.").click()
    assert notes_in(running, "Plain")["Marl Pit Hornpipe"] == ""


def test_a_phrase_ticks_and_folds_outlive_other_pages_reload_and_back(workbench, visit):
    page = visit(workbench)
    page.fill("#phrase", "3 5 3 1 3 1 4 6 4")
    page.locator(".top >> text=Shelf").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("The shelf")
    page.locator(".top >> text=Find").click()
    expect(page.locator("#phrase")).to_have_value("3 5 3 1 3 1 4 6 4")
    page.get_by_role("button", name="Find it").click()
    page.get_by_role("checkbox", name="Choose match 2,").check()
    page.locator("#match-2 summary").first.click()
    expect(page.locator("#match-2 .evidence svg.music")).to_have_count(1)
    page.fill("#phrase", "1 2 3 4 changed")
    page.reload()
    expect(page.locator("#phrase")).to_have_value("1 2 3 4 changed")
    expect(page.get_by_role("checkbox", name="Choose match 2,")).to_be_checked()
    expect(page.locator("#match-2 .evidence svg.music")).to_have_count(1)
    # Another tab begins with nothing of this one.
    other = page.context.new_page()
    other.goto(workbench.base)
    expect(other.locator("#phrase")).to_have_value("")


PHRASE = "3 5 3 1 3 1 | 4 6 4 3 1 | 2 4 2 7, 2 7, | 1 5, 5,"


def test_what_is_ticked_is_kept_though_tunes_before_it_have_gone(own_bench, visit):
    running = own_bench()
    page = visit(running, "/")
    page.fill("#phrase", PHRASE)
    page.get_by_role("button", name="Find it").click()
    tick = page.get_by_role("checkbox", name="Choose match 2, The Eel Trap")
    tick.check()
    expect(page.locator("#match-2 h3")).to_contain_text("The Eel Trap")
    remove_tunes(running.corpus_path, ["Marl Pit Hornpipe"])
    # Its notes are those of the passage that was shown, and so is what is kept.
    page.locator("#match-2 summary").first.click()
    expect(page.locator("#match-2 .evidence")).to_contain_text("The Eel Trap")
    form = page.locator("form[data-keep]")
    form.locator("[name=into]").fill("Ticked")
    form.get_by_role("button", name="Keep").click()
    expect(form.locator(".kept")).to_contain_text("Kept 1 passage")
    assert list(notes_in(running, "Ticked")) == ["The Eel Trap"]
    # It is ticked wherever it stands when the question is asked again.
    page.reload()
    first = page.get_by_role("checkbox", name="Choose match 1, The Eel Trap")
    expect(first).to_be_checked()
    expect(page.locator("input[name=chosen]:checked")).to_have_count(1)


def test_what_is_ticked_is_kept_though_the_result_has_it_no_more(own_bench):
    running = own_bench()
    with Corpus.open(running.corpus_path) as corpus:
        there = find_passage("Snail Post", corpus).tune_id
        gone = find_passage("The Eel Trap", corpus).tune_id
    remove_tunes(running.corpus_path, [gone])
    asked = f"source=find&into=Far&phrase={quote(PHRASE)}&limit=1"
    status, _, _ = running.send("/keep", f"{asked}&chosen={quote(f'1 {there} 1-4')}")
    assert status == 303
    assert list(notes_in(running, "Far")) == ["Snail Post"]
    status, _, told = running.send("/keep", f"{asked}&chosen={quote(f'2 {gone} 1-4')}")
    assert status == 422
    assert "he tune of 2 is no longer in the corpus" in told.decode()


def test_a_tune_that_was_removed_and_a_tag_come_back(own_bench, visit):
    running = own_bench()
    page = visit(running, "/tune?tune=Snail+Post")
    page.fill("input[name=word]", "for Tuesday")
    page.click("text=Put on")
    page.locator(".did").get_by_role("button", name="Undo").click()
    expect(page.locator("main")).not_to_contain_text("Now: for Tuesday.")
    page.click("text=Remove it from the corpus")
    page.get_by_role("checkbox", name="take out").check()
    page.get_by_role("button", name="Remove").click()
    page.locator(".did").get_by_role("button", name="Undo").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Snail Post")
