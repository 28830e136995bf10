"""Text for a terminal: which form goes with which result.

Conventions: see :mod:`melodex.presentation.text.style`.

Contents: as_text.
"""

from __future__ import annotations

from melodex.errors import PresentationError
from melodex.presentation.text.resemble import resemblance_text
from melodex.presentation.text.style import Style
from melodex.tasks.resemble import Resemblance

__all__ = ["as_text"]


def as_text(result: object, style: Style) -> str:
    """Write the result of any task as text.

    Raises
    ------
    PresentationError
        If there is no text form of it.
    """
    if isinstance(result, Resemblance):
        return resemblance_text(result, style)
    # What a query does not need is imported only when it comes to be shown.
    from melodex.tasks.compare.compare import Comparison

    if isinstance(result, Comparison):
        from melodex.presentation.text.compare import comparison_text

        return comparison_text(result, style)
    from melodex.tasks.audit.audit import Audit

    if isinstance(result, Audit):
        from melodex.presentation.text.audit import audit_text

        return audit_text(result, style)
    from melodex.tasks.describe.describe import Description

    if isinstance(result, Description):
        from melodex.presentation.text.describe import description_text

        return description_text(result, style)
    from melodex.tasks.gather.gather import Gathering

    if isinstance(result, Gathering):
        from melodex.presentation.text.gather import gathering_text

        return gathering_text(result, style)
    from melodex.tasks.recording.marking import MarkedSinging

    if isinstance(result, MarkedSinging):
        from melodex.presentation.lesson.marking import marking_text

        return marking_text(result, style)
    from melodex.tasks.describe.echoes import Answers

    if isinstance(result, Answers):
        from melodex.presentation.text.compare import answers_text

        return answers_text(result, style)
    raise PresentationError(f"there is no text form of a {type(result).__name__}")
