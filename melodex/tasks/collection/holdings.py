"""What is in a corpus: listing, showing, removing, tagging, counting.

Contents: Listing, list_tunes, TuneDetail, show_tune, Removal, Meant, tunes_meant,
remove_tunes,
remove_from, Tagging, tag_tunes, list_tags, Holdings, holdings.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any

from melodex.analysis.harmony.devices.device import KINDS
from melodex.corpus.reader import Corpus
from melodex.corpus.rows import folded
from melodex.corpus.shards.merging import by_place, summed
from melodex.corpus.tunes.melodies import NAMED
from melodex.corpus.tunes.particulars import (
    PlaceRow,
    RemarkRow,
    WarningRow,
    places_of,
    remarks_of,
    warnings_of,
)
from melodex.corpus.tunes.tune_rows import (
    IN_ORDER,
    LineRow,
    TuneRow,
    lines_of,
    with_their_lines,
)
from melodex.errors import REMEDIES, CorpusError
from melodex.melody import MODES, Key, Melody, name_of
from melodex.melody.tune_id import leading

if TYPE_CHECKING:
    from melodex.corpus.writing.rows.places import RemoveReport

__all__ = [
    "Count",
    "Holdings",
    "Listing",
    "Meant",
    "Removal",
    "Tagging",
    "TuneDetail",
    "holdings",
    "list_tags",
    "list_tunes",
    "remove_from",
    "remove_tunes",
    "show_tune",
    "tag_tunes",
    "tunes_meant",
]

LONGEST_TAG = 60
"""Characters of a tag; our choice."""

ENOUGH_TUNES = 3
"""Tunes from which a class can hear what a mode or device has in common; our choice."""


@dataclass(frozen=True, slots=True)
class Listing:
    """Tunes of a corpus, and how many fit what was asked."""

    tunes: tuple[TuneRow, ...]
    matching: int
    corpus_tunes: int
    journal_bytes: int = 0
    """In a journal beside the corpus, whose file alone is then not whole."""


@dataclass(frozen=True, slots=True)
class TuneDetail:
    """Everything that the corpus knows of one tune."""

    row: TuneRow
    places: tuple[PlaceRow, ...]
    warnings: tuple[WarningRow, ...]
    remarks: tuple[RemarkRow, ...]
    melody: Melody
    lines: tuple[LineRow, ...] = ()
    """Of its piece, where that has several."""


@dataclass(frozen=True, slots=True)
class Removal:
    """Tunes taken out, and tunes that stay because they stand elsewhere too."""

    removed: tuple[TuneRow, ...]
    kept: tuple[TuneRow, ...] = ()
    can_be_undone: bool = True
    """False where it was too much to be kept."""


@dataclass(frozen=True, slots=True)
class Tagging:
    """A word put on tunes or taken off; ``changed`` of ``tune_count`` were news."""

    name: str
    tune_count: int
    changed: int
    taken_off: bool = False


@dataclass(frozen=True, slots=True)
class Count:
    """How many tunes share a value."""

    value: str
    tune_count: int


@dataclass(frozen=True, slots=True)
class Holdings:
    """What a corpus holds: counts by what musicians look for.

    ``modes`` are printed, ``keys`` those that were worked out, ``makers`` are composers;
    ``devices`` counts the tunes that show each kind.
    ``thin_modes`` and ``thin_devices`` are those that fewer than :data:`ENOUGH_TUNES`
    tunes show, or none; modes there are those that the analysis finds.
    """

    tune_count: int
    note_count: int
    collections: tuple[Count, ...]
    modes: tuple[Count, ...]
    metres: tuple[Count, ...]
    rhythms: tuple[Count, ...]
    decades: tuple[Count, ...]
    tags: tuple[Count, ...]
    devices: tuple[Count, ...] = ()
    thin_modes: tuple[Count, ...] = ()
    thin_devices: tuple[Count, ...] = ()
    keys: tuple[Count, ...] = ()
    makers: tuple[Count, ...] = ()


ORDERS: dict[str, Callable[[TuneRow], tuple[Any, ...]]] = {
    "title": lambda row: (folded(row.title),),
    "by": lambda row: (folded(row.composer), row.year or 0, folded(row.title)),
    "key": lambda row: (row.key, folded(row.title)),
    "metre": lambda row: (row.metre, folded(row.title)),
    "bars": lambda row: (row.bar_count, folded(row.title)),
    "collection": lambda row: (folded(row.collection), folded(row.title)),
}
"""Orders of a list of tunes; titles without case and accents."""


def list_tunes(
    corpus: Corpus,
    *,
    collection: str = "",
    title: str = "",
    tag: str = "",
    source: str = "",
    words: str = "",
    order: str = "",
    limit: int | None = None,
) -> Listing:
    """List the tunes that fit; see :meth:`melodex.corpus.reader.Corpus.tunes`.

    Parameters
    ----------
    order : str
        A name of :data:`ORDERS`, after a minus for the other way round; anything else
        leaves them in the order of the corpus.
    """
    rows = corpus.tunes(
        collection=collection, title=title, tag=tag, source=source, words=words
    )
    by = ORDERS.get(order.removeprefix("-"))
    if by is not None:
        rows = sorted(rows, key=by, reverse=order.startswith("-"))
    shown = rows if limit is None else rows[:limit]
    held = corpus.tune_count + corpus.sheet_count
    return Listing(tuple(shown), len(rows), held, corpus.journal_bytes)


def show_tune(corpus: Corpus, name: str) -> TuneDetail:
    """Return everything that the corpus knows of one tune.

    Parameters
    ----------
    corpus : Corpus
        An open corpus.
    name : str
        Its id, the beginning of it, its title, or a part of its title.

    Raises
    ------
    UnknownTuneError
        If no tune goes by that name, or several do.
    """
    tune_id = corpus.resolve(name)
    return TuneDetail(
        row=corpus.tune(tune_id),
        places=tuple(places_of(corpus, tune_id)),
        warnings=tuple(warnings_of(corpus, tune_id)),
        remarks=tuple(remarks_of(corpus, tune_id)),
        melody=corpus.melody(tune_id),
        lines=tuple(lines_of(corpus, tune_id)),
    )


@dataclass(frozen=True, slots=True)
class Warned:
    """A tune of which something was not understood, and what, where it stands."""

    tune_id: str
    name: str
    source: str
    number: str
    warnings: tuple[WarningRow, ...]


def warned_tunes(corpus: Corpus, name: str | None = None) -> list[Warned]:
    """Return what was not understood, tune by tune, in the order of files and numbers.

    Parameters
    ----------
    corpus : Corpus
        An open corpus.
    name : str, optional
        One tune, as for :func:`show_tune`; by default all.

    Raises
    ------
    UnknownTuneError
        If no tune goes by that name, or several do.
    """
    clause, values = (
        ("WHERE tune.tune_id = ? ", [corpus.resolve(name)]) if name else ("", [])
    )
    rows = corpus.query(
        "SELECT tune.tune_id, tune.title, source, number, read_warning.line, "
        "column_number, text, place.file, occurrence, read_warning.id "
        "FROM read_warning JOIN place ON place.id = read_warning.place "
        f"JOIN tune ON tune.id = place.tune {clause}ORDER BY {IN_ORDER}, read_warning.id",
        values,
        merge=by_place(7, 3, 8, 9),
    )
    found = []
    for (tune_id, title, source, number), group in groupby(rows, key=lambda row: row[:4]):
        warnings = tuple(WarningRow(source, number, *row[4:7]) for row in group)
        named = name_of(title, source, number)
        found.append(Warned(tune_id, named, source, number, warnings))
    return found


@dataclass(frozen=True, slots=True)
class Meant:
    """A tune that a name means; ``is_exact`` where it is its whole id or title."""

    name: str
    row: TuneRow
    is_exact: bool


def tunes_meant(corpus: Corpus, names: Sequence[str]) -> tuple[Meant, ...]:
    """Say which tunes some names mean, each tune once.

    Raises
    ------
    UnknownTuneError
        If a name fits no tune or several.
    """
    found: dict[str, Meant] = {}
    for name in names:
        row = corpus.tune(corpus.resolve(name))
        said = name.strip()
        by_id = said.lower() in {row.tune_id, leading(row.tune_id)}
        exact = by_id or folded(said) == folded(row.title)
        if row.tune_id not in found or exact:
            found[row.tune_id] = Meant(name, row, exact)
    return tuple(found.values())


def remove_tunes(corpus_path: Path, names: Sequence[str]) -> Removal:
    """Take tunes out of the corpus, from every place.

    Raises
    ------
    UnknownTuneError
        If a name fits no tune or several; nothing is removed then.
    """
    from melodex.corpus.writing.store import CorpusWriter

    with Corpus.open(corpus_path) as corpus:
        ids = list(dict.fromkeys(corpus.resolve(name) for name in names))
        rows = tuple(corpus.tune(tune_id) for tune_id in ids)
        lines = with_their_lines(corpus, ids)
    with CorpusWriter.open(corpus_path, create=False) as writer:
        # A piece goes with all of its lines.
        report = writer.remove([*ids, *sorted(lines - set(ids))])
    return Removal(rows, can_be_undone=undoable(report))


def undoable(report: RemoveReport) -> bool:
    """Whether what was taken out is kept."""
    return report.change is not None and report.change.is_whole


def remove_from(corpus_path: Path, *, source: str = "", collection: str = "") -> Removal:
    """Take out what was read from a file or folder, or what is in a collection.

    Raises
    ------
    CorpusError
        If nothing in the corpus is from there.
    """
    from melodex.corpus.writing.removing import remove_places
    from melodex.corpus.writing.store import CorpusWriter

    with Corpus.open(corpus_path) as corpus:
        rows = {
            row.tune_id: row for row in corpus.tunes(source=source, collection=collection)
        }
        lines = with_their_lines(corpus, rows)
    if not rows:
        what = (
            f"was read from {source}" if source else f"is in the collection {collection!r}"
        )
        raise CorpusError(
            f"no tune {what}",
            where=str(corpus_path),
            hint=REMEDIES["list sources"],
        )
    with CorpusWriter.open(corpus_path, create=False) as writer:
        report = remove_places(writer, source=source, collection=collection, only=lines)
    return Removal(
        tuple(rows[tune_id] for tune_id in report.removed if tune_id in rows),
        tuple(rows[tune_id] for tune_id in report.kept if tune_id in rows),
        undoable(report),
    )


def tag_tunes(
    corpus_path: Path, name: str, tunes: Sequence[str], *, take_off: bool = False
) -> Tagging:
    """Put a word on tunes, or take it off.

    Raises
    ------
    CorpusError
        If the word is empty, long or holds a comma.
    UnknownTuneError
        If a tune is not there; nothing is changed then.
    """
    from melodex.corpus.writing.store import CorpusWriter

    word = name.strip()
    if not word or "," in word or len(word) > LONGEST_TAG or not word.isprintable():
        raise CorpusError(
            f"{name!r} cannot be a tag",
            hint=f"a tag is a word or a few, without commas, up to {LONGEST_TAG} letters",
        )
    with Corpus.open(corpus_path) as corpus:
        ids = list(dict.fromkeys(corpus.resolve(tune) for tune in tunes))
    with CorpusWriter.open(corpus_path, create=False) as writer:
        changed = writer.tag(ids, word, remove=take_off)
    return Tagging(word, len(ids), changed, take_off)


def list_tags(corpus: Corpus) -> tuple[Count, ...]:
    """Count the tunes under each tag, in alphabetical order."""
    rows = corpus.query(
        "SELECT name, count(*) FROM tag GROUP BY name ORDER BY name", merge=summed
    )
    return tuple(Count(*row) for row in rows)


OF_PIECES = "FROM tune JOIN tune_facet ON tune_facet.tune = tune.id"
"""Main lines alone have facets: so each piece counts once."""


def holdings(corpus: Corpus) -> Holdings:
    """Count what a corpus holds, the most frequent first."""
    devices = counts(corpus, "SELECT kind, count(DISTINCT tune) FROM device GROUP BY kind")
    modes = counts(corpus, "SELECT mode, count(*) FROM tune_facet GROUP BY mode")
    return Holdings(
        tune_count=corpus.tune_count + corpus.sheet_count,
        note_count=corpus.note_count,
        collections=counts(
            corpus,
            "SELECT collection.name, count(DISTINCT piece) FROM place "
            "JOIN collection ON collection.id = place.collection GROUP BY collection.name",
        ),
        modes=counts(
            corpus, "SELECT printed_mode, count(*) FROM tune_facet GROUP BY printed_mode"
        ),
        metres=counts(corpus, f"SELECT tune.metre, count(*) {OF_PIECES} GROUP BY 1"),
        rhythms=counts(
            corpus, f"SELECT rhythm, count(*) {OF_PIECES} WHERE rhythm != '' GROUP BY 1"
        ),
        decades=counts(
            corpus,
            f"SELECT (tune.year - tune.year % 10) || 's', count(*) {OF_PIECES} "
            "WHERE tune.year > 0 GROUP BY tune.year / 10",
        ),
        tags=list_tags(corpus),
        devices=devices,
        thin_modes=thin(modes, [mode for mode in MODES if mode not in SAME_MODE]),
        thin_devices=thin(devices, KINDS),
        keys=key_counts(corpus),
        makers=counts(
            corpus,
            f"SELECT composer, count(*) {OF_PIECES} WHERE composer != '' GROUP BY 1",
        ),
    )


def key_counts(corpus: Corpus) -> tuple[Count, ...]:
    """Tunes in each key, the most frequent first."""
    rows = corpus.query(
        "SELECT tonic_fifths, mode, count(*) FROM tune_facet "
        # A value of another kind, or far beyond any key, is damage, which a check names.
        "WHERE mode != 'none' AND typeof(mode) = 'text' "
        f"AND tonic_fifths {NAMED} GROUP BY tonic_fifths, mode",
        merge=summed,
    )
    found = [Count(str(Key(tonic, mode)), tunes) for tonic, mode, tunes in rows]
    return tuple(sorted(found, key=lambda count: (-count.tune_count, count.value)))


SAME_MODE = {"ionian": "major", "aeolian": "minor"}
"""Names that the analysis does not give, and the mode that it says instead."""


def thin(found: Sequence[Count], known: Iterable[str]) -> tuple[Count, ...]:
    """Values that few tunes show, or none, the rarest first."""
    by_value = {count.value: count.tune_count for count in found}
    rare = [(by_value.get(value, 0), value) for value in known]
    return tuple(
        Count(value, tunes) for tunes, value in sorted(rare) if tunes < ENOUGH_TUNES
    )


def counts(corpus: Corpus, sql: str) -> tuple[Count, ...]:
    """Values and their counts, the most frequent first."""
    rows = corpus.query(sql, merge=summed)
    # A value of another kind is damage, which a check names; the others are counted.
    found = [(tunes, value) for value, tunes in rows if isinstance(value, str)]
    found.sort(key=lambda row: (-row[0], row[1]))
    return tuple(Count(value, tunes) for tunes, value in found)
