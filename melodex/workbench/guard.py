"""Who may come in: only the person who started the workbench, from its own pages.

The page is served on loopback, which other users and every web page in the same browser
can reach as well. So

- the name that the browser asked for must be ours (a foreign name that leads to this
  machine is refused: DNS rebinding);
- the address that the terminal shows carries a random key; it is exchanged for a cookie
  that no script can read and that no other site's page makes the browser send
  (``SameSite=Strict``);
- the address that a browser is started with carries a ticket instead, since other users
  can read the command lines of processes: it opens once, and for a minute;
- a change must come from a page of ours by ``Origin`` and, where the browser says it,
  ``Sec-Fetch-Site``: pages on other ports of this machine count as the same *site*, not
  as the same *origin*;
- every answer carries a content policy that allows our own files and nothing else.

References
----------
RFC 6265bis, sections 5.6-5.7 (cookies, ``SameSite``); Fetch Metadata Request Headers
(W3C); Content Security Policy Level 3 (W3C); RFC 6454 (origin).

Contents: POLICY, MOST_BODY_BYTES, KEY_NAME, TICKET_NAME, Guard, new_key.
"""

from __future__ import annotations

import secrets
import time
from collections.abc import Awaitable, Callable, Sequence
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qsl, quote, urlencode

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

__all__ = ["KEY_NAME", "MOST_BODY_BYTES", "POLICY", "TICKET_NAME", "Guard", "new_key"]

KEY_NAME = "pass"
TICKET_NAME = "ticket"
TICKET_SECONDS = 60.0
"""A browser that starts from cold on a slow machine is there by then; our choice."""

KEY_BYTES = 24
"""192 random bits."""

MOST_BODY_BYTES = 96 << 20
"""More than the largest file that is read (64 MB); a folder may need several goes."""

MOST_DRAINED_BYTES = 1 << 30
"""Of what is too large, so much is taken off the line so that the answer is heard."""

POLICY = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' data:",
        # What was just recorded, to be heard again: it is nowhere but in the page.
        "media-src blob:",
        "connect-src 'self'",
        "form-action 'self'",
        "base-uri 'none'",
        "frame-ancestors 'none'",
    )
)

HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(self), geolocation=(), midi=(self)",
    "Cache-Control": "no-store",
}

READING = frozenset({"GET", "HEAD"})
OPEN_PATHS = ("/static/", "/enter")
"""What holds nothing of the corpus: style and scripts, and the door itself."""

Refuse = Callable[[Scope, int, str], ASGIApp]


def new_key() -> str:
    """A random key for one run."""
    return secrets.token_urlsafe(KEY_BYTES)


class Guard:
    """Lets in what carries the key and comes from our own pages.

    Parameters
    ----------
    app : ASGI application
        What is guarded.
    key : str
        Of this run.
    hosts : sequence of str
        Names with port under which we are reached, such as ``127.0.0.1:8000``.
    refuse : callable
        Makes the answer for a scope, a status and a sentence.
    """

    def __init__(
        self, app: ASGIApp, key: str, hosts: Sequence[str], refuse: Refuse
    ) -> None:
        self.app = app
        self.key = key
        self.hosts = frozenset(hosts)
        self.origins = frozenset(f"http://{host}" for host in hosts)
        # Cookies are kept by host, not by port: two workbenches must not share one.
        self.cookie = f"melodex-{hosts[0].rpartition(':')[2]}"
        self.refuse = refuse
        self.ticket = ""
        self.ticket_ends = 0.0

    def new_ticket(self) -> str:
        """A ticket that opens once in place of the key; an earlier one opens no more."""
        self.ticket = new_key()
        self.ticket_ends = time.monotonic() + TICKET_SECONDS
        return self.ticket

    def takes_ticket(self, given: str) -> bool:
        """Whether a text is the ticket; it is used up by being shown."""
        good = bool(self.ticket) and time.monotonic() < self.ticket_ends
        good = good and secrets.compare_digest(given.encode(), self.ticket.encode())
        if good:
            self.ticket = ""
        return good

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        guarded = with_headers(send)
        fault = self.fault_of(scope)
        if fault:
            if scope["method"] not in READING:
                await drained(receive)
            await self.refuse(scope, *fault)(scope, receive, guarded)
            return
        offered = dict(parse_qsl(scope["query_string"].decode("latin-1")))
        if KEY_NAME in offered and scope["method"] in READING:
            await self.exchange(scope, offered, receive, guarded)
            return
        if TICKET_NAME in offered and scope["method"] == "GET" and not self.is_known(scope):
            await self.exchange_ticket(scope, offered, receive, guarded)
            return
        if not self.is_known(scope):
            said = "This browser has no key for the workbench yet."
            await self.refuse(scope, 403, said)(scope, receive, guarded)
            return
        await self.app(scope, receive, guarded)

    def fault_of(self, scope: Scope) -> tuple[int, str] | None:
        """What is wrong with where a request comes from or what it carries."""
        headers = Headers(scope=scope)
        if headers.get("host", "") not in self.hosts:
            return 400, "The workbench does not answer to that name."
        # RFC 3986, section 2: an address is of ASCII, and what reads it relies on that.
        if not scope["query_string"].isascii():
            return 400, "That address has characters that must be percent-encoded."
        site = headers.get("sec-fetch-site", "")
        if scope["method"] in READING:
            moved = headers.get("sec-fetch-mode", "navigate") == "navigate"
            if site in {"cross-site", "same-site"} and not moved:
                return 403, "Another site asked for this page; it is not given."
            return None
        if headers.get("origin", "") not in self.origins or site not in {"", "same-origin"}:
            return 403, "This change did not come from a page of the workbench."
        length = headers.get("content-length", "")
        if not length.isdecimal():
            return 411, "The request does not state its length."
        if int(length) > MOST_BODY_BYTES:
            most = MOST_BODY_BYTES >> 20
            return 413, f"That is {int(length) >> 20} MB; at most {most} MB go at a time."
        return None

    def is_known(self, scope: Scope) -> bool:
        """Whether a request may pass: an open path, or the right cookie."""
        if scope["path"].startswith(OPEN_PATHS):
            return True
        given = cookie_of(Headers(scope=scope).get("cookie", ""), self.cookie)
        return self.is_key(given)

    def is_key(self, given: str) -> bool:
        """Whether a text is the key, in a time that tells nothing of it."""
        return secrets.compare_digest(given.encode(), self.key.encode())

    async def exchange(
        self, scope: Scope, offered: dict[str, str], receive: Receive, send: Send
    ) -> None:
        """Take the key out of the address and give the cookie for it."""
        if not self.is_key(offered.pop(KEY_NAME)):
            said = "That is not the key of this workbench."
            await self.refuse(scope, 403, said)(scope, receive, send)
            return
        rest = f"?{urlencode(offered)}" if offered else ""
        response = self.let_in(f"{quote(scope['path'])}{rest}")
        await response(scope, receive, send)

    async def exchange_ticket(
        self, scope: Scope, offered: dict[str, str], receive: Receive, send: Send
    ) -> None:
        """Take the ticket and give the cookie for it, once."""
        if not self.takes_ticket(offered[TICKET_NAME]):
            said = "That address has been used, or is too old; the terminal shows another."
            await self.refuse(scope, 403, said)(scope, receive, send)
            return
        await self.let_in(quote(scope["path"]))(scope, receive, send)

    def let_in(self, address: str) -> RedirectResponse:
        """Send the browser on to one of our addresses, with the cookie."""
        # Two slashes at the start would name another host.
        response = RedirectResponse("/" + address.lstrip("/\\"), status_code=303)
        response.set_cookie(self.cookie, self.key, httponly=True, samesite="strict")
        return response


def with_headers(send: Send) -> Send:
    """A sender that puts our headers on every answer."""

    async def guarded(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
        await send(message)

    return guarded


def cookie_of(header: str, name: str) -> str:
    """The value of one cookie, empty where it is not there."""
    try:
        found = SimpleCookie(header).get(name)
    except CookieError:
        return ""
    return found.value if found else ""


async def drained(receive: Callable[[], Awaitable[Message]]) -> None:
    """Take what is not wanted off the line: a browser hears no answer before."""
    taken = 0
    while taken < MOST_DRAINED_BYTES:
        message = await receive()
        taken += len(message.get("body", b""))
        if message["type"] != "http.request" or not message.get("more_body", False):
            return
