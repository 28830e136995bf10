"""What fuzzing calls: each reader, and what comes after it, on bytes that mean harm.

A target takes bytes and says ``read`` or ``refused``; anything that it raises is a
fault. Of the files that were read one in eight goes on as it does when it is added: it
is analysed and made into rows, and a short tune is described; of all of them the source
that is kept has to give the same tune again. Of the sets one in eight is written to a
corpus and opened. A request goes to the workbench in this process; a status of 500 is
a fault.

Contents: TARGETS, Web, packed.
"""

from __future__ import annotations

import asyncio
import io
import json
import logging
import tempfile
import zipfile
import zlib
from collections.abc import Callable, MutableMapping
from contextlib import suppress
from pathlib import Path
from typing import Any

from melodex.corpus.reader import Corpus
from melodex.corpus.writing.preparing import prepared
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import LessonError, MelodexError
from melodex.presentation.text.describe import description_text
from melodex.presentation.text.style import Style
from melodex.reading import Choice, read_bytes
from melodex.reading.phrase.reader import read_phrase
from melodex.tasks.describe.describe import describe
from melodex.tasks.lesson.checks import checked_excerpt
from melodex.tasks.lesson.file import read_set, unpack_set
from melodex.tasks.lesson.labels import excerpt_digest
from melodex.tasks.lesson.sets import open_lesson, remove_lesson
from melodex.tasks.passage import passage_of
from melodex.workbench.app import make_app

__all__ = ["TARGETS", "Web", "packed"]

SHORT = 400
"""Notes of a tune that is described too."""

CONTAINER = (
    b"<container><rootfiles><rootfile full-path='sheet.xml'/></rootfiles></container>"
)


class KeptDiffersError(Exception):
    """The kept source does not give the tune again."""


def packed(entries: dict[str, bytes]) -> bytes:
    """A zip archive."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as package:
        for name, data in entries.items():
            package.writestr(name, data)
    return out.getvalue()


def go_on(data: bytes, kept_format: str) -> str:
    """Read a file as adding does, and what a person would do next."""
    reading = read_bytes(data, kept_format, "fuzz")
    if not reading.tunes and not reading.refusals:
        raise AssertionError("neither read nor refused")
    for read in reading.tunes:
        tune_id = read.melody.content_id()
        again = read_bytes(read.kept, read.kept_format, "again").tunes
        if tune_id not in {each.melody.content_id() for each in again}:
            raise KeptDiffersError(tune_id)
    if reading.tunes and one_in_eight(data):
        prepared(reading, "", Choice(), "/fuzz")
        for read in reading.tunes[:3]:
            if len(read.melody) <= SHORT:
                passage = passage_of(read.melody, "", False, fewest=1)
                description_text(describe(passage), Style())
    return "read" if reading.tunes else "refused"


def one_in_eight(data: bytes) -> bool:
    """Whether an input is one of those that go all the way, by its own bytes."""
    return zlib.crc32(data) % 8 == 0


def file_target(kept_format: str) -> Callable[[bytes], str]:
    """The target for a kind of file."""
    return lambda data: go_on(data, kept_format)


def package_target(data: bytes) -> str:
    """A sheet is packed first, unless it begins as a package does."""
    if not data.startswith(b"PK"):
        data = packed({"META-INF/container.xml": CONTAINER, "sheet.xml": data})
    return go_on(data, "mxl")


def phrase_target(data: bytes) -> str:
    """A typed phrase."""
    try:
        read_phrase(data.decode("utf-8", "surrogateescape"))
    except MelodexError:
        return "refused"
    return "read"


class SetTarget:
    """Sets are unpacked into a corpus of their own, opened, and taken out again."""

    def __init__(self) -> None:
        self.folder = tempfile.TemporaryDirectory()
        self.path = Path(self.folder.name) / "sets.melodex"
        CorpusWriter.open(self.path).close()

    def __call__(self, data: bytes) -> str:
        """Digests are made to agree, so that what lies behind them is reached too."""
        if not data.startswith(b"PK"):
            data = packed({"set.json": with_digests(data)})
        try:
            if not one_in_eight(data):
                read_set(data, "fuzz.zip")
                return "read"
            row, _ = unpack_set(self.path, data, "fuzz.zip", name="fuzz")
        except MelodexError:
            return "refused"
        try:
            with Corpus.open(self.path) as corpus:
                open_lesson(corpus, row.name)
        finally:
            remove_lesson(self.path, row.name)
        return "read"


def with_digests(text: bytes) -> bytes:
    """The text of a set whose passages carry the digests of what they hold."""
    try:
        told = json.loads(text)
        for each in told["examples"]:
            with suppress(LessonError):
                excerpt = checked_excerpt(each["excerpt"], "it")
                each["excerpt_sha256"] = excerpt_digest(excerpt)
        return json.dumps(told).encode()
    except (ValueError, TypeError, KeyError, AttributeError, RecursionError):
        return text


class Web:
    """The workbench in this process, asked by whoever has its key."""

    HOST = "127.0.0.1:8000"
    KEY = "fuzz"
    FIXED = ("/shelf/back-up", "/shelf/add-here")
    """These take paths of this machine: they are not given what was drawn."""

    def __init__(self, corpus: Path) -> None:
        self.faults: list[BaseException] = []
        self.loop = asyncio.new_event_loop()
        self.app = make_app(corpus, self.KEY, [self.HOST])
        log = logging.getLogger("melodex.workbench")
        log.propagate = False
        log.addHandler(Caught(self.faults))
        self.running = self.app.router.lifespan_context(self.app)
        self.loop.run_until_complete(self.running.__aenter__())

    def close(self) -> None:
        """End the workbench."""
        self.loop.run_until_complete(self.running.__aexit__(None, None, None))

    def __call__(self, data: bytes) -> str:
        """A first line with method and path, then fields; more lines are headers."""
        first, _, rest = data.partition(b"\n")
        fields, _, more = rest.partition(b"\n")
        method, _, path = first.partition(b" ")
        if path.startswith(tuple(each.encode() for each in self.FIXED)):
            return "refused"
        status = self.loop.run_until_complete(self.ask(method, path, fields, more))
        if self.faults:
            raise self.faults.pop()
        if status >= 500 and status != 503:
            raise AssertionError(f"status {status}")
        return "read" if status < 400 else "refused"

    async def ask(self, method: bytes, path: bytes, fields: bytes, more: bytes) -> int:
        """Send one request through the application; return the status."""
        sent = method.upper() == b"POST"
        headers = {
            b"host": self.HOST.encode(),
            b"cookie": f"melodex-8000={self.KEY}".encode(),
            b"accept": b"text/html",
            b"origin": f"http://{self.HOST}".encode(),
            b"content-type": b"application/x-www-form-urlencoded",
            b"content-length": str(len(fields) if sent else 0).encode(),
        }
        for line in more.split(b"\n")[:50]:
            name, _, value = line.partition(b":")
            headers[name.strip().lower()] = value.strip()
        scope: dict[str, Any] = {
            "type": "http",
            "asgi": {"version": "3.0"},
            "http_version": "1.1",
            "method": "POST" if sent else method.decode("latin-1").upper()[:20] or "GET",
            "scheme": "http",
            "path": path.decode("utf-8", "replace").partition("?")[0] or "/",
            "raw_path": path,
            "root_path": "",
            "query_string": b"" if sent else fields,
            "headers": list(headers.items()),
            "client": ("127.0.0.1", 1),
            "server": ("127.0.0.1", 8000),
        }
        given = [{"type": "http.request", "body": fields if sent else b""}]
        statuses: list[int] = []
        gone = asyncio.Event()

        async def receive() -> MutableMapping[str, Any]:
            if given:
                return given.pop()
            await gone.wait()
            return {"type": "http.disconnect"}

        async def send(message: MutableMapping[str, Any]) -> None:
            if message["type"] == "http.response.start":
                statuses.append(message["status"])

        await self.app(scope, receive, send)
        gone.set()
        return statuses[0]


class Caught(logging.Handler):
    """Keeps what the workbench would print for a fault of its own."""

    def __init__(self, faults: list[BaseException]) -> None:
        super().__init__()
        self.faults = faults

    def emit(self, record: logging.LogRecord) -> None:
        """Keep the exception."""
        if record.exc_info and record.exc_info[1] is not None:
            self.faults.append(record.exc_info[1])


TARGETS: dict[str, Callable[[Path], Callable[[bytes], str]]] = {
    "abc": lambda corpus: file_target("abc"),
    "musicxml": lambda corpus: file_target("musicxml"),
    "mxl": lambda corpus: package_target,
    "midi": lambda corpus: file_target("midi"),
    "phrase": lambda corpus: phrase_target,
    "set": lambda corpus: SetTarget(),
    "web": Web,
}
"""What makes the target of each kind, given a demo corpus that it may change."""
