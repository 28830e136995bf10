"""Words that are half written: kept while they are typed, and given back.

Contents: drafts, keep_drafts.
"""

from __future__ import annotations

from starlette.responses import JSONResponse, Response

from melodex.workbench.asking import Ask

__all__ = ["drafts", "keep_drafts"]

FIELD = "draft:"
LONGEST_PLACE, LONGEST_NAME, LONGEST_TAB = 2000, 100, 60


def drafts(ask: Ask) -> Response:
    """What was typed in each field of a page, and not sent."""
    return JSONResponse({"drafts": ask.bench.drafts.of(ask.said("place"))})


def keep_drafts(ask: Ask) -> Response:
    """Keep what stands in fields of a page, or let go of what has been sent."""
    place, tab = ask.said("place"), ask.said("tab")[:LONGEST_TAB]
    texts = {
        name.removeprefix(FIELD)[:LONGEST_NAME]: text
        for name, text in ask.fields.items()
        if name.startswith(FIELD)
    }
    if ask.said("do") == "sent":
        ask.bench.drafts.sent(place, tab, texts)
    elif place.startswith("/") and len(place) <= LONGEST_PLACE and tab:
        ask.bench.drafts.write(place, tab, texts)
    return JSONResponse({"kept": len(texts)})
