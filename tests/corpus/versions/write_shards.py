"""Write the folder of shards that is kept as a test file for schema 4.

    python tests/corpus/versions/write_shards.py

Run once, by the last version of that schema. The folder has all that may name a tune by
its id: lines of pieces, tags, remarks, teaching sets, a passage whose tune is gone for
good, and changes that can be undone.
Beside it stands the file that it was split from.

Contents: main.
"""

from __future__ import annotations

import gzip
import io
import sqlite3
import sys
import tarfile
import tempfile
from contextlib import closing
from pathlib import Path

from melodex.corpus.reader import Corpus
from melodex.corpus.schema import SCHEMA_VERSION
from melodex.corpus.writing.store import CorpusWriter
from melodex.reading import read_bytes
from melodex.reading.result import Choice
from melodex.tasks.collection.holdings import remove_tunes, tag_tunes
from melodex.tasks.collection.remarks import take_off, write_remark
from melodex.tasks.collection.shards import split
from melodex.tasks.demo import tunes_folder
from melodex.tasks.lesson.keeping import found_by_hand, keep
from melodex.tasks.lesson.sets import annotate

HERE = Path(__file__).parent
SHARDS = 3


def main() -> None:
    """Write the folder, packed, and what it holds."""
    target = HERE / f"shards-of-schema-{SCHEMA_VERSION}.tar.gz"
    if target.exists():
        sys.exit(f"{target.name} is there already; a released version is never rewritten")
    with tempfile.TemporaryDirectory() as place:
        home = Path(place)
        path = home / "kept.melodex"
        fill(path)
        folder = home / "shards"
        split(path, folder, SHARDS)
        pack(target, [path, *sorted(folder.iterdir())], home)


def fill(path: Path) -> None:
    """Put everything into a corpus that may name a tune."""
    demo = tunes_folder()
    oars = (demo / "oddlight_play_book" / "two_oars.musicxml").read_bytes()
    with CorpusWriter.open(path) as writer:
        tunes = (demo / "fen_school.abc").read_bytes()
        writer.add_reading(read_bytes(tunes, "abc", "/fen/fen_school.abc"))
        lines = Choice(lines="all")
        score = read_bytes(oars, "musicxml", "/play/two_oars.musicxml", lines)
        (main,) = writer.add_reading(score, choice=lines).added
    with Corpus.open(path) as corpus:
        names = [row.title for row in corpus.tunes() if row.line_count == 1]
    first, second, third, lost, back, gone = names[:6]
    tag_tunes(path, "kept", [first, second, back])
    for name in (first, third, back):
        write_remark(path, name, f"Said of {name}", bars="1-2")
    off = write_remark(path, second, "Taken off again")
    take_off(path, off.remarks[-1].number)
    with Corpus.open(path) as corpus:
        found = [found_by_hand(corpus, name, bars="1-2") for name in names[:6]]
    keep(path, "Kept", found, create=True)
    annotate(path, "Kept", 2, "Changed once")
    remove_tunes(path, [lost])
    with closing(sqlite3.connect(path)) as connection, connection:
        # Of this one nothing is left but its passage.
        connection.execute("PRAGMA foreign_keys = ON")
        connection.execute("DELETE FROM change WHERE kind = 'remove'")
    remove_tunes(path, [back])
    remove_tunes(path, [gone])
    with CorpusWriter.open(path) as writer:
        # Its other line still names it.
        writer.remove([main])


def pack(target: Path, files: list[Path], home: Path) -> None:
    """Pack files without times and owners."""
    data = io.BytesIO()
    with tarfile.open(fileobj=data, mode="w") as archive:
        for file in files:
            entry = tarfile.TarInfo(str(file.relative_to(home)))
            entry.size = file.stat().st_size
            with file.open("rb") as opened:
                archive.addfile(entry, opened)
    target.write_bytes(gzip.compress(data.getvalue(), mtime=0))


if __name__ == "__main__":
    main()
