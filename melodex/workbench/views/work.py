"""Long work on a page: how far it is, its news as they come, and stopping it.

References
----------
HTML Living Standard, section 9.2: server-sent events.

Contents: work, news, stop.
"""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator
from typing import Any

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response, StreamingResponse

from melodex.errors import UnknownTuneError
from melodex.workbench.asking import Ask, address, fault_of, rendered_page
from melodex.workbench.work import Work

__all__ = ["news", "stop", "work"]

LOOK_SECONDS = 0.1
"""Between two looks at work that goes on, below what a person notices."""
MOST_REFUSALS_SHOWN = 200
"""Refusals that a page lists; the data hold all."""


def found(ask: Ask) -> Work:
    """The work that is meant."""
    known = ask.bench.works.find(ask.said("id"))
    if known is None:
        raise UnknownTuneError(
            "that work is not known here", hint="the shelf lists what this run has done"
        )
    return known


def work(ask: Ask) -> Response:
    """How far a piece of work is, or what came of it."""
    known = found(ask)
    fault = fault_of(known.error) if known.error else None
    return rendered_page(
        ask,
        "work.html",
        known.title,
        work=known,
        state=known.state,
        fault=fault,
        most=MOST_REFUSALS_SHOWN,
        report=report_of(known),
    )


def report_of(known: Work) -> str:
    """What a check or a copy found, in the words of the command line."""
    from melodex.presentation.text import corpus as text_corpus

    if known.result is None:
        return ""
    if known.kind == "check":
        return text_corpus.check_text(known.result)
    return text_corpus.backup_text(known.result) if known.kind == "copy" else ""


def stop(ask: Ask) -> Response:
    """Ask a piece of work to stop."""
    known = found(ask)
    known.stop()
    return RedirectResponse(address("/work", id=known.id), 303)


async def news(request: Request) -> Response:
    """Server-sent events: the state of a piece of work whenever it has changed."""
    known = request.app.state.bench.works.find(request.query_params.get("id", ""))
    if known is None:
        return Response("There is no such work.", 404)
    headers = {"X-Accel-Buffering": "no"}
    return StreamingResponse(events(known), media_type="text/event-stream", headers=headers)


async def events(known: Work) -> AsyncIterator[str]:
    """Each new state as an event, until nothing more will come."""
    seen = -1
    while True:
        state = known.state
        if state.number != seen:
            seen = state.number
            data: dict[str, Any] = {
                "kind": state.kind,
                "done": state.done,
                "total": state.total,
                "words": state.words,
            }
            yield f"event: state\ndata: {json.dumps(data)}\n\n"
        if state.is_over:
            return
        await asyncio.sleep(LOOK_SECONDS)
