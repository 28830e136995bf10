"""What one run of the workbench holds: the corpus, files at hand, work, and workers.

Conventions: requests are answered in a few lasting threads, since each keeps an engraver
of its own that takes time to make. A request whose page is gone stops: at its next look
at the corpus, which every task takes often (:class:`StoppableCorpus`). Files that were
dropped onto a page lie in memory until the run ends, named by what they hold.

Contents: Bench, AtHand, StoppableCorpus, Stopped, Stop.
"""

from __future__ import annotations

import asyncio
import hashlib
import os
import threading
from collections import OrderedDict
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from melodex.corpus.chunks import PackedChunk
from melodex.corpus.reader import Corpus
from melodex.corpus.shards.merging import Merge
from melodex.errors import EmptyMelodyError, ReadingError, UnknownTuneError
from melodex.melody import Melody
from melodex.melody.texture import Texture
from melodex.reading import (
    SOUND_SUFFIXES,
    FileReading,
    ReadTune,
    ReadWarning,
    Refusal,
    read_data,
)
from melodex.reading.apart import Apart
from melodex.settings import FEWEST_NOTES
from melodex.tasks.passage import Passage, Span, find_passage, passage_of, read_span
from melodex.workbench.deeds import Deeds
from melodex.workbench.drafts import Drafts
from melodex.workbench.page_words import PageWords
from melodex.workbench.work import Works

__all__ = ["AtHand", "Bench", "Stop", "StoppableCorpus", "Stopped"]

WORKERS = 3
"""One to draw what is typed while two search; more would only share two processors."""

MOST_AT_HAND = 60
MOST_BYTES_AT_HAND = 16 << 20
"""Of all files at hand together, as they came: their tunes take several times as much."""

MOST_REMEMBERED = 24
"""Answers that are kept to be shown again in other forms."""
AT_HAND = "hand"

Answer = TypeVar("Answer")


class Stopped(Exception):  # noqa: N818
    """Nobody waits for the answer any more; no fault."""


class Stop:
    """Says to a thread that nobody waits for it."""

    def __init__(self) -> None:
        self.event = threading.Event()
        self.corpora: list[StoppableCorpus] = []

    def set(self) -> None:
        """Ask to stop, in the middle of a statement of SQL too."""
        self.event.set()
        for corpus in self.corpora:
            for part in corpus.parts:
                with suppress(Exception):
                    part.connection.interrupt()

    def look(self) -> None:
        """Raise if that was asked for."""
        if self.event.is_set():
            raise Stopped


class StoppableCorpus(Corpus):
    """A corpus at which a task stops when it next looks, if nobody waits for it."""

    stop: Stop | None = None

    def pause(self) -> None:
        """Stop if nobody waits for what the task is at."""
        if self.stop:
            self.stop.look()

    def query(
        self, sql: str, values: Iterable[Any] = (), *, merge: Merge | None = None
    ) -> list[tuple[Any, ...]]:
        """As in a corpus."""
        self.pause()
        return super().query(sql, values, merge=merge)

    def chunks(self) -> Iterator[PackedChunk]:
        """As in a corpus."""
        for chunk in super().chunks():
            self.pause()
            yield chunk


@dataclass(frozen=True, slots=True)
class AtHand:
    """A file that was dropped onto a page: its tunes, and what of it was refused."""

    id: str
    name: str
    melodies: tuple[Melody, ...]
    refusals: tuple[Refusal, ...]
    warnings: tuple[str, ...]
    byte_count: int
    textures: tuple[Texture | None, ...] = ()

    def address_of(self, place: int) -> str:
        """By what name addresses call one of its tunes."""
        return f"{AT_HAND}.{self.id}.{place + 1}"


def heard(data: bytes, name: str) -> FileReading:
    """What a recording of one line holds, as a file of one tune.

    Raises
    ------
    ReadingError, HostileInputError, EmptyMelodyError
        As :func:`melodex.reading.recording.reader.read_recording`.
    """
    from melodex.reading.recording.reader import read_recording

    recording = read_recording(data, name)
    remarks = tuple(ReadWarning(words) for words in recording.remarks)
    return FileReading(name, (ReadTune(recording.melody, remarks),))


class Bench:
    """One run of the workbench.

    Parameters
    ----------
    corpus_path : Path
        The corpus; it may not be there yet.
    folder : Path
        For files on their way into the corpus; cleared when the run ends.
    """

    def __init__(self, corpus_path: Path, folder: Path) -> None:
        self.corpus_path = corpus_path
        self.folder = folder
        self.works = Works()
        self.deeds = Deeds()
        self.words = PageWords()
        self.drafts = Drafts()
        self.at_hand: dict[str, AtHand] = {}
        self.pool = ThreadPoolExecutor(WORKERS, thread_name_prefix="melodex-page")
        self.changing = threading.Lock()
        self.answers: OrderedDict[tuple[Any, ...], Any] = OrderedDict()
        self.remembering = threading.Lock()
        self.warming_up: Callable[[], None] | None = None

    def close(self) -> None:
        """Stop everything."""
        self.works.stop_all()
        self.pool.shutdown(wait=False, cancel_futures=True)

    def warm_up(self) -> None:
        """Let every worker do something once, so that no answer has to wait for it.

        Called when the first page is there: it is not kept waiting. One worker goes
        first, alone, and what it loads is there for the others.
        """
        work, self.warming_up = self.warming_up, None
        if work is None:
            return
        everyone = threading.Barrier(WORKERS)

        def once() -> None:
            work()
            # Nobody takes a second turn before all have had their first.
            with suppress(threading.BrokenBarrierError):
                everyone.wait(timeout=20)

        def others(_: object) -> None:
            with suppress(RuntimeError):
                for _turn in range(WORKERS):
                    self.pool.submit(once)

        self.pool.submit(work).add_done_callback(others)

    def open_corpus(self, stop: Stop) -> StoppableCorpus:
        """Open the corpus for one request."""
        corpus = StoppableCorpus.open(self.corpus_path)
        assert isinstance(corpus, StoppableCorpus)
        corpus.stop = stop
        stop.corpora.append(corpus)
        return corpus

    async def run(
        self, work: Callable[[Stop], Answer], gone: Callable[[], Any]
    ) -> Answer | None:
        """Do something in a worker; None if its page went away meanwhile.

        Parameters
        ----------
        work : callable
            Takes what says to stop.
        gone : callable
            A coroutine function that ends when nobody waits any more.
        """
        stop = Stop()
        loop = asyncio.get_running_loop()
        answer = loop.run_in_executor(self.pool, work, stop)
        watcher = asyncio.ensure_future(gone())
        try:
            await asyncio.wait({answer, watcher}, return_when=asyncio.FIRST_COMPLETED)
            if not answer.done():
                stop.set()
            return await answer
        except Stopped:
            return None
        except Exception:
            # A statement that was interrupted ends in an error of SQLite's.
            if stop.event.is_set():
                return None
            raise
        finally:
            watcher.cancel()

    # Answers just given

    def remembered(self, key: tuple[str, ...], make: Callable[[], Any]) -> Any:
        """An answer of the corpus as it is now, made anew only if it is not at hand."""
        full = (self.state_of_corpus(), *key)
        with self.remembering:
            if full in self.answers:
                self.answers.move_to_end(full)
                return self.answers[full]
        made = make()
        with self.remembering:
            self.answers[full] = made
            while len(self.answers) > MOST_REMEMBERED:
                self.answers.popitem(last=False)
        return made

    def state_of_corpus(self) -> tuple[tuple[int, int, int], ...]:
        """What changes whenever somebody writes to the corpus."""
        stamps = []
        files: list[Path] = [self.corpus_path]
        with suppress(OSError):
            # Of shards each counts.
            files += sorted(self.corpus_path.iterdir())
        for name in (f"{file}{suffix}" for file in files for suffix in ("", "-wal")):
            with suppress(OSError):
                found = os.stat(name)  # noqa: PTH116
                stamps.append((found.st_ino, found.st_size, found.st_mtime_ns))
        return tuple(stamps)

    # Files at hand

    def take_files(self, files: Iterable[tuple[str, bytes]]) -> list[AtHand]:
        """Read files that were dropped onto a page, name and bytes, and keep them at hand.

        What costs more than a file may is kept as one that gave nothing but the reason.
        Of a recording the likeliest reading is a tune like any other.
        """
        with Apart() as apart:
            return [self.take_file(name, data, apart) for name, data in files]

    def take_file(self, name: str, data: bytes, apart: Apart) -> AtHand:
        """Read a file that was dropped onto a page and keep it at hand."""
        from melodex.analysis.harmony.heard.sounding import harmonised
        from melodex.tasks.adding.handed import plain_name

        try:
            if plain_name(name).lower().endswith(SOUND_SUFFIXES):
                reading = heard(data, plain_name(name))
            else:
                reading = apart.do(read_data, data, plain_name(name))
        except (ReadingError, EmptyMelodyError) as error:
            refusal = Refusal.of(error, plain_name(name))
            reading = FileReading(plain_name(name), refusals=(refusal,))
        digest = hashlib.sha256(name.encode("utf-8", "replace") + b"\0" + data)
        tunes = [tune for tune in reading.tunes if len(tune.melody)]
        file = AtHand(
            digest.hexdigest()[:12],
            plain_name(name),
            tuple(map(harmonised, tunes)),
            reading.refusals,
            tuple(warning.text for tune in reading.tunes for warning in tune.warnings),
            len(data),
            tuple(tune.texture for tune in tunes),
        )
        self.at_hand.pop(file.id, None)
        self.at_hand[file.id] = file
        while len(self.at_hand) > 1 and self.has_too_much_at_hand():
            del self.at_hand[next(iter(self.at_hand))]
        return file

    def has_too_much_at_hand(self) -> bool:
        """Whether the file that was dropped first has to go, for number or for size."""
        size = sum(file.byte_count for file in self.at_hand.values())
        return len(self.at_hand) > MOST_AT_HAND or size > MOST_BYTES_AT_HAND

    def passage(
        self,
        name: str,
        corpus: Corpus | None,
        *,
        bars: str = "",
        notes: str = "",
        fewest: int = FEWEST_NOTES,
    ) -> Passage:
        """Find part of a tune of the corpus, or of a file at hand.

        Raises
        ------
        UnknownTuneError, PassageError, EmptyMelodyError, ReadingError
            As :func:`melodex.tasks.passage.find_passage`.
        """
        spans: dict[str, Span | None] = {
            "bars": read_span(bars) if bars.strip() else None,
            "notes": read_span(notes, "notes") if notes.strip() else None,
        }
        if not name.startswith(f"{AT_HAND}."):
            return find_passage(name, corpus, fewest=fewest, **spans)
        melody = self.melody_at_hand(name)
        return passage_of(melody, melody.content_id(), False, fewest=fewest, **spans)

    def title_at_hand(self, name: str) -> str:
        """The title of a tune of a file at hand; empty if the name means another."""
        if not name.startswith(f"{AT_HAND}."):
            return ""
        try:
            return self.melody_at_hand(name).title or "untitled"
        except UnknownTuneError:
            return ""

    def texture_at_hand(self, name: str) -> Texture | None:
        """All notes of the piece of a tune of a file at hand; None where it is no such."""
        if not name.startswith(f"{AT_HAND}."):
            return None
        self.melody_at_hand(name)
        _, file_id, place = name.split(".")[:3]
        return self.at_hand[file_id].textures[int(place) - 1]

    def melody_at_hand(self, name: str) -> Melody:
        """A tune of a file at hand by the name that addresses give it."""
        _, file_id, place = [*name.split("."), "", ""][:3]
        file = self.at_hand.get(file_id)
        if file is None or not place.isdecimal():
            raise UnknownTuneError(
                "that file is no longer at hand", hint="drop it here again"
            )
        if not 1 <= int(place) <= len(file.melodies):
            raise UnknownTuneError(f"there is no tune {place} in it", where=file.name)
        return file.melodies[int(place) - 1]
