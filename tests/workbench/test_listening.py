"""Sung to the page: recorded in a real browser, mended by keys, and found."""

from __future__ import annotations

import base64
import json
import re
from pathlib import Path

import numpy as np
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

import melodex
from tests.conftest import FLAGS
from tests.reading.sounding import tones, wav
from tests.workbench.sending import sent_file

HORNPIPE = (61, 64, 61, 57, 61, 57, 62, 66, 62, 61, 57)
"""The opening of Marl Pit Hornpipe, which the demo's corpus holds in A major."""


def sent(workbench, sound: bytes) -> tuple[int, dict]:
    status, _, answer = sent_file(
        workbench, "/hear", "sound", "hum.wav", sound, accept="application/json"
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


def test_a_recording_dropped_as_ones_own_tune_is_audited(workbench):
    sound = wav(tones(HORNPIPE))
    status, headers, _ = sent_file(workbench, "/drop", "file", "hum.wav", sound, to="/own")
    assert status == 303
    text = workbench.ask(headers["location"])[2].decode()
    assert "Marl Pit Hornpipe" in text
    assert "hum.wav" in text


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


def shown(page: Page, count: int):
    """The notes, when there are so many."""
    notes = page.locator("[data-note]")
    expect(notes).to_have_count(count)
    return notes


DROP = """([encoded, target]) => {
  const bytes = Uint8Array.from(atob(encoded), (letter) => letter.charCodeAt(0));
  const transfer = new DataTransfer();
  transfer.items.add(new File([bytes], "hum.wav", { type: "audio/wav" }));
  const place = document.querySelector(target);
  ["dragenter", "dragover", "drop"].forEach((kind) => place.dispatchEvent(
    new DragEvent(kind, { bubbles: true, cancelable: true, dataTransfer: transfer })));
}"""


@pytest.fixture
def hummed(workbench, visit):
    """Opens the page with the hornpipe dropped onto it."""

    def dropped(target: str = "h1", **more) -> Page:
        page = visit(workbench, **more)
        encoded = base64.b64encode(wav(tones(HORNPIPE))).decode()
        page.evaluate(DROP, [encoded, target])
        shown(page, len(HORNPIPE))
        return page

    return dropped


@pytest.mark.parametrize("target", ["h1", "[data-listen]"])
def test_a_recording_is_dropped_anywhere_on_the_page(hummed, target: str):
    page = hummed(target)
    expect(page.locator("[data-said]")).to_contain_text("11 notes were heard")
    assert not page.evaluate("document.body.classList.contains('over')")
    with page.expect_download() as coming:
        page.get_by_role("link", name="Keep the recording").click()
    assert Path(coming.value.path()).read_bytes() == wav(tones(HORNPIPE))


def names(page: Page) -> list[str]:
    return [word.partition("*")[0] for word in page.input_value("#phrase").split()]


def test_a_note_is_dragged_by_the_mouse_up_and_down_and_by_its_end(hummed):
    page = hummed()
    before = names(page)
    notes = shown(page, len(HORNPIPE))
    notes.nth(5).scroll_into_view_if_needed()
    box = notes.nth(2).bounding_box()
    page.mouse.move(box["x"] + 5, box["y"] + 5)
    page.mouse.down()
    page.mouse.move(box["x"] + 5, box["y"] + 5 - 28, steps=3)
    page.mouse.up()
    assert [n for n in range(11) if names(page)[n] != before[n]] == [2]
    box = notes.nth(5).bounding_box()
    page.mouse.move(box["x"] + box["width"] - 3, box["y"] + 5)
    page.mouse.down()
    page.mouse.move(box["x"] + box["width"] - 15, box["y"] + 5, steps=3)
    page.mouse.up()
    after = notes.nth(5).bounding_box()
    assert after["width"] == pytest.approx(box["width"] - 12, abs=1)
    # What the one loses at its end the next has at its start.
    follower = notes.nth(6).bounding_box()
    assert follower["x"] == pytest.approx(after["x"] + after["width"], abs=3)


TOUCH = """([place, by]) => {
  const note = document.querySelector(`[data-note="${place}"]`);
  const { left, top } = note.getBoundingClientRect();
  const at = (kind, moved) => note.dispatchEvent(new PointerEvent(kind, {
    bubbles: true, cancelable: true, pointerId: 9, pointerType: "touch",
    clientX: left + 4, clientY: top + 4 + moved,
  }));
  at("pointerdown", 0);
  at("pointermove", by);
  at("pointerup", by);
}"""


def test_a_finger_drags_a_note_and_taps_the_buttons(hummed):
    page = hummed(width=390, has_touch=True)
    before = names(page)
    page.evaluate(TOUCH, [1, 14])
    assert names(page)[1] != before[1]
    page.get_by_role("button", name="Up", exact=True).tap()
    assert names(page) == before
    page.get_by_role("button", name="Split", exact=True).tap()
    shown(page, len(HORNPIPE) + 1)
    page.get_by_role("button", name="Join with the next", exact=True).tap()
    shown(page, len(HORNPIPE))
    page.get_by_role("button", name="Delete", exact=True).tap()
    shown(page, len(HORNPIPE) - 1)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()


def test_the_notes_are_heard_over_the_recording_and_light_up(hummed):
    page = hummed()
    page.get_by_role("button", name="Hear the notes over it").click()
    expect(page.locator(".heard.now")).to_have_count(1)
    # It ends by itself.
    expect(page.locator(".heard.now")).to_have_count(0)
    page.get_by_role("button", name="Hear the recording").click()
    expect(page.locator(".heard.now")).to_have_count(1)


def test_the_last_note_may_be_deleted_too(hummed):
    page = hummed()
    page.locator("[data-note]").first.focus()
    for _ in HORNPIPE:
        page.keyboard.press("Delete")
    shown(page, 0)
    expect(page.locator("[data-said]")).to_contain_text("No note is left")


def test_one_is_counted_in_and_the_count_is_not_recorded(workbench, singing: Browser):
    page = singing.new_page()
    page.set_default_timeout(60_000)
    page.goto(workbench.first_address)
    page.locator("#sing-it summary").click()
    page.get_by_label("Count in").select_option("2 beats")
    page.get_by_label("Beats a minute").fill("200")
    page.get_by_role("button", name="Record", exact=True).click()
    expect(page.locator("[data-said]")).to_contain_text("2 beats, then sing")
    expect(page.locator("[data-said]")).to_contain_text("notes were heard")
    # At 200 beats a minute, 0.3 s are a beat.
    lengths = [w.partition("*")[2] for w in page.input_value("#phrase").split()]
    assert lengths.count("1") > len(lengths) / 2


def test_a_microphone_that_is_denied_breaks_nothing(workbench, visit):
    page = visit(workbench)
    page.add_init_script(
        "navigator.mediaDevices.getUserMedia = () => "
        "Promise.reject(new DOMException('', 'NotAllowedError'));"
    )
    page.reload()
    opened(page)
    expect(page.locator("[data-said]")).to_contain_text("does not let this page hear")
    page.locator("[data-listen] input[type=file]").set_input_files(
        {"name": "hum.wav", "mimeType": "audio/wav", "buffer": wav(tones(HORNPIPE))}
    )
    shown(page, len(HORNPIPE))


def test_a_passage_of_a_set_is_sung_back_and_marked(own_bench, visit):
    running = own_bench()
    with melodex.open(running.corpus_path) as corpus:
        corpus.new_lesson("Hornpipes").keep("Marl Pit Hornpipe", notes=(1, 11))
    page = visit(running, "/set?name=Hornpipes", width=390)
    page.get_by_text("Sing it back", exact=True).click()
    line = [*HORNPIPE]
    line[4] += 2
    file = {"name": "me.wav", "mimeType": "audio/wav", "buffer": wav(tones(line))}
    page.locator("[data-sing-back] input[type=file]").set_input_files(file)
    marked = page.locator("[data-marked]")
    expect(marked).to_contain_text("10 of 11 notes are right.")
    assert marked.locator("td.wrong").count() == 2
    assert page.evaluate("document.documentElement.scrollWidth") <= 390
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    # Without scripts the form brings a page with the same marks.
    plain = visit(running, "/set?name=Hornpipes", java_script_enabled=False)
    plain.locator("summary", has_text="Sing it back").click()
    plain.locator("[data-sing-back] input[type=file]").set_input_files(file)
    plain.get_by_role("button", name="Mark it").click()
    expect(plain.locator("main")).to_contain_text("10 of 11 notes are right.")


def test_without_a_microphone_the_page_says_what_to_do(workbench, visit):
    page = visit(workbench)
    opened(page)
    expect(page.locator("[data-said]")).to_contain_text("choose a recording below")
    button = page.get_by_role("button", name="Record", exact=True)
    expect(button).to_be_enabled()
