"""What a request asks for, and how an answer is made of a template.

Conventions: a view is a plain function from :class:`Ask` to a response; it runs in a
worker. Addresses hold all that a view needs, so that each can be kept and shared within
a run. An error of ours becomes a page that says what is wrong and what to try; anything
else is a fault of ours, goes to the terminal, and is said to be one.

Contents: Ask, Fault, View, page, view, address, fault_of, fault_with_ways, rendered_page,
rendered_part, gone.
"""

from __future__ import annotations

import asyncio
import logging
import re
from collections.abc import Awaitable, Callable, Mapping
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any
from urllib.parse import urlencode

import jinja2
from markupsafe import Markup
from starlette.datastructures import FormData, UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response

from melodex.corpus.shards.absent import partial_remark
from melodex.errors import (
    CorpusError,
    HostileInputError,
    MelodexError,
    ReadingError,
    UnknownTuneError,
)
from melodex.presentation.text.words import many
from melodex.reading import SOUND_SUFFIXES, SUFFIXES
from melodex.workbench.bench import Bench, Stop, StoppableCorpus
from melodex.workbench.static_files import static_address
from melodex.workbench.ticked import Row

__all__ = [
    "Ask",
    "Fault",
    "View",
    "address",
    "fault_of",
    "fault_with_ways",
    "fitting",
    "gone",
    "page",
    "rendered_page",
    "rendered_part",
    "view",
]

log = logging.getLogger("melodex.workbench")

MOST_FILES = 4000
MOST_FIELDS = 4000
NOBODY_WAITS = 499
"""Not heard by anybody; the number that servers write down for it (no standard)."""

SCREEN_COOKIE = "melodex-width"
WIDE_SCREEN, NARROW_SCREEN, NARROWEST, AROUND_MUSIC = 1060, 704, 300, 56
"""In CSS pixels: where the usual systems fit; where notes are shown smaller, as the
style sheet does; what we still draw for; and the margins around a stave."""

SMALLER = 0.76
TENTHS_PER_PIXEL = 2.1
"""Of the engraver's units (``melodex.presentation.engraving.pictures.UNITS_PER_PIXEL``)."""

NAVIGATION = (
    ("/", "Find", "a phrase you heard"),
    ("/beside", "Side by side", "note against note"),
    ("/inside", "Look inside", "keys, form, chords"),
    ("/own", "My own tune", "where it comes close"),
    ("/gather", "Gather", "what shows the same"),
    ("/sets", "Teaching sets", "what you kept"),
    ("/shelf", "Shelf", "all the tunes"),
)


@dataclass(slots=True)
class Ask:
    """What is asked for.

    Parameters
    ----------
    bench : Bench
        This run.
    path : str
        Of the address.
    fields : mapping of str to str
        From the address, or from the form that was sent; the last of each name.
    form : FormData or None
        Of a change, with files.
    stop : Stop
        Says that nobody waits for the answer.
    wants_data : bool
        Whether a script asks, which wants data and no page.
    screen : str
        How wide the page is, in CSS pixels, if a script of ours has told it.
    """

    bench: Bench
    path: str
    fields: Mapping[str, str]
    form: FormData | None
    stop: Stop
    wants_data: bool = False
    screen: str = ""
    corpora: list[StoppableCorpus] = field(default_factory=list)

    def said(self, name: str) -> str:
        """A field without space around it, empty where it is not there."""
        return self.fields.get(name, "").strip()

    def every(self, name: str) -> list[str]:
        """All values of a name in a form."""
        values = self.form.getlist(name) if self.form is not None else []
        return [value for value in values if isinstance(value, str)]

    def uploads(self, name: str) -> list[UploadFile]:
        """Files of a name in a form, those that were chosen."""
        values = self.form.getlist(name) if self.form is not None else []
        return [v for v in values if isinstance(v, UploadFile) and v.filename]

    def number(self, name: str, usual: int, *, least: int, most: int) -> int:
        """A whole number within bounds; the usual one where there is none."""
        text = self.said(name)
        if not re.fullmatch(r"-?\d{1,6}", text):
            return usual
        return max(least, min(most, int(text)))

    def corpus(self) -> StoppableCorpus:
        """The corpus, open until the answer is made."""
        opened = self.bench.open_corpus(self.stop)
        self.corpora.append(opened)
        return opened

    def corpus_if_any(self) -> StoppableCorpus | None:
        """The corpus, None where there is none yet."""
        return self.corpus() if self.bench.corpus_path.exists() else None

    @property
    def widest(self) -> int | None:
        """The widest system that fits the screen; None where any does."""
        if not re.fullmatch(r"\d{3,4}", self.screen) or int(self.screen) >= WIDE_SCREEN:
            return None
        width = max(int(self.screen), NARROWEST)
        size = SMALLER if width < NARROW_SCREEN else 1
        return int((width - AROUND_MUSIC) / size * TENTHS_PER_PIXEL)

    def close(self) -> None:
        """Let go of what was opened for this answer."""
        for corpus in self.corpora:
            corpus.close()


View = Callable[[Ask], Response]


@dataclass(frozen=True, slots=True)
class Fault:
    """What went wrong, for people: a status, a sentence, where, and what to try.

    ``ways`` are addresses that ask the same of what may have been meant, with their words.
    """

    status: int
    what: str
    where: str = ""
    advice: str = ""
    ways: tuple[tuple[str, str], ...] = ()


def fault_of(error: MelodexError) -> Fault:
    """Say an error of ours for the page; commands in its hint become places on it."""
    status = 422
    if isinstance(error, UnknownTuneError):
        status = 404
    elif isinstance(error, HostileInputError):
        status = 413
    elif isinstance(error, CorpusError):
        status = 503
    advice = ON_THE_PAGE.get(error.remedy, error.hint)
    return Fault(status, f"{error.what[:1].upper()}{error.what[1:]}.", error.where, advice)


def fault_with_ways(ask: Ask, error: MelodexError) -> Fault:
    """Say an error of ours, with a link for each tune that a name could mean."""
    fault = fault_of(error)
    if not isinstance(error, UnknownTuneError) or ask.form is not None:
        return fault
    meant = next(
        (f for f in ("tune", "a", "b") if error.name and ask.said(f) == error.name), ""
    )
    if not meant or not (error.candidates or error.nearest):
        return fault
    found = [(candidate_words(row), row.tune_id) for row in error.candidates]
    found += [(title, title) for title in error.nearest]
    fields = {name: value for name, value in ask.fields.items() if name != meant}
    ways = tuple(
        (words, f"{ask.path}?{urlencode({**fields, meant: name})}") for words, name in found
    )
    more = error.candidates_in_all - len(error.candidates)
    if more > 0:
        listed = address("/tunes", title=ask.said(meant))
        ways += ((f"{more:,} more: all of that name", listed),)
    advice = "choose the one that you mean" if error.candidates else "these are the nearest"
    return replace(fault, where="", advice=advice, ways=ways)


def candidate_words(row: Any) -> str:
    """A tune by what tells it from others of its name."""
    facts = [row.composer, row.collection, row.printed_key, many(row.bar_count, "bar")]
    return f"{row.name} ({', '.join(fact for fact in facts if fact)})"


LIST = "the shelf lists every tune; look it up by title"
CARE = "the shelf checks the corpus and adds to it"
ON_THE_PAGE = {
    "add any": "the shelf works them out anew",
    "add tunes": CARE,
    "check": CARE,
    "check, then add": CARE,
    "check, unchanged": CARE,
    "choose notation": "",
    "file in folder": "name a file in it when you start the workbench",
    "find title": f"{LIST}; what was removed stands under what was done",
    "fold in": "name another file",
    "gather chords": "Gather finds chords, in any key",
    "keep passages": "keep some of what you find, or some bars of a tune",
    "list changes": "see what was done",
    "list sources": LIST,
    "list tunes": LIST,
    "look at set": "the set says beside each passage whether its tune has changed",
    "make corpus": CARE,
    "make set": "write a name, and a new one is made",
    "name feature": "choose a feature",
    "name phrase": "type a phrase, play one, or choose bars of a tune",
    "name tune": "choose the tune and its bars on the shelf",
    "other corpus": "start the workbench with another corpus",
    "read recordings": "save it as WAV",
    "repair": CARE,
    "repair tune": CARE,
    "replace": "name another file",
    "replace read-only": "name another file",
    "update": "update melodex, or start the workbench with another corpus",
    "what is damaged": CARE,
}
"""What to try, in the words of the page, by the remedy; readings have buttons."""


# Templates


@cache
def environment() -> jinja2.Environment:
    """The templates of this room."""
    made = jinja2.Environment(
        loader=jinja2.PackageLoader("melodex.workbench", "templates"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
    )
    made.globals["navigation"] = NAVIGATION
    made.globals["address"] = address
    made.globals["static"] = static_address
    made.globals["Row"] = Row
    made.globals["suffixes"] = ",".join(SUFFIXES)
    made.globals["sounds"] = ",".join(SOUND_SUFFIXES)
    made.filters["many"] = many
    made.filters["bars"] = bars_words
    made.filters["markup"] = Markup
    made.filters["signs"] = with_signs
    return made


def address(path: str, **fields: object) -> str:
    """An address with its fields, those that say nothing left out."""
    said = {
        name.rstrip("_").replace("_", "-"): str(value)
        for name, value in fields.items()
        if value not in ("", None, False)
    }
    return f"{path}?{urlencode(said)}" if said else path


def with_signs(text: object) -> str:
    """Names of keys with the signs for sharp and flat."""
    from melodex.presentation.report.page import with_key_signs

    return with_key_signs(str(text))


def bars_words(span: str) -> str:
    """``bar 5`` or ``bars 5–8``, for ``5-5`` or ``5-8``."""
    first, _, last = span.partition("-")
    return f"bars {first}–{last}" if last and last != first else f"bar {first}"


def rendered_part(template: str, /, **context: Any) -> str:
    """A template as markup."""
    return environment().get_template(template).render(**context)


def rendered_page(
    ask: Ask, template: str, title: str, /, *, status: int = 200, **context: Any
) -> Response:
    """A whole page.

    Parameters
    ----------
    ask : Ask
        What it answers.
    template : str
        Its file.
    title : str
        Of the page.
    status : int
        Of the answer.
    """
    from melodex.presentation.engraving.marks import shared_signs

    signs, shapes = shared_signs()
    text = rendered_part(
        template,
        title=title,
        here="/" + ask.path.strip("/").partition("/")[0],
        corpus_name=ask.bench.corpus_path.name,
        partial_remark=partial_remark(),
        shapes=Markup(shapes),
        signs={relation: Markup(sign) for relation, sign in signs.items()},
        said=ask.said,
        fitted=ask.widest is not None,
        width=ask.screen,
        did=ask.bench.deeds.find(ask.said("did")),
        room=kept_place(ask, status),
        **context,
    )
    return HTMLResponse(text, status)


def kept_place(ask: Ask, status: int) -> bool:
    """Whether a page is worth coming back to: it was asked for and has come."""
    return status == 200 and ask.form is None


# Endpoints


async def gone(request: Request) -> None:
    """End when nobody waits for the answer any more."""
    while (await request.receive())["type"] != "http.disconnect":
        pass


async def never() -> None:
    """Do not end: a change is carried through, whoever waits."""
    await asyncio.Event().wait()


def page(answer: View) -> Callable[[Request], Awaitable[Response]]:
    """An endpoint that shows something."""

    async def endpoint(request: Request) -> Response:
        return await answered(answer, request, None, lambda: gone(request))

    return endpoint


def view(answer: View) -> Callable[[Request], Awaitable[Response]]:
    """An endpoint that changes something, from a form."""

    async def endpoint(request: Request) -> Response:
        try:
            form = await request.form(max_files=MOST_FILES, max_fields=MOST_FIELDS)
        except HTTPException as error:
            return await answered(unreadable(error), request, None, never)
        try:
            return await answered(answer, request, form, never)
        finally:
            await request.close()

    return endpoint


def unreadable(error: HTTPException) -> View:
    """What is answered to a form that cannot be taken apart."""

    def answer(ask: Ask) -> Response:
        raise ReadingError(
            f"what was sent cannot be read: {error.detail.rstrip('.')}",
            hint=f"send it again; at most {MOST_FILES:,} files go at a time",
        )

    return answer


def fitting(widest: int | None) -> AbstractContextManager[None]:
    """Draws only what fits the screen."""
    if widest is None:
        return nullcontext()
    from melodex.presentation.engraving.engraver import no_wider_than

    return no_wider_than(widest)


async def answered(
    answer: View,
    request: Request,
    form: FormData | None,
    until: Callable[[], Awaitable[None]],
) -> Response:
    """What a view answers, or a page that says what went wrong."""
    bench: Bench = request.app.state.bench
    fields = dict(request.query_params)
    if form is not None:
        fields |= {n: v for n, v in form.multi_items() if isinstance(v, str)}
    wants_data = "application/json" in request.headers.get("accept", "")
    # The whole address cannot be made of a query that is no UTF-8; its path can.
    path: str = request.scope["path"]
    screen = request.cookies.get(SCREEN_COOKIE, "")

    def work(stop: Stop) -> Response:
        ask = Ask(bench, path, fields, form, stop, wants_data, screen)
        try:
            with fitting(ask.widest):
                return answer(ask)
        except MelodexError as error:
            return faulty(ask, fault_with_ways(ask, error))
        finally:
            ask.close()

    try:
        response = await bench.run(work, until)
    except Exception:
        log.exception("a fault of melodex while answering %s", path)
        said = "Internal error; see the terminal."
        ask = Ask(bench, path, fields, form, Stop(), wants_data)
        return faulty(ask, Fault(500, said, "", "nothing was changed by this page"))
    bench.warm_up()
    return response or Response(status_code=NOBODY_WAITS)


def faulty(ask: Ask, fault: Fault) -> Response:
    """A page, or data for a script, that says what went wrong."""
    if ask.wants_data:
        told = {"what": fault.what, "where": fault.where, "advice": fault.advice}
        return JSONResponse({"fault": told}, fault.status)
    return rendered_page(
        ask, "fault.html", "That did not work", status=fault.status, fault=fault
    )
