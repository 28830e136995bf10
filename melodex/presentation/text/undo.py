"""What was done and can be undone, as text.

Contents: done_text, undone_text, KIND_WORDS, SET_WORDS.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from melodex.melody.tune_id import leading
from melodex.presentation.text.words import MOST_NAMED, many, shown, table

if TYPE_CHECKING:
    from melodex.tasks.collection.undo import Done, Undone

__all__ = ["KIND_WORDS", "SET_WORDS", "done_text", "undone_text"]

KIND_WORDS = {
    "remove": "removed",
    "replace": "replaced",
    "set": "changed the set",
    "remark": "took off a remark on",
    "undo": "undone",
}


SET_WORDS = {
    "deleted": "deleted the set",
    "taken out": "took passages out of the set",
    "put in": "put passages into the set",
    "put instead": "took another passage in the set",
    "moved": "moved passages of the set",
    "renamed": "renamed the set",
    "questions": "changed the questions of the set",
    "words": "wrote words in the set",
}
"""What was done to a set, as :class:`melodex.tasks.collection.undo.Done` says it."""


def done_text(found: Sequence[Done]) -> str:
    """What can be undone, the last first."""
    if not found:
        return "nothing was done that can be undone\n"
    rows = [
        (
            str(done.number),
            done.done_at.replace("T", " "),
            SET_WORDS.get(done.what) or KIND_WORDS.get(done.kind, done.kind),
            what(done),
        )
        for done in found
    ]
    last = "the last comes first; each is undone by its number"
    return f"{table(('number', 'when (UTC)', 'done', 'what'), rows, (0,))}{last}\n"


def what(done: Done) -> str:
    """What a change took out, in a few words."""
    names = ", ".join(shown(title) for title in done.titles)
    if not done.can_be_undone:
        return "too large to be kept: it cannot be undone"
    if not done.tune_count:
        return names
    more = f": {names}" if names else ""
    return f"{many(done.tune_count, 'tune')}{more}" + (
        " ..." if done.tune_count > len(done.titles) > 0 else ""
    )


def undone_text(done: Undone) -> str:
    """What undoing brought back."""
    lines = []
    lines += [f"written again: {shown(text)}" for text in done.remarks]
    if done.tunes or not (done.sets or done.remarks):
        lines.append(f"brought back {many(len(done.tunes), 'tune')}")
    lines += [
        f"  {leading(row.tune_id)}  {shown(row.name)}" for row in done.tunes[:MOST_NAMED]
    ]
    if len(done.tunes) > MOST_NAMED:
        lines.append(f"  and {len(done.tunes) - MOST_NAMED:,} more")
    for name in done.sets:
        said = "is back: the set" if name in done.gone else "taken back in the set"
        lines.append(f"{said} {shown(name)!r}")
    if done.stayed:
        lines.append(f"changed since, and left as it is: {', '.join(done.stayed)}")
    lines += [
        f"the whole set {shown(name)!r} is as it was then: undoing this brings back what "
        "was done to it since"
        for name in done.whole
    ]
    if done.displaced:
        lines.append(
            f"{many(len(done.displaced), 'tune')} made room: undoing this brings them back"
        )
    if done.left:
        lines.append(
            f"{many(len(done.left), 'tune')} could not go back, as another tune stands "
            f"in their place: {', '.join(done.left[:MOST_NAMED])}"
        )
    return "".join(f"{line}\n" for line in lines)
