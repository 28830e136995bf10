"""The workbench as a web application: its addresses, and who may call them.

Contents: make_app.
"""

from __future__ import annotations

import tempfile
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from importlib import import_module
from pathlib import Path

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, Response
from starlette.routing import BaseRoute, Route
from starlette.types import ASGIApp, Scope

from melodex.workbench.asking import Ask, View, page, rendered_part, view
from melodex.workbench.bench import Bench
from melodex.workbench.guard import KEY_NAME, Guard
from melodex.workbench.static_files import FILES, content_of

__all__ = ["make_app"]


def make_app(corpus_path: Path, key: str, hosts: Sequence[str]) -> Starlette:
    """Make the application for one run.

    Parameters
    ----------
    corpus_path : Path
        The corpus; it may not be there yet.
    key : str
        What the first address has to carry.
    hosts : sequence of str
        Names with port under which it is reached, such as ``127.0.0.1:8000``.
    """

    @asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        with tempfile.TemporaryDirectory(prefix="melodex-bench-") as folder:
            bench = Bench(corpus_path, Path(folder))
            app.state.bench = bench
            bench.warming_up = warm_up
            try:
                yield
            finally:
                bench.close()

    app = Starlette(
        routes=routes(),
        lifespan=lifespan,
        middleware=[
            Middleware(
                TrustedHostMiddleware,
                allowed_hosts=sorted({host.rpartition(":")[0] for host in hosts}),
                www_redirect=False,
            ),
            Middleware(Guard, key=key, hosts=hosts, refuse=refuse),
        ],
        exception_handlers={404: not_found, 405: not_found},
    )
    app.state.guard = Guard(app, key, hosts, refuse)
    return app


SHOWN = {
    "/": "views_find.find",
    "/find": "views_find.find",
    "/find/narrow": "views_find.narrow",
    "/find/stave": "views_find.stave",
    "/find/match": "views_find.match",
    "/tunes": "views_tune.tunes",
    "/tune": "views_tune.tune",
    "/hand": "views_tune.at_hand",
    "/beside": "views_tune.beside",
    "/inside": "views_tune.inside",
    "/own": "views_own.own",
    "/own/finding": "views_own.finding",
    "/gather": "views_gather.gathering",
    "/gather/left": "views_gather.left",
    "/gather/passage": "views_gather.passage",
    "/sets": "views_sets.sets",
    "/set": "views_sets.one_set",
    "/set/passage": "views_sets.passage",
    "/set/order": "views_sets.order",
    "/set/sheet": "views_sets.sheet",
    "/set/file": "views_sets.packed",
    "/shelf": "views_shelf.shelf",
    "/shelf/copy": "views_shelf.download",
    "/work": "views_work.work",
}
"""Addresses that show something, and the view of each."""

CHANGING = {
    "/drop": "views_tune.drop",
    "/keep": "views_sets.keep",
    "/sets/new": "views_sets.new",
    "/sets/unpack": "views_sets.unpack",
    "/set/change": "views_sets.change",
    "/shelf/add": "views_shelf.add",
    "/shelf/add-here": "views_shelf.add_here",
    "/shelf/check": "views_shelf.check",
    "/shelf/back-up": "views_shelf.back_up",
    "/shelf/remove": "views_shelf.remove",
    "/shelf/tag": "views_shelf.tag",
    "/work/stop": "views_work.stop",
}
"""Addresses that take a form and change something."""


def routes() -> list[BaseRoute]:
    """Every address."""
    return [
        *(Route(path, page(later(name)), methods=["GET"]) for path, name in SHOWN.items()),
        *(Route(p, view(later(name)), methods=["POST"]) for p, name in CHANGING.items()),
        Route("/work/news", news, methods=["GET"]),
        Route("/enter", enter, methods=["POST"]),
        Route("/static/{build}/{name}", static_file, methods=["GET"]),
    ]


def later(name: str) -> View:
    """A view whose module is loaded when somebody asks for it.

    The first page is there sooner: it needs neither what writes nor what analyses.
    """
    module, _, function = name.partition(".")

    def answer(ask: Ask) -> Response:
        found: View = getattr(import_module(f"melodex.workbench.{module}"), function)
        return found(ask)

    return answer


def warm_up() -> None:
    """Load what most answers need, and make this thread's engraver."""
    from melodex.workbench import views_find

    views_find.warm_up()


async def news(request: Request) -> Response:
    """News of long work as they come."""
    from melodex.workbench import views_work

    return await views_work.news(request)


async def static_file(request: Request) -> Response:
    """A style sheet or a script of ours."""
    name = request.path_params["name"]
    if name not in FILES:
        return PlainTextResponse("There is no such file.", 404)
    media = "text/css" if name.endswith(".css") else "text/javascript"
    # What it holds is in its address, so that it need never be asked for again.
    kept = {"Cache-Control": "private, max-age=31536000, immutable"}
    return Response(content_of(name), media_type=media, headers=kept)


async def enter(request: Request) -> Response:
    """The door: the key typed by hand, for a browser that does not have the cookie."""
    guard: Guard = request.app.state.guard
    async with request.form(max_files=0, max_fields=4) as form:
        given, to = str(form.get(KEY_NAME, "")), str(form.get("to", "/"))
    if not guard.is_key(given.strip()):
        return door(to, 403, "That is not the key of this workbench.")
    return guard.let_in(to)


def refuse(scope: Scope, status: int, said: str) -> ASGIApp:
    """The answer to a request that is not let in."""
    headers = {name.lower(): value for name, value in scope["headers"]}
    if b"text/html" not in headers.get(b"accept", b""):
        return JSONResponse({"fault": {"what": said, "where": "", "advice": ""}}, status)
    query = scope["query_string"].decode("latin-1")
    return door(f"{scope['path']}?{query}" if query else scope["path"], status, said)


def door(to: str, status: int, said: str) -> Response:
    """The page in front of the workbench."""
    text = rendered_part("door.html", to=to, said=said, asks=status == 403)
    return HTMLResponse(text, status)


async def not_found(request: Request, error: Exception) -> Response:
    """The answer to an address that is none."""
    if "text/html" not in request.headers.get("accept", ""):
        said = {"what": "There is nothing here.", "where": "", "advice": ""}
        return JSONResponse({"fault": said}, 404)
    return HTMLResponse(rendered_part("lost.html"), 404)
