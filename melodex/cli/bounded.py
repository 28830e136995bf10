"""A command that works on a file somebody gave: done in a process that can be ended.

Reading a file is bounded wherever it is read; here what follows is bounded too, analysis,
engraving and printing, much of it in libraries that nobody can interrupt from Python.

Conventions: the process is a copy of this one, made before anything is opened, and writes
what it finds itself. It may take as much of the processor and as much memory as a file
may; beyond that the file is refused by name. Its exit is the exit of the command.

Contents: run_apart.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable
from types import FrameType

import click

from melodex.errors import HostileInputError

__all__ = ["run_apart"]

PASSED_ON = (signal.SIGTERM, signal.SIGHUP)
"""Signals that end this process and are meant for the one that works."""


def run_apart(command: Callable[[], object], name: str) -> int:
    """Run a command in a process of its own, within limits.

    Parameters
    ----------
    command : callable
        What to run; it ends by raising SystemExit, as commands do.
    name : str
        The file that it works on, for what is said of it.

    Returns
    -------
    int
        How the process exits.
    """
    from melodex.reading.budget import WORKING, out_of_time

    sys.stdout.flush()
    sys.stderr.flush()
    pid = os.fork()
    if not pid:
        worked(command, name)

    def pass_on(number: int, frame: FrameType | None) -> None:
        os.kill(pid, number)

    # Ctrl-C reaches both: the one that works says what was done.
    before = {signal.SIGINT: signal.signal(signal.SIGINT, signal.SIG_IGN)}
    for number in PASSED_ON:
        before[number] = signal.signal(number, pass_on)
    _, status = os.waitpid(pid, 0)
    for number, handler in before.items():
        signal.signal(number, handler)
    if not os.WIFSIGNALED(status):
        return os.waitstatus_to_exitcode(status)
    ended = os.WTERMSIG(status)
    if ended in PASSED_ON:
        return 128 + ended
    if ended == signal.SIGXCPU:
        said = out_of_time(what=WORKING, where=name)
    else:
        how = signal.strsignal(ended)
        said = HostileInputError(f"the process that works on it ended ({how})", where=name)
    click.echo(f"melodex: {said}", err=True)
    return 1


def worked(command: Callable[[], object], name: str) -> None:
    """Do the work within limits and leave this process, which is the copy."""
    from melodex.reading.apart import Bounded
    from melodex.reading.budget import (
        WORKING,
        end_after,
        limit_memory,
        out_of_memory,
        within_time,
    )

    code: object = 1
    try:
        Bounded.is_this = True
        end_after()
        limit_memory()
        try:
            with within_time(what=WORKING, where=name):
                command()
        except MemoryError:
            click.echo(f"melodex: {out_of_memory(what=WORKING, where=name)}", err=True)
    except SystemExit as left:
        code = left.code
    except BaseException:
        sys.excepthook(*sys.exc_info())
    finally:
        # Not by way of exit handlers: those of the first process are not ours to run.
        for stream in (sys.stdout, sys.stderr):
            flush(stream)
        os._exit(code if isinstance(code, int) else int(code is not None))


def flush(stream: object) -> None:
    """Write out what a stream still holds; who read it may have gone."""
    try:
        stream.flush()  # type: ignore[attr-defined]
    except (OSError, ValueError):
        return
