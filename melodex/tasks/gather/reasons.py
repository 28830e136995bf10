"""Why no tune meets some wishes, and what comes nearest.

Conventions: each wish is tried by itself. One that no tune meets is named, with what the
corpus has in its place; where each is met by some tunes and all together by none, it is
said how many each finds and which one to leave out.

Contents: why_none, device_kinds, counts_of_kinds.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from melodex.corpus.rows import folded, kind_of
from melodex.corpus.shards.merging import each_once, in_order, summed
from melodex.corpus.tunes.titles import likeness, nearest, three_letters
from melodex.melody import note_name, pitch_class_name, spell
from melodex.tasks.gather.places import meeting
from melodex.tasks.gather.whole import key_named, parts_said, pitch_named
from melodex.tasks.gather.wish import NOTHING, Wish, singles

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = ["counts_of_kinds", "device_kinds", "why_none"]

MOST_NAMED = 12
FEW_NAMED = 3
LEAST_ALIKE = 0.3
"""Of the runs of three letters of both names, as for titles."""

Rows = Sequence[tuple[Any, ...]]


def device_kinds(corpus: Corpus) -> list[tuple[str, int]]:
    """Kinds of devices in the corpus, and how many tunes show each."""
    rows = corpus.query(
        "SELECT kind, count(DISTINCT tune) FROM device GROUP BY kind ORDER BY kind"
    )
    return [(str(kind), int(tunes)) for kind, tunes in rows]


def why_none(corpus: Corpus, wish: Wish) -> Iterator[str]:
    """Sentences that say why no tune meets some wishes, and what comes nearest."""
    alone = list(singles(wish))
    found = {name: len(meeting(corpus, single)) for name, single in alone}
    unmet = [name for name, tunes in found.items() if not tunes]
    for name in unmet:
        said = f"{name.replace('_', ' ')} {getattr(wish, name)}"
        yield f"No tune meets '{said.removesuffix(' True')}'."
        yield from nearest_to(corpus, name, getattr(wish, name))
    if unmet or len(alone) < 2:
        return
    each = ", ".join(f"{single.told()[0]} ({found[name]:,})" for name, single in alone)
    yield f"Each wish is met by some tunes, but none meets all: {each}."
    fewer = {name: len(meeting(corpus, without(wish, name))) for name, _ in alone}
    name, tunes = max(fewer.items(), key=lambda entry: entry[1])
    if tunes:
        left_out = dict(alone)[name].told()[0]
        yield f"Without '{left_out}' there {'is' if tunes == 1 else 'are'} {tunes:,}."


def without(wish: Wish, name: str) -> Wish:
    """All wishes but one."""
    return replace(wish, **{name: getattr(NOTHING, name)})


def nearest_to(corpus: Corpus, name: str, asked: Any) -> Iterator[str]:
    """What the corpus has instead of what was asked for."""
    if name == "kind":
        rows = corpus.query("SELECT kind, title_folded FROM tune_facet")
        yield listed("Kinds", counts_of_kinds(rows), asked)
    elif name in VALUES:
        words, sql = VALUES[name]
        yield listed(words, corpus.query(sql, merge=summed), asked)
    elif name == "device":
        yield listed("Devices", device_kinds(corpus), asked)
    elif name in NEAREST:
        yield from NEAREST[name](corpus, asked)


def listed(words: str, rows: Rows, asked: Any) -> str:
    """Names that a corpus knows, and how many tunes go by each: like ones, or the usual."""
    runs = three_letters(folded(str(asked)))
    like = [(likeness(runs, three_letters(folded(str(row[0])))), row) for row in rows]
    like = [entry for entry in like if entry[0] >= LEAST_ALIKE]
    most = sorted(rows, key=lambda row: -row[1])[:MOST_NAMED]
    shown = [row for row in rows if row in most]
    if like:
        shown = [row for _, row in sorted(like, key=lambda entry: -entry[0])][:FEW_NAMED]
    names = ", ".join(f"{name} ({tunes})" for name, tunes in shown)
    more = f" and {len(rows) - len(shown)} more" if len(rows) > len(shown) else ""
    return f"{words} in this corpus: {names or 'none'}{more}."


def counts_of_kinds(rows: Iterable[tuple[Any, ...]]) -> list[tuple[str, int]]:
    """Count the tunes of each kind that is named, as a wish for it finds them.

    A slip jig is a jig too; of a tune without a kind the title may name one.
    """
    holding: dict[str, set[int]] = {}
    kinds = set()
    for place, (kind, title) in enumerate(rows):
        kinds.add(kind)
        for word in set((kind or title).split(" ")):
            holding.setdefault(word, set()).add(place)

    def count(kind: str) -> int:
        words = kind_of(kind).split()
        return len(set.intersection(*(holding.get(word, set()) for word in words)))

    return [(kind, count(kind)) for kind in sorted(kinds - {""})]


VALUES = {
    "mode": ("Modes", "SELECT mode, count(*) FROM tune_facet GROUP BY mode"),
    "metre": (
        "Metres",
        "SELECT metre, count(*) FROM tune_facet WHERE metre != '' GROUP BY metre",
    ),
    "modal": (
        "Modes that colour passages",
        "SELECT mode, count(DISTINCT tune) FROM modal_passage GROUP BY mode",
    ),
    "returning": (
        "Figures that return",
        "SELECT kind, count(DISTINCT tune) FROM returning_figure GROUP BY kind",
    ),
    "key_change": (
        "Changes of key",
        "SELECT substr(how, 1, instr(how || ',', ',') - 1), count(DISTINCT tune) "
        "FROM key_span WHERE place > 0 GROUP BY 1",
    ),
    "plan": (
        "Plans",
        "SELECT plan, count(*) FROM (SELECT group_concat(label, '') AS plan "
        "FROM (SELECT tune, label FROM section ORDER BY tune, place) GROUP BY tune) "
        "GROUP BY plan",
    ),
    "section_bars": (
        "Sections of so many bars",
        "SELECT bars, count(DISTINCT tune) FROM section GROUP BY bars",
    ),
    "part": (
        "Parts",
        "SELECT part_name, count(DISTINCT piece) FROM place WHERE part_name != '' "
        "GROUP BY part_name",
    ),
    "instrument": (
        "Instruments and parts",
        "SELECT name, count(DISTINCT piece) FROM (SELECT instrument AS name, piece "
        "FROM place UNION SELECT part_name, piece FROM place) WHERE name != '' "
        "GROUP BY name",
    ),
    "collection": (
        "Collections",
        "SELECT name, count(DISTINCT place.tune) FROM collection JOIN place "
        "ON place.collection = collection.id GROUP BY name",
    ),
    "tag": ("Tags", "SELECT name, count(*) FROM tag GROUP BY name"),
}
"""What may be asked by name, and the statement that counts the tunes of each name."""


def keys_near(corpus: Corpus, asked: str) -> Iterator[str]:
    """Keys that the corpus has, the nearest on the circle of fifths first."""
    tonic, mode = key_named(parts_said(asked)[0])
    rows = corpus.query(
        "SELECT tonic_fifths, mode, count(*) FROM tune_facet "
        "WHERE tonic_fifths IS NOT NULL GROUP BY 1, 2",
        merge=summed,
    )

    def apart(row: tuple[Any, ...]) -> tuple[bool, int, int]:
        steps = (row[0] - tonic) % 12
        return row[1] != (mode or "major"), min(steps, 12 - steps), row[0]

    near = sorted(rows, key=apart)
    named = [f"{pitch_class_name(f)} {m} ({n})" for f, m, n in near[: 2 * FEW_NAMED]]
    yield f"Keys in this corpus, the nearest first: {', '.join(named) or 'none'}."


def numbers_near(column: str, words: str) -> Callable[[Corpus, Any], Iterator[str]]:
    """What says which numbers of a column come nearest."""

    def near(corpus: Corpus, asked: Any) -> Iterator[str]:
        wanted = [int(number) for number in re.findall(r"(?a)\d{1,5}", str(asked))] or [0]
        rows = corpus.query(
            f"SELECT {column}, count(*) FROM tune_facet "
            f"WHERE {column} IS NOT NULL GROUP BY 1",
            merge=summed,
        )
        close = sorted(rows, key=lambda row: min(abs(row[0] - w) for w in wanted))
        named = [f"{value:g} ({tunes})" for value, tunes in sorted(close[:FEW_NAMED])]
        yield f"The nearest {words}: {', '.join(named) or 'none is known'}."

    return near


def pitches_near(column: str, words: str) -> Callable[[Corpus, Any], Iterator[str]]:
    """What says which pitches of a column come nearest."""

    def near(corpus: Corpus, asked: Any) -> Iterator[str]:
        wanted = pitch_named(asked)
        rows = corpus.query(
            f"SELECT {column}, count(*) FROM tune_facet "
            f"WHERE {column} IS NOT NULL GROUP BY 1",
            merge=summed,
        )
        close = sorted(rows, key=lambda row: abs(row[0] - wanted))[:FEW_NAMED]
        named = [f"{pitch_text(midi)} ({tunes})" for midi, tunes in sorted(close)]
        yield f"The nearest {words}: {', '.join(named)}."

    return near


def pitch_text(midi: int) -> str:
    """A pitch by its usual name."""
    return note_name(midi, spell(midi, 0))


def ranges_near(corpus: Corpus, asked: str) -> Iterator[str]:
    """The tune with the smallest range."""
    rows = corpus.query(
        "SELECT title, lowest_midi, highest_midi, tune_id FROM tune_facet "
        "JOIN tune ON tune.id = tune_facet.tune WHERE lowest_midi IS NOT NULL "
        "ORDER BY highest_midi - lowest_midi, tune_id LIMIT 1",
        merge=in_order(key=lambda row: (row[2] - row[1], row[3]), limit=1),
    )
    for title, low, high, _ in rows:
        name = title or "a tune without title"
        yield f"The smallest range: {pitch_text(low)} to {pitch_text(high)}, in {name}."


def words_near(corpus: Corpus, asked: Any) -> Iterator[str]:
    """How many tunes have words that are sung at all."""
    rows = corpus.query(
        "SELECT count(*) FROM tune_words WHERE trim(lyrics) != ''", merge=summed
    )
    tunes = rows[0][0] if rows else 0
    if not tunes:
        yield "No tune of this corpus has words that are sung."
    elif tunes == 1:
        yield "One tune of this corpus has words that are sung."
    else:
        yield f"{tunes:,} tunes of this corpus have words that are sung."


def titles_near(corpus: Corpus, asked: str) -> Iterator[str]:
    """Titles that are nearly what was asked for."""
    near = [title for _, title in nearest(corpus, asked)]
    if near:
        yield f"The nearest titles: {'; '.join(near)}."


def makers_near(corpus: Corpus, asked: str) -> Iterator[str]:
    """Makers whose names are nearly what was asked for."""
    runs = three_letters(folded(asked))
    rows = corpus.query(
        "SELECT composer FROM tune UNION SELECT lyricist FROM tune", merge=each_once
    )
    alike = [(likeness(runs, three_letters(folded(name))), name) for (name,) in rows]
    near = [name for share, name in sorted(alike, reverse=True)[:FEW_NAMED] if share > 0]
    if near:
        yield f"The nearest names: {'; '.join(near)}."


NEAREST: dict[str, Callable[[Corpus, Any], Iterator[str]]] = {
    "key": keys_near,
    "tonic": keys_near,
    "tempo": numbers_near("tempo", "tempos, in quarter notes a minute"),
    "length": numbers_near("bar_count", "lengths in bars"),
    "decade": numbers_near("year", "years"),
    "after": numbers_near("year", "years"),
    "before": numbers_near("year", "years"),
    "highest": pitches_near("highest_midi", "highest notes"),
    "lowest": pitches_near("lowest_midi", "lowest notes"),
    "range": ranges_near,
    "title": titles_near,
    "lyrics": words_near,
    "sung": words_near,
    "maker": makers_near,
    "composer": makers_near,
}
