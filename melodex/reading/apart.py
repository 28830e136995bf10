"""Files read in a process that can be ended: no file takes the program with it.

A reader works through libraries that nobody can interrupt from Python: a parser of XML,
a pattern, an unpacker. Only the system ends those, and it ends a process whole. So what
reads untrusted files is a process of its own, under limits of memory and of the
processor's time; when a file makes it end, that file is refused with the reason and the
next one goes to a new process.

Conventions: the process is a copy of this one where this one has a single thread, which
costs some milliseconds, else Python started anew. It does one piece of work after
another, reads and never writes, ends when the program does, and leaves Ctrl-C to it. One
that is ended from outside, for want of memory say, costs its file a second try.

Contents: Apart, Bounded, called_apart, read_path_apart.
"""

from __future__ import annotations

import gc
import os
import pickle
import signal
import sys
import threading
import traceback
from collections.abc import Callable
from os import PathLike
from queue import SimpleQueue
from types import TracebackType
from typing import Any, NoReturn, TypeVar, cast

from melodex.errors import HostileInputError, MelodexError
from melodex.reading import read_path
from melodex.reading.budget import (
    PART_IT,
    end_after,
    limit_memory,
    out_of_memory,
    out_of_time,
    within_time,
)
from melodex.reading.result import Choice, FileReading

__all__ = ["Apart", "Bounded", "called_apart", "read_path_apart"]

TRIES = 2
"""Processes that a file is given before it is refused."""

LENGTH = 8
"""Bytes of the number in front of a message: how long it is."""

MOST_AT_ONCE = 1 << 20
"""Bytes that are read from a pipe at a time."""

MOST_OPEN = 1 << 16
"""Numbers below this may be files that a copy of this process inherits."""

BEGIN = (
    "import sys; sys.path[:] = sys.argv[1:]; import melodex.reading.apart as apart; "
    "apart.serve()"
)

Result = TypeVar("Result")


class Bounded:
    """Whether this process is one that can be ended: then no further one is started."""

    is_this = False


class Apart:
    """A process that reads, started when there is something to do, and again if it ends.

    To be closed, or used with ``with``: nothing is waited for then. One thread at a time
    may give it something to do, and any other may stop it.

    Attributes
    ----------
    pid : int
        Of the process; 0 where none runs.
    """

    def __init__(self) -> None:
        self.pid = 0
        self.to = self.back = -1
        self.is_wanted = True
        self.changing = threading.Lock()

    def __enter__(self) -> Apart:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def do(self, function: Callable[..., Result], *arguments: Any) -> Result:
        """Call a function of a module in the process, and return what it returns.

        Parameters
        ----------
        function : callable
            Known by its module and name.
        *arguments
            What it takes; like the result, of kinds that can be pickled.

        Raises
        ------
        HostileInputError
            If it passes a limit, or the process ends again and again.
        InterruptedError
            If it was stopped.
        Exception
            What the function raises.
        """
        task = pickle.dumps((function, arguments), pickle.HIGHEST_PROTOCOL)
        try:
            well, found = self.answer(task)
        except BaseException:
            # Whatever stopped us, what the process does now nobody waits for.
            self.close()
            raise
        if well:
            return cast("Result", found)
        if isinstance(found, HostileInputError):
            # Its memory may be full of what came before the limit.
            self.close()
        raise found

    def answer(self, task: bytes) -> tuple[bool, Any]:
        """Hand a task over and wait: whether it went well, and the result or the fault."""
        ended = 0
        for _ in range(TRIES):
            self.start()
            try:
                send(self.to, task)
                return cast("tuple[bool, Any]", pickle.loads(received(self.back)))
            except (BrokenPipeError, EOFError):
                ended = self.ended()
            if ended == signal.SIGXCPU:
                raise out_of_time()
        how = signal.strsignal(ended) if ended else ""
        what = f"the process that reads it ended ({how or 'nobody knows why'})"
        raise HostileInputError(what, hint=PART_IT)

    def start(self) -> None:
        """Start the process, unless it runs."""
        with self.changing:
            if not self.is_wanted:
                raise InterruptedError("no more is wanted")
            if self.pid:
                return
            theirs, self.to = os.pipe()
            self.back, answers = os.pipe()
            try:
                self.pid = copied(theirs, answers) if is_alone() else begun(theirs, answers)
            finally:
                os.close(theirs)
                os.close(answers)

    def ended(self) -> int:
        """Wait for a process that is ending; the signal that ends it, 0 for none."""
        with self.changing:
            _, status = os.waitpid(self.pid, 0)
            self.pid = 0
            os.close(self.to)
            os.close(self.back)
        return os.WTERMSIG(status) if os.WIFSIGNALED(status) else 0

    def stop(self) -> None:
        """End the process for good; who waits for its answer hears of it."""
        with self.changing:
            self.is_wanted = False
            if self.pid:
                os.kill(self.pid, signal.SIGKILL)

    def close(self) -> None:
        """End the process; it only reads, so that nothing is lost."""
        if self.pid:
            os.kill(self.pid, signal.SIGKILL)
            self.ended()


def read_path_apart(path: str | PathLike[str], choice: Choice | None = None) -> FileReading:
    """Read every tune of a file in a process of its own, within limits.

    Parameters
    ----------
    path : str or PathLike
        An ABC, MusicXML, compressed MusicXML or MIDI file.
    choice : Choice, optional
        Which part, voice and note of a chord is the melody.

    Returns
    -------
    FileReading
        As of :func:`melodex.reading.read_path`.

    Raises
    ------
    ReadingError
        If there is no such file, it may not be read, or costs more than a file may.
    """
    name = os.fspath(path)
    return called_apart(name, read_path, name, choice)


def called_apart(name: str, function: Callable[..., Result], *arguments: Any) -> Result:
    """Call a function that works on a file in a process of its own, within limits.

    Parameters
    ----------
    name : str
        Of the file, for what is said of it.
    function, *arguments
        As for :meth:`Apart.do`.

    Raises
    ------
    HostileInputError
        If it costs more than a file may.
    Exception
        What the function raises.
    """
    if Bounded.is_this:
        return function(*arguments)
    with Apart() as apart:
        try:
            return apart.do(function, *arguments)
        except HostileInputError as error:
            if error.where:
                raise
            raise HostileInputError(
                error.what, where=name, hint=error.hint, limit=error.limit
            ) from None


# How the process begins.


def is_alone() -> bool:
    """Whether this process has one thread of Python, so that a copy of it is whole.

    A lock that another thread holds would be held in the copy for ever. Threads of a
    library of numbers do not count: it sees to a copy itself.
    """
    return threading.active_count() == 1


def copied(coming: int, going: int) -> int:
    """Start the process as a copy of this one."""
    pid = os.fork()
    if pid:
        return pid
    try:
        # What the copy holds of ours, a corpus that is open say, it never touches.
        gc.disable()
        gc.freeze()
        os.dup2(coming, 0)
        os.dup2(going, 1)
        os.closerange(3, MOST_OPEN)
        serve()
    finally:
        os._exit(1)


def begun(coming: int, going: int) -> int:
    """Start the process as Python anew."""
    ends = [(os.POSIX_SPAWN_DUP2, coming, 0), (os.POSIX_SPAWN_DUP2, going, 1)]
    command = [sys.executable, "-c", BEGIN, *sys.path]
    return os.posix_spawn(sys.executable, command, os.environ, file_actions=ends)


# What is done in it.


def serve() -> NoReturn:
    """Do one task after another: they come as input, and the answers are the output."""
    Bounded.is_this = True
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    answers = os.dup(1)
    # What a library prints is for people.
    os.dup2(2, 1)
    tasks: SimpleQueue[bytes] = SimpleQueue()
    threading.Thread(target=take, args=(0, tasks), daemon=True).start()
    # Only now: a copy of a large process may be over the limit already, and a thread that
    # gets no stack never says that it has begun.
    limit_memory()
    imported = 0
    while True:
        task = tasks.get()
        end_after()
        send(answers, answered(task))
        # Readers leave rings behind, 13 kB a tune, and whoever waits has the answer now.
        gc.collect()
        if len(sys.modules) != imported:
            # What a task has imported stays, and is not looked through after each.
            imported = len(sys.modules)
            gc.freeze()


def take(coming: int, tasks: SimpleQueue[bytes]) -> None:
    """Take tasks as they come; end the process when no more can come."""
    try:
        while True:
            tasks.put(received(coming))
    finally:
        os._exit(0)


def answered(task: bytes) -> bytes:
    """Do a task; whether it went well and the result or the fault, pickled."""
    try:
        with within_time():
            function, arguments = pickle.loads(task)
            return pickle.dumps((True, function(*arguments)), pickle.HIGHEST_PROTOCOL)
    except MemoryError:
        error: Exception = out_of_memory()
    except Exception as fault:
        error = fault
        if not isinstance(fault, MelodexError):
            error.add_note(traceback.format_exc())
    return pickle.dumps((False, error), pickle.HIGHEST_PROTOCOL)


# How tasks and answers travel: eight bytes of length, then so many bytes.


def send(going: int, message: bytes) -> None:
    """Write a message whole."""
    left = memoryview(len(message).to_bytes(LENGTH, "little") + message)
    while left:
        left = left[os.write(going, left) :]


def received(coming: int) -> bytes:
    """Read a message whole.

    Raises
    ------
    EOFError
        If it ends before its end.
    """
    return read_whole(coming, int.from_bytes(read_whole(coming, LENGTH), "little"))


def read_whole(coming: int, length: int) -> bytes:
    """Read so many bytes."""
    parts = []
    while length:
        part = os.read(coming, min(length, MOST_AT_ONCE))
        if not part:
            raise EOFError
        parts.append(part)
        length -= len(part)
    return b"".join(parts)
