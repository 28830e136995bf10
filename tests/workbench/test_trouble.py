"""What goes wrong: each answered clearly, nothing lost."""

from __future__ import annotations

import http.client
import json
import math
import re
import socket
import sqlite3
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from urllib.parse import quote_plus

import pytest
from click.testing import CliRunner
from playwright.sync_api import expect

from melodex.cli import melodex
from melodex.corpus.reader import Corpus
from melodex.corpus.tunes.melodies import rebuilt
from melodex.tasks.lesson.sets import open_lesson
from melodex.workbench.bench import Bench, Stop, StoppableCorpus, Stopped
from melodex.workbench.work import Work
from tests.workbench.sending import EDGE, sent_file

DEMO = Path(__file__).parents[2] / "corpus_demo"


def fault_of(answer: tuple[int, dict[str, str], bytes]) -> str:
    """The words in the box that says what went wrong."""
    text = answer[2].decode()
    found = re.search(r'<div class="fault"[^>]*>(.*?)</div>', text, re.DOTALL)
    assert found, text[:2000]
    return re.sub(r"<[^>]+>|\s+", " ", found[1])


# Too much, or hostile


def test_200_megabytes_are_answered_with_how_much_may_come(workbench):
    """The answer is heard although the browser is still sending."""
    size = 200 << 20
    connection = http.client.HTTPConnection(workbench.host, timeout=120)
    connection.putrequest("POST", "/shelf/add")
    for name, value in {
        "Cookie": workbench.cookie,
        "Origin": workbench.base,
        "Content-Type": f"multipart/form-data; boundary={EDGE}",
        "Content-Length": str(size),
        "Accept": "text/html",
    }.items():
        connection.putheader(name, value)
    connection.endheaders()
    piece = bytes(1 << 20)
    for _ in range(200):
        connection.send(piece)
    answer = connection.getresponse()
    text = answer.read().decode()
    connection.close()
    assert answer.status == 413
    assert "That is 200 MB; at most 96 MB go at a time." in text
    assert workbench.ask("/")[0] == 200


def test_the_page_says_it_before_it_sends(workbench, visit, tmp_path):
    page = visit(workbench, "/shelf")
    with (tmp_path / "large.abc").open("wb") as file:
        file.truncate(200 << 20)
    page.set_input_files("input[name=file]", tmp_path / "large.abc")
    page.get_by_role("button", name="Add", exact=True).click()
    expect(page.locator(".drop .bad")).to_have_text(
        "That is 200 MB; at most 96 MB go at a time."
    )
    assert page.url.endswith("/shelf")


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("noise.abc", bytes(range(256)) * 40, "refused"),
        ("empty.abc", b"", "empty"),
        ("letter.txt", b"dear reader, " * 50, "neither ABC nor MusicXML nor MIDI"),
        ("noise.mid", b"MThd\x00\x00", "refused"),
        ("bomb.mxl", b"PK\x03\x04" + b"\x00" * 400, "refused"),
        (
            "entities.musicxml",
            b'<?xml version="1.0"?><!DOCTYPE s [<!ENTITY a "'
            + b"x" * 100
            + b'"><!ENTITY b "&a;&a;&a;">]><score-partwise>&b;</score-partwise>',
            "refused",
        ),
        ("large.musicxml", b"<score-partwise>" + b" " * (9 << 20), "larger than 8 MB"),
    ],
)
def test_a_hostile_file_is_refused_by_name_and_reason(workbench, name, content, said):
    status, headers, _ = sent_file(workbench, "/drop", "file", name, content)
    assert status == 303
    text = workbench.ask(headers["location"])[2].decode()
    assert name in text
    assert said in text
    assert "0 tunes read" in text


def test_markup_in_a_title_stays_a_title(workbench):
    tune = b'X:1\nT:<img src=x onerror=alert(1)> & "Co"\nM:4/4\nL:1/4\nK:C\nCDEF|GABc|\n'
    _, headers, _ = sent_file(workbench, "/drop", "file", "<b>odd.abc", tune)
    for path in (headers["location"], headers["location"].replace("/tune", "/inside")):
        text = workbench.ask(path)[2].decode()
        assert "&lt;img src=x" in text
        assert "<img" not in text


@pytest.mark.parametrize(
    ("path", "status", "said"),
    [
        ("/find?phrase=1+2", 422, "3 notes or more"),
        ("/find?phrase=" + "1+" * 15_000, 422, "too long"),
        ("/find?tune=Nowhere+Jig&bars=1", 404, "Nowhere Jig"),
        ("/find?tune=The+Eel+Trap&bars=90-99", 422, "has bars 1 to 16"),
        ("/find?tune=The+Eel+Trap&bars=4-1", 422, "run backwards"),
        ("/find?tune=hand.0123456789ab.1&bars=1", 404, "no longer at hand"),
        ("/find/match?phrase=1+2+3&rank=99", 422, "no match 99"),
        ("/beside?a=The+Eel+Trap&b=Nowhere", 404, "Nowhere"),
        ("/inside?tune=%00", 404, ""),
        ("/own?tune=The+Eel+Trap&except=Nowhere", 404, "Nowhere"),
        ("/gather?note_on_chord=nonsense", 422, "nonsense"),
        ("/set?name=No+such+set", 422, "No such set"),
        ("/set/sheet?name=No+such+set", 422, "No such set"),
        ("/work?id=0", 404, "not known here"),
        ("/find?phrase=1+2+3&form=exe", 422, "exe"),
    ],
)
def test_a_wrong_question_is_answered_in_words(workbench, path, status, said):
    answer = workbench.ask(path, Accept="text/html")
    assert answer[0] == status
    assert said in fault_of(answer)
    assert "--" not in fault_of(answer)
    assert "Traceback" not in answer[2].decode()


@pytest.mark.parametrize("page", ["/shelf/add-here", "/shelf/back-up"])
@pytest.mark.parametrize(
    ("path", "said"),
    [
        ("~nobody.of.that.name/x", "no user nobody.of.that.name"),
        ("tunes", "write it in full"),
        ("/tmp/%00x", "character 0"),
        ("", "path"),
    ],
)
def test_a_path_that_leads_nowhere_is_answered_in_words(workbench, page, path, said):
    status, _, body = workbench.send(page, f"path={path}")
    assert status in {422, 503}
    assert said in body.decode().lower()


def test_a_path_too_long_for_any_file_is_answered_in_words(workbench):
    status, _, body = workbench.send("/shelf/add-here", f"path=/{'a' * 300}")
    assert status == 422
    assert "cannot be looked at" in body.decode()


# The corpus underneath


def test_a_corpus_that_is_taken_away_and_comes_back(own_bench):
    running = own_bench()
    assert running.ask("/find?phrase=1+2+3")[0] == 200
    away = running.corpus_path.with_suffix(".away")
    running.corpus_path.rename(away)
    answer = running.ask("/find?phrase=1+2+3+4", Accept="text/html")
    assert answer[0] == 503
    assert "no corpus here" in fault_of(answer)
    for path in ("/", "/shelf", "/inside", "/own"):
        assert running.ask(path)[0] == 200
    assert running.ask("/tunes")[0] == 503
    assert running.send("/sets/new", "name=Lost")[0] == 503
    away.rename(running.corpus_path)
    assert running.ask("/find?phrase=1+2+3+4")[0] == 200


def test_a_file_that_is_no_corpus_is_said_to_be_none(own_bench):
    running = own_bench(empty=True)
    running.corpus_path.write_bytes(b"dear reader, " * 1000)
    answer = running.ask("/find?phrase=1+2+3+4", Accept="text/html")
    assert answer[0] == 503
    assert "no SQLite file" in fault_of(answer)
    assert "no SQLite file" in fault_of(running.ask("/shelf"))


def test_a_corpus_that_somebody_else_writes_to_can_still_be_searched(
    own_bench, monkeypatch
):
    running = own_bench()
    with sqlite3.connect(running.corpus_path, isolation_level=None) as other:
        other.execute("PRAGMA journal_mode = WAL")
        other.execute("BEGIN IMMEDIATE")
        assert running.ask("/find?phrase=1+2+3+5")[0] == 200
        other.execute("ROLLBACK")
    other.close()


def test_a_corpus_that_stays_locked_is_said_to_be_busy(own_bench, monkeypatch):
    """Waiting is cut short here; the words are those after a long wait."""
    monkeypatch.setattr("melodex.corpus.connection.WAIT_SECONDS", 0.2)
    running = own_bench()
    other = sqlite3.connect(running.corpus_path, isolation_level=None)
    other.execute("PRAGMA locking_mode = EXCLUSIVE")
    other.execute("BEGIN EXCLUSIVE")
    answer = running.ask("/find?phrase=1+2+3+5", Accept="text/html")
    other.execute("ROLLBACK")
    other.close()
    assert answer[0] == 503
    assert "Another process" in fault_of(answer)
    assert running.ask("/find?phrase=1+2+3+5")[0] == 200


# Two tabs


def test_two_tabs_that_change_one_set_lose_nothing(own_bench, visit):
    running = own_bench()
    for tune in ("The+Eel+Trap", "Marl+Pit+Hornpipe", "Snail+Post"):
        running.send("/keep", f"source=tune&into=Two+tabs&tune={tune}&bars=1-4")
    first = visit(running, "/set?name=Two+tabs")
    second = first.context.new_page()
    second.goto(first.url)
    first.locator("#passage-1 >> text=Remove").click()
    expect(first.locator(".match")).to_have_count(2)
    # In the second tab that passage is the third still: the words find their own.
    second.locator("#passage-3 textarea").fill("Words that must not be lost.")
    second.locator("#passage-3 textarea").blur()
    expect(second.locator("#saved")).to_have_text("All words are written down.")
    with Corpus.open(running.corpus_path) as corpus:
        lesson = open_lesson(corpus, "Two tabs")
    notes = {e.excerpt.title: e.row.note for e in lesson.examples}
    words = "Words that must not be lost."
    assert notes == {"Marl Pit Hornpipe": "", "Snail Post": words}
    # What is written about a passage that is gone is kept.
    second.locator("#passage-1 textarea").fill("About the one that is gone.")
    second.locator("#passage-1 >> text=Later").click()
    expect(second.locator(".fault")).to_contain_text("changed on another page")
    expect(second.locator(".match")).to_have_count(2)
    # It is there again as soon as its passage is.
    first.locator("#did").get_by_role("button", name="Undo").click()
    expect(first.locator(".match")).to_have_count(3)
    expect(first.locator("#passage-3 textarea")).to_have_value(words)
    second.reload()
    expect(second.locator("#passage-1 textarea")).to_have_value(
        "About the one that is gone."
    )


def test_a_set_that_the_command_line_changes_meanwhile_is_noticed(own_bench):
    running = own_bench()
    running.send("/keep", "source=tune&into=Mixed&tune=The+Eel+Trap&bars=1-4")
    page = running.ask("/set?name=Mixed")[2].decode()
    field = re.findall(r'name="(words:\w+\.\d+\.\d+:\w+)"', page)[0]
    words = ["--corpus", str(running.corpus_path), "lesson", "note", "Mixed", "1", "Mine."]
    assert CliRunner().invoke(melodex, words).exit_code == 0
    for yours in ("Yours.", "Yours, later."):
        answer = running.send("/set/change", f"name=Mixed&do=words&{field}={yours}")
        assert answer[0] == 303
        with Corpus.open(running.corpus_path) as corpus:
            note = open_lesson(corpus, "Mixed").examples[0].row.note
        assert note.startswith("Mine.")
        assert note.endswith(yours)


@pytest.mark.parametrize("what", ["", "explode", "up", "move 1"])
def test_a_change_that_is_none_changes_nothing(workbench, what):
    answer = workbench.send("/set/change", f"name=x&mark=y&do={quote_plus(what)}")
    assert answer[0] == 422


# Many at once, and stopping


def test_twenty_searches_at_once_are_all_right(workbench):
    """Each answer is what the same search gives alone."""
    phrases = [f"{a} {b} {c} 5 4 3 1" for a in "1234" for b in "12345" for c in "6"]
    assert len(set(phrases)) == 20
    addresses = [f"/find?phrase={quote_plus(p)}&form=json&limit=7" for p in phrases]
    with ThreadPoolExecutor(20) as pool:
        together = list(pool.map(workbench.ask, addresses))
    for address, phrase, (status, _, body) in zip(
        addresses, phrases, together, strict=True
    ):
        assert status == 200, address
        words = ["--corpus", str(workbench.corpus_path), "resemble", phrase]
        done = CliRunner().invoke(melodex, [*words, "--limit", "7", "--format", "json"])
        assert json.loads(body) == json.loads(done.stdout)


def test_adding_is_stopped_and_what_was_done_stays(own_bench, visit, tmp_path, monkeypatch):
    """Ten files are written, then the work waits until the button has been pressed."""
    monkeypatch.setattr("melodex.tasks.adding.add.TUNES_PER_COMMIT", 10 * 12)
    monkeypatch.setattr("melodex.tasks.adding.add.SECONDS_PER_COMMIT", math.inf)
    running = own_bench(empty=True)
    source = (DEMO / "reed_cutters.abc").read_text(encoding="utf-8")
    folder = tmp_path / "many"
    folder.mkdir()
    for number in range(60):
        text = re.sub(r"(?m)^T:(.*)$", rf"T:\1 {number}", source)
        (folder / f"{number:03}.abc").write_text(text, encoding="utf-8")
    tell = Work.report

    def patient(work: Work, done: int, total: int, words: str = "") -> None:
        tell(work, done, total, words)
        while done >= 10 and not work.is_asked_to_stop:
            time.sleep(0.02)

    monkeypatch.setattr(Work, "report", patient)
    page = visit(running, "/shelf")
    page.fill("input[name=path] >> nth=0", str(folder))
    page.get_by_role("button", name="Add from there").click()
    expect(page.locator("#work-words")).to_contain_text("10 of 60.")
    expect(page.locator("progress")).to_have_attribute("value", "10")
    page.get_by_role("button", name="Stop").click()
    expect(page.locator(".lead").first).to_contain_text(
        "Stopped. What was done before is kept"
    )
    with Corpus.open(running.corpus_path) as corpus:
        held = corpus.tune_count
    assert 10 * 12 <= held < 60 * 12
    words = ["--corpus", str(running.corpus_path), "check"]
    assert CliRunner().invoke(melodex, words).exit_code == 0


def test_an_audit_that_takes_long_is_stopped_on_the_page(own_bench, visit, monkeypatch):
    begun, ended = threading.Event(), threading.Event()

    def endless(corpus: Corpus, *_: object, **__: object) -> None:
        begun.set()
        try:
            while corpus.query("SELECT 1"):
                time.sleep(0.02)
        finally:
            ended.set()

    monkeypatch.setattr("melodex.workbench.views.own.audit", endless)
    running = own_bench()
    page = visit(running, "/own")
    page.fill("input[name=tune]", "The Eel Trap")
    page.focus("form[data-slow] button")
    # Plain keys: whatever looks at the page waits for the one that does not come.
    page.keyboard.press("Enter")
    assert begun.wait(60)
    page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.locator("#told")).to_have_text("Stopped.")
    assert ended.wait(60)
    assert running.ask("/find?phrase=1+2+3")[0] == 200


def test_more_files_than_go_at_a_time_are_answered_with_how_many_do(own_bench, monkeypatch):
    monkeypatch.setattr("melodex.workbench.asking.MOST_FILES", 1)
    running = own_bench(empty=True)
    part = (
        f'--{EDGE}\r\nContent-Disposition: form-data; name="file"; filename="a.abc"\r\n'
        "\r\nX:1\r\n"
    )
    answer = running.ask(
        "/shelf/add",
        method="POST",
        body=(2 * part + f"--{EDGE}--\r\n").encode(),
        Origin=running.base,
        Content_Type=f"multipart/form-data; boundary={EDGE}",
        Accept="text/html",
    )
    assert answer[0] == 422
    assert "at most 1 files go at a time" in fault_of(answer)
    assert not running.corpus_path.exists()


def test_the_news_of_work_come_as_server_sent_events(own_bench):
    """HTML Living Standard, section 9.2: fields, a blank line after each event."""
    running = own_bench()
    status, headers, _ = running.send("/shelf/check", "")
    assert status == 303
    work = headers["location"].partition("id=")[2]
    status, headers, body = running.ask(f"/work/news?id={work}")
    assert headers["content-type"].startswith("text/event-stream")
    events = [event.split("\n") for event in body.decode().split("\n\n") if event]
    assert all(event[0] == "event: state" for event in events)
    states = [json.loads(event[1].removeprefix("data: ")) for event in events]
    assert states[-1]["kind"] == "done"


def test_an_answer_that_nobody_waits_for_stops(whole_demo, tmp_path):
    """At its next look at the corpus, and in the middle of a statement."""
    bench = Bench(whole_demo, tmp_path)
    stop = Stop()
    corpus = bench.open_corpus(stop)
    assert isinstance(corpus, StoppableCorpus)
    endless = (
        "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) "
        "SELECT count(*) FROM n"
    )
    threading.Timer(0.2, stop.set).start()
    with pytest.raises(sqlite3.OperationalError, match="interrupted"):
        corpus.query(endless)
    for look in (
        lambda: list(corpus.chunks()),
        lambda: corpus.query("SELECT 1"),
        lambda: rebuilt(corpus, "x", "{}"),
    ):
        with pytest.raises(Stopped):
            look()
    corpus.close()
    bench.close()


def test_a_page_that_goes_away_frees_its_worker(workbench):
    """Twelve slow questions are given up; the next one is not kept waiting for them."""
    for number in range(12):
        connection = http.client.HTTPConnection(workbench.host, timeout=30)
        path = f"/own?tune=The+Eel+Trap&threshold={number + 2}"
        connection.request("GET", path, headers={"Cookie": workbench.cookie})
        time.sleep(0.01)
        connection.close()
    assert workbench.ask("/find/stave?phrase=1+2+3")[0] == 200


@pytest.mark.parametrize("path", ["/keep", "/shelf/add", "/enter"])
def test_a_browser_that_goes_away_while_it_sends_leaves_no_traceback(
    own_bench, capfd, path
):
    """A page that is closed while a folder is on its way put one on the terminal."""
    running = own_bench()
    host, port = running.host.split(":")
    head = (
        f"POST {path} HTTP/1.1\r\nHost: {running.host}\r\nCookie: {running.cookie}\r\n"
        f"Origin: http://{running.host}\r\nContent-Length: 4000\r\n"
        "Content-Type: application/x-www-form-urlencoded\r\n\r\nname=half"
    )
    with socket.create_connection((host, int(port)), timeout=30) as line:
        line.sendall(head.encode())
        line.shutdown(socket.SHUT_WR)
        # Nothing more can be read as soon as the workbench has seen that nothing comes.
        while line.recv(4096):
            pass
    assert running.ask("/find/stave?phrase=1+2+3")[0] == 200
    assert "Traceback" not in capfd.readouterr().err


def test_a_fault_of_ours_is_told_as_one_and_changes_nothing(own_bench, monkeypatch, caplog):
    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("a fault on purpose")

    monkeypatch.setattr("melodex.workbench.views.find.search_anew", broken)
    running = own_bench()
    answer = running.ask("/find?phrase=1+2+3", Accept="text/html")
    assert answer[0] == 500
    assert "Internal error" in fault_of(answer)
    assert "on purpose" not in answer[2].decode()
    assert "a fault on purpose" in caplog.text
    monkeypatch.undo()
    assert running.ask("/find?phrase=1+2+3")[0] == 200


def test_an_answer_is_made_anew_once_the_corpus_has_changed(own_bench):
    running = own_bench()
    address = "/find?phrase=3+5+3+1+3+1+4+6+4&form=json"
    before = json.loads(running.ask(address)[2])
    assert json.loads(running.ask(address)[2]) == before
    running.send("/shelf/remove", "tune=Marl+Pit+Hornpipe&sure=yes")
    after = json.loads(running.ask(address)[2])
    assert after["corpus"]["tunes"] == before["corpus"]["tunes"] - 1
    assert "Marl Pit Hornpipe" not in {match["title"] for match in after["matches"]}
