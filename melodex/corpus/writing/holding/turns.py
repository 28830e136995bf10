"""A writer's turn: one file changed by its transaction, or several files together.

Conventions: SQLite makes the change of one file whole or none. Where several shards are
changed together, what each is told is written down in the folder first and gets its name
when it is complete (:mod:`melodex.corpus.shards.pending`): from then on the change is
made, and whoever opens the folder carries it out where its writer was stopped. Writers
take turns at the first shard, and all other shards are held after it, in order.

Contents: OneTurn, SharedTurn.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence
from contextlib import ExitStack, suppress
from pathlib import Path
from typing import Protocol

from melodex.corpus.faults import faults_named
from melodex.corpus.shards.index import CHANGE_SETTING, PENDING_NAME, RUN_NAME, refuse_other
from melodex.corpus.shards.pending import PendingChange, carry_out
from melodex.corpus.writing.holding.journal import begin
from melodex.corpus.writing.holding.parts import OpenPart
from melodex.errors import BusyCorpusError, CorpusError

__all__ = ["OneTurn", "SharedTurn"]


CACHE = 32_768
"""Kibibytes of pages that all shards together keep in memory, as one file does; half a
megabyte for each at least."""


class PutSetting(Protocol):
    """Writes a setting of one file."""

    def __call__(self, name: str, value: str, part: OpenPart) -> None:
        """Write it."""


class OneTurn:
    """The turn at one file."""

    is_adding = False
    """Whether a run of adding is at work, which knows how far it has come."""

    def __init__(
        self,
        part: OpenPart,
        wait_seconds: float,
        waiting: Callable[[float], None] | None,
    ) -> None:
        self.parts: Sequence[OpenPart] = [part]
        self.wait_seconds = wait_seconds
        self.waiting = waiting

    def begin(self) -> None:
        """Begin a transaction that writes, or wait for whoever is writing."""
        part = self.parts[0]
        begin(part.connection, part.path, self.wait_seconds, self.waiting)

    def refuse_replaced(self, what: str = "nothing was written") -> None:
        """Refuse to write into what no longer goes by its name."""
        for part in self.parts:
            part.refuse_replaced(what)

    def commit(self, put_setting: PutSetting) -> None:
        """Put what was done on disk."""
        self.parts[0].connection.execute("COMMIT")

    def roll_back(self) -> bool:
        """Undo what was done; False where nothing was open any more."""
        is_open = self.parts[0].connection.in_transaction
        if is_open:
            self.parts[0].connection.execute("ROLLBACK")
        return is_open


class SharedTurn(OneTurn):
    """The turn at all shards of a folder."""

    def __init__(
        self,
        folder: Path,
        parts: Sequence[OpenPart],
        wait_seconds: float,
        waiting: Callable[[float], None] | None,
    ) -> None:
        super().__init__(parts[0], wait_seconds, waiting)
        self.folder = folder
        self.parts = parts
        for part in parts:
            part.connection.execute(f"PRAGMA cache_size = -{max(CACHE // len(parts), 512)}")
        self.holding = ExitStack()
        self.pending: PendingChange | None = None
        self.is_made = False

    def begin(self) -> None:
        """Begin a transaction at every shard, all of them in one state."""
        self.is_made = False
        try:
            for part in self.parts:
                with faults_named(part.path):
                    begin(part.connection, part.path, self.wait_seconds, self.waiting)
            index = carry_out(self.folder, self.parts)
            for number, part in enumerate(self.parts, start=1):
                with faults_named(part.path):
                    refuse_other(part, index, number)
            change = PendingChange(self.folder, index)
            self.pending = self.holding.enter_context(change)
            for number, part in enumerate(self.parts, start=1):
                part.recorder = change.recorder_of(number)
        except BaseException:
            self.roll_back()
            raise

    def commit(self, put_setting: PutSetting) -> None:
        """Put what was done on disk, in all shards and the index, or in none."""
        assert self.pending is not None
        if not self.pending.touched:
            self.roll_back()
            return
        for number in sorted(self.pending.touched):
            part = self.parts[number - 1]
            put_setting(CHANGE_SETTING, str(self.pending.number), part)
        try:
            with faults_named(self.folder):
                self.pending.seal()
            self.is_made = True
            self.finish()
        except KeyboardInterrupt:
            self.is_made = self.is_made or self.pending.is_sealed
            if self.is_made:
                self.finish()
            raise
        except CorpusError as error:
            if not self.is_made:
                raise
            raise CorpusError(
                f"the change is written down, and not carried out yet: {error.what}",
                where=error.where,
                hint="it is carried out when the corpus is opened the next time",
            ) from error

    def finish(self) -> None:
        """Carry out what is written down; what is carried out already stays."""
        assert self.pending is not None
        self.end_run()
        for part in reversed(self.parts):
            if part.connection.in_transaction and part is not self.parts[0]:
                with faults_named(part.path):
                    part.connection.execute("COMMIT")
        self.let_go()
        first = self.parts[0]
        with faults_named(first.path):
            if first.connection.in_transaction:
                first.connection.execute("COMMIT")
            try:
                begin(first.connection, first.path, self.wait_seconds)
            except BusyCorpusError:
                # Who has the turn since has carried it out.
                if (self.folder / PENDING_NAME).exists():
                    raise
                return
        try:
            carry_out(self.folder, self.parts, self.pending)
        finally:
            if first.connection.in_transaction:
                first.connection.execute("ROLLBACK")

    def end_run(self) -> None:
        """Have no run of adding go on, as what it has added may be there no longer."""
        if not self.is_adding:
            with suppress(OSError):
                (self.folder / RUN_NAME).unlink(missing_ok=True)

    def let_go(self) -> None:
        """Write nothing down any more."""
        for part in self.parts:
            part.recorder = None
        self.holding.close()

    def roll_back(self) -> bool:
        """Undo what was done; False where nothing was open any more, or it is made."""
        self.let_go()
        was_open = False
        for part in self.parts:
            if part.connection.in_transaction:
                was_open = True
                with suppress(sqlite3.Error):
                    part.connection.execute("ROLLBACK")
        return was_open and not self.is_made
