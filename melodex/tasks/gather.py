"""gather: which pieces and passages show a feature.

Conventions: every wish that is stated has to be met by a tune. Wishes that stand in
some bars (a device, a section, a progression, a melody note on its chord, a phrase)
give the passages, so that a tune may come several times; wishes about the whole tune
only narrow. Bars go by printed numbers. What is asked of chords and keys was worked
out when the tune was added.

Contents: Wish, Example, Gathering, gather, device_kinds.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, Any

from melodex.analysis.chords import parse_chord
from melodex.analysis.devices import KINDS
from melodex.analysis.progression_search import PARTING, find_in_row, sift
from melodex.analysis.progressions import (
    ChordToken,
    Progression,
    read_progression,
    token_of,
)
from melodex.corpus.rows import folded
from melodex.errors import AnalysisError
from melodex.matching.figures import tunes_holding
from melodex.matching.query import encode_query
from melodex.reading.phrase import read_phrase

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = ["Example", "Gathering", "Wish", "device_kinds", "gather"]

Place = tuple[int, int, str]
Places = dict[int, list[Place]]


@dataclass(frozen=True, slots=True)
class Wish:
    """What is asked for; empty and None ask for nothing.

    Parameters
    ----------
    metre : str
        Class of metre: simple, compound, irregular, mixed, free.
    mode : str
        Mode of the whole tune.
    key_centres : int or None
        At least so many different tonics.
    key_change : str
        Words of a change of key, such as ``relative`` or ``whole tone``.
    modal : str
        Mode that colours a passage of a tune in another one.
    section_bars : int or None
        A section of just so many bars.
    odd_sections : bool
        A section whose length is no multiple of four bars.
    device : str
        Kind of a harmonic device; or, where it names none, part of a name or reason.
    progression : str
        Chords in Roman numerals or chord symbols, found in every key.
    exact_progression : bool
        Whether nothing may stand for a chord of it.
    note_on_chord : str
        Degree of the melody on a chord, such as ``7 on iv`` or ``#11 on bVII7``.
    phrase : str
        A figure that the melody holds in any key.
    nearly : bool
        Whether one note of that figure may be another.
    returning : str
        A figure that returns inside the tune: sequence, repetition, inversion.
    title, composer, collection, tag : str
        Part of the title or composer; name of a collection or tag.
    after, before : int or None
        First and last year.
    """

    metre: str = ""
    mode: str = ""
    key_centres: int | None = None
    key_change: str = ""
    modal: str = ""
    section_bars: int | None = None
    odd_sections: bool = False
    device: str = ""
    progression: str = ""
    exact_progression: bool = False
    note_on_chord: str = ""
    phrase: str = ""
    nearly: bool = False
    returning: str = ""
    title: str = ""
    composer: str = ""
    collection: str = ""
    tag: str = ""
    after: int | None = None
    before: int | None = None

    def told(self) -> tuple[str, ...]:
        """The wishes that are stated, in words."""
        return tuple(
            column.name.replace("_", " ")
            if getattr(self, column.name) is True
            else f"{column.name.replace('_', ' ')} {getattr(self, column.name)}"
            for column in fields(self)
            if getattr(self, column.name) not in ("", None, False)
        )


@dataclass(frozen=True, slots=True)
class Example:
    """A passage, or a whole tune, that shows what is asked for."""

    tune_id: str
    title: str
    composer: str
    year: int | None
    collection: str
    source: str
    number: str
    rights: str
    first_bar: int
    last_bar: int
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Gathering:
    """What was gathered; ``tunes`` counts those that show it, of ``corpus_tunes``."""

    wish: Wish
    examples: tuple[Example, ...]
    tunes: int
    corpus_tunes: int
    remarks: tuple[str, ...] = ()


def gather(corpus: Corpus, wish: Wish, *, limit: int | None = None) -> Gathering:
    """Find the pieces and passages that show a feature.

    Parameters
    ----------
    corpus : Corpus
        Opened for reading.
    wish : Wish
        What is asked for.
    limit : int, optional
        At most so many examples; all are counted.

    Returns
    -------
    Gathering
        Examples in order of collection, title, tune id and bar.

    Raises
    ------
    AnalysisError
        If nothing is asked for, or a wish cannot be understood.
    """
    if not wish.told():
        raise AnalysisError(
            "nothing is asked for", hint="name a feature, such as --device 'borrowed chord'"
        )
    kept = tunes_of(corpus, wish)
    located: list[Places] = []
    for places in placed_wishes(corpus, wish, kept):
        located.append(places)
        kept &= places.keys()
    examples = examples_of(corpus, kept, located)
    remarks = () if kept else unmet(corpus, wish)
    return Gathering(
        wish,
        tuple(examples if limit is None else examples[:limit]),
        len(kept),
        corpus.tune_count,
        remarks,
    )


def device_kinds(corpus: Corpus) -> list[tuple[str, int]]:
    """Kinds of devices in the corpus, and how many tunes show each."""
    rows = corpus.query(
        "SELECT kind, count(DISTINCT tune) FROM device GROUP BY kind ORDER BY kind"
    )
    return [(str(kind), int(tunes)) for kind, tunes in rows]


def unmet(corpus: Corpus, wish: Wish) -> tuple[str, ...]:
    """What may help where nothing was found."""
    if wish.device:
        kinds = ", ".join(f"{kind} ({tunes})" for kind, tunes in device_kinds(corpus))
        return (f"Devices in this corpus: {kinds or 'none'}.",)
    return ()


# Wishes about the whole tune, in SQL.


def tunes_of(corpus: Corpus, wish: Wish) -> set[int]:
    """Rows of the tunes that meet every wish about the whole tune."""
    clauses: list[str] = []
    values: list[Any] = []
    for clause, value in whole_clauses(wish):
        clauses.append(clause)
        values += value
    where = f"WHERE {' AND '.join(clauses)}" if clauses else ""
    rows = corpus.query(
        f"SELECT tune.id FROM tune JOIN tune_facet ON tune_facet.tune = tune.id {where}",
        values,
    )
    return {row[0] for row in rows}


def whole_clauses(wish: Wish) -> Iterator[tuple[str, list[Any]]]:
    """A condition and its values for each wish about the whole tune."""
    if wish.metre:
        yield "tune_facet.metre_class = ?", [wish.metre]
    if wish.mode:
        yield "tune_facet.mode = ?", [wish.mode]
    if wish.key_centres is not None:
        yield "tune_facet.key_centres >= ?", [wish.key_centres]
    if wish.title:
        yield "tune.title_folded LIKE ? ESCAPE '\\'", [like(folded(wish.title))]
    if wish.composer:
        yield "tune.composer LIKE ? ESCAPE '\\'", [like(wish.composer)]
    if wish.after is not None:
        yield "tune.year >= ?", [wish.after]
    if wish.before is not None:
        yield "tune.year <= ?", [wish.before]
    if wish.collection:
        yield (
            "EXISTS (SELECT 1 FROM place JOIN collection ON collection.id = "
            "place.collection WHERE place.tune = tune.id AND collection.name = ?)",
            [wish.collection],
        )
    if wish.tag:
        yield (
            "EXISTS (SELECT 1 FROM tag WHERE tag.tune = tune.id AND tag.name = ?)",
            [wish.tag],
        )


def like(text: str) -> str:
    """A LIKE pattern for a text that stands anywhere."""
    escaped = text.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_")
    return f"%{escaped}%"


# Wishes that stand in some bars.


def placed_wishes(corpus: Corpus, wish: Wish, kept: set[int]) -> Iterator[Places]:
    """Where each wish that stands in some bars is met, tune by tune."""
    if wish.device:
        yield from_rows(
            corpus,
            "SELECT tune, first_bar, last_bar, kind || ': ' || reason FROM device "
            "WHERE kind = ?1 OR (NOT ?3 AND (kind LIKE ?2 ESCAPE '\\' "
            "OR reason LIKE ?2 ESCAPE '\\'))",
            # Who names a kind in full does not mean what is only said beside another.
            [wish.device, like(wish.device), wish.device in KINDS],
        )
    if wish.key_change:
        yield from_rows(
            corpus,
            "SELECT tune, first_bar, last_bar, 'change of key ' || how FROM key_span "
            "WHERE place > 0 AND how LIKE ? ESCAPE '\\'",
            [like(wish.key_change)],
        )
    if wish.modal:
        yield from_rows(
            corpus,
            "SELECT tune, first_bar, last_bar, mode || ' colour in ' || home_mode || "
            "', told by ' || telling_degree FROM modal_passage WHERE mode = ?",
            [wish.modal],
        )
    if wish.section_bars is not None or wish.odd_sections:
        yield from_rows(
            corpus,
            "SELECT tune, first_bar, last_bar, 'section ' || label || ' of ' || bars || "
            "' bars' FROM section WHERE (?1 IS NULL OR bars = ?1) AND (NOT ?2 OR odd)",
            [wish.section_bars, int(wish.odd_sections)],
        )
    if wish.returning:
        yield from_rows(
            corpus,
            "SELECT tune, first_bar, last_bar, kind || ': ' || words "
            "FROM returning_figure WHERE kind = ?",
            [wish.returning],
        )
    if wish.note_on_chord:
        yield notes_on_chords(corpus, wish.note_on_chord)
    if wish.progression:
        yield progressions(corpus, wish, kept)
    if wish.phrase:
        yield figures(corpus, wish)


def from_rows(corpus: Corpus, sql: str, values: Sequence[Any]) -> Places:
    """Places by tune, from rows of tune, first bar, last bar and reason."""
    found: Places = defaultdict(list)
    for tune, first, last, reason in corpus.query(sql, values):
        found[tune].append((first, last, reason))
    return found


def notes_on_chords(corpus: Corpus, text: str) -> Places:
    """Where the melody has a degree on a chord: ``7 on iv``."""
    degree, found, numeral = text.partition(" on ")
    if not found or not degree.strip() or not numeral.strip():
        raise AnalysisError(
            f"{text!r} names no melody note on a chord", hint="write '7 on iv'"
        )
    return from_rows(
        corpus,
        "SELECT tune, min(bar), max(bar), degree || ' on ' || numeral FROM note_on_chord "
        "WHERE degree = ?1 AND (numeral = ?2 OR (numeral GLOB ?2 || '[0-9(mø°+]*')) "
        "GROUP BY tune, chord",
        [degree.strip(), numeral.strip()],
    )


def progressions(corpus: Corpus, wish: Wish, kept: set[int]) -> Places:
    """Where a progression stands: sifted over all tunes at once, then aligned."""
    progression = read_progression(wish.progression)
    rows = corpus.query(
        "SELECT tune, chord_row FROM tune_facet WHERE chord_row IS NOT NULL ORDER BY tune"
    )
    rows = [row for row in rows if row[0] in kept]
    candidates = sifted(progression, rows, exact=wish.exact_progression)
    found: Places = defaultdict(list)
    for tune, tokens, bars in chords_of(corpus, candidates):
        for match in find_in_row(progression, tokens, exact=wish.exact_progression):
            found[tune].append(
                (bars[match.first], bars[match.last], reason_of(match.pairs, tokens, bars))
            )
    return found


def sifted(
    progression: Progression, rows: Sequence[tuple[Any, ...]], *, exact: bool
) -> list[int]:
    """Tunes in whose row of chords a progression may start."""
    parted = b"".join(row[1] + bytes([PARTING]) for row in rows)
    if not parted:
        return []
    places = sift(progression, parted, exact=exact)
    found: list[int] = []
    end = number = 0
    for tune, row in rows:
        end += len(row) + 1
        inside = False
        while number < len(places) and places[number] < end:
            inside, number = True, number + 1
        if inside:
            found.append(tune)
    return found


def chords_of(
    corpus: Corpus, tunes: Sequence[int]
) -> Iterator[tuple[int, list[ChordToken], list[int]]]:
    """Chords of some tunes as tokens, and the bar of each chord."""
    rows = corpus.query(
        "SELECT tune, bar, text, root_fifths, degree_fifths FROM chord "
        "WHERE tune IN (SELECT value FROM json_each(?)) ORDER BY tune, place",
        [json.dumps(list(tunes))],
    )
    by_tune: dict[int, list[tuple[Any, ...]]] = defaultdict(list)
    for row in rows:
        by_tune[row[0]].append(row[1:])
    for tune, chords in by_tune.items():
        yield tune, tokens_of_rows(chords), [bar for bar, *_ in chords]


def tokens_of_rows(chords: Iterable[tuple[Any, ...]]) -> list[ChordToken]:
    """Tokens of (bar, text, root, degree), mere repetitions put together."""
    tokens: list[ChordToken] = []
    for place, (_, text, root, degree) in enumerate(chords):
        if root is None:
            continue
        tonic = None if degree is None else root - degree
        if tokens and (tokens[-1].text, tokens[-1].tonic_fifths) == (text, tonic):
            tokens[-1] = tokens[-1]._replace(last=place)
            continue
        token = token_of(parse_chord(text))
        tokens.append(token._replace(tonic_fifths=tonic, first=place, last=place))
    return tokens


def reason_of(pairs: Sequence[Any], tokens: Sequence[ChordToken], bars: list[int]) -> str:
    """The chords that were found, and what stands for what."""
    texts = [tokens[pair.found].text for pair in pairs if pair.found is not None]
    others = [
        f"{tokens[pair.found].text} {pair.relation}"
        for pair in pairs
        if pair.found is not None and pair.relation != "same chord"
    ]
    tail = f" ({'; '.join(dict.fromkeys(others))})" if others else ""
    return f"progression {' '.join(texts)}{tail}"


def figures(corpus: Corpus, wish: Wish) -> Places:
    """Where the melody holds a figure, in any key."""
    phrase = read_phrase(wish.phrase)
    if phrase.notation == "contour":
        raise AnalysisError(
            "a contour is too little to gather by", hint="type degrees or steps"
        )
    pitch = encode_query(phrase).pitch
    last = len(pitch) - 1
    ids = tunes_holding(corpus.chunks(), pitch, allow_change=wish.nearly)
    melodies = corpus.melodies(ids)
    rows = corpus.query(
        "SELECT id, tune_id FROM tune WHERE tune_id IN (SELECT value FROM json_each(?))",
        [json.dumps(ids)],
    )
    return {
        row: [
            (melody.bar[start], melody.bar[start + last], f"holds {wish.phrase}")
            for melody in [melodies[tune_id]]
            for start in starts_of(melody.midi, pitch, wish.nearly)
        ]
        for row, tune_id in rows
    }


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


# Examples.


def examples_of(corpus: Corpus, kept: set[int], located: Sequence[Places]) -> list[Example]:
    """Passages of the tunes that meet every wish; whole tunes where none is placed."""
    rows = corpus.query(
        """
        SELECT tune.id, tune.tune_id, tune.title, tune.composer, tune.year,
               collection.name, place.source, place.number, tune.rights,
               json_extract(tune.melody, '$.bar[0]'),
               json_extract(tune.melody, '$.bar[#-1]')
        FROM json_each(?) AS wanted
        JOIN tune ON tune.id = wanted.value
        LEFT JOIN place ON place.id = (SELECT min(id) FROM place WHERE place.tune = tune.id)
        LEFT JOIN collection ON collection.id = place.collection
        ORDER BY collection.name, tune.title, tune.tune_id
        """,
        [json.dumps(sorted(kept))],
    )
    examples: list[Example] = []
    for row in rows:
        tune_id, title, composer, year, collection, source, number, rights = row[1:9]
        for first, last, reasons in passages_of(row[0], (row[9], row[10]), located):
            found = Example(
                tune_id=tune_id,
                title=title,
                composer=composer,
                year=year,
                collection=collection or "",
                source=source or "",
                number=number or "",
                rights=rights,
                first_bar=first,
                last_bar=last,
                reasons=reasons,
            )
            examples.append(found)
    return examples


def passages_of(
    tune: int, whole: tuple[int, int], located: Sequence[Places]
) -> Iterator[tuple[int, int, tuple[str, ...]]]:
    """Passages of one tune: those of the first wish that is placed, others told once."""
    if not located:
        yield whole[0], whole[1], ()
        return
    others = tuple(
        f"{reason} (bars {first}-{last})"
        for places in located[1:]
        for first, last, reason in places[tune][:1]
    )
    for first, last, reason in sorted(set(located[0][tune])):
        yield first, last, (reason, *others)
