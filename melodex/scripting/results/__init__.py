"""What the calls return: results that say themselves, as data, and as pictures.

Conventions: ``repr`` is one line; ``str`` is what the command prints; ``to_dict`` is
what its JSON holds; ``rows`` and ``to_csv`` are there where the result is a list. What
a result holds in full is its ``record``, whose attributes the result answers for too:
``found.remarks`` is ``found.record.remarks``.

Read first: ``result``, what all have in common; then one module for each of the tasks in
:mod:`melodex.scripting.calls`. Contents: one class for each call; ``marking`` has what
:meth:`melodex.Lesson.mark` returns.
"""

from melodex.scripting.results.comparing import (
    AuditEachResult,
    AuditResult,
    CompareResult,
    FamiliesResult,
    WholeAuditResult,
)
from melodex.scripting.results.contents import AddResult, TuneList
from melodex.scripting.results.describing import (
    AnswersResult,
    AroundResult,
    DescribeResult,
)
from melodex.scripting.results.result import Found, ListResult, Result
from melodex.scripting.results.searching import GatherResult, ResembleResult

__all__ = [
    "AddResult",
    "AnswersResult",
    "AroundResult",
    "AuditEachResult",
    "AuditResult",
    "CompareResult",
    "DescribeResult",
    "FamiliesResult",
    "Found",
    "GatherResult",
    "ListResult",
    "ResembleResult",
    "Result",
    "TuneList",
    "WholeAuditResult",
]
