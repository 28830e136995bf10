"""What the musician says of a tune, written and taken off.

Conventions: each is a transaction of its own; what is taken off can be undone.

Contents: add_remark, take_remark_off.
"""

from __future__ import annotations

from datetime import UTC, datetime

from melodex.corpus.rows import storable
from melodex.corpus.writing.store import CorpusWriter

__all__ = ["add_remark", "take_remark_off"]


def add_remark(
    writer: CorpusWriter,
    tune_id: str,
    kind: str,
    text: str,
    bars: tuple[int, int] | None = None,
) -> int:
    """Write what the musician says of a tune; return its number.

    Raises
    ------
    UnknownTuneError
        If the tune is not there.
    """
    first, last = bars or (None, None)
    remark = {
        "kind": kind,
        "first_bar": first,
        "last_bar": last,
        "text": storable(text),
        "made_at": datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%S"),
    }
    with writer.transaction():
        return writer.put_remark(writer.tune_row(tune_id), remark)


def take_remark_off(writer: CorpusWriter, number: int) -> str:
    """Take off a remark by its number; return its words, empty if there is none."""
    names = ("kind", "first_bar", "last_bar", "text", "made_at")
    rows = writer.rows(
        f"SELECT tune_id, title, {', '.join(names)} FROM remark "
        "JOIN tune ON tune.id = remark.tune WHERE remark.id = ?",
        [number],
    )
    if not rows:
        return ""
    tune_id, title, *values = rows[0]
    remark = dict(zip(names, values, strict=True))
    with writer.changing("remark"):
        writer.taken.take_remark(tune_id, title, remark)
        writer.do("DELETE FROM remark WHERE id = ?", [number])
    return str(remark["text"])
