"""Which form a file takes by the ending of its name.

Contents: FORMS, form_of.
"""

from __future__ import annotations

from pathlib import Path

from melodex.errors import PresentationError

__all__ = ["FORMS", "form_of"]

FORMS = {
    ".abc": "abc",
    ".csv": "csv",
    ".htm": "html",
    ".html": "html",
    ".json": "json",
    ".mid": "midi",
    ".midi": "midi",
    ".musicxml": "musicxml",
    ".pdf": "pdf",
    ".svg": "svg",
    ".txt": "text",
}


def form_of(path: Path) -> str:
    """What form a file takes.

    Raises
    ------
    PresentationError
        If its ending says none.
    """
    form = FORMS.get(path.suffix.lower())
    if form is None:
        raise PresentationError(
            "the ending of the name says no form",
            where=str(path),
            hint=f"end it in one of {', '.join(FORMS)}",
        )
    return form
