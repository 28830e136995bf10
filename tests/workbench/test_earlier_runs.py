"""What an earlier run of the page did is undone alone, and what it held is still there."""

from __future__ import annotations

from playwright.sync_api import expect

from melodex.corpus.reader import Corpus
from melodex.tasks.lesson.sets import open_lesson

TUNES = ("The+Eel+Trap", "Marl+Pit+Hornpipe", "Snail+Post")


def notes_in(running, name: str) -> dict[str, str]:
    with Corpus.open(running.corpus_path) as corpus:
        lesson = open_lesson(corpus, name)
    return {each.excerpt.title: each.row.note for each in lesson.examples}


def test_a_change_of_an_earlier_run_is_undone_alone_with_the_words_it_had_no_place_for(
    own_bench, visit
):
    first = own_bench()
    for tune in TUNES:
        first.send("/keep", f"source=tune&into=Kept&tune={tune}&bars=1-4")
    page = visit(first, "/set?name=Kept")
    other = page.context.new_page()
    other.goto(page.url)
    page.locator("#passage-1 >> text=Remove").click()
    expect(page.locator("#did")).to_contain_text("Took out")
    other.fill("#passage-1 textarea", "typed on what is gone")
    other.locator("#passage-1 textarea").blur()
    expect(other.locator("#saved")).to_contain_text("about a passage that was taken out")
    page.context.close()

    second = own_bench(first.corpus_path)
    page = visit(second, "/set?name=Kept")
    page.fill("#passage-2 textarea", "written in the second run")
    page.locator("#passage-1 >> text=Later").click()
    expect(page.locator("#did")).to_contain_text("Moved")
    page.goto(second.base + "/done")
    expect(page.locator(".kept-words")).to_have_text("typed on what is gone")
    # What is let go of is had again, as anything else.
    page.get_by_role("button", name="Let go of: typed on what is gone").click()
    expect(page.locator("#did")).to_contain_text("Let go of words for the set Kept.")
    expect(page.locator(".kept-words")).to_have_count(0)
    page.locator("#did").get_by_role("button", name="Undo").click()
    expect(page.locator(".kept-words")).to_have_text("typed on what is gone")
    page.get_by_role("button", name="Undo: Took passages out of the set Kept.").click()
    # What the second run did since stays as it is.
    expect(page.locator("#did")).to_contain_text("Undone: Took passages out")
    expect(page.get_by_role("heading", level=1)).to_have_text("Kept")
    expect(page.locator("#passage-1 textarea")).to_have_value("typed on what is gone")
    assert notes_in(second, "Kept") == {
        "The Eel Trap": "typed on what is gone",
        "Snail Post": "written in the second run",
        "Marl Pit Hornpipe": "",
    }
    assert list(notes_in(second, "Kept"))[1:] == ["Snail Post", "Marl Pit Hornpipe"]
    page.goto(second.base + "/done")
    expect(page.locator(".deeds").first).to_be_visible()
    expect(page.locator(".kept-words")).to_have_count(0)


def test_a_change_that_does_not_stand_there_any_more_says_so(own_bench, visit):
    first = own_bench()
    first.send("/keep", "source=tune&into=Kept&tune=Snail+Post&bars=1-4")
    page = visit(first, "/set?name=Kept")
    page.fill("#passage-1 textarea", "one")
    page.locator("#passage-1 textarea").blur()
    expect(page.locator("#saved")).to_have_text("All words are written down.")
    second = own_bench(first.corpus_path)
    page = visit(second, "/set?name=Kept")
    page.fill("#passage-1 textarea", "quite another")
    page.locator("#passage-1 textarea").blur()
    expect(page.locator("#saved")).to_have_text("All words are written down.")
    page.goto(second.base + "/done")
    page.get_by_role("button", name="Undo: Wrote words in the set Kept.").click()
    expect(page.locator(".fault[role=alert]")).to_contain_text(
        "does not stand there any more"
    )
    assert notes_in(second, "Kept") == {"Snail Post": "quite another"}


def test_a_set_that_an_earlier_run_deleted_comes_back_and_that_is_undone(own_bench, visit):
    first = own_bench()
    first.send("/keep", "source=tune&into=Kept&tune=Snail+Post&bars=1-4")
    page = visit(first, "/set?name=Kept")
    mark = page.locator("#set [name=mark]").input_value()
    first.send("/set/change", f"name=Kept&do=delete&sure=yes&mark={mark}")
    second = own_bench(first.corpus_path)
    page = visit(second, "/done")
    undo = page.locator("#did").get_by_role("button", name="Undo")
    page.get_by_role("button", name="Undo: Deleted the set Kept.").click()
    expect(page.get_by_role("heading", level=1)).to_have_text("Kept")
    undo.click()
    expect(page.locator("#did span")).to_have_text("Deleted the set Kept.")
    page.goto(second.base + "/sets")
    expect(page.locator("main")).not_to_contain_text("Kept")
    page.goto(second.base + "/done")
    page.get_by_role("button", name="Undo: Deleted the set Kept.").first.click()
    expect(page.locator("ul.sets")).to_contain_text("Kept 1 passage")
    assert notes_in(second, "Kept") == {"Snail Post": ""}
