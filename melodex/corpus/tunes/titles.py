"""Finding tunes by what a person calls them, and listing them.

Conventions: titles are compared without case and accents
(:func:`melodex.corpus.rows.folded`), and where none is found so, without apostrophes.

Contents: resolved, nearest, listed, bare, BARE_TITLE.
"""

from __future__ import annotations

import re
import string
from collections.abc import Iterable
from pathlib import Path
from typing import Any, Protocol

from melodex.corpus.rows import folded, place_path
from melodex.corpus.schema import TUNE_OVERVIEW
from melodex.corpus.shards.merging import Merge, in_order, leading_number
from melodex.corpus.tunes.tune_rows import FIRST_PLACE, TuneRow
from melodex.errors import REMEDIES, CorpusError, PhraseError, UnknownTuneError
from melodex.melody.tune_id import leading

__all__ = ["BARE_TITLE", "Asked", "bare", "listed", "resolved"]

CANDIDATES = 8
"""How many tunes an error names when a title fits several."""

SUGGESTED = 3
"""How many tunes an error names when a title fits none."""

LOOKED_AT = 50
"""Titles that are compared in full, the best by runs of three letters that they share."""
MOST_RUNS = 60
"""Runs of three letters that are asked for; a longer name is told by fewer."""

LEAST_ALIKE = 0.3
"""Of the runs of three letters of both names; our choice: a letter or two are wrong."""

MOST_WORDS = 100
"""That a tune is looked for by: SQLite takes conditions a thousand deep
(https://www.sqlite.org/limits.html, 5), and each word is four of them."""

BARE_TITLE = "replace(replace(title_folded, '''', ''), '\u2019', '')"
"""A title as it is typed in a hurry: "cats whisker"."""

PLACED = r"(?a)(.*?[^/\s][.]\w{2,10})\s*[ #]\s*(\w+)"
"""A file, and the number of a tune in it, as lists show them."""

SHORTEST_PREFIX = 4
"""Digits of a tune id that may stand for the whole: 65,536 combinations."""


class Asked(Protocol):
    """What is asked for titles: an opened corpus, which itself calls this module."""

    path: Path

    def query(
        self, sql: str, values: Iterable[Any] = (), *, merge: Merge | None = None
    ) -> list[tuple[Any, ...]]:
        """Run a statement that reads."""

    def tune_rows(
        self, clause: str, values: Iterable[Any] = (), *, merge: Merge | None = None
    ) -> list[TuneRow]:
        """Rows of tunes that a clause picks."""


def resolved(corpus: Asked, text: str) -> str:
    """Return the tune id that a person means; see :meth:`Corpus.resolve`."""
    wanted = text.strip()
    one, candidates = found_by(corpus, wanted)
    if not one and not candidates and (lined := re.fullmatch(LINED, wanted)):
        # A line of a piece, by its number.
        return line_named(corpus, resolved(corpus, lined[1]), int(lined[2]))
    if not one and not candidates and (chosen := re.fullmatch(CHOSEN, wanted)):
        # One of several that go by a name, by its number in the list of them.
        one, candidates = found_by(corpus, chosen[1])
        place = int(chosen[2]) - 1
        if one and place == 0:
            return one
        if 0 <= place < len(candidates):
            return candidates[place][0]
        wanted = chosen[1]
    if one:
        return one
    raise unknown(corpus, wanted, candidates)


LINED = r"(?a)(.+?),?\s+line\s+(\d{1,3})(?:\s+of\s+\d{1,3}\)?)?"


def line_named(corpus: Asked, tune_id: str, number: int) -> str:
    """The line of the piece of a tune that has a number.

    Raises
    ------
    UnknownTuneError
        If the piece has no such line; its lines are named.
    """
    piece = f"SELECT piece FROM ({TUNE_OVERVIEW}) WHERE tune_id = ?"
    rows = corpus.tune_rows(f"WHERE piece = ({piece}) ORDER BY line", [tune_id])
    for row in rows:
        if row.line == number:
            return row.tune_id
    named = "; ".join(f"line {row.line} {row.part_name}".strip() for row in rows[:20])
    raise UnknownTuneError(
        f"there is no line {number} in this piece", where=str(corpus.path), hint=named
    )


CHOSEN = r"(?a)(.+?)\s*#(\d{1,5})"


def found_by(corpus: Asked, text: str) -> tuple[str, list[tuple[str, str]]]:
    """The one tune that a name means, or those that it could mean, by their ids."""
    candidates: list[tuple[str, str]] = []
    for clause, value in readings(text):
        found = corpus.query(
            f"SELECT tune_id, title FROM tune WHERE ({clause}){by_main(clause)} "
            "ORDER BY tune_id",
            value,
            merge=in_order(0),
        )
        if len(found) == 1:
            return found[0][0], []
        if found and not candidates:
            candidates = [(row[0], row[1]) for row in found]
    if candidates:
        return "", candidates
    one, candidates = by_file(corpus, text)
    return (one, candidates) if one or candidates else by_place(corpus, text)


def by_main(clause: str) -> str:
    """A title means the main line of a piece; an id means the line that has it."""
    return "" if clause.startswith("tune_id") else f" AND {IS_MAIN}"


# A tune that is the only line of a piece, or the main one, in its first place.
IS_MAIN = f"""NOT EXISTS (SELECT 1 FROM place WHERE place.id = {FIRST_PLACE}
AND line_count > 1 AND piece <> tune.tune_id AND EXISTS (
SELECT 1 FROM tune AS main WHERE main.tune_id = place.piece))"""


def by_file(corpus: Asked, text: str) -> tuple[str, list[tuple[str, str]]]:
    """Tunes without title that go by the name of their file, or a part of it."""
    asked = folded(text)
    if not asked:
        return "", []
    rows = corpus.tune_rows(
        f"WHERE title = '' AND {SHOWN_MAIN} ORDER BY tune_id", merge=in_order(TUNE_ID)
    )
    named = [(row.tune_id, folded(row.name)) for row in rows]
    for found in (
        [entry for entry in named if entry[1] == asked],
        [entry for entry in named if asked in entry[1]],
    ):
        if found:
            return (found[0][0], []) if len(found) == 1 else ("", found)
    return "", []


def by_place(corpus: Asked, text: str) -> tuple[str, list[tuple[str, str]]]:
    """Tunes by the file that they were read from, and their number in it."""
    asked = re.fullmatch(PLACED, text)
    if not asked:
        return "", []
    source, number = asked.groups()
    found = corpus.query(
        "SELECT DISTINCT tune.tune_id, title FROM place JOIN tune ON tune.id = place.tune "
        "WHERE (source = ? OR substr(source, -length(?) - 1) = '/' || ?) "
        f"AND number = ? AND {IS_MAIN} ORDER BY tune_id",
        [source, source, source, number],
        merge=in_order(0),
    )
    named = [(row[0], row[1]) for row in found]
    return (named[0][0], []) if len(named) == 1 else ("", named)


def bare(text: str) -> str:
    """A name as :data:`BARE_TITLE` has it."""
    return folded(text).replace("'", "").replace("\u2019", "")


def readings(text: str) -> list[tuple[str, list[Any]]]:
    """The conditions that a name can be read as, the strictest first."""
    ways: list[tuple[str, list[Any]]] = []
    digits = text.lower()
    if len(text) >= SHORTEST_PREFIX and set(digits) <= set(string.hexdigits):
        # Above every id with that beginning stands the same text and a "g".
        ways.append(("tune_id >= ? AND tune_id < ?", [digits, digits + "g"]))
    if text:
        ways.append(("title = ?", [text]))
        ways.append(("title_folded = ?", [folded(text)]))
        ways.append(("instr(title_folded, ?)", [folded(text)]))
        words = list(dict.fromkeys(folded(text).split()))
        # No title has more words than are asked for.
        if words != [folded(text)] and 0 < len(words) <= MOST_WORDS:
            each = " AND ".join("instr(title_folded, ?)" for _ in words)
            ways.append((each, words))
        words = list(dict.fromkeys(bare(text).split()))
        if 0 < len(words) <= MOST_WORDS:
            ways.append((" AND ".join(f"instr({BARE_TITLE}, ?)" for _ in words), words))
    return ways


def unknown(
    corpus: Asked, text: str, candidates: list[tuple[str, str]]
) -> UnknownTuneError:
    """The error that says which tunes a name could mean."""
    if not candidates:
        near = nearest(corpus, text)
        named = "; ".join(f"{leading(tune_id)} {title}" for tune_id, title in near)
        error = UnknownTuneError(
            f"no tune goes by the name {text!r}",
            where=str(corpus.path),
            hint=f"the nearest: {named}" if near else REMEDIES["find title"],
        )
        error.name, error.nearest = text, tuple(title for _, title in near)
        return error
    rows = rows_of(corpus, [tune_id for tune_id, _ in candidates[:CANDIDATES]])
    ids = names_of(rows)
    shown = "".join(
        f"\n  {n}  {tune_id}  {told(row)}"
        for n, (tune_id, row) in enumerate(zip(ids, rows, strict=True), start=1)
    )
    more = len(candidates) - CANDIDATES
    error = UnknownTuneError(
        f"{len(candidates)} tunes go by the name {text!r}",
        where=str(corpus.path),
        hint=f"choose by number, as in '{text} #1', or by id:{shown}"
        + (f"\n  and {more} more: add a word of the title" if more > 0 else ""),
    )
    error.name = text
    error.candidates, error.candidates_in_all = tuple(rows), len(candidates)
    return error


def rows_of(corpus: Asked, tune_ids: list[str]) -> list[TuneRow]:
    """Some tunes as lists show them, in the order of their ids."""
    marks = ", ".join("?" * len(tune_ids))
    return corpus.tune_rows(
        f"WHERE tune_id IN ({marks}) ORDER BY tune_id", tune_ids, merge=in_order(TUNE_ID)
    )


def names_of(rows: list[TuneRow]) -> list[str]:
    """The ids of some tunes, by as many digits as tell them apart."""
    short = [leading(row.tune_id) for row in rows]
    return short if len(set(short)) == len(rows) else [row.tune_id for row in rows]


def told(row: TuneRow) -> str:
    """A tune by what tells it from others of its name."""
    bars = f"{row.bar_count} bar{'' if row.bar_count == 1 else 's'}"
    file = f"{row.source.rpartition('/')[2]} {row.number}".strip()
    facts = [fact for fact in (row.composer, row.key, row.metre, bars, file) if fact]
    return f"{row.name}: {', '.join(facts)}"


def nearest(corpus: Asked, text: str) -> list[tuple[str, str]]:
    """Tunes whose title comes nearest to a name, by runs of three letters.

    A corpus whose index of words is damaged suggests nothing: ``check`` names that.
    """
    runs = sorted(three_letters(folded(text)))[:MOST_RUNS]
    if not runs:
        return []
    asked = " OR ".join(quoted(run) for run in runs)
    shared = " + ".join("(instr(tune_words.title, ?) > 0)" for _ in runs)
    try:
        # Not by SQLite's rank, which weighs runs by how rare they are in one file.
        rows = corpus.query(
            "SELECT tune_id, title, 2.0 * shared / (runs + ?) AS alike FROM ("
            f"SELECT tune.tune_id, tune.title, {shared} AS shared, "
            "length(tune_words.title) - 2 AS runs FROM tune_words_fts "
            "JOIN tune ON tune.id = tune_words_fts.rowid "
            "JOIN tune_words ON tune_words.tune = tune.id "
            "WHERE tune_words_fts MATCH ?) WHERE shared "
            "ORDER BY alike DESC, tune_id LIMIT ?",
            [len(runs), *runs, f"{{title}}: ({asked})", LOOKED_AT],
            merge=in_order(key=lambda row: (-row[2], row[0]), limit=LOOKED_AT),
        )
    except CorpusError:
        return []
    wanted = set(runs)
    alike = [(likeness(wanted, three_letters(folded(row[1]))), row) for row in rows]
    near = [(-share, row[0], row[1]) for share, row in alike if share >= LEAST_ALIKE]
    return [(tune_id, title) for _, tune_id, title in sorted(near)[:SUGGESTED]]


def three_letters(text: str) -> set[str]:
    """Every run of three letters of a name."""
    return {text[at : at + 3] for at in range(len(text) - 2)}


def likeness(one: set[str], other: set[str]) -> float:
    """Share of the runs of two names that both have (Dice 1945, Ecology 26, 297-302)."""
    return 2 * len(one & other) / (len(one) + len(other) or 1)


def quoted(text: str) -> str:
    """Text as FTS5 takes it for itself alone (https://www.sqlite.org/fts5.html, 3.1)."""
    return '"' + text.replace('"', '""') + '"'


def listed(
    corpus: Asked,
    collection: str,
    title: str,
    tag: str,
    source: str,
    words: str,
    limit: int | None,
) -> list[TuneRow]:
    """List tunes; see :meth:`Corpus.tunes`."""
    conditions: list[str] = []
    values: list[Any] = []
    if collection:
        conditions.append(f"tune_id IN ({IN_COLLECTION})")
        values.append(collection)
    if title:
        conditions.append(
            f"tune_id IN (SELECT tune_id FROM tune WHERE instr({BARE_TITLE}, ?))"
        )
        values.append(bare(title))
    wanted = list(dict.fromkeys(folded(words).split()))
    if len(wanted) > MOST_WORDS:
        raise PhraseError(
            f"{len(wanted)} different words to look for", hint=f"take at most {MOST_WORDS}"
        )
    for word in wanted:
        by_words = WITH_LETTERS if len(word) > 2 else WITH_PART
        conditions.append(f"(tune_id IN ({by_words}) OR tune_id IN ({WITH_REMARK}))")
        values += [quoted(word) if len(word) > 2 else word, word]
    if tag:
        conditions.append(f"tune_id IN ({WITH_TAG})")
        values.append(tag)
    if source:
        conditions.append(f"tune_id IN ({FROM_SOURCE})")
        path = place_path(source)
        values += [path, path.rstrip("/") + "/", path.rstrip("/") + "0"]
    # A piece is listed by its main line, whichever of its lines was meant.
    if conditions:
        meant = f"SELECT piece FROM ({TUNE_OVERVIEW}) WHERE {' AND '.join(conditions)}"
        conditions = [f"(tune_id IN ({meant}) OR ({' AND '.join(conditions)}))"]
        values = [*values, *values]
    where = f"WHERE {' AND '.join([*conditions, SHOWN_MAIN])} "
    # A number counts as one where it is one: 2 before 10.
    order = "ORDER BY collection, source, CAST(number AS INTEGER), number, tune_id"
    values.append(-1 if limit is None else limit)
    merge = in_order(key=place_in_list, limit=-1 if limit is None else limit)
    return corpus.tune_rows(f"{where}{order} LIMIT ?", values, merge=merge)


TUNE_ID, COLLECTION, SOURCE, NUMBER = (
    TuneRow.__slots__.index(name) for name in ("tune_id", "collection", "source", "number")
)


def place_in_list(row: tuple[Any, ...]) -> tuple[Any, ...]:
    """What rows of a list are in order of, as the statement says it."""
    number = row[NUMBER]
    order = leading_number(number), number, row[TUNE_ID]
    return row[COLLECTION], row[SOURCE], *order


# Of what lists show: the main line, or one whose main line is gone.
SHOWN_MAIN = """(line_count = 1 OR piece = tune_id
OR NOT EXISTS (SELECT 1 FROM tune AS main WHERE main.tune_id = piece))"""

IN_COLLECTION = """
SELECT tune_id FROM tune JOIN place ON place.tune = tune.id
JOIN collection ON collection.id = place.collection WHERE collection.name = ?"""

WITH_LETTERS = """
SELECT tune_id FROM tune JOIN tune_words_fts ON tune_words_fts.rowid = tune.id
WHERE tune_words_fts MATCH ?"""

# The index knows no runs of less than three letters.
WITH_PART = """
SELECT tune_id FROM tune JOIN tune_words ON tune_words.tune = tune.id
WHERE instr(tune_words.title || ' ' || makers || ' ' || lyrics, ?)"""

WITH_REMARK = """
SELECT tune_id FROM tune JOIN remark ON remark.tune = tune.id
WHERE instr(remark.text_folded, ?)"""

WITH_TAG = """
SELECT tune_id FROM tune JOIN tag ON tag.tune = tune.id WHERE tag.name = ?"""

# A folder's files have paths between "folder/" and "folder0": 0 follows / in ASCII.
FROM_SOURCE = """
SELECT tune_id FROM tune JOIN place ON place.tune = tune.id
WHERE place.file = ? OR (place.file >= ? AND place.file < ?)"""
