"""What one change did to a teaching set, and a set without it.

Conventions: a set is here as plain values: ``lesson`` with its columns, ``examples`` in
their order, ``plan``. Of a set after a change only an outline is kept, since what it was
before is kept whole. A passage goes by a key that stays when the order changes: its tune,
its first and last note, and, where the set holds the same twice, which of them.

Contents: keys_of, outline_of, what_changed, without_change, taken_back.
"""

from __future__ import annotations

import re
import zlib
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from melodex.melody.tune_id import leading

__all__ = ["keys_of", "outline_of", "taken_back", "what_changed", "without_change"]

TEXTS = ("name", "topic", "level", "notes")

State = Mapping[str, Any]
"""``lesson``, ``examples`` and ``plan`` of a set."""
Outline = Mapping[str, Any]
"""``lesson`` and ``plan``, and of the passages ``keys``, ``notes`` and ``rows``: marks of
all else in them."""


def keys_of(passages: Iterable[tuple[str, int, int]]) -> list[str]:
    """The keys of passages in order, each of a tune id, a first and a last note."""
    seen: dict[str, int] = {}
    keys = []
    for tune_id, first, last in passages:
        key = f"{leading(tune_id)}.{first}.{last}"
        seen[key] = seen.get(key, 0) + 1
        keys.append(key if seen[key] == 1 else f"{key}.{seen[key]}")
    return keys


def keys_in(examples: Sequence[Mapping[str, Any]]) -> list[str]:
    """The keys of the passages of a set."""
    return keys_of((e["tune_id"], e["first_note"], e["last_note"]) for e in examples)


def mark_of_row(example: Mapping[str, Any]) -> int:
    """A mark of a passage without the words beside it: CRC-32 (RFC 1952)."""
    held = sorted((name, value) for name, value in example.items() if name != "note")
    return zlib.crc32(repr(held).encode("utf-8", "replace"))


def outline_of(state: State) -> Outline:
    """The outline of a set, by which a change is told from what was done since."""
    examples = state["examples"]
    return {
        "lesson": dict(state["lesson"]),
        "keys": keys_in(examples),
        "notes": [each["note"] for each in examples],
        "rows": [mark_of_row(each) for each in examples],
        "plan": state["plan"],
    }


def what_changed(before: State, after: Outline | None) -> str:
    """The first of these that a change did; empty where it did none of them.

    ``deleted``, ``taken out``, ``put in``, ``put instead``, ``moved``, ``renamed``,
    ``questions`` or ``words``.
    """
    if after is None:
        return "deleted"
    was = outline_of(before)
    gone = set(was["keys"]) - set(after["keys"])
    came = set(after["keys"]) - set(was["keys"])
    rows = was["rows"] != after["rows"]
    found = (
        ("put instead", bool(gone and came)),
        ("taken out", bool(gone)),
        ("put in", bool(came)),
        ("moved", was["keys"] != after["keys"]),
        ("put instead", rows),
        ("renamed", was["lesson"]["name"] != after["lesson"]["name"]),
        ("questions", was["plan"] != after["plan"]),
        ("words", was["notes"] != after["notes"] or was["lesson"] != after["lesson"]),
    )
    return next((word for word, is_so in found if is_so), "")


def taken_back(now: str, before: str, after: str, *, is_whole: bool = False) -> str | None:
    """A text without what one writing did to it; None where that cannot be told apart."""
    if now == after:
        return before
    standing = rf"(?<!\S){re.escape(after)}(?!\S)"
    if is_whole or not after or len(re.findall(standing, now)) != 1:
        return None
    return re.sub(standing, lambda _: before, now).strip()


def without_change(
    now: State, before: State, after: Outline
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """A set as it is now, without what one change did to it.

    Parameters
    ----------
    now, before : mapping
        The set now, and before the change.
    after : mapping
        Its outline just after the change.

    Returns
    -------
    dict, tuple of str
        The set, and what of the change could not be taken back, as it was changed since.
    """
    if outline_of(now) == after:
        return dict(before), ()
    stayed: list[str] = []
    lesson = dict(now["lesson"])
    for name in TEXTS:
        was, made = before["lesson"][name], after["lesson"][name]
        if was not in (made, lesson[name]):
            text = taken_back(lesson[name], was, made, is_whole=name == "name")
            lesson[name] = lesson[name] if text is None else text
            stayed += [f"its {name}"] if text is None else []
    plan = now["plan"]
    if before["plan"] not in (after["plan"], plan):
        stayed += ["its questions"] if plan != after["plan"] else []
        plan = before["plan"] if plan == after["plan"] else plan
    examples = Passages(now["examples"], before["examples"], after, stayed).back()
    return {"lesson": lesson, "examples": examples, "plan": plan}, tuple(stayed)


class Passages:
    """The passages of a set now, from which one change is taken back."""

    def __init__(
        self,
        now: Sequence[Mapping[str, Any]],
        before: Sequence[Mapping[str, Any]],
        after: Outline,
        stayed: list[str],
    ) -> None:
        self.now = dict(zip(keys_in(now), now, strict=True))
        self.was = dict(zip(keys_in(before), before, strict=True))
        written = zip(after["notes"], after["rows"], strict=True)
        self.made = dict(zip(after["keys"], written, strict=True))
        self.stayed = stayed

    def back(self) -> list[Mapping[str, Any]]:
        """The passages without the change."""
        for key in self.was.keys() & self.made.keys():
            self.alter(key)
        order_was, order_made = list(self.was), list(self.made)
        if len(order_was) == len(order_made):
            for old, new in zip(order_was, order_made, strict=True):
                if old not in self.made and new not in self.was:
                    self.put_instead(new, old)
        for key in order_made:
            if key not in self.was:
                self.now.pop(key, None)
        keys = list(self.now)
        for place, key in enumerate(order_was):
            if key not in self.made and key not in self.now:
                keys.insert(min(place, len(keys)), key)
                self.now[key] = self.was[key]
        kept = [key for key in order_was if key in self.made]
        if kept != [key for key in order_made if key in self.was]:
            places = {key: place for place, key in enumerate(order_was)}
            keys.sort(key=lambda key: places.get(key, len(places)))
        return [self.now[key] for key in keys]

    def alter(self, key: str) -> None:
        """Take back what was done to a passage that stayed, and to the words beside it."""
        was, (note, mark) = self.was[key], self.made[key]
        if was["note"] == note and mark_of_row(was) == mark:
            return
        row = self.now.get(key)
        if row is None:
            self.stayed.append("a passage that is gone")
            return
        if mark_of_row(was) not in (mark, mark_of_row(row)):
            if mark_of_row(row) == mark:
                row = {**was, "note": row["note"]}
            else:
                self.stayed.append("a passage")
        if was["note"] not in (note, row["note"]):
            text = taken_back(row["note"], was["note"], note)
            if text is None:
                self.stayed.append("words beside a passage")
            else:
                row = {**row, "note": text}
        self.now[key] = row

    def put_instead(self, there: str, wanted: str) -> None:
        """Put a passage in the place of another; what is written beside that stays."""
        if there not in self.now or wanted in self.now:
            return
        row = {**self.was[wanted], "note": self.now[there]["note"]}
        self.now = {
            wanted if key == there else key: row if key == there else each
            for key, each in self.now.items()
        }
