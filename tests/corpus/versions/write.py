"""Write the corpus that is kept as a test file for the present schema version.

    python tests/corpus/versions/write.py

Run once, by the version that is about to be released; it overwrites nothing. What the
file holds is written beside it as JSON, so that any later version can be asked whether
it still says the same.

Contents: corpus_data, main.
"""

from __future__ import annotations

import gzip
import json
import sys
import tempfile
from pathlib import Path
from typing import Any

from melodex.corpus.lessons import example_rows, lesson_rows
from melodex.corpus.packing import unpack
from melodex.corpus.reader import Corpus
from melodex.corpus.schema import SCHEMA_VERSION
from melodex.corpus.tunes.particulars import remarks_of
from melodex.corpus.writing.store import CorpusWriter
from melodex.melody.tune_id import leading
from melodex.reading import read_bytes
from melodex.tasks.collection.remarks import write_remark
from melodex.tasks.lesson.keeping import found_by_hand, keep
from melodex.tasks.lesson.sets import annotate

HERE = Path(__file__).parent

ABC = """%abc-2.1
X:1
T:The Weir Keeper
C:Ansgar Fenwright
Z:CC0 1.0
M:6/8
L:1/8
K:Edor
|:"Em"EFG B2e|"D"dBA F2D|"Em"EFG B2e|1 "D"dBA "Em"E3:|2 "D"dBA "Em"E2B||
"G"dBG dBG|"D"AFD AFD|"G"GBd g2f|"Em"e3 E3|]

X:2
T:Low Ærwater
M:3/4
L:1/4
K:Gm
w:not a word
D|G A B|{c}d2 c|(3BAG ^F|G2 @ z|
w:o-ver the low wa-ter
"Gm"B c d|"Cm"e2 d|"D7"c A F|"Gm"G3|]
"""


def corpus_data(corpus: Corpus) -> dict[str, Any]:
    """What a corpus says to a musician, in terms that no schema changes."""
    rows = corpus.tunes()
    melodies = corpus.melodies(row.tune_id for row in rows)
    notes = {n.tune_id: n for chunk in corpus.chunks() for n in unpack(chunk)}
    return {
        "tunes": {
            # Ids had these digits before schema 5.
            leading(row.tune_id): {
                "title": row.title,
                "tags": list(row.tags),
                "notes": list(melodies[row.tune_id].midi),
                "melody": melodies[row.tune_id].to_dict(),
                "notes for matching": len(notes[row.tune_id].pitch),
            }
            for row in rows
        },
        "sets": {
            lesson.name: [
                [
                    leading(e.tune_id),
                    e.first_note,
                    e.last_note,
                    e.excerpt_sha256,
                    e.reason,
                    e.note,
                ]
                for e in example_rows(corpus, lesson.id)
            ]
            for lesson, _ in lesson_rows(corpus)
        },
        # Of schema 3 and later.
        **{
            f"remarks on {row.title}": [[r.kind, r.first_bar, r.text] for r in remarks]
            for row in rows
            if (remarks := remarks_of(corpus, row.tune_id))
        },
    }


def main() -> None:
    """Write the corpus, compressed, and what it holds."""
    target = HERE / f"schema-{SCHEMA_VERSION}.melodex.gz"
    if target.exists():
        sys.exit(f"{target.name} is there already; a released version is never rewritten")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "kept.melodex"
        with CorpusWriter.open(path) as writer:
            report = writer.add_reading(read_bytes(ABC.encode(), "abc", "/fen/weir.abc"))
            writer.tag([report.added[0]], "dorian")
        with Corpus.open(path) as corpus:
            found = [
                found_by_hand(corpus, "The Weir Keeper", bars="1-2", reason="flat 7"),
                found_by_hand(corpus, "Low Ærwater", bars="5-8"),
            ]
        write_remark(path, "The Weir Keeper", "Wie am Fluss gehört", bars="1-2")
        write_remark(path, "The Weir Keeper", "Fenwright, leaf 3", kind="citation")
        keep(path, "First term", found, create=True)
        annotate(path, "First term", 2, "Listen for the F natural.")
        with Corpus.open(path) as corpus:
            told = json.dumps(corpus_data(corpus), indent=1, ensure_ascii=False)
        # No time stamp: the same corpus gives the same bytes.
        target.write_bytes(gzip.compress(path.read_bytes(), mtime=0))
    (HERE / f"schema-{SCHEMA_VERSION}.json").write_text(told + "\n", "utf-8")


if __name__ == "__main__":
    main()
