"""Pictures and tables of results, as a notebook shows them.

Conventions: a picture is an ``img`` that carries its SVG, so that no cell's ids or
styles meet those of another; every text is escaped. Of a long list the first
:data:`MOST_SHOWN` are shown, and it is said how many are not.

Contents: cell_html, words_html, passage_svg, passage_html, passage_drawings.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from html import escape
from itertools import islice
from typing import Any, TypeAlias

from melodex.errors import PresentationError
from melodex.tasks.passage import Passage

__all__ = [
    "Drawing",
    "cell_html",
    "passage_drawings",
    "passage_html",
    "passage_svg",
    "words_html",
]

MOST_SHOWN = 5
"""Pictures in one cell; more are quicker read as a table."""

MOST_ROWS = 20
"""Rows of a table in one cell: about a screen."""

LONGEST_CELL = 60
"""Characters of one cell of a table, so that a row stays a line."""

Drawing: TypeAlias = tuple[str, Callable[[], str]]
"""What a picture is called, and what draws it as SVG."""


def cell_html(
    heading: str,
    *,
    summary: Iterable[str] = (),
    drawings: Iterable[Drawing] = (),
    rows: Sequence[dict[str, Any]] = (),
    columns: Sequence[str] = (),
    words: Iterable[str] = (),
) -> str:
    """What one cell shows: heading, sentences, pictures, table, further sentences."""
    return "\n".join(
        [
            heading_html(heading),
            *map(words_html, summary),
            *(titled(*drawing) for drawing in islice(drawings, MOST_SHOWN)),
            table_html(rows, columns),
            *map(words_html, words),
        ]
    )


def passage_svg(passage: Passage) -> str:
    """A passage with its degrees, chords and numerals."""
    from melodex.presentation.engraving.pictures import engrave_melody
    from melodex.presentation.report.blocks import numerals_of

    melody = passage.melody
    return engrave_melody(
        melody,
        numerals=numerals_of(melody),
        excerpt=len(melody) < len(passage.whole),
        title=name_of(passage),
    ).svg


def name_of(passage: Passage) -> str:
    """Title, with the bars of what is not a whole tune."""
    is_part = len(passage.melody) < len(passage.whole)
    return passage.label if is_part else passage.whole.title


def passage_html(passage: Passage) -> str:
    """Title, maker, picture."""
    by = passage.whole.credits
    said = [name_of(passage), by.composer, str(by.year or "")]
    heading = heading_html(", ".join(text for text in said if text))
    return f"{heading}\n{drawn(partial(passage_svg, passage), name_of(passage))}"


def passage_drawings(passages: Iterable[Passage]) -> list[Drawing]:
    """Passages, each called by its title and bars."""
    return [(passage.label, partial(passage_svg, passage)) for passage in passages]


def titled(title: str, draw: Callable[[], str]) -> str:
    """A picture under its title; without one, the picture alone."""
    return f"{heading_html(title)}\n{drawn(draw, title)}" if title else drawn(draw, "")


def drawn(draw: Callable[[], str], title: str) -> str:
    """A picture, or the reason why there is none: a cell shows all else all the same."""
    try:
        svg = draw()
    except PresentationError as error:
        return words_html(f"No picture: {error}")
    data = b64encode(svg.encode()).decode()
    return (
        f'<img alt="{escape(title)}" style="background: #fff; max-width: 100%" '
        f'src="data:image/svg+xml;base64,{data}">'
    )


def heading_html(text: str) -> str:
    """A heading."""
    return f"<p><strong>{escape(text)}</strong></p>"


def words_html(text: str) -> str:
    """A paragraph that keeps its lines."""
    return f'<p style="white-space: pre-wrap">{escape(text)}</p>'


def table_html(rows: Sequence[dict[str, Any]], columns: Sequence[str]) -> str:
    """Rows as a table of some columns, without those that hold nothing."""
    if not rows:
        return ""
    shown = rows[:MOST_ROWS]
    names = [name for name in columns if any(row[name] not in (None, "") for row in rows)]
    head = "".join(f"<th>{escape(name.replace('_', ' '))}</th>" for name in names)
    lines = [
        "<tr>" + "".join(f"<td>{cell(row[name])}</td>" for name in names) + "</tr>"
        for row in shown
    ]
    left = len(rows) - len(shown)
    more = words_html(f"{left:,} more rows are not shown.") if left else ""
    body = "\n".join(lines)
    return f"<table><thead><tr>{head}</tr></thead>\n<tbody>{body}</tbody></table>\n{more}"


def cell(value: Any) -> str:
    """A value in a table."""
    if isinstance(value, list | tuple):
        value = "; ".join(map(str, value))
    if isinstance(value, float):
        value = f"{value:.3g}"
    text = "" if value is None else str(value)
    cut = text if len(text) <= LONGEST_CELL else text[: LONGEST_CELL - 1] + "…"
    return escape(cut)
