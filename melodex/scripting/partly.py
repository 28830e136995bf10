"""Answers without the shards that are missing or damaged, from a script.

Conventions: a corpus that was opened so is read so; what a call returns knows what it is
without, and says so whenever it is told: as text, data, page or paper.

Contents: reading_partly, read_wholly, last_absence, SAYING, saying, telling.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from functools import wraps
from html import escape
from typing import Any, TypeVar, cast

from melodex.corpus.shards.absent import (
    Absence,
    absence_now,
    going_on_without,
    partial_remark,
)

__all__ = ["SAYING", "last_absence", "read_wholly", "reading_partly", "saying", "telling"]

Method = TypeVar("Method", bound=Callable[..., Any])

LAST: ContextVar[Absence | None] = ContextVar("last", default=None)
"""What the corpus that was read last is without."""

SAYING = ("text", "to_json", "to_csv", "save", "_repr_html_")
"""Methods of results that tell them."""


@contextmanager
def reading_partly(is_partial: bool) -> Iterator[None]:
    """Read a corpus, perhaps without some of its shards."""
    if not is_partial:
        LAST.set(None)
        yield
        return
    # What is read while something is told is what that is without.
    with going_on_without(absence_now()) as absence:
        LAST.set(absence)
        yield


def read_wholly() -> None:
    """What follows is about no corpus."""
    LAST.set(None)


def last_absence() -> Absence | None:
    """What the corpus that was read last is without; None where nothing may be."""
    return LAST.get()


def saying(method: Method) -> Method:
    """A method of a result that tells also what the result is without."""

    @wraps(method)
    def told(result: Any, *args: Any, **named: Any) -> Any:
        absence = result.absence
        if absence is None or not absence.shards:
            return method(result, *args, **named)
        with going_on_without(absence):
            words = method(result, *args, **named)
        if method.__name__ == "text":
            return f"{absence.remark}\n\n{words}"
        if method.__name__ == "_repr_html_":
            return f"<p>{escape(absence.remark)}</p>{words}"
        return words

    return cast(Method, told)


def telling(method: Method) -> Method:
    """A method of a teaching set that tells it, with what its corpus is without."""

    @wraps(method)
    def told(lesson: Any, *args: Any, **named: Any) -> Any:
        with reading_partly(lesson.corpus.is_partial):
            words = method(lesson, *args, **named)
            remark = partial_remark() if lesson.corpus.is_partial else ""
        if remark and method.__name__ == "__str__":
            return f"{remark}\n\n{words}"
        if remark and method.__name__ == "_repr_html_":
            return f"<p>{escape(remark)}</p>{words}"
        return words

    return cast(Method, told)
