"""Pages in a real Chromium: no network, no complaint, accessible, audible."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from melodex.presentation.report.forms import report_html
from tests.browser import lit_notes, watched


@pytest.fixture(scope="module")
def report_file(comparison, tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("report") / "comparison.html"
    path.write_text(report_html(comparison), encoding="utf-8")
    return path


@pytest.fixture
def page(chromium: Browser, report_file: Path) -> Iterator[Page]:
    """The comparison, opened offline."""
    context = chromium.new_context(offline=True, viewport={"width": 1100, "height": 900})
    opened = context.new_page()
    opened.goto(report_file.as_uri())
    yield opened
    context.close()


def test_one_request_and_no_word_on_the_console(chromium, report_file):
    context = chromium.new_context(offline=True)
    page = context.new_page()
    requests: list[str] = []
    messages: list[str] = []
    page.on("request", lambda request: requests.append(request.url))
    page.on("console", lambda message: messages.append(message.text))
    page.on("pageerror", lambda error: messages.append(str(error)))
    page.goto(report_file.as_uri())
    watched(page)
    page.click('[data-play="both"]')
    expect(page.locator("html")).to_have_attribute("data-sound", "running")
    page.click('[data-play="stop"]')
    page.click("summary")
    assert [url for url in requests if not url.startswith("data:")] == [
        report_file.as_uri()
    ]
    assert messages == []
    context.close()


@pytest.mark.parametrize(("scheme", "width"), [("light", 1100), ("dark", 390)])
def test_no_accessibility_violation_and_no_overflow(chromium, report_file, scheme, width):
    context = chromium.new_context(
        color_scheme=scheme, viewport={"width": width, "height": 900}
    )
    page = context.new_page()
    page.goto(report_file.as_uri())
    page.click("summary")
    found = Axe().run(page)
    assert found.violations_count == 0, found.generate_report()
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    context.close()


def test_dark_paper_is_dark_and_its_ink_light(chromium, report_file):
    shades = {}
    for scheme in ("light", "dark"):
        context = chromium.new_context(color_scheme=scheme)
        page = context.new_page()
        page.goto(report_file.as_uri())
        colour = "getComputedStyle(document.querySelector('svg.music')).color"
        shades[scheme] = page.evaluate(colour)
        context.close()
    assert shades["light"] != shades["dark"]


def test_the_keyboard_reaches_everything_in_order(page):
    """Pictures that scroll, buttons, slider, pitch, files, table."""
    reached = []
    for _ in range(14):
        page.keyboard.press("Tab")
        reached.append(
            page.evaluate(
                "(() => { const e = document.activeElement; return e.dataset.play || e.type"
                " || e.download || e.tagName.toLowerCase(); })()"
            )
        )
    assert reached[:10] == [
        "div",
        "a",
        "b",
        "both",
        "stop",
        "range",
        "radio",
        "comparison.mid",
        "comparison.musicxml",
        "comparison.abc",
    ]
    assert "summary" in reached


def test_notes_light_up_while_they_sound_and_escape_stops(page):
    """Lit are notes of both passages in both pictures; then none."""
    watched(page)
    page.focus('[data-play="both"]')
    page.keyboard.press("Enter")
    noted = page.locator("html")
    for picture_and_side in ("tp0", "tp1", "cp0", "cp1"):
        expect(noted).to_have_attribute("data-lit", re.compile(rf"\b{picture_and_side}"))
    expect(noted).to_have_attribute("data-sound", "running")
    assert {name[:3] for name in lit_notes(page)} == {"tp0", "tp1", "cp0", "cp1"}
    page.keyboard.press("Escape")
    expect(page.locator(".lit")).to_have_count(0)
    expect(page.locator(".status")).to_have_text("silent")


def test_tempo_and_pitch_change_what_is_planned(page, comparison):
    plan = (
        "([which, tempo, common]) => melodexSound.plan(melodexSound.players.listen,"
        " which, tempo, common)"
    )
    slow = page.evaluate(plan, ["b", 60, False])
    fast = page.evaluate(plan, ["b", 120, True])
    melody = comparison.b.melody
    move = -comparison.likeness.transposition_semitones
    assert [row[2] for row in slow] == list(melody.midi)
    assert [row[2] for row in fast] == [pitch + move for pitch in melody.midi]
    # At 60 a quarter lasts a second.
    assert [row[3] for row in slow] == pytest.approx(
        [q - melody.onset_quarters[0] for q in melody.onset_quarters], abs=1e-3
    )
    assert [2 * row[3] for row in fast] == pytest.approx([row[3] for row in slow])


MEASURE = """async (midi) => {
  const rate = 44100, seconds = 2;
  const context = new OfflineAudioContext(2, rate * (seconds + 1), rate);
  melodexSound.schedule(context, [[0, 0, midi, 0, seconds]], 0);
  const wave = (await context.startRendering()).getChannelData(0);
  const from = Math.round(0.3 * rate), until = Math.round(1.5 * rate);
  let first = 0, last = 0, crossings = 0;
  for (let i = from; i < until; i++) {
    if (wave[i - 1] < 0 && wave[i] >= 0) {
      const at = i - wave[i] / (wave[i] - wave[i - 1]);
      if (!crossings) first = at;
      last = at;
      crossings++;
    }
  }
  const loudest = wave.reduce((most, value) => Math.max(most, Math.abs(value)), 0);
  return [((crossings - 1) * rate) / (last - first), loudest];
}"""


@pytest.mark.parametrize(
    ("midi", "hertz"),
    [
        # Equal temperament on A4 = 440 Hz (ISO 16:1975): 440 * 2^((n - 69) / 12).
        (69, 440.0),
        (60, 261.626),
        (65, 349.228),
        (72, 523.251),
        (45, 110.0),
        (93, 1760.0),
    ],
)
def test_the_sound_has_the_frequency_of_equal_temperament(page, midi, hertz):
    """Measured by zero crossings of the rendered sound."""
    measured, loudest = page.evaluate(MEASURE, midi)
    assert measured == pytest.approx(hertz, rel=5e-4)
    assert 0.05 < loudest < 0.9


def test_two_voices_together_do_not_clip(page):
    loudest = page.evaluate(
        """async () => {
          const context = new OfflineAudioContext(2, 44100 * 12, 44100);
          const notes = melodexSound.plan(melodexSound.players.listen, "both", 100, true);
          melodexSound.schedule(context, notes, 0);
          const wave = (await context.startRendering()).getChannelData(0);
          return wave.reduce((most, value) => Math.max(most, Math.abs(value)), 0);
        }"""
    )
    assert 0.05 < loudest < 1.0


def test_print_leaves_out_what_paper_cannot_do(page):
    page.emulate_media(media="print")
    assert not page.is_visible(".player")
    assert not page.is_visible(".files")
    assert page.is_visible("svg.music")
