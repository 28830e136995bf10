"""The questions of a set: what is typed while requests and answers are on their way.

As in ``test_races``: what is sent or answered is held by the driver or the page itself, so
that nothing rests on how fast a machine is.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from melodex.corpus.reader import Corpus
from melodex.tasks.lesson.choosing import choice_of
from melodex.tasks.lesson.plan import Plan
from melodex.tasks.lesson.sets import open_lesson
from tests.browser import followed
from tests.workbench.conftest import Running, set_of_test
from tests.workbench.test_races import HIDE, Held

TUNES = ("Paper+Swans", "Marl+Pit+Hornpipe", "Snail+Post", "Grey+Punt")
CHANGE = "/set/questions/change"
FIRST_ANSWER_LATE = """(pattern) => {
  const send = window.fetch;
  window.answered = new Promise((seen) => {
    window.fetch = async (address, ...more) => {
      const isFirst = String(address).includes(pattern) && !window.letGo;
      if (!isFirst) return send(address, ...more);
      const later = new Promise((yes) => { window.letGo = yes; });
      const answer = await send(address, ...more);
      seen();
      await later;
      return answer;
    };
  });
}"""


@pytest.fixture
def opened(bench: Running, visit: Callable[..., Page], request: pytest.FixtureRequest):
    """A set of the test's own, and the page of its questions."""
    name = set_of_test(bench, request, TUNES)
    return name, visit(bench, f"/set/questions?name={name}")


def plan_of(running: Running, name: str) -> Plan:
    with Corpus.open(running.corpus_path) as corpus:
        return choice_of(corpus, open_lesson(corpus, name)).plan


def written(page: Page) -> None:
    expect(page.locator("#saved")).to_have_text("All words are written down.")


def arrives(page: Page, wanted: Callable[[], bool]) -> None:
    for _ in range(300):
        if wanted():
            return
        page.wait_for_timeout(100)
    assert wanted()


def head(page: Page):
    return page.locator("textarea[name=words]")


def test_an_answer_that_comes_late_hides_no_words_written_since(bench, opened):
    name, page = opened
    page.evaluate(FIRST_ANSWER_LATE, CHANGE)
    head(page).fill("one")
    head(page).blur()
    page.evaluate("answered")
    head(page).fill("one two")
    # Another tab comes to the front: what was typed is written without waiting.
    page.evaluate(HIDE)
    arrives(page, lambda: plan_of(bench, name).words == ("one two",))
    page.evaluate("letGo()")
    # Back to what the late answer tells of: a change like any other.
    head(page).fill("one")
    head(page).blur()
    arrives(page, lambda: plan_of(bench, name).words == ("one",))


def test_a_button_pressed_while_words_are_on_their_way_is_no_other_page(bench, opened):
    name, page = opened
    held = Held(page, CHANGE)
    head(page).fill("typed, and left for a moment")
    page.evaluate(HIDE)
    held.wait()
    first = plan_of(bench, name).wanted[0].name
    page.locator(f"#question-{first} >> text=Later").click(no_wait_after=True)
    with followed(page):
        held.let_go()
    expect(page.locator("#did")).to_contain_text("Moved a question")
    expect(page.locator(".fault")).to_have_count(0)
    expect(head(page)).to_have_value("typed, and left for a moment")
    assert plan_of(bench, name).wanted[1].name == first


def test_words_of_two_pages_all_stand(bench, opened):
    name, page = opened
    other = page.context.new_page()
    other.goto(page.url)
    wish = plan_of(bench, name).wanted[0]
    task = f"[name='task:{wish.name}:a']"
    page.fill(task, "Of the first page.")
    page.locator(task).blur()
    written(page)
    # Elsewhere, and in the same place.
    head(other).fill("At the head.")
    other.fill(task, "Of the second page.")
    other.locator(task).blur()
    written(other)
    now = plan_of(bench, name)
    assert now.words == ("At the head.",)
    assert now.wanted[0].tasks["a"] == "Of the first page.; Of the second page."
    # The page that is older than all this goes on, and moves what it means.
    page.locator(f"#question-{wish.name} >> text=Later").click()
    expect(page.locator("#did")).to_contain_text("Moved a question")
    now = plan_of(bench, name)
    assert now.words == ("At the head.",)
    assert now.wanted[1].tasks["a"] == "Of the first page.; Of the second page."


def test_a_request_that_comes_after_its_page_has_moved_on_changes_nothing(bench, opened):
    name, _ = opened
    for turn, words in ((1, "helo"), (3, "hello there"), (2, "hello")):
        body = f"name={name}&page=p1&turn={turn}&do=words&words={words}&was:words="
        bench.send(CHANGE, body.replace(" ", "+"))
    assert plan_of(bench, name).words == ("hello there",)


def test_words_are_written_again_by_themselves_after_a_fault(bench, opened):
    name, page = opened
    page.route(f"**{CHANGE}", lambda route: route.abort(), times=1)
    head(page).fill("refused once")
    head(page).blur()
    expect(page.locator("#saved")).to_contain_text("Not written yet")
    written(page)
    assert plan_of(bench, name).words == ("refused once",)


def test_nothing_is_printed_without_the_words_that_could_not_be_written(bench, opened):
    _, page = opened
    page.route(f"**{CHANGE}", lambda route: route.abort())
    head(page).fill("not written")
    page.get_by_role("button", name="Page", exact=True).click()
    expect(page.locator("#saved")).to_contain_text("Not written yet")
    page.unroute(f"**{CHANGE}")
    written(page)
    with page.expect_download() as download:
        page.get_by_role("button", name="Page", exact=True).click()
    assert "not written" in Path(download.value.path()).read_text(encoding="utf-8")


def test_what_is_typed_of_a_part_that_is_not_asked_comes_with_asking_it(bench, opened):
    name, page = opened
    wish = next(each for each in plan_of(bench, name).wanted if len(each.tasks) > 1)
    part, task = f"[name='part:{wish.name}'][value=b]", f"[name='task:{wish.name}:b']"
    page.locator(part).uncheck()
    written(page)
    page.fill(task, "Typed while it is off.")
    page.locator(task).blur()
    page.reload()
    expect(page.locator(task)).to_have_value("Typed while it is off.")
    page.locator(part).check()
    written(page)
    now = next(each for each in plan_of(bench, name).wanted if each.name == wish.name)
    assert now.tasks["b"] == "Typed while it is off."
    # The last part stays: a question asks something.
    for letter in wish.tasks:
        page.locator(f"[name='part:{wish.name}'][value={letter}]").click()
    expect(page.locator(f"[name='part:{wish.name}']:checked")).to_have_count(1)


def test_undoing_takes_back_one_choice_and_leaves_words_written_since(bench, opened):
    name, page = opened
    first = plan_of(bench, name).wanted[0]
    count = len(plan_of(bench, name).wanted)
    page.locator(f"#question-{first.name} >> text=Leave out").click()
    expect(page.locator(".match")).to_have_count(count - 1)
    undo = page.locator("#did").get_by_role("button", name="Undo")
    head(page).fill("Said since.")
    head(page).blur()
    written(page)
    undo.click()
    expect(page.locator(".match")).to_have_count(count)
    expect(head(page)).to_have_value("Said since.")
    assert plan_of(bench, name).words == ("Said since.",)
