"""Undoing a change: what it took out goes back where it was.

Conventions: one transaction. What has to make room (the tune that replaced another,
the present state of a set) is kept as a change of its own, so that undoing can be
undone. Where another tune has come to a place since, that one stays, and what cannot go
back is named and stays among what is kept. Of a set what was done since stays.

Contents: PutBack, put_back, NOT_KEPT.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field, replace
from typing import Any

from melodex.corpus.care.soundness import melody_of
from melodex.corpus.rows import row_crc32, storable, unpacked
from melodex.corpus.schema import CHECKED_COLUMNS
from melodex.corpus.tunes.tune_rows import LINE_COLUMNS, score_line_of
from melodex.corpus.writing.preparing import PreparedFile, PreparedTune, prepared_tune
from melodex.corpus.writing.putting_sets_back import put_back_set
from melodex.corpus.writing.rows.lines import flush_notes
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import REMEDIES, CorpusError
from melodex.melody.score_line import ScoreLine
from melodex.melody.shape import UNREADABLE
from melodex.reading.result import Choice, ReadTune, ReadWarning

__all__ = ["PutBack", "put_back"]


@dataclass(slots=True)
class PutBack:
    """What undoing brought back, what made room for it, and what could not go back."""

    number: int
    tunes: list[str] = field(default_factory=list)
    displaced: list[str] = field(default_factory=list)
    left: list[str] = field(default_factory=list)
    sets: list[str] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    stayed: list[str] = field(default_factory=list)
    whole: list[str] = field(default_factory=list)
    gone: list[str] = field(default_factory=list)


def put_back(writer: CorpusWriter, number: int) -> PutBack:
    """Undo a change.

    Raises
    ------
    CorpusError
        If there is no such change, or what it took out was too large to be kept.
    """
    with writer.changing("undo"):
        undoing = Undoing(writer, PutBack(number), change_kind(writer, number))
        undoing.run()
        if not (undoing.done.left or undoing.done.stayed):
            writer.do("DELETE FROM change WHERE id = ?", [number])
        flush_notes(writer)
    return undoing.done


def change_kind(writer: CorpusWriter, number: int) -> str:
    """What kind of change has a number."""
    rows = writer.rows("SELECT kind, is_whole FROM change WHERE id = ?", [number])
    if not rows:
        raise CorpusError(
            f"there is no change {number} to undo",
            where=str(writer.path),
            hint=REMEDIES["list changes"],
        )
    if not rows[0][1]:
        raise CorpusError(
            f"what change {number} took out was too large to be kept",
            where=str(writer.path),
            hint="a backup may hold it, or the files can be added again",
        )
    return str(rows[0][0])


@dataclass(slots=True)
class Undoing:
    """One change on its way back."""

    writer: CorpusWriter
    done: PutBack
    kind: str

    def run(self) -> None:
        """Bring back all that the change took out.

        Raises
        ------
        CorpusError
            If what was kept is not what melodex keeps; nothing is changed then.
        """
        try:
            self.bring_back()
        except UNREADABLE as error:
            raise self.damaged() from error

    def bring_back(self) -> None:
        """Bring back sets and remarks, then tunes by the places where they stood."""
        # What was done last to a set is taken back first.
        for _, data in reversed(self.kept("set")):
            back = put_back_set(self.writer, json.loads(data))
            self.done.sets.append(back.name)
            self.done.stayed += back.stayed
            self.done.whole += [back.name] if back.is_whole else []
            self.done.gone += [back.name] if back.was_gone else []
        for tune_id, data in self.kept("remark"):
            self.put_remark(tune_id, json.loads(data))
        placed: dict[str, bool] = {}
        for tune_id, data in self.kept("place"):
            went = self.put_place(tune_id, json.loads(data))
            placed[tune_id] = placed.get(tune_id, False) or went
        for tune_id, _ in self.kept("tune"):
            placed.setdefault(tune_id, False)
        self.done.tunes = [tune_id for tune_id, went in placed.items() if went]
        self.done.left += [tune_id for tune_id, went in placed.items() if not went]

    def put_remark(self, tune_id: str, remark: dict[str, Any]) -> None:
        """Put a remark back on its tune, if that is there."""
        rows = self.writer.rows("SELECT id FROM tune WHERE tune_id = ?", [tune_id])
        if not rows:
            self.done.left.append(tune_id)
            return
        self.writer.put_remark(int(rows[0][0]), remark)
        self.done.remarks.append(str(remark["text"]))

    def kept(self, kind: str) -> list[tuple[str, bytes]]:
        """Names and contents of one kind that this change took out."""
        rows = self.writer.rows(
            "SELECT id FROM taken_out WHERE change = ? AND kind = ? ORDER BY id",
            [self.done.number, kind],
        )
        return [self.content(row) for (row,) in rows]

    def anywhere(self, kind: str, name: str) -> bytes | None:
        """What any change has kept under a name: a file's parts may be of several."""
        rows = self.writer.rows(
            "SELECT max(id) FROM taken_out WHERE kind = ? AND name = ?", [kind, name]
        )
        return self.content(rows[0][0])[1] if rows[0][0] is not None else None

    def content(self, row: int) -> tuple[str, bytes]:
        """Name and content of one row.

        Raises
        ------
        CorpusError
            If it is not as it was written; nothing is changed then.
        """
        names = CHECKED_COLUMNS["taken_out"]
        values = self.writer.rows(
            f"SELECT {', '.join(names)}, row_crc32 FROM taken_out WHERE id = ?", [row]
        )[0]
        if row_crc32(values[:-1]) != values[-1]:
            raise self.damaged()
        try:
            content = unpacked(values[names.index("content")])
        except ValueError as error:
            raise self.damaged() from error
        return str(values[names.index("name")]), content

    def damaged(self) -> CorpusError:
        """The fault of what is not as it was written."""
        return CorpusError(
            f"what change {self.done.number} took out is damaged",
            where=str(self.writer.path),
            hint=REMEDIES["check, unchanged"],
        )

    def put_place(self, tune_id: str, place: dict[str, Any]) -> bool:
        """Put a tune back to one place; say whether it stands there now."""
        writer = self.writer
        # What an earlier schema took out is the only line of its piece.
        line = line_of(place)
        where = [place["file"], place["number"], place["occurrence"], line.position]
        here = writer.rows(
            "SELECT place.id, tune.id, tune.tune_id FROM place "
            "JOIN tune ON tune.id = place.tune "
            "WHERE file = ? AND number = ? AND occurrence = ? AND line = ?",
            where,
        )
        if here and here[0][2] == tune_id:
            return True
        if here and self.kind not in {"replace", "undo"}:
            return False
        tune = self.prepared(tune_id, place)
        if tune is None:
            return False
        row = self.tune_row(tune)
        if here:
            self.make_room(*here[0])
        file = PreparedFile(
            place["source"],
            place["file"],
            Choice.kept(
                place["part"],
                place["voice"],
                place["chord_note"],
                place.get("lines", "top"),
            ),
            place["collection"],
        )
        collection = writer.collection_row(place["collection"])
        # A tune's first place is the one with the lowest number.
        number = place["id"]
        if writer.rows("SELECT 1 FROM place WHERE id = ?", [number]):
            number = None
        writer.put_place(file, tune, number, row, collection)
        return True

    def prepared(self, tune_id: str, place: dict[str, Any]) -> PreparedTune | None:
        """A tune made into rows, out of the corpus or of what was taken out."""
        rows = self.writer.rows("SELECT melody FROM tune WHERE tune_id = ?", [tune_id])
        kept = None if rows else self.anywhere("tune", tune_id)
        if not rows and kept is None:
            return None
        text = rows[0][0] if rows else json.loads(kept or b"")["melody"]
        melody = melody_of(text)
        if melody is None:
            return None
        source = self.source(place["sha256"])
        warnings = tuple(ReadWarning(*warning) for warning in place["warnings"])
        tune = prepared_tune(ReadTune(melody, warnings, *source), place["occurrence"])
        # As it was written, whatever today's melodies say besides.
        made = {**tune.tune, "tune_id": tune_id, "melody": text}
        made["part"] = storable(melody.credits.part)
        notes = replace(tune.notes, tune_id=tune_id)
        return replace(
            tune,
            tune_id=tune_id,
            tune=made,
            notes=notes,
            number=place["number"],
            line=line_of(place),
            piece=place.get("piece", tune_id),
        )

    def source(self, sha256: str | None) -> tuple[bytes, str]:
        """A kept source and its format; empty where there is none any more."""
        if sha256 is None:
            return b"", ""
        rows = self.writer.rows(
            "SELECT bytes, kept_format FROM kept_source WHERE sha256 = ?", [sha256]
        ) or self.writer.rows(
            "SELECT content, title FROM taken_out WHERE kind = 'source' AND name = ?",
            [sha256],
        )
        if not rows:
            return b"", ""
        try:
            return unpacked(rows[0][0]), rows[0][1]
        except ValueError:
            # The tune is whole without what it was read from.
            return b"", ""

    def tune_row(self, tune: PreparedTune) -> int:
        """Row number of a tune; one that is gone is written, with tags and remarks."""
        rows = self.writer.rows("SELECT id FROM tune WHERE tune_id = ?", [tune.tune_id])
        if rows:
            return int(rows[0][0])
        row = self.writer.put_tune(tune)
        kept = self.anywhere("tune", tune.tune_id)
        content = json.loads(kept or b'{"tags": []}')
        for name in content["tags"]:
            self.writer.put_tag(row, name)
        # What schema 2 took out has no remarks.
        for remark in content.get("remarks", ()):
            self.writer.put_remark(row, remark)
        return row

    def make_room(self, place: int, tune: int, tune_id: str) -> None:
        """Take out the tune that came to a place, from there alone if it has others."""
        writer = self.writer
        kept, line_count = writer.rows(
            "SELECT kept_source, line_count FROM place WHERE id = ?", [place]
        )[0]
        if line_count > 1:
            writer.lined.add(tune)
        writer.taken.take_place(place)
        writer.do("DELETE FROM place WHERE id = ?", [place])
        writer.drop_kept(kept)
        if not writer.rows("SELECT 1 FROM place WHERE tune = ? LIMIT 1", [tune]):
            writer.drop_tune(tune)
            self.done.displaced.append(tune_id)


def line_of(place: dict[str, Any]) -> ScoreLine:
    """Which line of its piece stood at a place; the only one, as schema 3 kept it."""
    if "line" not in place:
        return ScoreLine()
    return score_line_of("", [place[name] for name in LINE_COLUMNS])
