"""A corpus whose features another version worked out: the page says so and mends it."""

from __future__ import annotations

from playwright.sync_api import expect

from melodex.corpus.writing.store import CorpusWriter
from tests.browser import followed


def test_features_of_another_version_are_worked_out_anew_from_the_page(own_bench, visit):
    running = own_bench()
    with CorpusWriter.open(running.corpus_path) as writer, writer.transaction():
        writer.put_setting("facet_version", "1")
    page = visit(running, "/gather?mode=minor")
    expect(page.locator(".fault")).to_contain_text("The shelf works them out anew")
    page.locator(".fault").get_by_role("link", name="shelf").click()
    with followed(page):
        page.get_by_role("button", name="Work them out anew").click()
    expect(page.locator("main")).to_contain_text("The features are of this version now.")
    page.get_by_role("link", name="Gather by them").click()
    page.goto(running.base + "/gather?mode=minor")
    expect(page.locator("#gathered-head")).to_contain_text("of 61 show")
    page.goto(running.base + "/shelf")
    expect(page.get_by_role("button", name="Work them out anew")).to_have_count(0)
