"""Starting the workbench: a socket on loopback, the first address, and the server.

Contents: USUAL_PORT, serve, bound.
"""

from __future__ import annotations

import socket
from collections.abc import Callable
from pathlib import Path

import uvicorn

from melodex.errors import SettingsError
from melodex.workbench.app import make_app
from melodex.workbench.guard import KEY_NAME, TICKET_NAME, new_key

__all__ = ["USUAL_PORT", "bound", "serve"]

LOOPBACK = "127.0.0.1"
USUAL_PORT = 8642
"""Always the same where it is free, so that kept addresses stay good; our choice."""

SECONDS_TO_FINISH = 5
"""For answers on their way when the workbench is stopped."""


def serve(
    corpus_path: Path,
    *,
    port: int | None = None,
    partial: bool = False,
    ready: Callable[[str, str], None],
) -> None:
    """Serve the workbench until it is interrupted.

    Parameters
    ----------
    corpus_path : Path
        The corpus; it may not be there yet.
    port : int, optional
        Of loopback; by default :data:`USUAL_PORT`, or any other if that is taken.
    partial : bool
        Whether to go on without shards that are missing or damaged, and say so.
    ready : callable
        Called, once the server can be reached, with the address to show to whoever
        started it, and with one that opens once, for the command line of a browser.

    Raises
    ------
    SettingsError
        If the port cannot be had.
    """
    listening = bound(port)
    number = listening.getsockname()[1]
    hosts = (f"{LOOPBACK}:{number}", f"localhost:{number}")
    key = new_key()
    app = make_app(corpus_path, key, hosts, partial=partial)
    config = uvicorn.Config(
        app,
        log_level="warning",
        access_log=False,
        server_header=False,
        date_header=False,
        lifespan="on",
        ws="none",
        timeout_graceful_shutdown=SECONDS_TO_FINISH,
    )
    # The socket listens already: a browser that is told now waits for the server.
    first = f"http://{hosts[0]}/"
    ticket = app.state.guard.new_ticket()
    ready(f"{first}?{KEY_NAME}={key}", f"{first}?{TICKET_NAME}={ticket}")
    with listening:
        uvicorn.Server(config).run(sockets=[listening])


def bound(port: int | None) -> socket.socket:
    """A socket that listens on loopback.

    Raises
    ------
    SettingsError
        If the port that was asked for cannot be had.
    """
    wanted = [port] if port is not None else [USUAL_PORT, 0]
    for number in wanted:
        listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listening.bind((LOOPBACK, number))
            listening.listen(128)
        except OSError:
            listening.close()
            continue
        return listening
    raise SettingsError(
        f"port {port} of this machine cannot be had",
        hint="leave --port out, or name another",
    )
