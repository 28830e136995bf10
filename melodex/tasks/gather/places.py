"""Where wishes are met: which tunes, and in which bars of those that are shown.

Conventions: tunes are row numbers. First every wish says which tunes meet it; bars
and reasons are looked up only for the tunes that are shown, so that a wish which half
of the corpus meets costs little more than a rare one. A set of all tunes is an
ordinary set. Statements name the table whose index answers them.

Contents: Place, Places, Placed, placed_wishes, meeting, listed.
"""

from __future__ import annotations

import json
import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from melodex.analysis.harmony.chords import parse_chord
from melodex.corpus.rows import kind_of
from melodex.corpus.tunes.tune_rows import lined_pieces
from melodex.errors import AnalysisError
from melodex.matching.evidence.figures import tunes_holding
from melodex.matching.query import encode_query
from melodex.melody import Melody
from melodex.reading.phrase.reader import read_phrase
from melodex.tasks.collection.families import family_of_tune
from melodex.tasks.gather.lines import asks_of_lines, ids_of, lines_meeting
from melodex.tasks.gather.names import (
    degree_named,
    device_named,
    mode_named,
    numeral_named,
)
from melodex.tasks.gather.progressions import progressions_in
from melodex.tasks.gather.whole import like, tunes_of
from melodex.tasks.gather.wish import Wish

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = [
    "Place",
    "Placed",
    "Places",
    "listed",
    "meeting",
    "placed_wishes",
]

Place = tuple[int, int, str] | tuple[int, int, str, str]
"""First bar, last bar, reason; and the tune id of the line, where it is another."""
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
    if asks_of_lines(wish) and not wish.phrase:
        # A phrase stands in these lines alone, and says in which.
        yield whole_lines(corpus, wish)
    if wish.progression:
        yield progressions(corpus, wish, kept, most_aligned)


def meeting(corpus: Corpus, wish: Wish) -> set[int]:
    """Rows of the tunes that meet a wish."""
    kept = tunes_of(corpus, wish)
    for places in placed_wishes(corpus, wish, kept):
        kept &= places.keys()
    return kept


def wishes_by_index(corpus: Corpus, wish: Wish) -> Iterator[Placed]:
    """The wishes whose tunes come straight from a table, or from the packed notes."""
    for table, condition, values, reason in row_wishes(wish):
        yield from_rows(corpus, table, condition, values, reason)
    if wish.note_on_chord:
        yield notes_on_chords(corpus, wish.note_on_chord)
    if wish.phrase:
        yield figures(corpus, wish)
    if wish.version_of:
        yield versions(corpus, wish.version_of)


def row_wishes(wish: Wish) -> Iterator[tuple[str, str, list[Any], str]]:
    """Table, condition, values and reason of each wish that rows answer."""
    if wish.device:
        yield "device", *device_condition(wish.device), "kind || ': ' || reason"
    if wish.key_change:
        condition = "place > 0 AND how LIKE ? ESCAPE '\\'"
        said = re.sub(r"(?i)\bhalf (?:tone|step)\b", "semitone", wish.key_change)
        said = re.sub(r"(?i)(?:\bwhole )?\b(?:tone|step)\b", "whole tone", said)
        yield "key_span", condition, [like(said)], "'change of key ' || how"
    if wish.mode_change:
        condition = "(how LIKE 'to the parallel %' OR how LIKE '%, same tonic%')"
        yield "key_span", condition, [], "'change of mode ' || how"
    if wish.modal:
        reason = "mode || ' colour in ' || home_mode || ', told by ' || telling_degree"
        yield "modal_passage", "mode = ?", [mode_named(wish.modal)], reason
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
        kind = kind_of(wish.returning)
        yield "returning_figure", "kind = ?", [kind], "kind || ': ' || words"


def device_condition(text: str) -> tuple[str, list[Any]]:
    """How a device is named: its kind, a synonym, part of one, or part of a reason."""
    kinds, reason = device_named(text)
    conditions: list[str] = []
    values: list[Any] = [*kinds]
    if kinds:
        conditions.append(f"kind IN ({', '.join('?' * len(kinds))})")
    if reason:
        conditions.append("reason LIKE ? ESCAPE '\\'")
        values.append(like(reason))
    return " AND ".join(conditions), values


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


NUMERAL_ASKED = re.compile(
    r"([b#]{0,2}(?:[IViv]+|Ger|Fr|It)(?:[0-9(mø°+s ][^/]*)?)(?:/([b#]{0,2}[IViv]+))?"
)
AFTER_NUMERAL = "[0-9(mø°+s ]*"
"""What may follow a numeral that is only the beginning of one: iv and iv7, not i and iv."""


def notes_on_chords(corpus: Corpus, text: str) -> Placed:
    """Where the melody has a degree on a chord: ``7 on iv``, ``7 on Cm``."""
    degree_text, found, chord_text = (part.strip() for part in text.partition(" on "))
    if not found or not degree_text or not chord_text:
        raise AnalysisError(
            f"{text!r} names no melody note on a chord",
            hint="write '7 on iv', '#11 on V/V' or '7 on Cm'",
        )
    degree = degree_named(degree_text)
    numeral = numeral_named(chord_text)
    asked = NUMERAL_ASKED.fullmatch(numeral)
    condition, values = (
        by_numeral(asked[1].strip(), asked[2] or "") if asked else by_symbol(chord_text)
    )
    # The melody is a 9 or an 11 on a chord where it would be a 2 or a 4 on a triad.
    names = [degree, *OCTAVES.get(degree, ())]
    degrees = f"degree IN ({', '.join('?' * len(names))})"
    table = (
        "note_on_chord JOIN chord ON chord.tune = note_on_chord.tune "
        "AND chord.place = note_on_chord.chord"
    )
    where = f"{degrees} AND {condition}"

    def places(tunes: Sequence[int]) -> Places:
        return grouped(
            corpus.query(
                "SELECT note_on_chord.tune, min(note_on_chord.bar), "
                "max(note_on_chord.bar), degree || ' on ' || "
                "CASE note_on_chord.numeral WHEN '' THEN text "
                "ELSE note_on_chord.numeral END FROM json_each(?) AS wanted "
                "CROSS JOIN note_on_chord ON note_on_chord.tune = wanted.value "
                "JOIN chord ON chord.tune = note_on_chord.tune "
                f"AND chord.place = note_on_chord.chord WHERE {where} "
                "GROUP BY note_on_chord.tune, chord",
                [listed(tunes), *names, *values],
            )
        )

    rows = corpus.query(
        f"SELECT DISTINCT note_on_chord.tune FROM {table} WHERE {where}", [*names, *values]
    )
    return Placed({row[0] for row in rows}, places)


OCTAVES = {"2": ("9",), "4": ("11",), "9": ("2",), "11": ("4",), "13": ("6",), "6": ("13",)}


def by_numeral(head: str, goal: str) -> tuple[str, list[Any]]:
    """Condition of a chord by its numeral: a beginning of one, with its goal if asked."""
    tail = f"/{goal}" if goal else ""
    # The range lets an index answer; the pattern leaves out iv where i is meant.
    condition = (
        "note_on_chord.numeral >= ? AND note_on_chord.numeral < ? AND "
        "(note_on_chord.numeral = ? OR note_on_chord.numeral GLOB ?)"
    )
    values: list[Any] = [head, f"{head}\U0010ffff", head + tail]
    if goal:
        return condition, [*values, head + AFTER_NUMERAL + tail]
    condition += " AND note_on_chord.numeral NOT LIKE '%/%'"
    return condition, [*values, head + AFTER_NUMERAL]


def by_symbol(text: str) -> tuple[str, list[Any]]:
    """Condition of a chord by its symbol: the same root and family, however written."""
    chord = parse_chord(text)
    if not chord.sounds:
        why = chord.reason or "it is no chord"
        raise AnalysisError(
            f"{text!r} is neither a Roman numeral nor a chord: {why}",
            hint="write a numeral such as iv or V/V, or a chord such as Cm",
        )
    return "chord.root_fifths = ? AND chord.family = ?", [chord.root_fifths, chord.family]


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
        return {tune: [*found.places[tune]] for tune in tunes}

    return Placed(set(found.places), places, found.points, found.unsure)


def figures(corpus: Corpus, wish: Wish) -> Placed:
    """Where the melody holds a figure, in any key."""
    phrase = read_phrase(wish.phrase)
    if not phrase.has_notes:
        what = "notes that are not known are"
        if phrase.notation in ("contour", "rhythm"):
            what = f"a {phrase.notation} is"
        raise AnalysisError(f"{what} too little to gather by", hint="type degrees or steps")
    pitch = encode_query(phrase).pitch
    last = len(pitch) - 1

    ids = tunes_holding(corpus.chunks(), pitch, allow_change=wish.nearly)
    if asks_of_lines(wish):
        meant = ids_of(corpus, lines_meeting(corpus, wish))
        ids = [tune_id for tune_id in ids if tune_id in meant]
    # A piece is found by its main line, whichever of its lines holds the phrase.
    pieces = lined_pieces(corpus)
    holding: dict[str, list[str]] = {}
    for tune_id in ids:
        holding.setdefault(pieces.get(tune_id, tune_id), []).append(tune_id)

    def places(tunes: Sequence[int]) -> Places:
        rows = corpus.query(
            "SELECT tune.id, tune_id FROM json_each(?) AS wanted "
            "CROSS JOIN tune ON tune.id = wanted.value",
            [listed(tunes)],
        )
        # A tune that cannot be read shows nothing; 'check' names it.
        melodies = corpus.melodies(
            [line for _, tune_id in rows for line in holding.get(tune_id, ())],
            on_damage=lambda damage: None,
        )
        found: Places = {
            row: [
                (
                    melody.bar[start],
                    melody.bar[start + last],
                    f"holds {wish.phrase}{in_line(melody)}",
                    line,
                )
                for line in holding.get(tune_id, ())
                if (melody := melodies.get(line)) is not None
                for start in starts_of(melody.midi, pitch, wish.nearly)
            ]
            for row, tune_id in rows
        }
        return found

    return Placed(set(rows_named(corpus, holding)), places)


def rows_named(corpus: Corpus, tune_ids: Iterable[str]) -> dict[int, str]:
    """The tune ids of some tunes by their rows."""
    return dict(
        corpus.query(
            "SELECT tune.id, tune_id FROM json_each(?) AS wanted "
            "CROSS JOIN tune ON tune_id = wanted.value",
            [json.dumps(sorted(tune_ids))],
        )
    )


def versions(corpus: Corpus, name: str) -> Placed:
    """Other versions of a tune: its kin by music, each whole, with what it differs by."""
    said = {
        member.row.tune_id: f"{member.sureness:.0%} sure: {'; '.join(member.differences)}"
        for member in family_of_tune(corpus, name).members[1:]
    }
    rows = rows_named(corpus, said)

    def places(tunes: Sequence[int]) -> Places:
        whole = corpus.query(
            "SELECT tune, first_bar, last_bar FROM json_each(?) AS wanted "
            "CROSS JOIN tune_facet ON tune = wanted.value",
            [listed(tunes)],
        )
        found: Places = {
            tune: [(first, last, said[rows[tune]])] for tune, first, last in whole
        }
        return found

    return Placed(set(rows), places)


def whole_lines(corpus: Corpus, wish: Wish) -> Placed:
    """The lines that a wish means, from their first bar to their last."""
    meant = lines_meeting(corpus, wish)

    def places(tunes: Sequence[int]) -> Places:
        wanted = set(tunes)
        pieces = {line: piece for line, piece in meant.items() if piece in wanted}
        rows = corpus.query(
            "SELECT tune.id, tune_id FROM json_each(?) AS wanted "
            "CROSS JOIN tune ON tune.id = wanted.value",
            [listed(pieces)],
        )
        melodies = corpus.melodies(
            [tune_id for _, tune_id in rows], on_damage=lambda damage: None
        )
        found: Places = defaultdict(list)
        for row, tune_id in rows:
            melody = melodies.get(tune_id)
            if melody:
                said = melody.line.words or melody.line.name or "the only line"
                span = melody.bar[0], melody.bar[-1]
                found[pieces[row]].append((*span, said, tune_id))
        return found

    return Placed(set(meant.values()), places)


def in_line(melody: Melody) -> str:
    """Which line of a piece holds a phrase, where it is not the main one."""
    return "" if melody.line.is_main else f" in {melody.line.words}"


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
