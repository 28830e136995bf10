"""Melodies of a corpus, and the keys that they were read in.

A line of a piece is in the key of its piece: a viola that plays C and E says less of it
than all lines together.

Contents: melodies_of, rebuilt, centres_of, keys_of, FACETS_WITH_KEYS.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Protocol

from melodex.corpus.tunes.tune_rows import (
    FIRST_PLACE,
    LINE_COLUMNS,
    Asked,
    score_line_of,
    whole_ids,
)
from melodex.errors import REMEDIES, DamagedCorpusError
from melodex.melody import Key, KeyChange, Melody
from melodex.melody.shape import FARTHEST_FIFTHS, UNREADABLE
from melodex.melody.tune_id import content_id_of, is_beginning

__all__ = ["FACETS_WITH_KEYS", "centres_of", "keys_of", "melodies_of", "rebuilt"]

FACETS_WITH_KEYS = 6
"""The version of the facets from which on they say where each key centre starts."""

NAMED = f"BETWEEN -{FARTHEST_FIFTHS} AND {FARTHEST_FIFTHS}"
"""Of a tonic: what lies beyond is damage, and its name has no end."""


class Opened(Asked, Protocol):
    """What is asked for melodies: an opened corpus, which itself calls this module."""

    path: Path
    settings: dict[str, str]
    is_tolerant: bool

    def pause(self) -> None:
        """Called between one melody and the next."""


def melodies_of(
    corpus: Opened,
    tune_ids: Iterable[str],
    on_damage: Callable[[DamagedCorpusError], None] | None = None,
) -> dict[str, Melody]:
    """Return the melodies of some tunes; see :meth:`Corpus.melodies`."""
    wanted = list(tune_ids)
    earlier = [tune_id for tune_id in wanted if is_beginning(tune_id)]
    if earlier:
        whole = whole_ids(corpus, earlier)
        named = {each: whole.get(each, each) for each in wanted}
        melodies = melodies_of(corpus, set(named.values()) - set(earlier), on_damage)
        return {each: melodies[one] for each, one in named.items() if one in melodies}
    rows = corpus.query(
        f"""
        SELECT tune.tune_id, tune.melody, place.source, place.number, collection.name,
          {", ".join(f"place.{name}" for name in LINE_COLUMNS)}
        FROM json_each(?) AS wanted
        JOIN tune ON tune.tune_id = wanted.value
        LEFT JOIN place
          ON place.id = {FIRST_PLACE}
        LEFT JOIN collection ON collection.id = place.collection
        """,
        [json.dumps(wanted)],
    )
    centres = centres_of(corpus, wanted)
    found = {}
    for tune_id, text, source, number, collection, *placed in rows:
        try:
            melody = rebuilt(corpus, tune_id, text)
        except DamagedCorpusError as damage:
            if on_damage is None:
                raise
            on_damage(damage)
            continue
        line = score_line_of(tune_id, placed)
        credited = melody.with_credits(
            source=source or "",
            number=number or "",
            collection=collection or "",
            part=melody.credits.part or line.part,
        )
        is_told = line.count > 1 or line.transposition_semitones
        lined = credited.with_line(line) if is_told else credited
        found[tune_id] = lined.with_centres(centres.get(tune_id, ()))
    return found


def rebuilt(corpus: Opened, tune_id: str, text: str) -> Melody:
    """A melody from its JSON, or the error that names the tune.

    Raises
    ------
    DamagedCorpusError
        If the text is no melody, or not that of the tune.
    """
    corpus.pause()
    try:
        if corpus.is_tolerant and content_id_of(text) != tune_id:
            raise ValueError("not as it was written")
        return Melody.from_dict(json.loads(text))
    except UNREADABLE as error:
        raise DamagedCorpusError(
            f"the notes of tune {tune_id} cannot be read",
            where=str(corpus.path),
            hint=REMEDIES["repair tune"],
        ) from error


def has_read_keys(corpus: Opened) -> bool:
    """Whether the facets hold the keys of tunes as this version reads them."""
    version = corpus.settings.get("facet_version", "")
    return str(version).isdecimal() and int(version) >= FACETS_WITH_KEYS


def row_of_piece(corpus: Opened) -> str:
    """The row of the main line of its piece, for a statement that names ``tune``."""
    if corpus.line_count == corpus.tune_count:
        return "tune.id"
    main = (
        "SELECT main.id FROM place JOIN tune AS main ON main.tune_id = place.piece "
        f"WHERE place.id = {FIRST_PLACE}"
    )
    return f"coalesce(({main}), tune.id)"


def keys_of(corpus: Opened, tune_ids: Iterable[str]) -> dict[str, str]:
    """The key that each tune was read in, in words; empty where none can be said."""
    if not has_read_keys(corpus):
        return {}
    rows = corpus.query(
        f"""
        SELECT tune.tune_id, tune_facet.tonic_fifths, tune_facet.mode
        FROM json_each(?) AS wanted
        JOIN tune ON tune.tune_id = wanted.value
        JOIN tune_facet ON tune_facet.tune = {row_of_piece(corpus)}
        WHERE tune_facet.tonic_fifths IS NULL
          OR tune_facet.tonic_fifths {NAMED}
        """,
        [json.dumps(list(tune_ids))],
    )
    return {
        tune_id: "" if tonic is None else str(Key(tonic, mode))
        for tune_id, tonic, mode in rows
    }


def centres_of(corpus: Opened, tune_ids: Iterable[str]) -> dict[str, tuple[KeyChange, ...]]:
    """The key centres of some tunes, as they were read when the tunes were added."""
    if not has_read_keys(corpus):
        return {}
    rows = corpus.query(
        f"""
        SELECT tune.tune_id, key_span.onset_ticks, key_span.tonic_fifths, key_span.mode
        FROM json_each(?) AS wanted
        JOIN tune ON tune.tune_id = wanted.value
        JOIN key_span ON key_span.tune = {row_of_piece(corpus)}
        WHERE key_span.tonic_fifths {NAMED}
        ORDER BY key_span.tune, key_span.place
        """,
        [json.dumps(list(tune_ids))],
    )
    found: dict[str, list[KeyChange]] = {}
    for tune_id, onset, tonic, mode in rows:
        key = Key(tonic, mode)
        change = KeyChange(onset, key, key.signature_fifths)
        found.setdefault(tune_id, []).append(change)
    return {tune_id: tuple(changes) for tune_id, changes in found.items()}
