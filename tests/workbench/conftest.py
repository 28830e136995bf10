"""A workbench that really runs, and Debian's Chromium to use it with."""

from __future__ import annotations

import http.client
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
import uvicorn
from playwright.sync_api import Browser, BrowserContext, Page, expect

from melodex.workbench.app import make_app
from melodex.workbench.guard import new_key
from melodex.workbench.serving import bound

WIDE = 1200
PATIENCE_MS = 60_000
"""How long a page may take on a slow machine before something must be wrong."""

expect.set_options(timeout=PATIENCE_MS)


@dataclass
class Running:
    """A workbench that runs: in a process of its own, or in this one."""

    process: subprocess.Popen[str] | None
    first_address: str
    corpus_path: Path
    said: list[str] = field(default_factory=list)

    @property
    def host(self) -> str:
        return urlsplit(self.first_address).netloc

    @property
    def base(self) -> str:
        return f"http://{self.host}"

    @property
    def key(self) -> str:
        return self.first_address.partition("pass=")[2]

    @property
    def cookie(self) -> str:
        return f"melodex-{self.host.rpartition(':')[2]}={self.key}"

    def ask(
        self,
        path: str,
        *,
        method: str = "GET",
        body: bytes | None = None,
        known: bool = True,
        **headers: str,
    ) -> tuple[int, dict[str, str], bytes]:
        """One request with just the headers that are named."""
        sent = {name.replace("_", "-"): value for name, value in headers.items()}
        sent.setdefault("Host", self.host)
        if known:
            sent.setdefault("Cookie", self.cookie)
        connection = http.client.HTTPConnection(self.host, timeout=60)
        try:
            connection.putrequest(method, path, skip_host=True, skip_accept_encoding=True)
            for name, value in sent.items():
                connection.putheader(name, value)
            if body is not None and "Content-Length" not in sent:
                connection.putheader("Content-Length", str(len(body)))
            connection.endheaders(body)
            answer = connection.getresponse()
            found = {name.lower(): value for name, value in answer.getheaders()}
            return answer.status, found, answer.read()
        finally:
            connection.close()

    def send(self, path: str, fields: str) -> tuple[int, dict[str, str], bytes]:
        """A form as a page of ours sends it."""
        return self.ask(
            path,
            method="POST",
            body=fields.encode(),
            Origin=self.base,
            Sec_Fetch_Site="same-origin",
            Content_Type="application/x-www-form-urlencoded",
            Accept="text/html",
        )

    def stop(self) -> int:
        assert self.process is not None
        self.process.send_signal(signal.SIGINT)
        status = self.process.wait(30)
        assert self.process.stderr is not None
        self.said += self.process.stderr.read().splitlines()
        self.process.stderr.close()
        return status


def start(corpus_path: Path) -> Running:
    """Start a workbench as a person does, and wait for its address."""
    process = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "melodex",
            "--corpus",
            str(corpus_path),
            "workbench",
            "--no-open",
            "--port",
            str(free_port()),
        ],
        stderr=subprocess.PIPE,
        encoding="utf-8",
        env={**os.environ, "PYTHONWARNINGS": "error"},
    )
    assert process.stderr is not None
    line = process.stderr.readline()
    assert "http://127.0.0.1:" in line, line
    return Running(process, line.split()[-1], corpus_path)


def free_port() -> int:
    import socket

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture(scope="session")
def workbench(
    whole_demo: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[Running]:
    """A workbench on a copy of the demo's corpus, for all that does not break it."""
    path = tmp_path_factory.mktemp("bench") / "fen.melodex"
    path.write_bytes(whole_demo.read_bytes())
    running = start(path)
    yield running
    assert running.stop() in {0, 130, -signal.SIGINT}
    faults = [line for line in running.said if "Traceback" in line or "Warning" in line]
    assert not faults, "\n".join(running.said)


class InThread:
    """A workbench in a thread of this process: quicker to start than a process."""

    def __init__(self, corpus_path: Path, *, partial: bool = False) -> None:
        listening = bound(None)
        number = listening.getsockname()[1]
        hosts = (f"127.0.0.1:{number}", f"localhost:{number}")
        key = new_key()
        config = uvicorn.Config(
            make_app(corpus_path, key, hosts, partial=partial),
            log_level="warning",
            timeout_graceful_shutdown=2,
        )
        self.server = uvicorn.Server(config)
        self.thread = threading.Thread(target=self.server.run, args=([listening],))
        self.listening = listening
        self.thread.start()
        self.running = Running(None, f"http://{hosts[0]}/?pass={key}", corpus_path)

    def stop(self) -> None:
        self.server.should_exit = True
        self.thread.join(30)
        self.listening.close()


@pytest.fixture(scope="module")
def bench(whole_demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Running]:
    """A workbench on a corpus that all tests of a module write to."""
    path = tmp_path_factory.mktemp("bench") / "own.melodex"
    path.write_bytes(whole_demo.read_bytes())
    started = InThread(path)
    yield started.running
    started.stop()


def set_of_test(
    running: Running, request: pytest.FixtureRequest, tunes: Sequence[str]
) -> str:
    """Make a set of a test's own, of the first bars of some tunes; return its name."""
    name = str(request.node.name).removeprefix("test_")[:60]
    for tune in tunes:
        running.send("/keep", f"source=tune&into={name}&tune={tune}&bars=1-4")
    return name


@pytest.fixture
def own_bench(whole_demo: Path, tmp_path: Path) -> Iterator[Callable[..., Running]]:
    """Starts workbenches on a corpus of the test's own, or on none."""
    started: list[InThread] = []

    def begin(
        corpus: Path | None = None, *, empty: bool = False, partial: bool = False
    ) -> Running:
        path = corpus or tmp_path / "own.melodex"
        if not (empty or corpus):
            path.write_bytes(whole_demo.read_bytes())
        started.append(InThread(path, partial=partial))
        return started[-1].running

    yield begin
    for bench in started:
        bench.stop()


@pytest.fixture
def visit(chromium: Browser) -> Iterator[Callable[..., Page]]:
    """Opens pages of a workbench, each in a browser of its own that knows the key."""
    contexts: list[BrowserContext] = []

    def opened(
        running: Running, path: str = "/", *, width: int = WIDE, **more: Any
    ) -> Page:
        context = chromium.new_context(
            viewport={"width": width, "height": 900}, accept_downloads=True, **more
        )
        contexts.append(context)
        context.set_default_timeout(PATIENCE_MS)
        # What the first address gives; that it does has a test of its own.
        name, _, key = running.cookie.partition("=")
        context.add_cookies([{"name": name, "value": key, "url": running.base}])
        page = context.new_page()
        if width != WIDE:
            # A page notes how wide it is; the next one is drawn for that.
            page.goto(running.base)
        page.goto(running.base + path)
        return page

    yield opened
    for context in contexts:
        context.close()
