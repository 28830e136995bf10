"""Are passages of inner lines found, and does keeping all lines cost the others anything?

Scores are the MusicXML sheets of the installed music21 package, read with all lines and
with main lines alone, beside all tunes of its ABC collections. Asked are passages of 12
notes in another key, one or two of them changed by a step: of lines that are no main
line, of main lines, and of ABC tunes; half of them with their rhythm. Counted is how often
the own piece comes first, and among the first ten, by the exact search alone; and, among
all lines, in the order of the evidence, as ``resemble`` gives it to a phrase that was typed
in steps, no key said.

Chance is tried as ``benchmarks.chance.calibration`` does: phrases of the Essen
collection's Chinese songs, which have no kin among the scores, against all lines; the
number of pieces that match with an expected number of t or less should be t on average.

Run:  python -m benchmarks.retrieval.lines [--queries 240] [--chance 240] [--seed N]
          [--keep NAME]
"""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from random import Random
from typing import Any

from benchmarks.keeping import about, asker, keep, line_by_line
from benchmarks.material import MUSIC21, abc_texts
from melodex.corpus.chunks import PackedChunk, TuneNotes, encode_notes
from melodex.corpus.packing import pack
from melodex.corpus.writing.rows.packing import by_piece
from melodex.errors import MelodexError
from melodex.matching.asking import Here, Notes
from melodex.matching.chance.fit import expected_by_chance, fit_points
from melodex.matching.chance.sample import OWN_BEST, measure_null
from melodex.matching.evidence.features import question_of
from melodex.matching.evidence.ranking import REORDERED, reorder
from melodex.matching.query import EncodedQuery
from melodex.matching.search import Hit, search
from melodex.melody import Melody, Phrase, spell
from melodex.reading import Choice, read_path
from melodex.reading.abc.reader import read_abc
from melodex.settings import AlignmentCosts
from melodex.tasks.resemble import counted

NOTES = 12
CHINESE = ("han1", "han2", "natmin", "shanxi", "xinhua")
LEVELS = (10.0, 1.0, 0.1)
UNKNOWN = bytes([0x80])
BY_EVIDENCE = "all lines, by evidence"


@dataclass(frozen=True, slots=True)
class Line:
    """A line to search in: its notes, its piece, and whether it is the main one."""

    notes: TuneNotes
    piece: str
    is_main: bool
    melody: Melody


def score_lines() -> tuple[list[Line], dict[str, Any]]:
    """Every line of every sheet, and how long reading took with all lines and with one."""
    found: dict[str, Line] = {}
    seconds = {"top": 0.0, "all": 0.0}
    sheets = 0
    suffixes = {".xml", ".mxl", ".musicxml"}
    for path in sorted(p for p in MUSIC21.rglob("*") if p.suffix in suffixes):
        readings = {}
        # In turn, so that other work on the machine falls on both.
        for lines in ("top", "all") if sheets % 2 else ("all", "top"):
            start = time.process_time()
            try:
                readings[lines] = read_path(path, Choice(lines=lines))
            except MelodexError:
                break
            seconds[lines] += time.process_time() - start
        sheets += 1
        piece = ""
        for tune in readings["all"].tunes if "all" in readings else ():
            tune_id = tune.melody.content_id()
            piece = tune_id if tune.line.is_main else piece
            notes = TuneNotes(tune_id, *encode_notes(tune.melody), piece)
            found.setdefault(tune_id, Line(notes, piece, tune.line.is_main, tune.melody))
    facts = {
        "sheets": sheets,
        "reading_seconds": {name: round(value, 2) for name, value in seconds.items()},
        "all_over_top": round(seconds["all"] / seconds["top"], 3),
    }
    return list(found.values()), facts


def abc_lines() -> tuple[list[Line], list[Line]]:
    """ABC tunes but for Chinese songs, and those."""
    kept: dict[str, Line] = {}
    foreign: dict[str, Line] = {}
    for name, text in abc_texts():
        into = foreign if any(word in name for word in CHINESE) else kept
        for tune in read_abc(text, name).tunes:
            if len(tune.melody) >= NOTES:
                tune_id = tune.melody.content_id()
                notes = TuneNotes(tune_id, *encode_notes(tune.melody))
                into.setdefault(tune_id, Line(notes, tune_id, True, tune.melody))
    return list(kept.values()), list(foreign.values())


def packed(lines: list[Line]) -> list[PackedChunk]:
    """Chunks of some lines, pieces together."""
    ordered = sorted((line.notes for line in lines), key=lambda n: (n.piece, n.tune_id))
    return [pack(part) for part in by_piece(ordered)]


def asked(
    line: Line, dice: Random, *, rhythm: bool, changed: int
) -> tuple[EncodedQuery, Phrase]:
    """A passage of a line in another key, with some notes changed by a step."""
    first = dice.randrange(len(line.notes.pitch) - NOTES + 1)
    part = slice(first, first + NOTES)
    pitch = list(line.notes.pitch[part])
    for place in dice.sample(range(1, NOTES - 1), changed):
        pitch[place] += dice.choice((-2, -1, 1, 2))
    low, high = 30 - min(pitch), 100 - max(pitch)
    move = dice.choice([m for m in range(-6, 7) if m and low <= m <= high])
    classes = line.notes.length_class[part] if rhythm else UNKNOWN * NOTES
    moved = [p + move for p in pitch]
    passage = line.melody.excerpt(first, first + NOTES - 1)
    melody = replace(
        passage, midi=tuple(moved), fifths=tuple(spell(p, 0) for p in moved), graces=()
    )
    phrase = Phrase(melody, "steps", has_rhythm=rhythm, has_tonic=False)
    return EncodedQuery(bytes(moved), classes), phrase


def by_evidence(
    chunks: list[PackedChunk],
    melodies: dict[str, Melody],
    query: EncodedQuery,
    phrase: Phrase,
) -> list[Hit]:
    """The best pieces in the order of all that speaks for each."""
    hits = search(chunks, query, limit=REORDERED)
    fit = fit_points(measure_null(chunks, query, AlignmentCosts(), hits))
    _, counts, tunes = counted(Notes(Here(chunks)), query, [], 1)
    question = question_of(phrase, query, fit, counts, tunes)
    return [entry.hit for entry in reorder(question, hits, melodies)]


def rank_of(hits: list[Hit], line: Line) -> int:
    """The place of the own piece, from 1; 0 beyond the first ten."""
    for rank, hit in enumerate(hits[:10], start=1):
        if line.notes.tune_id in (hit.tune_id, *hit.other_lines) or line.piece in (
            hit.tune_id,
            *hit.other_lines,
        ):
            return rank
    return 0


def found_in(
    corpora: dict[str, list[PackedChunk]],
    melodies: dict[str, Melody],
    lines: list[Line],
    count: int,
    seed: int,
) -> dict[str, Any]:
    """How often the own piece is first and in ten, of so many passages, in each corpus."""
    dice = Random(seed)
    usable = [line for line in lines if len(line.notes.pitch) >= 2 * NOTES]
    ranks: dict[str, list[int]] = {name: [] for name in (*corpora, BY_EVIDENCE)}
    for place in range(count):
        line = dice.choice(usable)
        query, phrase = asked(line, dice, rhythm=place % 2 == 0, changed=1 + place // 2 % 2)
        for name, chunks in corpora.items():
            ranks[name].append(rank_of(search(chunks, query, limit=10), line))
        ordered = by_evidence(corpora["all lines"], melodies, query, phrase)
        ranks[BY_EVIDENCE].append(rank_of(ordered, line))
    told: dict[str, Any] = {"passages": count}
    for name, found in ranks.items():
        for manner, some in (("with rhythm", found[::2]), ("pitches only", found[1::2])):
            told[f"{name}, {manner}"] = {
                "of": len(some),
                "first": sum(rank == 1 for rank in some),
                "in ten": sum(rank > 0 for rank in some),
            }
        told[name] = {
            "first": round(sum(rank == 1 for rank in found) / count, 4),
            "in ten": round(sum(rank > 0 for rank in found) / count, 4),
        }
    return told


def chance(lines: list[Line], foreign: list[Line], count: int, seed: int) -> dict[str, Any]:
    """Observed over stated numbers of pieces that match, at each level."""
    dice, costs = Random(seed), AlignmentCosts()
    chunks = packed(lines)
    pieces = len({line.piece for line in lines})
    notes = sum(len(line.notes.pitch) for line in lines)
    told: dict[str, Any] = {"pieces": pieces, "lines": len(lines), "phrases": count}
    for length in (8, 12, 24):
        usable = [line for line in foreign if len(line.notes.pitch) >= length]
        for rhythm in (True, False):
            seen = dict.fromkeys(LEVELS, 0)
            for _ in range(count):
                line = dice.choice(usable)
                first = dice.randrange(len(line.notes.pitch) - length + 1)
                part = slice(first, first + length)
                classes = line.notes.length_class[part] if rhythm else UNKNOWN * length
                query = EncodedQuery(line.notes.pitch[part], classes)
                hits = search(chunks, query, limit=OWN_BEST, costs=costs)
                fit = fit_points(measure_null(chunks, query, costs, hits))
                if fit is None:
                    continue
                for hit in hits:
                    stated = expected_by_chance(
                        fit, hit.points, corpus_tunes=pieces, corpus_notes=notes
                    )
                    for level in LEVELS:
                        seen[level] += stated <= level
            name = f"{length} notes, {'with rhythm' if rhythm else 'pitches only'}"
            told[name] = {
                str(level): round(times / count / level, 3) for level, times in seen.items()
            }
    return told


def measure(queries: int, phrases: int, seed: int) -> dict[str, Any]:
    """Everything, in one table."""
    scores, facts = score_lines()
    folk, foreign = abc_lines()
    mains = [line for line in scores if line.is_main]
    others = [line for line in scores if not line.is_main]
    corpora = {"main lines": packed(mains + folk), "all lines": packed(scores + folk)}
    melodies = {line.notes.tune_id: line.melody for line in scores + folk}
    return {
        **about("music21"),
        **facts,
        "pieces": len({line.piece for line in scores}),
        "lines": len(scores),
        "notes": {
            "main lines": sum(len(line.notes.pitch) for line in mains),
            "all lines": sum(len(line.notes.pitch) for line in scores),
        },
        "beside": f"{len(folk)} ABC tunes",
        "passages of other lines": found_in(corpora, melodies, others, queries, seed),
        "passages of main lines": found_in(corpora, melodies, mains, queries, seed + 1),
        "passages of ABC tunes": found_in(corpora, melodies, folk, queries, seed + 2),
        **(
            {"observed over expected": chance(scores, foreign, phrases, seed + 3)}
            if phrases
            else {}
        ),
    }


def main() -> None:
    """Measure, print, and keep the run if asked."""
    parser = asker(__doc__)
    parser.add_argument("--queries", type=int, default=240)
    parser.add_argument("--chance", type=int, default=240)
    parser.add_argument("--seed", type=int, default=2026)
    options = parser.parse_args()
    result = measure(options.queries, options.chance, options.seed)
    text = line_by_line(result)
    print(text)
    keep(options.keep, {"result.json": result, "summary.txt": text})


if __name__ == "__main__":
    main()
