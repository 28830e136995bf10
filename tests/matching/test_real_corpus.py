"""Both engines on real tunes: a third of every ABC collection of the installed music21.

The tunes are read where they lie; none is kept here.
"""

from __future__ import annotations

from array import array
from pathlib import Path

import music21
import pytest

from melodex.corpus.chunks import (
    TUNES_PER_CHUNK,
    PackedChunk,
    TuneNotes,
    encode_notes,
    verify,
)
from melodex.corpus.packing import pack
from melodex.matching.engine.choice import ENGINE_VARIABLE
from melodex.matching.engine.compiled import CompiledEngine
from melodex.matching.engine.numpy_engine import NumpyEngine
from melodex.matching.query import EncodedQuery
from melodex.matching.search import search
from melodex.reading.abc.file import split_file
from melodex.reading.abc.reader import read_abc
from melodex.reading.decoding import decode
from melodex.settings import AlignmentCosts

COSTS = AlignmentCosts()


@pytest.fixture(scope="module")
def tunes() -> list[TuneNotes]:
    """Every third tune of every collection, longest first."""
    root = Path(music21.__file__).parent / "corpus"
    found: dict[str, TuneNotes] = {}
    for path in sorted(root.rglob("*.abc")):
        header, texts = split_file(decode(path.read_bytes()))
        third = "\n\n".join("\n".join(part.lines) for part in (header, *texts[::3]))
        for read in read_abc(third, path.name).tunes:
            tune_id = read.melody.content_id()
            found[tune_id] = TuneNotes(tune_id, *encode_notes(read.melody))
    assert len(found) > 4_000
    return sorted(found.values(), key=lambda tune: (-len(tune.pitch), tune.tune_id))


@pytest.mark.parametrize(("notes", "which"), [(12, 1000), (24, 1700), (40, 350)])
def test_engines_agree_on_real_tunes_and_nothing_is_lost(
    notes: int, which: int, tunes: list[TuneNotes], monkeypatch: pytest.MonkeyPatch
) -> None:
    chunks = [
        pack(tunes[first : first + TUNES_PER_CHUNK])
        for first in range(0, len(tunes), TUNES_PER_CHUNK)
    ]
    # From within a real tune, five semitones below where it stands.
    source = tunes[which]
    part = slice(5, 5 + notes)
    assert len(source.pitch) >= 5 + notes
    query = EncodedQuery(
        bytes(p - 5 for p in source.pitch[part]), source.length_class[part]
    )
    compiled, twin = CompiledEngine(), NumpyEngine()
    counts = [verify(chunk) for chunk in chunks]
    bounds = twin.bounds(chunks, counts, query, COSTS)
    for fast, slow in zip(
        compiled.bounds(chunks, counts, query, COSTS), bounds, strict=True
    ):
        assert array("H", fast).tolist() == slow.tolist()
    points = compiled.best([(t.pitch, t.length_class) for t in tunes], query, COSTS)
    highest = [bound for part_ in bounds for bound in part_.tolist()]
    packed = [tune.tune_id for chunk in chunks for tune in ordered(chunk, tunes)]
    truth = {t.tune_id: p for t, (p, _) in zip(tunes, points, strict=True)}
    assert all(b >= truth[i] for b, i in zip(highest, packed, strict=True))
    expected = sorted((-p, tune_id) for tune_id, p in truth.items())[:20]
    hits = {}
    for name in ("c", "numpy"):
        monkeypatch.setenv(ENGINE_VARIABLE, name)
        hits[name] = search(chunks, query, limit=20)
        assert [(-hit.points, hit.tune_id) for hit in hits[name]] == expected
    assert hits["c"] == hits["numpy"]
    assert hits["c"][0].points == notes * COSTS.best_pair


def ordered(chunk: PackedChunk, tunes: list[TuneNotes]) -> list[TuneNotes]:
    """The tunes of a chunk in its own order, from its ids."""
    known = {tune.tune_id: tune for tune in tunes}
    ids = chunk.tune_ids
    return [known[ids[at : at + 8].hex()] for at in range(0, len(ids), 8)]
