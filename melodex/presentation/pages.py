"""Forms of a result that are more than text: picture, page, print, sound, notation.

The one function that the doors call for them; each form is loaded when it is asked
for, since none of them is needed to answer in text.

Contents: FORMS, rendered.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from melodex.errors import PresentationError
from melodex.tasks.compare.compare import Comparison
from melodex.tasks.passage import Passage

if TYPE_CHECKING:
    # Loaded by whoever made one; a comparison does without the whole analysis.
    from melodex.presentation.report.page import Page
    from melodex.tasks.describe.describe import Description
    from melodex.tasks.describe.reduction import Reduction
    from melodex.tasks.describe.surroundings import Surroundings

__all__ = ["FORMS", "rendered"]

FORMS = ("html", "pdf", "svg", "png", "midi", "musicxml", "abc")
"""``html`` and ``pdf`` are for every task; the others for a comparison or a passage,
``png`` for a passage or a reduction, ``svg`` and ``png`` for a description, whose map they
show. A passage among the other lines of its piece has no ``abc``."""


def rendered(
    result: object,
    form: str,
    *,
    paper: str = "a4",
    tempo: float | None = None,
    chords: bool = False,
) -> str | bytes:
    """Return a result in one of the :data:`FORMS`.

    Parameters
    ----------
    result : object
        What a task returned.
    form : str
        One of the :data:`FORMS`.
    paper : str
        ``a4`` or ``letter``, for ``pdf``.
    tempo : float, optional
        Quarters a minute, for ``midi``; by default what the source gives, or 100.
    chords : bool
        Whether the chords sound too, for ``midi`` of a comparison.

    Returns
    -------
    str or bytes
        Bytes for ``pdf``, ``png`` and ``midi``.

    Raises
    ------
    PresentationError
        If the result has no such form.
    """
    if type(result).__name__ == "Reduction":
        result = reduction_as(cast("Reduction", result), form)
        if isinstance(result, str | bytes):
            return result
    if form == "html":
        from melodex.presentation.report.forms import report_html

        return report_html(result)
    if form == "pdf":
        from melodex.presentation.report.paper import handout_pdf

        return handout_pdf(result, paper=paper)
    if form in {"svg", "png"} and type(result).__name__ == "Description":
        return map_as(cast("Description", result), form)
    if type(result).__name__ == "Surroundings":
        return surroundings_as(cast("Surroundings", result), form, tempo)
    if form in FORMS and isinstance(result, Passage):
        return passage_as(result, form, tempo)
    if form in FORMS and form != "png" and isinstance(result, Comparison):
        return comparison_as(result, form, tempo, chords=chords)
    raise PresentationError(
        f"there is no {form} form of a {type(result).__name__}",
        hint="svg, midi, musicxml and abc are for comparisons and passages",
    )


def reduction_as(reduction: Reduction, form: str) -> str | bytes | Page:
    """A reduction as a picture or as notation; else a page of it."""
    from melodex.presentation.report.reduction import (
        reduction_musicxml,
        reduction_page,
        reduction_svg,
    )

    if form == "musicxml":
        return reduction_musicxml(reduction)
    if form not in {"svg", "png"}:
        return reduction_page(reduction)
    svg = reduction_svg(reduction)
    if form == "svg":
        return svg + "\n"
    from melodex.presentation.report.paper import picture_png

    return picture_png(svg)


def map_as(description: Description, form: str) -> str | bytes:
    """The map of a piece as a picture."""
    from melodex.presentation.map.drawing import map_svg

    svg = map_svg(description)
    if form == "svg":
        return svg + "\n"
    from melodex.presentation.report.paper import picture_png

    return picture_png(svg)


def passage_as(passage: Passage, form: str, tempo: float | None) -> str | bytes:
    """A tune or passage as a picture, as sound or as notation."""
    from melodex.presentation.report.tune import sheet_as

    if form == "png":
        from melodex.presentation.report.paper import picture_png

        return picture_png(str(sheet_as(passage, "svg")))
    return sheet_as(passage, form, tempo=tempo)


def surroundings_as(found: Surroundings, form: str, tempo: float | None) -> str | bytes:
    """A passage with the lines around it, as a picture, as sound or as notation."""
    from melodex.presentation.report.score import score_as

    if form == "png":
        from melodex.presentation.report.paper import picture_png

        return picture_png(str(score_as(found, "svg")))
    return score_as(found, form, tempo=tempo)


def comparison_as(
    comparison: Comparison, form: str, tempo: float | None, *, chords: bool
) -> str | bytes:
    """A comparison as a picture, as sound or as notation."""
    if form == "svg":
        from melodex.presentation.engraving.pictures import engrave_comparison
        from melodex.presentation.report.blocks import numerals_of

        numerals = [numerals_of(p.melody) for p in (comparison.a, comparison.b)]
        return engrave_comparison(comparison, numerals=numerals).svg + "\n"
    if form == "midi":
        from melodex.presentation.notation.midi import comparison_midi

        return comparison_midi(
            comparison, which="in turn", tempo_quarters_per_minute=tempo, chords=chords
        )
    if form == "musicxml":
        from melodex.presentation.notation.musicxml.document import comparison_musicxml

        return comparison_musicxml(comparison)
    from melodex.presentation.notation.abc import comparison_abc

    return comparison_abc(comparison)
