"""Pairs of melodies from decided disputes: does chance tell found from not found?

The melodies belong to others, so none are kept here: name a folder that holds them as
ABC files of two tunes each, the earlier one first, in two folders ``found`` and
``not_found`` after what was decided about copying. Windows of the later tune are looked
for in the earlier one as an audit does, and chance is measured on music21's ABC
collections: the figure of a pair is the least expected number among its windows, times
the number of windows. Beside it stands the share of notes that agree in the best
alignment of the two, of the notes of the shorter one.

Told is the area under the curve of each (the chance that a pair that was found stands
before one that was not; Hanley and McNeil 1982, Radiology 143, 29-36), with 95 % of what
pairs drawn anew with replacement give.

Run:  python -m benchmarks.chance.disputes FOLDER [--keep NAME]
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from random import Random
from typing import Any

from sklearn.metrics import roc_auc_score

from benchmarks.keeping import about, asker, keep
from benchmarks.material import packed, real_tunes
from melodex.corpus.chunks import PackedChunk, TuneNotes, encode_notes
from melodex.matching.align import align
from melodex.matching.chance.fit import expected_by_chance, fit_points
from melodex.matching.chance.sample import OWN_BEST, measure_null
from melodex.matching.query import encode_query
from melodex.matching.search import search
from melodex.melody import Melody
from melodex.reading.abc.reader import read_abc
from melodex.reading.decoding import decode
from melodex.settings import AlignmentCosts
from melodex.tasks.audit.leads import part_of, windows_of
from melodex.tasks.passage import Passage

DECIDED = ("found", "not_found")
COSTS = AlignmentCosts()
SEED = 5
DRAWN = 2000


@dataclass(frozen=True, slots=True)
class Pair:
    """Two melodies of one dispute, and what was decided."""

    name: str
    earlier: Melody
    later: Melody
    found: bool


def pairs_in(folder: Path) -> list[Pair]:
    """The pairs of a folder; a file that does not hold two tunes ends the run."""
    pairs = []
    for decided in DECIDED:
        for path in sorted((folder / decided).glob("*.abc")):
            tunes = read_abc(decode(path.read_bytes()), path.name).tunes
            if len(tunes) != 2:
                raise SystemExit(f"{path}: {len(tunes)} tunes; a pair has two")
            earlier, later = (tune.melody for tune in tunes)
            pairs.append(Pair(path.stem, earlier, later, decided == "found"))
    if len({pair.found for pair in pairs}) < 2:
        raise SystemExit(f"{folder}: no ABC files in {' and '.join(DECIDED)}")
    return pairs


def expected_for(pair: Pair, chunks: Sequence[PackedChunk]) -> float:
    """Tunes as close to the later one as the earlier, that chance would bring."""
    tunes = sum(chunk.tune_count for chunk in chunks)
    notes = sum(chunk.note_count for chunk in chunks)
    other = packed([TuneNotes("0" * 16, *encode_notes(pair.earlier))])
    phrase = Passage(pair.later, pair.later, 0, "f" * 12, False).phrase()
    whole = {
        rhythm: encode_query(replace(phrase, has_rhythm=rhythm)) for rhythm in (False, True)
    }
    spans = windows_of(len(pair.later))
    least = float(tunes)
    for first, last, rhythm in spans:
        query = part_of(whole[rhythm], first, last)
        hits = search(chunks, query, limit=OWN_BEST, costs=COSTS)
        fit = fit_points(measure_null(chunks, query, COSTS, hits))
        for hit in search(other, query, limit=1, costs=COSTS):
            assert fit is not None
            one = expected_by_chance(
                fit, hit.points, corpus_tunes=tunes, corpus_notes=notes
            )
            least = min(least, one * len(spans))
    return least


def agreeing(pair: Pair) -> float:
    """Notes that agree in the best alignment, as a share of the shorter tune's."""
    query = encode_query(Passage(pair.later, pair.later, 0, "f" * 12, False).phrase())
    pitch, classes = encode_notes(pair.earlier)
    alignment = align(query, pitch, classes, COSTS)
    if alignment is None:
        return 0.0
    move = alignment.transposition_semitones
    same = sum(
        query.pitch[i] + move == pitch[j]
        for i, j in alignment.pairs
        if i is not None and j is not None
    )
    return same / min(len(pair.later), len(pair.earlier))


def area(rows: Sequence[dict[str, Any]], field: str, sign: int) -> tuple[float, ...]:
    """Area under the curve, and 95 % of those of pairs drawn anew."""
    dice = Random(SEED)
    kinds = [[row for row in rows if row["found"] is kind] for kind in (True, False)]

    def of(drawn: Sequence[dict[str, Any]]) -> float:
        found = [row["found"] for row in drawn]
        return float(roc_auc_score(found, [sign * row[field] for row in drawn]))

    again = sorted(
        of([row for kind in kinds for row in dice.choices(kind, k=len(kind))])
        for _ in range(DRAWN)
    )
    return of(rows), again[DRAWN // 40], again[-DRAWN // 40 - 1]


def main() -> None:
    """Measure, print, and keep figures alone, with no note of the melodies."""
    parser = asker(__doc__)
    parser.add_argument("folder", type=Path)
    said = parser.parse_args()
    pairs = pairs_in(said.folder)
    chunks = packed(real_tunes())
    rows = []
    for pair in pairs:
        rows.append(
            {
                "pair": pair.name,
                "found": pair.found,
                "expected": expected_for(pair, chunks),
                "agreeing": agreeing(pair),
            }
        )
        print(rows[-1], flush=True)
    run = {
        **about("music21", "scikit-learn"),
        "pairs": rows,
        "area_by_chance": area(rows, "expected", -1),
        "area_by_agreeing": area(rows, "agreeing", 1),
    }
    print({name: figure for name, figure in run.items() if name.startswith("area")})
    keep(said.keep, {"disputes.json": run})


if __name__ == "__main__":
    main()
