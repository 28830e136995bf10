"""Questions of a set on a page: chosen, reworded, put in order, undone, printed."""

from __future__ import annotations

from playwright.sync_api import expect

from melodex.corpus.reader import Corpus
from melodex.tasks.lesson.choosing import choice_of
from melodex.tasks.lesson.sets import open_lesson

TUNES = ("Paper+Swans", "Marl+Pit+Hornpipe", "Snail+Post", "Grey+Punt")


def plan_of(running):
    with Corpus.open(running.corpus_path) as corpus:
        return choice_of(corpus, open_lesson(corpus, "Asked")).plan


def test_a_sheet_is_chosen_on_its_page_with_nothing_lost(own_bench, visit):
    running = own_bench()
    for tune in TUNES:
        running.send("/keep", f"source=tune&into=Asked&tune={tune}&bars=1-4")
    page = visit(running, "/set/questions?name=Asked")
    # Two of the passages may be asked about together.
    count = len(plan_of(running).wanted)
    assert count > 1
    expect(page.locator(".match")).to_have_count(count)
    first = plan_of(running).wanted[0]
    task = page.locator(f"[name='task:{first.name}:a']")
    task.fill("Take a pencil.")
    task.blur()
    expect(page.locator("#saved")).to_have_text("All words are written down.")
    assert plan_of(running).wanted[0].tasks["a"] == "Take a pencil."
    # What is typed goes along with any button.
    page.locator(f"[name='words:{first.name}']").fill("In pairs.")
    page.locator(f"#question-{first.name} >> text=Later").click()
    expect(page.locator("#did")).to_contain_text("Moved a question of Asked")
    assert plan_of(running).wanted[1].words == ("In pairs.",)
    page.locator(f"#question-{first.name} >> text=Leave out").click()
    expect(page.locator(".match")).to_have_count(count - 1)
    page.locator("#did").get_by_role("button", name="Undo").click()
    expect(page.locator(".match")).to_have_count(count)
    status, _, sheet = running.ask(
        "/set/sheet?name=Asked&sheet=worksheet&chosen=yes&form=html&answers=checked"
    )
    assert status == 200
    assert b"Take a pencil." in sheet
    assert b"In pairs." in sheet


def test_a_page_that_is_older_than_the_choice_changes_nothing_and_shows_its_words(
    own_bench, visit
):
    running = own_bench()
    running.send("/keep", "source=tune&into=Asked&tune=The+Eel+Trap&bars=1-4")
    page = visit(running, "/set/questions?name=Asked", java_script_enabled=False)
    other = visit(running, "/set/questions?name=Asked", java_script_enabled=False)
    (wish,) = plan_of(running).wanted
    page.locator("textarea[name=words]").fill("Said first.")
    page.get_by_role("button", name="Write all words down").click()
    other.locator(f"[name='task:{wish.name}:a']").fill("Said later.")
    other.get_by_role("button", name="Write all words down").click()
    expect(other.locator(".fault")).to_contain_text("Said later.")
    assert plan_of(running).words == ("Said first.",)
    assert plan_of(running).wanted[0].tasks == wish.tasks
