"""The loudness of a recording under a tune, and its reduction, asked of the page."""

from __future__ import annotations

import re
from urllib.parse import quote

from playwright.sync_api import expect

from tests.browser import followed
from tests.reading.sounding import tones, wav

TUNE = "Motto of the Fen School"
EDGE = "edge-of-a-part"


def measured(workbench, at: str, sound: bytes) -> tuple[int, str]:
    fields = {"tune": TUNE, "at": at}
    head = f"--{EDGE}\r\nContent-Disposition: form-data"
    body = b"".join(
        f'{head}; name="{name}"\r\n\r\n{text}\r\n'.encode() for name, text in fields.items()
    )
    body += (
        f'--{EDGE}\r\nContent-Disposition: form-data; name="sound"; filename="song.wav"\r\n'
        "Content-Type: audio/wav\r\n\r\n"
    ).encode() + sound
    status, _, answer = workbench.ask(
        "/inside/loudness",
        method="POST",
        body=body + f"\r\n--{EDGE}--\r\n".encode(),
        Origin=workbench.base,
        Sec_Fetch_Site="same-origin",
        Content_Type=f"multipart/form-data; boundary={EDGE}",
        Accept="text/html",
    )
    return status, answer if isinstance(answer, str) else answer.decode()


def test_a_recording_is_laid_under_the_bars_of_a_tune(workbench):
    status, page = measured(workbench, "1=0:00, 5=0:02", wav(tones([60] * 8)))
    assert status == 200
    assert "Recording song.wav" in page
    assert "4 of 8 bars lie between the points that were given." in page
    assert 'value="1=0:00, 5=0:02"' in page


def test_points_that_say_nothing_are_refused_in_words(workbench):
    status, page = measured(workbench, "1=0:00", wav(tones([60] * 8)))
    assert status == 422
    assert "points at least" in page


def test_two_staves_can_be_downloaded(workbench):
    status, headers, answer = workbench.ask(
        f"/inside?tune={quote(TUNE)}&reduced=yes&form=musicxml", Accept="text/html"
    )
    assert status == 200
    assert "reduced" in headers["content-disposition"]
    text = answer if isinstance(answer, str) else answer.decode()
    assert "<part-name>Bass</part-name>" in text


PLAYS = "audio => { audio.muted = true; return audio.play(); }"


def test_bars_are_marked_while_the_recording_plays(workbench, visit):
    page = visit(workbench, path=f"/inside?tune={quote(TUNE)}")
    page.get_by_text("Loudness of a recording under its bars").click()
    sound = wav(tones([60] * 40))
    page.locator("[data-mark-points] input[type=file]").set_input_files(
        {"name": "song.wav", "mimeType": "audio/wav", "buffer": sound}
    )
    player, field = page.locator("[data-recording]"), page.locator("[data-points]")
    expect(player).to_be_visible()
    player.evaluate("audio => { audio.currentTime = 0.5; }")
    page.get_by_role("button", name="Begins now").click()
    expect(field).to_have_value("1=0:00.5")
    # A click on a bar of the map marks it, and leads nowhere, while it plays.
    player.evaluate(PLAYS)
    page.locator('svg a[href*="bars=5-5"]').first.dispatch_event("click")
    expect(field).to_have_value(re.compile(r"^1=0:00\.5, 5=0:0\d(\.\d)?$"))
    player.evaluate("audio => audio.pause()")
    # Four bars on from there is what one marks next.
    expect(page.locator("[data-bar]")).to_have_value("9")
    page.get_by_role("button", name="Take off bar 5").click()
    expect(field).to_have_value("1=0:00.5")
    player.evaluate("audio => { audio.currentTime = 2.5; }")
    page.locator("[data-bar]").fill("5")
    page.locator("[data-bar]").press("Enter")
    expect(field).to_have_value("1=0:00.5, 5=0:02.5")
    # They are kept as all typed words are, and what was unfolded stays so.
    page.reload()
    expect(field).to_have_value("1=0:00.5, 5=0:02.5")
    expect(page.get_by_role("button", name="Play from bar 5, at 0:02.5")).to_be_attached()
    page.locator("[data-mark-points] input[type=file]").set_input_files(
        {"name": "song.wav", "mimeType": "audio/wav", "buffer": sound}
    )
    with followed(page):
        page.get_by_role("button", name="Measure it").click()
    expect(page.locator("main")).to_contain_text("4 of 8 bars lie between the points")
    expect(page.locator("main svg").first).to_contain_text("Recording")
