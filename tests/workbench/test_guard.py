"""Who is let in: names, keys, origins; and what every answer carries."""

from __future__ import annotations

import asyncio
import json
import socket
import time
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from click.testing import CliRunner
from starlette.responses import PlainTextResponse

from melodex.cli import melodex
from melodex.workbench.guard import POLICY, Guard, new_key

FORM = {"Content_Type": "application/x-www-form-urlencoded"}


def test_the_first_address_gives_a_cookie_that_scripts_and_other_sites_cannot_use(
    workbench,
):
    status, headers, _ = workbench.ask(f"/?pass={workbench.key}", known=False)
    assert status == 303
    assert headers["location"] == "/"
    cookie = headers["set-cookie"]
    assert cookie.startswith(f"{workbench.cookie};")
    # RFC 6265bis, section 5.6.7: the strictest of the three values.
    assert "HttpOnly" in cookie
    assert "samesite=strict" in cookie.lower()
    assert "Path=/" in cookie


def test_the_key_leaves_the_address_and_what_else_stood_there_stays(workbench):
    address = f"/find?phrase=1+2+3&pass={workbench.key}"
    status, headers, _ = workbench.ask(address, known=False)
    assert status == 303
    assert headers["location"] == "/find?phrase=1+2+3"


def test_two_slashes_lead_to_no_other_host(workbench):
    for path in (
        f"//elsewhere.example/?pass={workbench.key}",
        f"/\\elsewhere.example?pass={workbench.key}",
    ):
        status, headers, _ = workbench.ask(path, known=False)
        assert status == 303
        assert headers["location"].startswith("/")
        assert not headers["location"].startswith(("//", "/\\"))


def guarded() -> Guard:
    def refuse(scope, status, said):
        return PlainTextResponse(said, status)

    return Guard(PlainTextResponse("inside"), "the-key", ["127.0.0.1:8642"], refuse)


def ask(guard: Guard, path: str, cookie: str = "", method: str = "GET"):
    """Status, headers and text of one request that reaches the guard itself."""
    said: list[dict] = []

    async def send(message):
        said.append(message)

    async def receive():
        return {"type": "http.request", "body": b""}

    place, _, query = path.partition("?")
    scope = {
        "type": "http",
        "method": method,
        "path": place,
        "query_string": query.encode(),
        "headers": [(b"host", b"127.0.0.1:8642"), (b"cookie", cookie.encode())],
    }
    # In a thread of its own: a browser of other tests may keep this one's loop running.
    with ThreadPoolExecutor(1) as pool:
        pool.submit(asyncio.run, guard(scope, receive, send)).result()
    headers = {name.decode(): value.decode() for name, value in said[0]["headers"]}
    return said[0]["status"], headers, said[1]["body"].decode()


def test_a_ticket_opens_once_and_is_no_key():
    guard = guarded()
    ticket = guard.new_ticket()
    assert ticket != guard.key
    status, headers, _ = ask(guard, f"/shelf?ticket={ticket}")
    assert (status, headers["location"]) == (303, "/shelf")
    cookie = headers["set-cookie"].partition(";")[0]
    assert cookie == "melodex-8642=the-key"
    # Whoever has the cookie may go back to that address; whoever has not is refused.
    assert ask(guard, f"/shelf?ticket={ticket}", cookie)[2] == "inside"
    status, headers, text = ask(guard, f"/shelf?ticket={ticket}")
    assert (status, "set-cookie" in headers) == (403, False)
    assert "has been used" in text
    assert ask(guard, "/", f"melodex-8642={ticket}")[0] == 403


def test_a_ticket_is_good_for_a_minute_and_a_wrong_one_uses_nothing_up(monkeypatch):
    guard = guarded()
    ticket = guard.new_ticket()
    assert ask(guard, f"/?ticket={ticket}x")[0] == 403
    assert ask(guard, "/?ticket=")[0] == 403
    assert ask(guard, f"/?ticket={ticket}", method="HEAD")[0] == 403
    now = time.monotonic()
    monkeypatch.setattr(time, "monotonic", lambda: now + 61)
    assert ask(guard, f"/?ticket={ticket}")[0] == 403
    monkeypatch.setattr(time, "monotonic", lambda: now + 59)
    assert ask(guard, f"/?ticket={ticket}")[0] == 303


def test_the_browser_is_started_without_the_key(tmp_path, monkeypatch):
    launched: list[Any] = []

    def served(corpus_path, *, port, partial, ready):
        ready("http://127.0.0.1:1/?pass=secret", "http://127.0.0.1:1/?ticket=once")

    monkeypatch.setattr("melodex.workbench.serving.serve", served)
    monkeypatch.setattr("click.launch", launched.append)
    result = CliRunner().invoke(
        melodex, ["--corpus", str(tmp_path / "c.melodex"), "workbench"]
    )
    assert launched == ["http://127.0.0.1:1/?ticket=once"]
    assert "?pass=secret" in result.output


@pytest.mark.parametrize(
    "path", ["/", "/find?phrase=1+2+3", "/shelf", "/set?name=x", "/work/news?id=x"]
)
def test_without_the_key_nothing_of_the_corpus_is_told(workbench, path):
    status, _, body = workbench.ask(path, known=False, Accept="text/html")
    assert status == 403
    assert b"Key needed" in body
    assert b"fen.melodex" not in body


def test_a_wrong_key_and_a_wrong_cookie_do_not_open(workbench):
    assert workbench.ask(f"/?pass={workbench.key}x", known=False)[0] == 403
    wrong = workbench.cookie[:-1] + ("a" if workbench.cookie[-1] != "a" else "b")
    assert workbench.ask("/", known=False, Cookie=wrong)[0] == 403
    assert workbench.ask("/", known=False, Cookie=f"other={workbench.key}")[0] == 403


def test_a_script_without_the_key_hears_it_as_data(workbench):
    status, _, body = workbench.ask("/gather/left", known=False, Accept="application/json")
    assert status == 403
    assert "has no key" in json.loads(body)["fault"]["what"]


@pytest.mark.parametrize(
    "host",
    ["elsewhere.example", "127.0.0.1.elsewhere.example", "127.0.0.1:1", "127.0.0.1", ""],
)
def test_a_name_that_is_not_ours_is_refused(workbench, host):
    """A name of somebody else's that leads here: DNS rebinding."""
    status, _, body = workbench.ask("/", Host=host)
    assert status == 400
    assert b"fen.melodex" not in body


@pytest.mark.parametrize("path", [b"/find", b"/set/", b"/no/such/page/"])
def test_an_address_that_is_no_ascii_is_refused_and_not_stumbled_over(workbench, path):
    name, port = workbench.host.split(":")
    request = b"GET %s?phrase=\xe4\xff HTTP/1.1\r\nHost: %s\r\nCookie: %s\r\n\r\n"
    with socket.create_connection((name, int(port)), timeout=60) as line:
        said = (path, workbench.host.encode(), workbench.cookie.encode())
        line.sendall(request % said)
        assert line.recv(65536).split(b"\r\n")[0].startswith(b"HTTP/1.1 400")


nobody: Any = None
"""Where the guard has to answer without asking what stands behind it."""


def test_the_guard_does_not_count_on_the_server_for_that():
    # uvicorn refuses such a line itself; another server may hand it on.
    told = []

    def refuse(scope, status, sentence):
        told.append((status, sentence))

        async def answer(scope, receive, send):
            pass

        return answer

    scope = {
        "type": "http",
        "method": "GET",
        "path": "/set/",
        "query_string": b"name=\xe4",
        "headers": [(b"host", b"127.0.0.1:8000")],
    }
    guard = Guard(nobody, "k", ["127.0.0.1:8000"], refuse)
    # It waits for nothing, so no loop has to run it.
    with pytest.raises(StopIteration):
        guard(scope, nobody, nobody).send(None)
    assert told == [(400, "That address has characters that must be percent-encoded.")]


def test_localhost_is_a_name_of_ours(workbench):
    port = workbench.host.rpartition(":")[2]
    assert workbench.ask("/", Host=f"localhost:{port}")[0] == 200


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({}, 403),
        ({"Origin": "http://elsewhere.example"}, 403),
        ({"Origin": "null"}, 403),
        ({"Origin": "http://127.0.0.1:1"}, 403),
        ({"Origin": "https://{host}"}, 403),
        # Another port of this machine is the same site and another origin.
        ({"Origin": "http://{host}", "Sec_Fetch_Site": "same-site"}, 403),
        ({"Origin": "http://{host}", "Sec_Fetch_Site": "cross-site"}, 403),
        ({"Origin": "http://{host}", "Sec_Fetch_Site": "none"}, 403),
        ({"Origin": "http://{host}", "Sec_Fetch_Site": "same-origin"}, 303),
        ({"Origin": "http://{host}"}, 303),
    ],
)
def test_a_change_has_to_come_from_a_page_of_ours(workbench, headers, status):
    told = {name: value.format(host=workbench.host) for name, value in headers.items()}
    tag = "tune=The+Eel+Trap&word=guarded"
    answer = workbench.ask("/shelf/tag", method="POST", body=tag.encode(), **FORM, **told)
    assert answer[0] == status


def test_a_refused_change_changes_nothing(workbench):
    body = b"name=From+elsewhere"
    assert workbench.ask("/sets/new", method="POST", body=body, **FORM)[0] == 403
    assert b"From elsewhere" not in workbench.ask("/sets")[2]


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_other_sites_may_not_embed_what_we_serve(workbench, site):
    asked = {
        "Sec_Fetch_Site": site,
        "Sec_Fetch_Mode": "no-cors",
        "Sec_Fetch_Dest": "script",
    }
    assert workbench.ask("/find/stave?phrase=1+2+3", **asked)[0] == 403


@pytest.mark.parametrize(
    "path", ["/", "/static/any/bench.js", "/find/stave?phrase=1", "/nowhere"]
)
def test_every_answer_carries_the_policy(workbench, path):
    headers = workbench.ask(path)[1]
    assert headers["content-security-policy"] == POLICY
    assert "unsafe" not in POLICY
    assert "default-src 'none'" in POLICY
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["cross-origin-resource-policy"] == "same-origin"
    assert "server" not in headers


def test_nobody_changes_anything_by_an_address(workbench):
    for path in (
        "/keep",
        "/sets/new",
        "/set/change",
        "/shelf/remove",
        "/shelf/add",
        "/drop",
    ):
        assert workbench.ask(f"{path}?name=x&tune=The+Eel+Trap&sure=yes")[0] in {404, 405}
    assert b"The Eel Trap" in workbench.ask("/tunes")[2]


def test_a_change_without_a_length_is_refused(workbench):
    told = {"Origin": workbench.base, "Transfer_Encoding": "chunked", **FORM}
    status, *_ = workbench.ask(
        "/sets/new", method="POST", body=b"0\r\n\r\n", Content_Length="", **told
    )
    assert status in {400, 411}


def test_keys_are_long_and_never_the_same():
    keys = {new_key() for _ in range(100)}
    assert len(keys) == 100
    assert min(len(key) for key in keys) >= 32


def test_the_door_lets_in_with_the_key_typed_by_hand(workbench):
    fields = f"pass={workbench.key}&to=/shelf"
    told = {"Origin": workbench.base, "Sec_Fetch_Site": "same-origin", **FORM}
    status, headers, _ = workbench.ask(
        "/enter", method="POST", body=fields.encode(), known=False, **told
    )
    assert (status, headers["location"]) == (303, "/shelf")
    assert headers["set-cookie"].startswith(workbench.cookie)
    wrong = workbench.ask("/enter", method="POST", body=b"pass=x&to=/", known=False, **told)
    assert wrong[0] == 403
    away = f"pass={workbench.key}&to=//elsewhere.example/"
    headers = workbench.ask(
        "/enter", method="POST", body=away.encode(), known=False, **told
    )[1]
    assert headers["location"] == "/elsewhere.example/"


def test_cookies_of_two_workbenches_on_one_machine_do_not_meet():
    guards = [Guard(nobody, "k", [f"127.0.0.1:{port}"], nobody) for port in (8001, 8002)]
    assert guards[0].cookie != guards[1].cookie
