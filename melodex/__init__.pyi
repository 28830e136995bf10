from melodex.errors import MelodexError
from melodex.scripting.corpus import Corpus
from melodex.scripting.lesson import Lesson
from melodex.scripting.opening import compare, describe, from_music21, open, read  # noqa: A004
from melodex.scripting.results import (
    AddResult,
    AnswersResult,
    AroundResult,
    AuditEachResult,
    AuditResult,
    CompareResult,
    DescribeResult,
    FamiliesResult,
    GatherResult,
    ResembleResult,
    TuneList,
    WholeAuditResult,
)
from melodex.scripting.tune import Tune

__version__: str

__all__ = [
    "AddResult",
    "AnswersResult",
    "AroundResult",
    "AuditEachResult",
    "AuditResult",
    "CompareResult",
    "Corpus",
    "DescribeResult",
    "FamiliesResult",
    "GatherResult",
    "Lesson",
    "MelodexError",
    "ResembleResult",
    "Tune",
    "TuneList",
    "WholeAuditResult",
    "__version__",
    "compare",
    "describe",
    "from_music21",
    "open",
    "read",
]
