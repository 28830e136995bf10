"""The ways through, in a real Chromium: type, play, drop, choose, compare, keep, print."""

from __future__ import annotations

import io
import json
import re
import subprocess
import zipfile
from pathlib import Path
from urllib.parse import quote_plus

import mido
from click.testing import CliRunner
from playwright.sync_api import Page, expect

from melodex.cli import melodex
from melodex.reading.phrase.reader import read_phrase
from tests.browser import followed, watched

DEMO = Path(__file__).parents[2] / "corpus_demo"
OWN_SONG = DEMO / "own" / "own_song.abc"
MARL_PIT = "3 5 3 1 3 1 4 6 4 3 1 2 4 2 7, 2 7, 1 5, 5,"
STOCK = "5 4 3 1 2 7, 1"

# A MIDI keyboard that a test can play, in place of what the machine may have.
FAKE_MIDI = """
navigator.requestMIDIAccess = async () => {
  const input = { name: "Test keys", onmidimessage: null };
  window.testKeys = (bytes) => input.onmidimessage({ data: new Uint8Array(bytes) });
  return { inputs: new Map([["one", input]]), onstatechange: null };
};
"""


def said_by_command(running, *words: str) -> dict:
    done = CliRunner().invoke(melodex, ["--corpus", str(running.corpus_path), *words])
    assert done.exit_code == 0, done.stderr
    return json.loads(done.stdout)


def taken(page: Page, words: str) -> bytes:
    """What a link or a button gives as a file."""
    with page.expect_download() as waiting:
        page.get_by_text(words, exact=True).first.click()
    return Path(waiting.value.path()).read_bytes()


# Type


def test_the_stave_is_drawn_while_one_types_and_what_is_found_is_what_the_command_finds(
    workbench, visit
):
    page = visit(workbench)
    page.locator("#phrase").press_sequentially("5 4 3")
    expect(page.locator("#stave g.note")).to_have_count(3)
    page.locator("#phrase").press_sequentially(" 1 2 7, 1")
    expect(page.locator("#stave g.note")).to_have_count(7)
    expect(page.locator("#phrase-said")).to_contain_text("7 notes, read as scale degrees")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", level=2)).to_contain_text("10 places in 61 tunes")
    told = said_by_command(workbench, "resemble", STOCK, "--format", "json")
    titles = [match["title"] for match in told["matches"]]
    expect(page.locator(".match h3 a")).to_have_text(titles)
    # The first lies open with its notes, the others wait.
    expect(page.locator("#match-1 svg.music g.note")).to_have_count(14)
    expect(page.locator("#match-2 svg.music")).to_have_count(0)


def test_the_data_to_take_along_is_that_of_the_command_to_the_letter(workbench, visit):
    page = visit(workbench, f"/find?phrase={quote_plus(MARL_PIT)}&limit=10")
    told = said_by_command(workbench, "resemble", MARL_PIT, "--format", "json")
    assert json.loads(taken(page, "data")) == told
    assert taken(page, "PDF to print").startswith(b"%PDF-")
    table = taken(page, "table").decode().splitlines()
    assert len(table) == 1 + len(told["matches"])


def test_an_error_is_shown_where_it_is(workbench, visit):
    page = visit(workbench)
    page.fill("#phrase", "5 4 x3 1 2")
    expect(page.locator("#under mark")).to_have_text("x3")
    expect(page.locator("#phrase-fault")).to_contain_text("'x3' is no scale degree")
    expect(page.locator("#phrase")).to_have_attribute("aria-invalid", "true")
    page.fill("#phrase", "5 4 3 1 2")
    expect(page.locator("#under mark")).to_have_count(0)
    expect(page.locator("#stave g.note")).to_have_count(5)


def test_a_phrase_with_two_readings_offers_both(workbench, visit):
    page = visit(workbench)
    page.fill("#phrase", "b3 b2 b3")
    page.get_by_role("button", name="Read it as degrees: Eb4 Db4 Eb4").click()
    expect(page.locator("#phrase-said")).to_contain_text("scale degrees")
    page.click("text=Find it")
    expect(page.locator(".match").first).to_be_visible()
    expect(page).to_have_url(re.compile(r"[?&]as=degrees(&|$)"))


def test_the_back_button_brings_the_former_phrase_and_its_results_back(workbench, visit):
    page = visit(workbench, f"/find?phrase={quote_plus(STOCK)}")
    page.fill("#phrase", "1 1 5 5 6 6 5")
    page.keyboard.press("Enter")
    page.wait_for_url("**phrase=1**")
    page.go_back()
    expect(page.locator("#phrase")).to_have_value(STOCK)
    expect(page.locator("#match-1 h3")).to_contain_text("Motto of the Fen School")


def test_results_come_into_the_page_that_is_there_and_a_fault_too(workbench, visit):
    page = visit(workbench)
    page.evaluate("window.stays = true")
    page.fill("#phrase", STOCK)
    page.keyboard.press("Enter")
    expect(page.locator("#match-1 h3")).to_contain_text("Motto of the Fen School")
    expect(page.locator("#results-head")).to_be_focused()
    expect(page.locator("#told")).to_contain_text("10 places in 61 tunes")
    page.fill("#phrase", "1 2")
    page.keyboard.press("Enter")
    expect(page.locator("#phrase-fault .fault")).to_contain_text("3 notes or more")
    expect(page.locator(".match")).to_have_count(0)
    assert page.evaluate("window.stays")
    page.go_back()
    expect(page.locator("#match-1 h3")).to_contain_text("Motto of the Fen School")


def test_a_stave_that_comes_late_leaves_the_fault_of_the_search(workbench, visit):
    page = visit(workbench)
    held = []

    def hold(route):
        held.append(route)

    page.route("**/find/stave?*", hold)
    page.fill("#phrase", "1 2")
    page.keyboard.press("Enter")
    expect(page.locator("#phrase-fault .fault")).to_contain_text("3 notes or more")
    # The request is on its way since the first key: it waits here, however long that takes.
    while not held:
        page.wait_for_timeout(20)
    held[-1].continue_()
    expect(page.locator("#stave g.note")).to_have_count(2)
    expect(page.locator("#phrase-fault .fault")).to_contain_text("3 notes or more")
    page.unroute("**/find/stave?*")
    page.fill("#phrase", "1 2 3")
    expect(page.locator("#stave g.note")).to_have_count(3)
    expect(page.locator("#phrase-fault .fault")).to_have_count(0)


def test_evidence_is_fetched_when_it_is_opened_and_can_be_heard(workbench, visit):
    page = visit(workbench, f"/find?phrase={quote_plus(MARL_PIT)}")
    second = page.locator("#match-2")
    expect(second.locator("h3")).to_contain_text("The Eel Trap")
    second.locator("summary").first.click()
    expect(second.locator(".evidence svg.music g.note")).to_have_count(39)
    watched(page)
    second.get_by_role("button", name="Play both").click()
    expect(page.locator("html")).to_have_attribute("data-sound", "running")
    page.keyboard.press("Escape")
    expect(page.locator(".lit")).to_have_count(0)


def test_a_search_can_be_narrowed(workbench, visit):
    page = visit(workbench, f"/find?phrase={quote_plus(STOCK)}")
    page.click("text=Search only some tunes")
    page.select_option("select[name=collection]", "The Fen School Songs")
    page.click("text=Find it")
    expect(page.locator(".results .sub")).to_contain_text("The Fen School Songs")
    about = page.locator(".match h3 small")
    expect(about.filter(has_text="The Fen School Songs").first).to_be_visible()
    expect(about.filter(has_not_text="The Fen School Songs")).to_have_count(0)


# Play


def test_notes_played_by_mouse_letter_keys_and_midi_are_written_down(workbench, visit):
    page = visit(workbench, "/static/any/bench.css")
    page.add_init_script(FAKE_MIDI)
    page.goto(workbench.base + "/")
    page.locator('[data-midi="60"]').click()
    # The keys beside A on the middle row: white keys; W above them: a black one.
    page.keyboard.press("d")
    page.keyboard.press("w")
    page.get_by_role("button", name="Listen to a MIDI keyboard").click()
    page.get_by_role("button", name="Listening to Test keys").wait_for()
    # MIDI 1.0: note on, channel 1, key 67; a note on of velocity 0 is a note off.
    page.evaluate(
        "testKeys([0x90, 67, 80]); testKeys([0x90, 67, 0]); testKeys([0x80, 67, 0])"
    )
    expect(page.locator("#stave g.note")).to_have_count(4)
    written = page.input_value("#phrase")
    assert read_phrase(written).melody.midi == (60, 64, 61, 67)
    page.get_by_role("button", name="Take back the last").click()
    expect(page.locator("#stave g.note")).to_have_count(3)
    page.locator("[data-tonic]").select_option("Eb")
    page.locator('[data-midi="70"]').click()
    expect(page.locator("#stave g.note")).to_have_count(4)
    assert page.input_value("#phrase").startswith("K:Eb ")
    expect(page.locator("#phrase-said")).to_contain_text("in E♭ major")
    page.click("text=Find it")
    expect(page.locator("#match-1")).to_be_visible()


def test_the_keyboard_can_be_played_by_touch_and_by_its_own_keys(workbench, visit):
    page = visit(workbench, has_touch=True)
    page.locator('[data-midi="62"]').tap()
    expect(page.locator("#stave g.note")).to_have_count(1)
    page.locator('[data-midi="62"]').focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    expect(page.locator("#stave g.note")).to_have_count(2)
    assert read_phrase(page.input_value("#phrase"), fewest=1).melody.midi == (62, 64)


# Drop a file, choose bars


def test_a_dropped_file_shows_its_music_and_clicked_bars_are_found_elsewhere(
    workbench, visit
):
    """Bars 5-8 of the own song are bars 8-11 of Seven Steps Down (PLANTED.json)."""
    page = visit(workbench)
    page.click("text=Take it from a file")
    page.evaluate(
        """([name, text]) => {
          const data = new DataTransfer();
          data.items.add(new File([text], name));
          document.querySelector("form.drop").dispatchEvent(
            new DragEvent("drop", { dataTransfer: data, bubbles: true, cancelable: true }));
        }""",
        [OWN_SONG.name, OWN_SONG.read_text(encoding="utf-8")],
    )
    expect(page.get_by_role("heading", level=1)).to_have_text("Letter from the Far Lock")
    page.click('[data-bar="5"]')
    page.click('[data-bar="8"]')
    expect(page.locator("[data-bars-field]")).to_have_value("5-8")
    expect(page.locator('.bar-area[aria-pressed="true"]').nth(3)).to_be_attached()
    with followed(page):
        page.click("text=Find these bars elsewhere")
    # The own song stands in this corpus too; nobody said to leave it out.
    expect(page.locator(".match h3 a").first).to_be_attached()
    titles = page.locator(".match h3 a").all_text_contents()
    assert "Seven Steps Down" in titles[:2]
    match = page.locator(".match", has_text="Seven Steps Down").first
    expect(match.locator("h3 small")).to_contain_text("bars 8–11")


def test_bars_are_chosen_by_keyboard_and_shown_where_the_notes_are(workbench, visit):
    page = visit(workbench, "/tune?tune=The+Eel+Trap")
    page.locator('.bar-area[tabindex="0"]').focus()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Shift+ArrowRight")
    page.keyboard.press("Shift+ArrowRight")
    expect(page.locator("[data-bars-field]")).to_have_value("2-4")
    expect(page.locator("#told")).to_have_text("Bars 2 to 4 are chosen.")
    # Every note lies in the area of its own bar.
    wrong = page.evaluate(
        """() => [...document.querySelectorAll("svg.music g.note")].filter((note) => {
          const bar = /bar (\\d+)/.exec(note.querySelector("title").textContent)[1];
          const head = note.querySelector("use").getBoundingClientRect();
          const x = head.left + head.width / 2, y = head.top + head.height / 2;
          return ![...document.querySelectorAll(`[data-bar="${bar}"]`)].some((area) => {
            const box = area.getBoundingClientRect();
            return box.left <= x && x <= box.right && box.top <= y && y <= box.bottom;
          });
        }).length"""
    )
    assert wrong == 0


def test_a_file_of_several_tunes_asks_which_one(workbench, visit, tmp_path):
    page = visit(workbench, "/inside")
    page.set_input_files("input[name=file]", DEMO / "fen_school.abc")
    page.click("text=Read the file")
    expect(page.locator(".plain li")).to_have_count(8)
    page.locator(".plain li a").nth(2).click()
    expect(page.locator(".kicker")).to_have_text("what is in it")


# Compare, audit, describe, gather


def test_two_results_are_laid_side_by_side(workbench, visit):
    page = visit(workbench, f"/find?phrase={quote_plus(MARL_PIT)}")
    button = page.get_by_role("button", name="Lay the two ticked side by side")
    expect(button).to_be_disabled()
    page.get_by_role("checkbox", name="Choose match 1,").check()
    page.get_by_role("checkbox", name="Choose match 2,").check()
    with followed(page):
        button.click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Marl Pit Hornpipe")
    expect(page.get_by_role("heading", level=1)).to_contain_text("The Eel Trap")
    fields = {n: page.input_value(f"[name={n}]") for n in ("a", "a-bars", "b", "b-bars")}
    bars = f"{fields['a-bars']},{fields['b-bars']}"
    told = said_by_command(
        workbench, "compare", fields["a"], fields["b"], "--bars", bars, "--format", "json"
    )
    expect(page.locator(".summary p").first).to_have_text(told["summary"][0])
    assert json.loads(taken(page, "data")) == told
    file = mido.MidiFile(file=io.BytesIO(taken(page, "MIDI")))
    notes = [
        m for track in file.tracks for m in track if m.type == "note_on" and m.velocity
    ]
    # A, then B, then both at once.
    assert len(notes) == 2 * (len(told["a"]["notes"]) + len(told["b"]["notes"]))


def test_an_own_song_is_compared_with_the_corpus(own_bench, visit, tmp_path):
    """What the demo planted in it is found first, with the words of caution."""
    running = own_bench()
    page = visit(running, "/own")
    page.set_input_files("input[name=file]", OWN_SONG)
    page.click("text=Read the file")
    expect(page.locator(".caution").first).to_contain_text("Likeness is not infringement")
    first = page.locator("#finding-1")
    expect(first.locator("h3")).to_contain_text("Seven Steps Down")
    expect(first.locator("svg.music")).to_have_count(1)
    told = said_by_command(running, "audit", str(OWN_SONG), "--format", "json")
    titles = page.locator(".match h3 a")
    expect(titles).to_have_text([finding["tune"]["title"] for finding in told["findings"]])
    with followed(page):
        page.locator("#finding-1 >> text=Known: leave it out").click()
    expect(page.locator(".caution").first).to_be_visible()
    expect(titles.filter(has_text="Seven Steps Down")).to_have_count(0)


def test_a_piece_is_described_with_its_bars(workbench, visit):
    page = visit(workbench, "/inside?tune=Fog+over+the+Basin")
    told = said_by_command(workbench, "describe", "Fog over the Basin", "--format", "json")
    expect(page.locator(".summary p")).to_have_text(
        [re.sub(r"(?<=\d)-(?=\d)", "\u2011", sentence) for sentence in told["summary"]]
    )
    bars = page.locator("svg.chart").first.locator("rect")
    expect(bars.nth(len(told["grid"]) - 1)).to_be_attached()
    expect(page.locator("table").first).to_contain_text("borrowed chord")


def test_gathering_says_how_many_would_remain_while_one_chooses(workbench, visit):
    page = visit(workbench, "/gather")
    expect(page.locator("#left")).to_have_text("61 tunes of 61 are left.")
    page.select_option("select[name=device]", "borrowed chord")
    expect(page.locator("#left")).to_have_text("12 tunes of 61 are left.")
    option = page.locator("select[name=metre] option[value=compound]")
    expect(option).to_have_text("compound (1)")
    page.select_option("select[name=metre]", "compound")
    expect(page.locator("#left")).to_have_text("1 tune of 61 is left.")
    page.click("button.main")
    told = said_by_command(
        workbench, "gather", "--device", "borrowed chord", "--metre", "compound",
        "--format", "json",
    )  # fmt: skip
    assert told["tunes"] == 1
    expect(page.locator("#gathered-head")).to_contain_text("1 tune of 61 shows it")
    titles = [example["title"] for example in told["examples"]]
    expect(page.locator(".match h3 a")).to_have_text(titles)
    page.locator(".match summary").first.click()
    expect(page.locator(".match .part svg.music").first).to_be_visible()


def test_a_progression_that_cannot_be_read_is_told_and_the_rest_stays(workbench, visit):
    page = visit(workbench, "/gather?progression=ii+%3F+I&mode=minor")
    expect(page.locator(".fault")).to_contain_text("?")
    expect(page.locator("select[name=mode]")).to_have_value("minor")


# Keep, edit, print


def test_finds_are_kept_annotated_put_in_order_printed_and_packed(
    own_bench, visit, tmp_path
):
    running = own_bench()
    page = visit(running, "/gather?note_on_chord=7+on+iv&limit=4")
    page.fill("input[name=into]", "Sevenths")
    page.get_by_role("button", name="Keep").click()
    expect(page.locator(".kept")).to_contain_text("in the new set Sevenths")
    expect(page.locator("#told")).to_contain_text("Kept")
    page.click("text=Open the set")
    expect(page.get_by_role("heading", level=1)).to_have_text("Sevenths")
    told = said_by_command(running, "lesson", "show", "Sevenths", "--format", "json")
    kept = [example["title"] for example in told["examples"]]
    assert len(kept) >= 3
    shown = page.locator(".match h2 a")
    # Each is shown with its bars behind its title.
    expect(shown).to_contain_text(kept)
    titles = shown.all_text_contents()
    # No button is pressed for words: another button carries them.
    page.locator("#passage-1 textarea").fill("Sing the bass first.")
    page.locator("#passage-2 >> text=Earlier").click()
    expect(shown).to_have_text([titles[1], titles[0], *titles[2:]])
    expect(page.locator("#passage-2 textarea")).to_have_value("Sing the bass first.")
    page.locator("#passage-3 >> text=Remove").click()
    expect(page.locator(".match")).to_have_count(len(titles) - 1)
    told = said_by_command(running, "lesson", "show", "Sevenths", "--format", "json")
    assert [e["note"] for e in told["examples"]][1] == "Sing the bass first."
    pdf = tmp_path / "handout.pdf"
    pdf.write_bytes(taken(page, "PDF to print"))
    text = subprocess.run(
        ["pdftotext", str(pdf), "-"], check=True, capture_output=True, encoding="utf-8"
    ).stdout
    assert "Sing the bass first." in text
    page.select_option("select[name=sheet]", "worksheet")
    assert b"Answers" in taken(page, "Page")
    with zipfile.ZipFile(io.BytesIO(taken(page, "Packed set, to share"))) as packed:
        assert "set.json" in packed.namelist()
    with followed(page):
        page.click("text=Suggest an order from easy to hard, with reasons")
    with followed(page):
        page.click("text=Use this order")
    expect(page.get_by_role("heading", level=1)).to_have_text("Sevenths")
    expect(page.locator(".match")).to_have_count(len(titles) - 1)


def test_a_packed_set_of_somebody_else_is_unpacked(own_bench, visit, tmp_path):
    running = own_bench()
    page = visit(running, "/tune?tune=The+Eel+Trap&bars=1-4")
    page.fill("input[name=why]", "a turn")
    page.fill("input[name=into]", "Turns")
    page.get_by_role("button", name="Keep").click()
    with followed(page):
        page.click("text=Open the set")
    (tmp_path / "turns.zip").write_bytes(taken(page, "Packed set, to share"))
    page.goto(running.base + "/sets")
    page.set_input_files("input[name=file]", tmp_path / "turns.zip")
    page.locator("section", has_text="Import a set").locator("input[name=name]").fill(
        "Theirs"
    )
    page.click("text=Unpack")
    expect(page.get_by_role("heading", level=1)).to_have_text("Theirs")
    expect(page.locator(".match")).to_contain_text("Kept for: a turn.")


# The shelf


def test_files_are_added_with_their_refusals_then_found_checked_and_copied(
    own_bench, visit, tmp_path
):
    """From no corpus at all to one that is searched, all on the page."""
    running = own_bench(empty=True)
    page = visit(running)
    expect(page.locator(".fault")).to_contain_text("There are no tunes yet")
    page.goto(running.base + "/shelf")
    broken = tmp_path / "broken.abc"
    broken.write_bytes(bytes(range(256)) * 40)
    page.set_input_files("input[name=file]", [DEMO / "reed_cutters.abc", broken])
    page.get_by_role("button", name="Add", exact=True).click()
    expect(page.locator(".lead")).to_contain_text("12 tunes added, 0 unchanged, 0 replaced")
    expect(page.locator(".refusals")).to_contain_text("broken.abc")
    # The same again changes nothing.
    page.goto(running.base + "/shelf")
    page.set_input_files("input[name=file]", [DEMO / "reed_cutters.abc"])
    page.get_by_role("button", name="Add", exact=True).click()
    expect(page.locator(".lead")).to_contain_text("0 tunes added, 12 unchanged")
    page.goto(running.base + "/shelf")
    page.fill("input[name=path] >> nth=0", str(DEMO / "night_ferry.abc"))
    page.get_by_role("button", name="Add from there").click()
    expect(page.locator(".lead")).to_contain_text("10 tunes added")
    page.goto(running.base + f"/find?phrase={quote_plus(MARL_PIT)}")
    expect(page.locator("#match-1 h3")).to_contain_text("Marl Pit Hornpipe")
    page.goto(running.base + "/shelf")
    page.get_by_role("button", name="Check the corpus").click()
    expect(page.locator(".report")).to_contain_text("no damage found")
    page.goto(running.base + "/shelf")
    copy = tmp_path / "copy.melodex"
    page.locator("form[action='/shelf/back-up'] input").fill(str(copy))
    page.get_by_role("button", name="Back up").click()
    expect(page.locator(".report")).to_contain_text("22 tunes")
    done = CliRunner().invoke(melodex, ["--corpus", str(copy), "check"])
    assert done.exit_code == 0
    page.goto(running.base + "/shelf")
    assert taken(page, "Download a copy").startswith(b"SQLite format 3\0")


def test_a_folder_is_added_with_the_names_of_its_folders(own_bench, visit, tmp_path):
    running = own_bench(empty=True)
    page = visit(running, "/shelf")
    page.set_input_files("input[name=folder]", DEMO / "oddlight_play_book")
    page.get_by_role("button", name="Add", exact=True).click()
    expect(page.locator(".lead")).to_contain_text("16 tunes added")
    told = said_by_command(running, "list", "--format", "json")
    assert {row["source"].split("/")[0] for row in told["tunes"]} == {"oddlight_play_book"}


def test_a_tune_is_tagged_and_taken_out(own_bench, visit):
    running = own_bench()
    page = visit(running, "/tune?tune=Snail+Post")
    page.fill("input[name=word]", "for Tuesday")
    page.click("text=Put on")
    expect(page.locator("main")).to_contain_text("Now: for Tuesday.")
    page.goto(running.base + "/tunes?tag=for+Tuesday")
    expect(page.locator("tbody tr")).to_have_count(1)
    with followed(page):
        page.click("tbody a")
    page.click("text=Remove it from the corpus")
    page.get_by_role("button", name="Remove").click()
    expect(page.locator(".fault")).to_contain_text("Nothing was taken out")
    page.go_back()
    # What was unfolded is unfolded still.
    page.get_by_role("checkbox", name="take out").check()
    page.get_by_role("button", name="Remove").click()
    expect(page.locator(".good")).to_contain_text(
        "Snail Post is not in the corpus any more"
    )


# Without JavaScript


def test_everything_can_be_read_and_asked_without_javascript(workbench, visit):
    page = visit(workbench, java_script_enabled=False)
    page.fill("#phrase", MARL_PIT)
    page.click("text=Find it")
    expect(page.locator("#match-1 svg.music")).to_have_count(1)
    page.locator("#match-2 summary").first.click()
    page.click("text=Show the notes of match 2")
    expect(page.get_by_role("heading", level=1)).to_contain_text("The Eel Trap")
    expect(page.locator("svg.music g.note")).to_have_count(39)
    page.goto(workbench.base + "/gather?device=borrowed+chord")
    expect(page.locator("#left")).to_have_text("12 tunes of 61 are left.")
    page.goto(workbench.base + "/tune?tune=The+Eel+Trap")
    page.fill("[data-bars-field]", "1-4")
    page.click("text=Find these bars elsewhere")
    expect(page.locator("#match-1 h3")).to_contain_text("Marl Pit Hornpipe")
