"""Waiting for what a page does, so that no test depends on how fast it does it.

A snapshot (``count``, ``all_text_contents``, ``input_value``) of a page that is just
being left or filled tells of a moment. What a test asserts it waits for: with ``expect``,
with :func:`followed` where a click leads to another page, with :func:`watched` where
something is there for a moment only.

Contents: followed, watched, lit_notes.
"""

from __future__ import annotations

from contextlib import AbstractContextManager
from typing import Any

from playwright.sync_api import Page

WATCH = """() => {
  const noted = document.documentElement.dataset;
  const seen = new Set();
  new MutationObserver(() => {
    const lit = document.querySelectorAll(".lit");
    if (!lit.length) return;
    lit.forEach((note) => seen.add(note.id));
    noted.lit = [...seen].sort().join(" ");
    noted.sound = melodexSound.state();
  }).observe(document.body, { subtree: true, attributeFilter: ["class"] });
}"""


def followed(page: Page) -> AbstractContextManager[Any]:
    """What is done inside leads to another page; at the end that page is there whole."""
    return page.expect_event("load")


def watched(page: Page) -> None:
    """From now on the page notes which notes were lit, and how the sound was then.

    ``data-lit`` and ``data-sound`` of the root element stay when the music has ended.
    """
    page.evaluate(WATCH)


def lit_notes(page: Page) -> set[str]:
    """The ids of all notes that have been lit since the page is watched."""
    return set((page.locator("html").get_attribute("data-lit") or "").split())
