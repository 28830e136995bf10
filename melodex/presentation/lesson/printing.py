"""The forms of a teaching set: page, print, sound, data; each loaded when asked for.

Contents: printed.
"""

from __future__ import annotations

from melodex.errors import PresentationError
from melodex.presentation.lesson.setting import SheetSetting
from melodex.presentation.lesson.sheets import handout_page, worksheet_page
from melodex.tasks.lesson.questions import Worksheet
from melodex.tasks.lesson.sets import Lesson

__all__ = ["printed"]


def printed(
    lesson: Lesson,
    asked: Worksheet | None,
    form: str,
    *,
    setting: SheetSetting,
    answers: str = "with",
    paper: str = "a4",
    size: str = "usual",
) -> str | bytes:
    """Return a handout, or a worksheet if there are questions, in some form.

    Parameters
    ----------
    lesson : Lesson
        As opened.
    asked : Worksheet or None
        Its questions; None for a handout.
    form : str
        ``html``, ``pdf``, ``midi`` or ``json``.
    setting : SheetSetting
        Key, instrument and clef.
    answers : str
        ``with``, ``without`` or ``only``; or ``checked``, for ``html``.
    paper : str
        ``a4`` or ``letter``, for ``pdf``.
    size : str
        ``usual`` or ``large``: how high the staves of a worksheet are.

    Raises
    ------
    PresentationError
        If the set is empty or a passage cannot be drawn.
    """
    if form == "midi":
        from melodex.presentation.lesson.sound import lesson_midi, worksheet_midi

        return worksheet_midi(asked, setting) if asked else lesson_midi(lesson, setting)
    if form == "json":
        from melodex.presentation.lesson.data import lesson_json, worksheet_json

        return worksheet_json(asked) if asked else lesson_json(lesson)
    if answers == "checked" and form != "html":
        raise PresentationError(
            "only a page can check answers", hint="make it html, or print it with answers"
        )
    page = (
        worksheet_page(asked, setting, answers=answers, size=size)
        if asked
        else handout_page(lesson, setting)
    )
    if form == "pdf":
        from melodex.presentation.report.paper import page_pdf

        return page_pdf(page, paper=paper)
    from melodex.presentation.report.page import page_html

    return page_html(page)
