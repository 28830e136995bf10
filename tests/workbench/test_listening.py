"""Sung to the page: recorded in a real browser, mended by keys, and found."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from tests.conftest import FLAGS
from tests.reading.sounding import tones, wav

HORNPIPE = (61, 64, 61, 57, 61, 57, 62, 66, 62, 61, 57)
"""The opening of Marl Pit Hornpipe, which the demo's corpus holds in A major."""


def sent(workbench, sound: bytes) -> tuple[int, dict]:
    edge = "edge-of-a-part"
    head = f'--{edge}\r\nContent-Disposition: form-data; name="sound"; filename="hum.wav"'
    body = f"{head}\r\nContent-Type: audio/wav\r\n\r\n".encode() + sound
    status, _, answer = workbench.ask(
        "/hear",
        method="POST",
        body=body + f"\r\n--{edge}--\r\n".encode(),
        Origin=workbench.base,
        Sec_Fetch_Site="same-origin",
        Content_Type=f"multipart/form-data; boundary={edge}",
        Accept="application/json",
    )
    return status, json.loads(answer)


def test_a_sound_that_is_sent_comes_back_as_notes(workbench):
    status, heard = sent(workbench, wav(tones(HORNPIPE)))
    assert status == 200
    assert [note["midi"] for note in heard["notes"]] == [*HORNPIPE]
    assert all(note["sure"] for note in heard["notes"])


def test_a_sound_without_a_line_is_refused_in_words(workbench):
    status, said = sent(workbench, wav(np.zeros(16_000)))
    assert status == 422
    assert "silent" in said["fault"]["what"]


def test_the_page_may_hear_the_microphone_and_nobody_else_may(workbench):
    headers = workbench.ask("/", Accept="text/html")[1]
    assert "microphone=(self)" in headers["permissions-policy"]


@pytest.fixture
def singing(chromium: Browser, tmp_path: Path):
    """A browser whose microphone hears the hornpipe, a quarter tone sharp."""
    line = tones(np.array(HORNPIPE) + 0.4, 0.3)
    quiet = np.zeros(round(2.6 * 16_000))
    sound = tmp_path / "sung.wav"
    sound.write_bytes(wav(np.concatenate([quiet[:8_000], line, quiet])))
    browser = chromium.browser_type.launch(
        executable_path="/usr/bin/chromium",
        args=[
            *FLAGS.split(),
            "--use-fake-ui-for-media-stream",
            "--use-fake-device-for-media-stream",
            f"--use-file-for-fake-audio-capture={sound}%noloop",
        ],
    )
    yield browser
    browser.close()


def opened(page: Page) -> None:
    page.locator("#sing-it summary").click()
    page.get_by_role("button", name="Record", exact=True).click()


def test_a_phrase_is_sung_mended_by_keys_and_found(workbench, singing: Browser):
    page = singing.new_page()
    page.set_default_timeout(60_000)
    page.goto(workbench.first_address)
    opened(page)
    # It stops by itself, and the notes are there. What a busy machine drops on the way
    # from the microphone may cut a note in two: what is heard is tried without a browser.
    said = page.locator("[data-said]")
    expect(said).to_contain_text(re.compile(r"\b1[0-3] notes were heard"))
    field = page.locator("#phrase")
    before = field.input_value()
    count = len(before.split())
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    notes = page.locator("[data-note]")
    notes.first.focus()
    page.keyboard.press("ArrowUp")
    assert field.input_value() != before
    page.keyboard.press("ArrowDown")
    page.keyboard.press("s")
    expect(notes).to_have_count(count + 1)
    page.keyboard.press("j")
    expect(notes).to_have_count(count)
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Delete")
    expect(notes).to_have_count(count - 1)
    field.press("Enter")
    expect(page.locator("#found")).to_contain_text("Marl Pit Hornpipe")


def test_without_a_microphone_the_page_says_what_to_do(workbench, visit):
    page = visit(workbench)
    opened(page)
    expect(page.locator("[data-said]")).to_contain_text("choose a recording below")
    button = page.get_by_role("button", name="Record", exact=True)
    expect(button).to_be_enabled()
