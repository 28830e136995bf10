"""Data for other programs: JSON and CSV of what the tasks find.

Conventions: names say their units; note indexes count from 0; a missing partner is
null. Floating numbers are rounded to six figures, so that the same question gives
the same bytes.

Contents: as_json, as_csv.
"""

from __future__ import annotations

from melodex.errors import PresentationError
from melodex.presentation.data.audit import audit_data
from melodex.presentation.data.resemble import (
    comparison_data,
    resemblance_data,
    resemblance_rows,
)
from melodex.presentation.data.values import answers_data, json_text
from melodex.tasks.audit.audit import Audit
from melodex.tasks.compare.compare import Comparison
from melodex.tasks.resemble import Resemblance

__all__ = ["as_csv", "as_json"]


def as_json(result: object) -> str:
    """Write the result of any task as JSON.

    Raises
    ------
    PresentationError
        If there is no JSON form of it.
    """
    if isinstance(result, Resemblance):
        return json_text(resemblance_data(result))
    if isinstance(result, Comparison):
        return json_text(comparison_data(result))
    if isinstance(result, Audit):
        return json_text(audit_data(result))
    from melodex.tasks.recording.marking import MarkedSinging

    if isinstance(result, MarkedSinging):
        from melodex.presentation.lesson.marking import marking_json

        return marking_json(result)
    from melodex.tasks.describe.echoes import Answers

    if isinstance(result, Answers):
        return json_text(answers_data(result))
    from melodex.presentation.data import describe as data_describe

    return json_text(data_describe.as_data(result))


def as_csv(result: object) -> str:
    """Write the result of a task that is a list as CSV.

    Raises
    ------
    PresentationError
        If there is no CSV form of it.
    """
    if isinstance(result, Resemblance):
        return resemblance_rows(result)
    from melodex.tasks.gather.gather import Gathering

    if isinstance(result, Gathering):
        from melodex.presentation.data.describe import gathering_csv

        return gathering_csv(result)
    raise PresentationError(f"there is no CSV form of a {type(result).__name__}")
