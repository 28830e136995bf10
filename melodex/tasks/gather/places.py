"""Where wishes are met: which tunes, and in which bars of those that are shown.

Conventions: tunes are row numbers. First every wish says which tunes meet it; bars
and reasons are looked up only for the tunes that are shown, so that a wish which half
of the corpus meets costs little more than a rare one. A set of all tunes is an
ordinary set. Statements name the table whose index answers them.

Contents: Place, Places, Placed, tunes_of, narrows, placed_wishes, like, listed.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from melodex.analysis.harmony.devices import KINDS
from melodex.corpus.rows import folded
from melodex.errors import AnalysisError
from melodex.matching.evidence.figures import tunes_holding
from melodex.matching.query import encode_query
from melodex.reading.phrase.reader import read_phrase
from melodex.tasks.gather.progressions import progressions_in
from melodex.tasks.gather.wish import Wish

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = [
    "Place",
    "Placed",
    "Places",
    "like",
    "listed",
    "narrows",
    "placed_wishes",
    "tunes_of",
]

Place = tuple[int, int, str]
"""First bar, last bar, reason."""
Places = dict[int, list[Place]]


@dataclass(frozen=True, slots=True)
class Placed:
    """A wish that stands in some bars.

    Parameters
    ----------
    tunes : set of int
        Those that meet it.
    places : callable
        Where some of them do.
    points : dict of int to float
        How well each meets it, where that is a matter of degree.
    unsure : int
        How many more tunes may meet it and were not looked at closely.
    """

    tunes: set[int]
    places: Callable[[Sequence[int]], Places]
    points: dict[int, float] = field(default_factory=dict)
    unsure: int = 0

    def keys(self) -> set[int]:
        """The tunes that meet it."""
        return self.tunes


# Wishes about the whole tune, in SQL.


def tunes_of(corpus: Corpus, wish: Wish) -> set[int]:
    """Rows of the tunes that meet every wish about the whole tune."""
    clauses: list[str] = []
    values: list[Any] = []
    for clause, given in whole_clauses(wish):
        clauses.append(clause)
        values += given
    where = f" WHERE {' AND '.join(clauses)}" if clauses else ""
    return {row[0] for row in corpus.query(f"SELECT tune FROM tune_facet{where}", values)}


def narrows(wish: Wish) -> bool:
    """Whether anything is asked about the whole tune."""
    return next(whole_clauses(wish), None) is not None


def whole_clauses(wish: Wish) -> Iterator[tuple[str, list[Any]]]:
    """A condition and its values for each wish about the whole tune."""
    for column in ("metre_class", "mode"):
        asked = wish.metre if column == "metre_class" else wish.mode
        if asked:
            yield f"{column} = ?", [asked]
    if wish.key_centres is not None:
        yield "key_centres >= ?", [wish.key_centres]
    for column in ("title", "composer", "rights"):
        if text := getattr(wish, column):
            yield f"{column}_folded LIKE ? ESCAPE '\\'", [like(folded(text))]
    if wish.after is not None:
        yield "year >= ?", [wish.after]
    if wish.before is not None:
        yield "year <= ?", [wish.before]
    if wish.collection:
        yield (
            "tune IN (SELECT place.tune FROM place JOIN collection "
            "ON collection.id = place.collection WHERE collection.name = ?)",
            [wish.collection],
        )
    if wish.tag:
        yield "tune IN (SELECT tag.tune FROM tag WHERE tag.name = ?)", [wish.tag]


def like(text: str) -> str:
    """A LIKE pattern for a text that stands anywhere."""
    escaped = text.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")
    return f"%{escaped}%"


def listed(tunes: Iterable[int]) -> str:
    """Row numbers as JSON, for ``json_each``."""
    return json.dumps(sorted(tunes))


# Wishes that stand in some bars.


def placed_wishes(
    corpus: Corpus,
    wish: Wish,
    kept: set[int] | None,
    *,
    most_aligned: int | None = None,
) -> Iterator[Placed]:
    """Each wish that stands in some bars: who meets it, and where.

    Parameters
    ----------
    corpus : Corpus
    wish : Wish
    kept : set of int or None
        Tunes that meet the wishes about the whole tune, None for all. What costs most
        is asked last, of the tunes that are left.
    most_aligned : int, optional
        At most so many tunes are looked at closely for a progression.
    """
    for found in wishes_by_index(corpus, wish):
        yield found
        kept = found.tunes if kept is None else kept & found.tunes
    if wish.progression:
        yield progressions(corpus, wish, kept, most_aligned)


def wishes_by_index(corpus: Corpus, wish: Wish) -> Iterator[Placed]:
    """The wishes whose tunes come straight from a table, or from the packed notes."""
    for table, condition, values, reason in row_wishes(wish):
        yield from_rows(corpus, table, condition, values, reason)
    if wish.note_on_chord:
        yield notes_on_chords(corpus, wish.note_on_chord)
    if wish.phrase:
        yield figures(corpus, wish)


def row_wishes(wish: Wish) -> Iterator[tuple[str, str, list[Any], str]]:
    """Table, condition, values and reason of each wish that rows answer."""
    if wish.device:
        yield "device", *device_condition(wish.device), "kind || ': ' || reason"
    if wish.key_change:
        condition = "place > 0 AND how LIKE ? ESCAPE '\\'"
        yield "key_span", condition, [like(wish.key_change)], "'change of key ' || how"
    if wish.mode_change:
        condition = "(how LIKE 'to the parallel %' OR how LIKE '%, same tonic%')"
        yield "key_span", condition, [], "'change of mode ' || how"
    if wish.modal:
        reason = "mode || ' colour in ' || home_mode || ', told by ' || telling_degree"
        yield "modal_passage", "mode = ?", [wish.modal], reason
    if wish.section_bars is not None or wish.odd_sections:
        conditions = [
            *(["bars = ?"] if wish.section_bars is not None else []),
            *(["odd"] if wish.odd_sections else []),
        ]
        values = [] if wish.section_bars is None else [wish.section_bars]
        many = "CASE bars WHEN 1 THEN ' bar' ELSE ' bars' END"
        reason = f"'section ' || label || ' of ' || bars || {many}"
        yield "section", " AND ".join(conditions), values, reason
    if wish.returning:
        yield "returning_figure", "kind = ?", [wish.returning], "kind || ': ' || words"


def device_condition(text: str) -> tuple[str, list[Any]]:
    """How a device is named: its kind, part of one, or else part of a reason."""
    # Who names a kind does not mean what is only said beside another.
    kinds = [text] if text in KINDS else [k for k in KINDS if text.lower() in k]
    if kinds:
        return f"kind IN ({', '.join('?' * len(kinds))})", [*kinds]
    return "reason LIKE ? ESCAPE '\\'", [like(text)]


def from_rows(
    corpus: Corpus, table: str, condition: str, values: list[Any], reason: str
) -> Placed:
    """A wish that rows of one table answer."""

    def places(tunes: Sequence[int]) -> Places:
        return grouped(
            corpus.query(
                f"SELECT tune, first_bar, last_bar, {reason} FROM json_each(?) AS wanted "
                f"CROSS JOIN {table} ON tune = wanted.value WHERE {condition}",
                [listed(tunes), *values],
            )
        )

    rows = corpus.query(f"SELECT DISTINCT tune FROM {table} WHERE {condition}", values)
    return Placed({row[0] for row in rows}, places)


def grouped(rows: Iterable[tuple[Any, ...]]) -> Places:
    """Places by tune, from rows of tune, first bar, last bar and reason."""
    found: Places = defaultdict(list)
    for tune, first, last, reason in rows:
        found[tune].append((first, last, reason))
    return found


def notes_on_chords(corpus: Corpus, text: str) -> Placed:
    """Where the melody has a degree on a chord: ``7 on iv``."""
    degree, found, numeral = (part.strip() for part in text.partition(" on "))
    if not found or not degree or not numeral:
        raise AnalysisError(
            f"{text!r} names no melody note on a chord", hint="write '7 on iv'"
        )
    # The range lets an index answer; the pattern leaves out iv where i is meant.
    condition = (
        "degree = ? AND numeral >= ? AND numeral < ? "
        "AND (numeral = ? OR numeral GLOB ? || '[0-9(mø°+]*')"
    )
    values = [degree, numeral, f"{numeral}\U0010ffff", numeral, numeral]

    def places(tunes: Sequence[int]) -> Places:
        return grouped(
            corpus.query(
                "SELECT tune, min(bar), max(bar), degree || ' on ' || numeral "
                "FROM json_each(?) AS wanted CROSS JOIN note_on_chord "
                f"ON tune = wanted.value WHERE {condition} GROUP BY tune, chord",
                [listed(tunes), *values],
            )
        )

    rows = corpus.query(
        f"SELECT DISTINCT tune FROM note_on_chord WHERE {condition}", values
    )
    return Placed({row[0] for row in rows}, places)


def progressions(
    corpus: Corpus, wish: Wish, kept: set[int] | None, most_aligned: int | None
) -> Placed:
    """Where a progression stands, the best first."""
    found = progressions_in(
        corpus,
        wish.progression,
        kept,
        exact=wish.exact_progression,
        most_aligned=most_aligned,
    )

    def places(tunes: Sequence[int]) -> Places:
        return {tune: found.places[tune] for tune in tunes}

    return Placed(set(found.places), places, found.points, found.unsure)


def figures(corpus: Corpus, wish: Wish) -> Placed:
    """Where the melody holds a figure, in any key."""
    phrase = read_phrase(wish.phrase)
    if phrase.notation == "contour":
        raise AnalysisError(
            "a contour is too little to gather by", hint="type degrees or steps"
        )
    pitch = encode_query(phrase).pitch
    last = len(pitch) - 1

    def places(tunes: Sequence[int]) -> Places:
        rows = corpus.query(
            "SELECT tune.id, tune_id FROM json_each(?) AS wanted "
            "CROSS JOIN tune ON tune.id = wanted.value",
            [listed(tunes)],
        )
        melodies = corpus.melodies([tune_id for _, tune_id in rows])
        return {
            row: [
                (melody.bar[start], melody.bar[start + last], f"holds {wish.phrase}")
                for melody in [melodies[tune_id]]
                for start in starts_of(melody.midi, pitch, wish.nearly)
            ]
            for row, tune_id in rows
        }

    ids = tunes_holding(corpus.chunks(), pitch, allow_change=wish.nearly)
    rows = corpus.query(
        "SELECT tune.id FROM json_each(?) AS wanted "
        "CROSS JOIN tune ON tune_id = wanted.value",
        [json.dumps(ids)],
    )
    return Placed({row[0] for row in rows}, places)


def starts_of(midi: Sequence[int], figure: bytes, nearly: bool) -> list[int]:
    """Where a figure begins in a melody, in any transposition."""
    found: list[int] = []
    most_wrong = 1 if nearly else 0
    for start in range(len(midi) - len(figure) + 1):
        if found and start < found[-1] + len(figure):
            continue
        shifts = [midi[start + place] - wanted for place, wanted in enumerate(figure)]
        usual = max(
            set(shifts), key=lambda shift: (shifts.count(shift), -abs(shift), shift)
        )
        if len(figure) - shifts.count(usual) <= most_wrong:
            found.append(start)
    return found
