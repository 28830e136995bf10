"""melodex: where a phrase has been met before, and what the tunes share.

    import melodex

    corpus = melodex.open("tunes.melodex")
    corpus.add("folder")
    print(corpus.resemble("5 1' 7 b6"))

The names below are those that stay from one version to the next; each is loaded when
it is first asked for, so that a command that needs none of them does not wait. What
type checkers are told of them stands in ``__init__.pyi``.
"""

__version__ = "0.2.0"

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

HOMES = {
    "Corpus": "scripting.corpus",
    "Lesson": "scripting.lesson",
    "MelodexError": "errors",
    "Tune": "scripting.tune",
    "compare": "scripting.opening",
    "describe": "scripting.opening",
    "from_music21": "scripting.opening",
    "open": "scripting.opening",
    "read": "scripting.opening",
}
RESULTS = "scripting.results"
"""Modules by what they hold; all other names are those of results."""


def __getattr__(name):  # type: ignore[no-untyped-def]
    if name not in __all__:
        raise AttributeError(f"module 'melodex' has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(f"melodex.{HOMES.get(name, RESULTS)}"), name)


def __dir__():  # type: ignore[no-untyped-def]
    return sorted({*globals(), *__all__})
