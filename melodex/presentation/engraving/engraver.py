"""The home of verovio, the engraver.

It is given MEI that we wrote from our own notes (see
:mod:`melodex.presentation.engraving.mei`), never a user's file.

Conventions: an engraver, and the widest system that it may make, belong to a thread.

Contents: rendered, no_wider_than, allowed_width, toolkit.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from melodex.errors import PresentationError

__all__ = ["allowed_width", "no_wider_than", "rendered", "toolkit"]

ROW_SPACING = 4.0
"""Room of a row of text, in the engraver's units of half a staff space."""

BLANK_ROOM = 5
"""The room that a row of blanks needs, in half spaces."""

OPTIONS: dict[str, Any] = {
    "breaks": "auto",
    "pageHeight": 60000,
    "adjustPageHeight": True,
    "adjustPageWidth": False,
    "pageMarginLeft": 20,
    "pageMarginRight": 20,
    "pageMarginTop": 20,
    "pageMarginBottom": 30,
    "header": "none",
    "footer": "none",
    "smuflTextFont": "none",
    "svgViewBox": True,
    "svgRemoveXlink": True,
    "svgFormatRaw": True,
    "xmlIdChecksum": True,
    "mnumInterval": 0,
    "harmDist": 3.0,
    "topMarginHarm": 1.8,
    "spacingLinear": 0.3,
    "spacingStaff": 9,
    "spacingSystem": 8,
    "minLastJustification": 0.75,
    "measureMinWidth": 20,
    "systemDivider": "none",
}

kept = threading.local()


def toolkit() -> Any:
    """This thread's engraver: its resource path is kept per thread."""
    if not hasattr(kept, "toolkit"):
        import verovio

        verovio.enableLog(verovio.LOG_OFF)
        made = verovio.toolkit(False)
        made.setResourcePath(str(Path(verovio.__file__).parent / "data"))
        kept.toolkit = made
    return kept.toolkit


@contextmanager
def no_wider_than(width: int | None) -> Iterator[None]:
    """Keep the systems that this thread engraves within a narrow screen.

    Parameters
    ----------
    width : int or None
        Widest system, as for :func:`melodex.presentation.engraving.pictures.engrave`; None
        leaves the limit that there is.
    """
    before = getattr(kept, "widest", None)
    kept.widest = before if width is None else width
    try:
        yield
    finally:
        kept.widest = before


def allowed_width(width: int) -> int:
    """A width, or the widest that this thread may engrave."""
    widest = getattr(kept, "widest", None)
    return width if widest is None else min(width, widest)


def rendered(
    mei: str,
    layout: str,
    width: int,
    rows: int,
    title: str,
    *,
    blanks: tuple[bool, bool] = (False, False),
) -> list[str]:
    """The engraver's pages for an MEI text with some rows between its staves.

    ``blanks`` says whether room to write is needed below the notes, and above the chords.
    """
    tool = toolkit()
    # The engraver adds its margins to the width it was given.
    spacing = min(48, round(OPTIONS["spacingStaff"] + ROW_SPACING * rows))
    options = OPTIONS | {"pageWidth": width - 30, "spacingStaff": spacing}
    room = sum(blanks) * BLANK_ROOM
    options |= {
        "spacingSystem": OPTIONS["spacingSystem"] + room,
        "pageMarginBottom": OPTIONS["pageMarginBottom"] + 9 * BLANK_ROOM * blanks[0],
        "pageMarginTop": OPTIONS["pageMarginTop"] + 9 * BLANK_ROOM * blanks[1],
    }
    if layout == "columns":
        options |= {
            "breaks": "encoded",
            "spacingNonLinear": 0.66,
            "adjustPageWidth": True,
            "measureMinWidth": 1,
        }
    elif "<sb" in mei:
        options |= {"breaks": "smart", "breaksSmartSb": 0.55}
    tool.resetOptions()
    tool.setOptions(options)
    if not tool.loadData(mei):
        raise PresentationError("the engraver cannot load this passage", where=title)
    return [tool.renderToSVG(page + 1) for page in range(tool.getPageCount())]
