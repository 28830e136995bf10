"""The workbench as a web application: its addresses, and who may call them.

Contents: make_app.
"""

from __future__ import annotations

import tempfile
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager, nullcontext
from importlib import import_module
from pathlib import Path

from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.middleware.trustedhost import TrustedHostMiddleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import HTMLResponse, JSONResponse, PlainTextResponse, Response
from starlette.routing import BaseRoute, Route
from starlette.types import ASGIApp, Scope

from melodex.corpus.shards.absent import everywhere_without
from melodex.workbench.asking import Ask, View, page, rendered_part, view
from melodex.workbench.bench import Bench
from melodex.workbench.guard import KEY_NAME, Guard
from melodex.workbench.static_files import FILES, content_of

__all__ = ["make_app"]


def make_app(
    corpus_path: Path, key: str, hosts: Sequence[str], *, partial: bool = False
) -> Starlette:
    """Make the application for one run.

    Parameters
    ----------
    corpus_path : Path
        The corpus; it may not be there yet.
    key : str
        What the first address has to carry.
    hosts : sequence of str
        Names with port under which it is reached, such as ``127.0.0.1:8000``.
    partial : bool
        Whether to go on without shards that are missing or damaged, and say so.
    """

    @asynccontextmanager
    async def lifespan(app: Starlette) -> AsyncIterator[None]:
        with (
            everywhere_without() if partial else nullcontext(),
            tempfile.TemporaryDirectory(prefix="melodex-bench-") as folder,
        ):
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
        exception_handlers={404: not_found, 405: not_found, ClientDisconnect: left},
    )
    app.state.guard = Guard(app, key, hosts, refuse)
    return app


SHOWN = {
    "/": "find.find",
    "/find": "find.find",
    "/find/narrow": "find.narrow",
    "/find/stave": "find.stave",
    "/find/match": "find.match",
    "/tunes": "tune.tunes",
    "/tune": "tune.tune",
    "/hand": "tune.at_hand",
    "/beside": "tune.beside",
    "/inside": "tune.inside",
    "/around": "tune.around",
    "/small": "tune.small",
    "/own": "own.own",
    "/own/finding": "own.finding",
    "/gather": "gather.gathering",
    "/gather/left": "gather.left",
    "/gather/passage": "gather.passage",
    "/sets": "sets.sets",
    "/set": "sets.one_set",
    "/set/passage": "sets.passage",
    "/set/order": "sets.order",
    "/set/questions": "choosing.questions",
    "/set/question": "choosing.one_question",
    "/set/sheet": "sets.sheet",
    "/set/file": "sets.packed",
    "/done": "done.done",
    "/drafts": "drafts.drafts",
    "/shelf": "shelf.shelf",
    "/shelf/copy": "shelf.download",
    "/work": "work.work",
    "/map": "shelf.map_of_corpus",
    "/families": "shelf.families",
    "/warnings": "shelf.warnings",
}
"""Addresses that show something, and the view of each."""

CHANGING = {
    "/drop": "tune.drop",
    "/hear": "hear.hear",
    "/inside/loudness": "tune.loudness",
    "/drafts": "drafts.keep_drafts",
    "/keep": "sets.keep",
    "/sets/new": "changes.new",
    "/sets/unpack": "changes.unpack",
    "/set/change": "changes.change",
    "/set/questions/change": "choosing.change",
    "/set/mark": "marking.mark",
    "/undo": "done.undo",
    "/done/let-go": "done.let_go",
    "/shelf/add": "shelf.add",
    "/shelf/add-here": "shelf.add_here",
    "/shelf/check": "shelf.check",
    "/shelf/features": "shelf.renew",
    "/shelf/families": "shelf.find_kin",
    "/shelf/back-up": "shelf.back_up",
    "/shelf/remove": "shelf.remove",
    "/shelf/tag": "shelf.tag",
    "/shelf/remark": "shelf.remark",
    "/shelf/take-back": "shelf.take_back",
    "/work/stop": "work.stop",
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
        found: View = getattr(import_module(f"melodex.workbench.views.{module}"), function)
        return found(ask)

    return answer


def warm_up() -> None:
    """Load what most answers need, and make this thread's engraver."""
    from melodex.workbench.views import find as views_find

    views_find.warm_up()


async def news(request: Request) -> Response:
    """News of long work as they come."""
    from melodex.workbench.views import work as views_work

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


async def left(request: Request, error: Exception) -> Response:
    """The answer to a browser that went away while it sent a form: nobody hears it."""
    return Response(status_code=400)
