"""Words that are typed while something else is under way: each race, made to happen.

Requests of a page are held or refused by the browser's driver, so that nothing rests on
how fast a machine is. What must hold after each: every word that was typed stands in the
corpus, or stands there as soon as what it was written on is there again.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, Route, expect

from melodex.corpus.reader import Corpus
from melodex.errors import LessonError
from melodex.tasks.lesson.choosing import choice_of
from melodex.tasks.lesson.sets import open_lesson
from melodex.tasks.lesson.words import mark_of_text, passage_keys
from tests.workbench.conftest import Running, set_of_test

TUNES = ("The+Eel+Trap", "Marl+Pit+Hornpipe")
CHANGE = "**/set/change"


@pytest.fixture
def opened(bench: Running, visit: Callable[..., Page], request: pytest.FixtureRequest):
    """A set of the test's own, and its page in a tab."""
    name = set_of_test(bench, request, TUNES)
    return name, visit(bench, f"/set?name={name}")


def notes_in(running: Running, name: str) -> list[str]:
    with Corpus.open(running.corpus_path) as corpus:
        return [each.row.note for each in open_lesson(corpus, name).examples]


def written(page: Page) -> None:
    expect(page.locator("#saved")).to_have_text("All words are written down.")


def arrives(running: Running, name: str, notes: list[str], page: Page) -> None:
    """Wait until the notes of a set are these; some other page passes the time."""
    for _ in range(300):
        if notes_in(running, name) == notes:
            return
        page.wait_for_timeout(100)
    assert notes_in(running, name) == notes


HOLD = """(pattern) => {
  const send = window.fetch;
  const waiting = [];
  window.fetch = (address, ...more) => {
    if (!String(address).includes(pattern)) return send(address, ...more);
    return new Promise((yes, no) => {
      waiting.push(() => send(address, ...more).then(yes, no));
    });
  };
  window.held = () => waiting.length;
  window.letGo = () => { window.fetch = send; waiting.forEach((go) => go()); };
}"""


class Held:
    """What a page sends waits until it is let go."""

    def __init__(self, page: Page, pattern: str = "/set/change") -> None:
        self.page = page
        page.evaluate(HOLD, pattern)

    def wait(self) -> None:
        self.page.wait_for_function("held() > 0")

    def let_go(self) -> None:
        self.page.evaluate("letGo()")


def second_tab(page: Page) -> Page:
    other = page.context.new_page()
    other.goto(page.url)
    return other


def test_a_tab_that_is_closed_while_it_writes_has_written_all(bench, opened):
    name, page = opened
    # The first writing is not answered as long as the page is there.
    page.route(CHANGE, lambda route: None, times=1)
    page.fill("#passage-1 textarea", "one")
    page.fill("#passage-2 textarea", "two")
    page.fill("#passage-2 textarea", "two and three")
    other = second_tab(page)
    page.close()
    arrives(bench, name, ["one", "two and three"], other)


def test_an_earlier_request_that_comes_late_changes_nothing(bench, opened):
    name, _ = opened
    with Corpus.open(bench.corpus_path) as corpus:
        key = passage_keys(open_lesson(corpus, name).rows)[0]
    field = f"words:{key}:{mark_of_text('')}"
    for turn, text in ((1, "helo"), (3, "hello+there"), (2, "hello")):
        bench.send(
            "/set/change", f"name={name}&do=words&page=p1&turn={turn}&{field}={text}"
        )
    # What the same page wrote before was its own: it is replaced, not joined.
    assert notes_in(bench, name) == ["hello there", ""]
    bench.send("/set/change", f"name={name}&do=words&page=p2&turn=1&{field}=mine")
    assert notes_in(bench, name)[0] == "hello there\n\nmine"


def test_words_on_a_passage_that_another_tab_took_out_come_back_with_it(bench, opened):
    name, page = opened
    other = second_tab(page)
    page.locator("#passage-1 >> text=Remove").click()
    expect(page.locator("#did")).to_contain_text("Took out")
    other.fill("#passage-1 textarea", "typed on what is gone")
    other.fill("#passage-2 textarea", "typed beside it")
    other.locator("#passage-2 textarea").blur()
    expect(other.locator("#saved")).to_contain_text("about a passage that was taken out")
    other.close()
    page.locator("#did").get_by_role("button", name="Undo").click()
    expect(page.locator("#passage-1 textarea")).to_have_value("typed on what is gone")
    assert notes_in(bench, name) == ["typed on what is gone", "typed beside it"]


def test_words_typed_after_remove_was_pressed_come_back_with_the_passage(bench, opened):
    name, page = opened
    held = Held(page)
    page.locator("#passage-2 >> text=Remove").click()
    held.wait()
    page.fill("#passage-2 textarea", "too late?")
    held.let_go()
    expect(page.locator(".match")).to_have_count(1)
    expect(page.locator("#saved")).to_contain_text("about a passage that was taken out")
    undo = page.locator("#did").get_by_role("button", name="Undo")
    page.evaluate("sessionStorage.clear()")
    undo.click()
    expect(page.locator("#passage-2 textarea")).to_have_value("too late?")
    assert notes_in(bench, name) == ["", "too late?"]


def test_words_for_a_set_that_another_tab_deleted_are_held(bench, opened):
    name, page = opened
    other = second_tab(page)
    bench.send("/set/change", f"name={name}&do=delete&sure=yes&mark={mark_on(page)}")
    other.fill("#passage-1 textarea", "typed on a set that is gone")
    other.locator("#passage-1 textarea").blur()
    expect(other.locator("#saved")).to_contain_text("what you wrote is kept")
    other.close()
    page.goto(bench.base + "/done")
    page.get_by_role("button", name=f"Undo: Deleted the set {name}.").click()
    expect(page.locator("#did")).to_contain_text("Undone")
    assert notes_in(bench, name) == ["typed on a set that is gone", ""]


def mark_on(page: Page) -> str:
    return page.locator("#set [name=mark]").input_value()


def test_words_typed_in_a_tab_that_has_the_old_name_stand_in_the_renamed_set(bench, opened):
    name, page = opened
    other = second_tab(page)
    page.fill("[data-words=name]", f"{name} anew")
    page.locator("[data-words=name]").blur()
    written(page)
    other.fill("#passage-1 textarea", "typed under the old name")
    other.locator("#passage-1 textarea").blur()
    written(other)
    expect(other.get_by_role("heading", level=1)).to_have_text(f"{name} anew")
    assert notes_in(bench, f"{name} anew")[0] == "typed under the old name"
    other.goto(f"{bench.base}/set?name={name}")
    expect(other.get_by_role("heading", level=1)).to_have_text(f"{name} anew")
    with Corpus.open(bench.corpus_path) as corpus, pytest.raises(LessonError):
        open_lesson(corpus, name)


def test_a_name_that_is_taken_keeps_no_other_word_from_being_written(bench, opened):
    name, page = opened
    bench.send("/sets/new", "name=Taken+already")
    page.fill("[data-words=name]", "Taken already")
    page.fill("#passage-1 textarea", "written all the same")
    page.locator("#passage-1 textarea").blur()
    expect(page.locator("#saved")).to_contain_text("There is a teaching set called")
    assert notes_in(bench, name)[0] == "written all the same"
    page.on("dialog", lambda dialog: dialog.accept())
    page.fill("#passage-2 textarea", "and this, when one leaves")
    other = second_tab(page)
    page.close()
    arrives(bench, name, ["written all the same", "and this, when one leaves"], other)


def test_what_is_typed_while_undo_is_under_way_stays(bench, opened):
    name, page = opened
    page.locator("#passage-1 >> text=Later").click()
    expect(page.locator("#did")).to_contain_text("Moved")
    page.evaluate(
        "() => { Storage.prototype.setItem = () => { throw new Error('full'); }; }"
    )
    held = Held(page, "/undo")
    page.locator("#did").get_by_role("button", name="Undo").click()
    held.wait()
    page.fill("#passage-2 textarea", "typed meanwhile")
    held.let_go()
    expect(page.locator("#did")).to_contain_text("Undone")
    expect(page.locator("#passage-1 textarea")).to_have_value("typed meanwhile")
    written(page)
    assert notes_in(bench, name) == ["typed meanwhile", ""]


def mine_held_after(page, theirs, mine):
    """What another tab wrote, then one's own words on their way, held up."""
    other = second_tab(page)
    other.fill("#passage-1 textarea", theirs)
    other.locator("#passage-1 textarea").blur()
    written(other)
    held = Held(page)
    page.fill("#passage-1 textarea", mine)
    page.locator("#passage-1 textarea").blur()
    held.wait()
    return held


def test_both_texts_stay_when_one_is_changed_while_they_are_joined(bench, opened):
    name, page = opened
    held = mine_held_after(page, "theirs costs $& or $1", "mine as it was")
    page.fill("#passage-1 textarea", "mine, mended")
    held.let_go()
    page.locator("#passage-1 textarea").blur()
    arrives(bench, name, ["theirs costs $& or $1\n\nmine, mended", ""], page)


def test_words_are_written_again_by_themselves_after_a_fault(bench, opened):
    name, page = opened
    page.route(CHANGE, lambda route: route.abort(), times=1)
    page.fill("#passage-1 textarea", "refused once")
    page.locator("#passage-1 textarea").blur()
    expect(page.locator("#saved")).to_contain_text("Not written yet")
    written(page)
    assert notes_in(bench, name)[0] == "refused once"


def test_words_taken_away_are_not_put_back_by_a_visit(bench, opened):
    name, page = opened
    page.fill("#passage-1 textarea", "one two three")
    page.locator("#passage-1 textarea").blur()
    written(page)
    page.route(CHANGE, lambda route: route.abort())
    page.fill("#passage-1 textarea", "one two")
    page.on("dialog", lambda dialog: dialog.accept())
    page.goto(bench.base + "/shelf")
    page.unroute(CHANGE)
    page.goto(f"{bench.base}/set?name={name}")
    expect(page.locator("#passage-1 textarea")).to_have_value("one two")
    arrives(bench, name, ["one two", ""], page)


def test_what_is_printed_has_the_words_that_were_typed_last(bench, opened):
    _, page = opened
    held = Held(page)
    page.fill("#passage-1 textarea", "typed and printed at once")
    page.get_by_role("button", name="Page", exact=True).click(no_wait_after=True)
    held.wait()
    with page.expect_download() as download:
        held.let_go()
    text = Path(download.value.path()).read_text(encoding="utf-8")
    assert "typed and printed at once" in text


def test_undoing_again_and_again_keeps_what_was_written_between(bench, opened):
    name, page = opened
    page.locator("#passage-1 >> text=Remove").click()
    undo = page.locator("#did").get_by_role("button", name="Undo")
    for turn, words in enumerate(("Undone: Took", "Took", "Undone: Took", "Took")):
        undo.click()
        expect(page.locator("#did span")).to_have_text(re.compile(f"^{words}"))
        home = page.locator(".note textarea").last
        before = home.input_value()
        home.fill(f"{before} w{turn}")
        home.blur()
        written(page)
    undo.click()
    expect(page.locator(".match")).to_have_count(2)
    assert sorted(" ".join(notes_in(bench, name)).split()) == ["w0", "w1", "w2", "w3"]


def test_words_of_questions_are_written_by_a_tab_that_is_closed(bench, opened):
    name, page = opened
    page.goto(f"{bench.base}/set/questions?name={name}")
    page.route("**/set/questions/change", lambda route: None, times=1)
    page.fill("textarea[name=words]", "At the head.")
    task = page.locator("textarea[name^='task:']").first
    task.fill("Take a pencil.")
    task.fill("Take a pencil, please.")
    other = second_tab(page)
    page.close()

    def plan():
        with Corpus.open(bench.corpus_path) as corpus:
            return choice_of(corpus, open_lesson(corpus, name)).plan

    for _ in range(300):
        if "Take a pencil, please." in plan().wanted[0].tasks.values():
            break
        other.wait_for_timeout(100)
    assert "Take a pencil, please." in plan().wanted[0].tasks.values()
    assert plan().words == ("At the head.",)


def typed_at_the_end(page: Page, passage: int, text: str) -> None:
    page.locator(f"#passage-{passage} textarea").focus()
    page.keyboard.press("Control+End")
    page.keyboard.insert_text(text)


def test_the_caret_stays_in_its_words_when_an_answer_comes_while_one_types(bench, opened):
    name, page = opened
    page.fill("#passage-2 textarea", "first")
    page.locator("#passage-2 textarea").blur()
    written(page)
    held = Held(page)
    page.locator("#passage-2 >> text=Earlier").click()
    held.wait()
    typed_at_the_end(page, 2, "")
    page.keyboard.press("ArrowLeft")
    held.let_go()
    # It stands before the other now, and is still being typed in.
    expect(page.locator("#did")).to_contain_text("Moved")
    expect(page.locator("#passage-1 textarea")).to_be_focused()
    page.keyboard.insert_text("es")
    expect(page.locator("#passage-1 textarea")).to_have_value("firsest")
    arrives(bench, name, ["firsest", ""], page)


def test_the_caret_stays_in_its_words_when_they_are_joined_with_others(bench, opened):
    name, page = opened
    held = mine_held_after(page, "theirs", "mine")
    typed_at_the_end(page, 1, " is fin")
    page.keyboard.press("ArrowLeft")
    held.let_go()
    field = page.locator("#passage-1 textarea")
    expect(field).to_have_value("theirs\n\nmine is fin")
    page.keyboard.insert_text("ct")
    page.keyboard.press("ArrowLeft")
    page.keyboard.insert_text("_")
    expect(field).to_have_value("theirs\n\nmine is fic_tn")
    arrives(bench, name, ["theirs\n\nmine is fic_tn", ""], page)


def test_words_of_two_tabs_on_a_passage_that_a_third_took_out_all_come_back(bench, opened):
    name, page = opened
    others = [second_tab(page), second_tab(page)]
    page.locator("#passage-1 >> text=Remove").click()
    expect(page.locator("#did")).to_contain_text("Took out")
    for other, words in zip(others, ("of one", "of another"), strict=True):
        other.fill("#passage-1 textarea", words)
        other.locator("#passage-1 textarea").blur()
        expect(other.locator("#saved")).to_contain_text("about a passage that was taken")
    # What one of them says next takes the place of its own words only.
    others[0].fill("#passage-1 textarea", "of one, and more")
    expect(others[0].locator("#saved")).to_be_empty()
    others[0].locator("#passage-1 textarea").blur()
    expect(others[0].locator("#saved")).to_contain_text("about a passage that was taken")
    page.locator("#did").get_by_role("button", name="Undo").click()
    expect(page.locator("#did")).to_contain_text("Undone")
    assert set(notes_in(bench, name)[0].split("\n\n")) == {"of one, and more", "of another"}


ANSWER_LATE = """(pattern) => {
  const send = window.fetch;
  window.answered = new Promise((seen) => {
    window.fetch = async (address, ...more) => {
      const answer = await send(address, ...more);
      if (!String(address).includes(pattern)) return answer;
      seen();
      return new Promise((yes) => { window.letGo = () => yes(answer); });
    };
  });
}"""
HIDE = """() => {
  Object.defineProperty(document, "hidden", { value: true, configurable: true });
  document.dispatchEvent(new Event("visibilitychange"));
  delete document.hidden;
}"""


def test_an_answer_that_comes_late_hides_no_words_that_were_written_since(bench, opened):
    name, page = opened
    page.locator("#passage-1 >> text=Later").click()
    expect(page.locator("#did")).to_contain_text("Moved")
    page.evaluate(ANSWER_LATE, "/undo")
    page.locator("#did").get_by_role("button", name="Undo").click()
    page.evaluate("answered")
    typed_at_the_end(page, 1, "one")
    # Another tab comes to the front: what was typed is written without waiting.
    page.evaluate(HIDE)
    written(page)
    assert notes_in(bench, name) == ["", "one"]
    page.evaluate("letGo()")
    expect(page.locator("#did")).to_contain_text("Undone")
    expect(page.locator("#passage-2 textarea")).to_have_value("one")
    typed_at_the_end(page, 2, " two")
    arrives(bench, name, ["", "one two"], page)


REFUSE_WORDS = """() => {
  const send = window.fetch;
  window.accept = () => { window.fetch = send; };
  window.fetch = (address, options) => (options?.body?.get("do") === "words"
    ? Promise.reject(new TypeError("refused")) : send(address, options));
}"""


def test_words_that_have_their_passage_again_are_not_written_over_by_what_they_were(
    bench, opened
):
    name, page = opened
    # Buttons go through, and no words that are sent alone.
    page.evaluate(REFUSE_WORDS)
    held = Held(page)
    page.locator("#passage-2 >> text=Remove").click()
    held.wait()
    page.fill("#passage-2 textarea", "too late?")
    held.let_go()
    expect(page.locator(".match")).to_have_count(1)
    page.locator("#did").get_by_role("button", name="Undo").click()
    expect(page.locator("#passage-2 textarea")).to_have_value("too late?")
    typed_at_the_end(page, 2, " no")
    page.evaluate("accept()")
    page.locator("#passage-2 textarea").blur()
    arrives(bench, name, ["", "too late? no"], page)


def test_words_typed_before_the_scripts_of_a_page_are_there_stay(bench, opened):
    name, page = opened
    page.on("dialog", lambda dialog: dialog.accept())
    page.route(CHANGE, lambda route: route.abort())
    page.fill("#passage-1 textarea", "kept")
    page.locator("#passage-1 textarea").blur()
    expect(page.locator("#saved")).to_contain_text("Not written yet")
    waiting: list[Route] = []

    def hold(route: Route) -> None:
        waiting.append(route)

    page.route("**/keeps.js", hold)
    page.reload(wait_until="commit")
    page.locator("#passage-1 textarea").evaluate("field => { field.value = ''; }")
    typed_at_the_end(page, 1, " and early")
    page.unroute(CHANGE)
    for route in waiting:
        route.continue_()
    expect(page.locator("#passage-1 textarea")).to_have_value("kept and early")
    arrives(bench, name, ["kept and early", ""], page)


def test_undoing_words_takes_back_what_they_said_and_nothing_written_since(bench, opened):
    name, _ = opened
    with Corpus.open(bench.corpus_path) as corpus:
        key = passage_keys(open_lesson(corpus, name).rows)[0]

    def done(path: str, fields: str) -> str:
        """Do it; the number of the deed."""
        status, headers, _ = bench.send(path, fields)
        assert status == 303
        return headers["location"].partition("did=")[2].partition("#")[0]

    def said(seen: str, text: str) -> str:
        field = f"words:{key}:{mark_of_text(seen)}"
        return done("/set/change", f"name={name}&do=words&{field}={text}")

    first = said("", "one")
    done("/set/change", f"name={name}&do=down {key}")
    second = said("one", "one and two")
    undone = done("/undo", f"deed={first}")
    assert notes_in(bench, name) == ["", "and two"]
    # What stands there no more as it was written is left alone.
    assert bench.send("/undo", f"deed={second}")[0] == 422
    done("/undo", f"deed={undone}")
    assert notes_in(bench, name) == ["", "one and two"]
    done("/undo", f"deed={second}")
    assert notes_in(bench, name) == ["", "one"]


def test_no_browser_puts_older_words_over_newer_ones(bench, opened):
    # One that goes back fills fields as it left them, some time while the page loads, which
    # may be after newer words were put there. No test can choose the time; a form that asks
    # for no such help gets none (HTML, autofill).
    name, page = opened
    expect(page.locator("#set")).to_have_attribute("autocomplete", "off")
    page.goto(f"{bench.base}/set/questions?name={name}")
    expect(page.locator("#choice")).to_have_attribute("autocomplete", "off")
