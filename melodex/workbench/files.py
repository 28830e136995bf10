"""Answers as files: print, picture, sound, notation, data.

Contents: FORMS, as_file, named_file.
"""

from __future__ import annotations

import re
from urllib.parse import quote

from starlette.responses import Response

from melodex.errors import PresentationError
from melodex.workbench.asking import Ask

__all__ = ["FORMS", "as_file", "named_file"]

FORMS = {
    "pdf": "application/pdf",
    "html": "text/html; charset=utf-8",
    "csv": "text/csv; charset=utf-8",
    "json": "application/json",
    "svg": "image/svg+xml",
    "png": "image/png",
    "midi": "audio/midi",
    "musicxml": "application/vnd.recordare.musicxml+xml",
    "abc": "text/vnd.abc; charset=utf-8",
    "zip": "application/zip",
}
"""Forms that a result can be taken along in, and their media types."""

ENDINGS = {"midi": "mid"}


def as_file(ask: Ask, result: object, stem: str) -> Response:
    """A result of a task in the form that was asked for.

    Raises
    ------
    PresentationError
        If it has no such form.
    """
    from melodex.presentation import pages
    from melodex.presentation.data import forms as data

    form = ask.said("form")
    if form == "json":
        content: str | bytes = data.as_json(result)
    elif form == "csv":
        content = data.as_csv(result)
    elif form in FORMS:
        paper = "letter" if ask.said("paper") == "letter" else "a4"
        content = pages.rendered(result, form, paper=paper)
    else:
        raise PresentationError(f"there is no form called {form!r}", hint=", ".join(FORMS))
    return named_file(content, form, stem)


def named_file(content: str | bytes, form: str, stem: str) -> Response:
    """A file to be kept, under a name that says what it is.

    References
    ----------
    RFC 6266 and RFC 8187: ``filename*`` for names beyond ASCII.
    """
    tidy = re.sub(r"[^\w .,'&-]+", " ", stem).strip() or "melodex"
    name = f"{tidy[:80].strip()}.{ENDINGS.get(form, form)}"
    plain = name.encode("ascii", "replace").decode().replace("?", "_").replace('"', "_")
    told = f"attachment; filename=\"{plain}\"; filename*=UTF-8''{quote(name)}"
    data = content.encode() if isinstance(content, str) else content
    return Response(data, media_type=FORMS[form], headers={"Content-Disposition": told})
