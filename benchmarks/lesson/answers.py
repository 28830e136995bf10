"""Answer keys of teaching sets: how many are wrong, by a checker that shares no analysis.

Run:  python -m benchmarks.lesson.answers [--keep NAME] [--real TUNES]

Sets are gathered from the demo's invented tunes and from real ones that music21 installs
(ABC collections and songs with chords), by the wishes below and passage by passage, and a
worksheet is made of each. Every part is checked by its definition (``checker``). That the
checker can object is shown by giving each part the key of another of its kind that reads
otherwise. Counted too: parts about what the set was gathered for, and pairs of passages of
one sheet that are the same music in any key.

Contents: WISHES, sheets, counted, repeated, main.
"""

from __future__ import annotations

import json
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations, pairwise
from pathlib import Path
from typing import Any

from benchmarks.keeping import about, asker, keep
from benchmarks.lesson.checker import wrong_in
from benchmarks.material import MUSIC21
from melodex.corpus.reader import Corpus
from melodex.errors import LessonError
from melodex.melody import Melody
from melodex.tasks.adding.add import add_paths
from melodex.tasks.demo import tunes_folder
from melodex.tasks.gather.gather import Wish, gather
from melodex.tasks.lesson.asking.records import Part, Question, plain_words
from melodex.tasks.lesson.keeping import finds_of, found_by_hand
from melodex.tasks.lesson.keeping import keep as keep_passages
from melodex.tasks.lesson.questions import ONLY_IF_NAMED, Worksheet, worksheet
from melodex.tasks.lesson.sets import open_lesson

WISHES: tuple[dict[str, Any], ...] = (
    {"note_on_chord": "b9 on V"},
    {"note_on_chord": "7 on iv"},
    {"note_on_chord": "3 on I"},
    {"note_on_chord": "#11 on bVII"},
    {"note_on_chord": "b7 on V"},
    {"note_on_chord": "5 on IV"},
    {"device": "secondary dominant"},
    {"device": "borrowed chord"},
    {"device": "tritone substitute"},
    {"device": "ii V I"},
    {"device": "half cadence"},
    {"device": "plagal cadence"},
    {"device": "circle of fifths"},
    {"device": "turnaround"},
    {"progression": "ii V I"},
    {"progression": "I vi IV V"},
    {"key_change": "relative"},
    {"key_change": "third"},
    {"mode_change": True},
    {"mode": "dorian"},
    {"mode": "mixolydian"},
    {"mode": "minor"},
    {"modal": "mixolydian"},
    {"modal": "dorian"},
    {"metre": "compound"},
    {"metre": "simple"},
    {"section_bars": 8},
    {"odd_sections": True},
    {"phrase": "5 1 2 3"},
    {"phrase": "3 2 1"},
    {"returning": "sequence"},
    {"returning": "inversion"},
    {"returning": "repetition"},
)
KINDS_BY_HAND = ("degrees", "chords", "metre", "mode", "cadence", "key change")
PASSAGES = 12
STRIDE = 11
REAL_FILES = ("ryansMammoth", "essenFolksong/altdeu10.abc", "oneills1850/0001-0050.abc")


@dataclass(frozen=True)
class Sheet:
    """A worksheet and where it comes from; ``topic`` empty for passages by hand."""

    name: str
    topic: str
    sheet: Worksheet


def build(folder: Path, real: int) -> dict[str, Path]:
    """The two corpora."""
    demo, tunes = folder / "demo.melodex", folder / "real.melodex"
    add_paths(demo, [tunes_folder()])
    abc = sorted((MUSIC21 / "ryansMammoth").glob("*.abc"))[:real]
    books = [path for path in (MUSIC21 / name for name in REAL_FILES[1:]) if path.exists()]
    songs = sorted((MUSIC21 / "leadSheet").glob("*.mxl"))
    add_paths(tunes, [*abc, *books, *songs])
    return {"demo": demo, "real": tunes}


def sheets(name: str, path: Path) -> Iterator[Sheet]:
    """Every sheet of a corpus: by each wish, and by hand with what is asked if named."""
    for number, wish in enumerate(WISHES):
        lesson = f"{name} {number}"
        with Corpus.open(path) as corpus:
            found = finds_of(corpus, gather(corpus, Wish(**wish), limit=PASSAGES))
        if found:
            keep_passages(path, lesson, found, create=True)
            yield from sheet_of(path, lesson, str(wish))
    if name == "demo":
        planted(path, "planted")
        yield from sheet_of(path, "planted", "", ("shared notes", "relative"))
        for kind in ("shared notes", "relative"):
            yield from sheet_of(path, "planted", "", (kind,))
    by_hand(path, "by hand")
    for kinds in (
        (),
        tuple(sorted(ONLY_IF_NAMED)),
        KINDS_BY_HAND,
        ("shared notes", "relative"),
        ("shared notes",),
        ("compare",),
        ("sing",),
        ("hear",),
        ("sequence",),
    ):
        yield from sheet_of(path, "by hand", "", kinds)


def by_hand(path: Path, lesson: str) -> None:
    """The first four bars of every eleventh tune, as many as make two dozen."""
    with Corpus.open(path) as corpus:
        ids = [row[0] for row in corpus.query("SELECT tune_id FROM tune ORDER BY tune_id")]
        found = []
        for tune in ids[:: max(1, min(STRIDE, len(ids) // 24))][:24]:
            try:
                found.append(found_by_hand(corpus, tune, bars="1-4"))
            except Exception as error:
                print(f"left out: {error}", file=sys.stderr)
    keep_passages(path, lesson, found, create=True)


def planted(path: Path, lesson: str) -> None:
    """Both passages of each likeness that was planted in the demo."""
    told = json.loads((tunes_folder() / "PLANTED.json").read_text("utf-8"))
    with Corpus.open(path) as corpus:
        found = [
            found_by_hand(
                corpus, side["title"], bars=f"{side['bars'][0]}-{side['bars'][1]}"
            )
            for pair in told["likenesses"]
            for side in (pair["a"], pair["b"])
        ]
    keep_passages(path, lesson, found, create=True)


def sheet_of(
    path: Path, lesson: str, topic: str, kinds: tuple[str, ...] = ()
) -> Iterator[Sheet]:
    """The sheet of a set, if anything can be asked."""
    with Corpus.open(path) as corpus:
        try:
            made = worksheet(corpus, open_lesson(corpus, lesson), kinds)
        except LessonError as error:
            print(f"{lesson} {topic}: {error}", file=sys.stderr)
            return
    yield Sheet(lesson, topic, made)


def music_of(melody: Melody) -> list[tuple[int, int]]:
    """Steps and waits, the same in every key."""
    places = zip(melody.midi, melody.onset_ticks, strict=True)
    return [(b[0] - a[0], b[1] - a[1]) for a, b in pairwise(places)]


def repeated(sheet: Worksheet) -> list[str]:
    """Pairs of passages of one sheet of which one holds the other.

    A phrase and its relative are left out: that they are alike is what is asked.
    """
    shown = [p for q in sheet.questions if "relative" not in q.kinds for p in q.passages]
    found = []
    for one, other in combinations(shown, 2):
        short, long = sorted((music_of(one.excerpt), music_of(other.excerpt)), key=len)
        size = len(short)
        if any(long[at : at + size] == short for at in range(len(long) - size + 1)):
            found.append(f"{one.title} and {other.title}")
    return found


def swapped(parts: list[tuple[Question, Part]]) -> tuple[int, int]:
    """Parts that were given the key of another of their kind, and how many are found."""
    tried = found = 0
    for question, part in parts:
        others = (
            p
            for _, p in parts
            if p.kind == part.kind
            and len(p.fields) == len(part.fields)
            and [f.accepted[0] for f in p.fields] != [f.accepted[0] for f in part.fields]
        )
        other = next(others, None)
        if other is None or part.kind == "in words":
            continue
        fields = tuple(
            replace(field, accepted=taken.accepted)
            for field, taken in zip(part.fields, other.fields, strict=True)
        )
        tried += 1
        try:
            found += bool(wrong_in(question, replace(part, fields=fields)))
        except (ValueError, KeyError, AssertionError):
            found += 1
    return tried, found


def counted(made: Sheet) -> dict[str, Any]:
    """What a sheet holds and what is wrong with it."""
    parts = [(q, p) for q in made.sheet.questions for p in q.parts]
    wrong = [
        {
            "question": [p.title for p in question.passages],
            "task": plain_words(part.task),
            "key": [[plain_words(w) for w in f.accepted] for f in part.fields],
            "wrong": told,
        }
        for question, part in parts
        for told in wrong_in(question, part)
    ]
    tried, found = swapped(parts)
    return {
        "swapped": tried,
        "swapped_found": found,
        "set": made.name,
        "topic": made.topic,
        "passages": len(made.sheet.lesson.examples),
        "questions": len(made.sheet.questions),
        "parts": len(parts),
        "on_topic": sum(part.is_topical for _, part in parts),
        "kinds": dict(Counter(part.kind for _, part in parts)),
        "wrong": wrong,
        "repeated": repeated(made.sheet),
    }


def summed(rows: list[dict[str, Any]]) -> dict[str, Any]:
    """All sheets together."""
    topics = [row for row in rows if row["topic"]]
    kinds: Counter[str] = Counter()
    for row in rows:
        kinds.update(row["kinds"])
    return {
        "sheets": len(rows),
        "parts": sum(row["parts"] for row in rows),
        "wrong": sum(len(row["wrong"]) for row in rows),
        "keys_swapped": sum(row["swapped"] for row in rows),
        "keys_swapped_found": sum(row["swapped_found"] for row in rows),
        "repeated_pairs": sum(len(row["repeated"]) for row in rows),
        "topics": len({row["topic"] for row in topics}),
        "topics_below_half": sorted(
            row["topic"] for row in topics if 2 * row["on_topic"] < row["parts"]
        ),
        "kinds": dict(sorted(kinds.items())),
    }


def main() -> None:
    """Make the sheets, check them, print and keep what was counted."""
    parser = asker(__doc__)
    parser.add_argument("--real", type=int, default=250, help="real dances")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        corpora = build(Path(folder), asked.real)
        rows = [
            {"corpus": name, **counted(made)}
            for name, path in corpora.items()
            for made in sheets(name, path)
        ]
    total = summed(rows)
    for row in rows:
        for each in row["wrong"]:
            print(row["set"], row["topic"], each)
        for pair in row["repeated"]:
            print(row["set"], row["topic"], "repeated:", pair)
    print(total)
    keep(
        asked.keep,
        {"about.json": about("music21"), "total.json": total, "sheets.json": rows},
    )


if __name__ == "__main__":
    main()
