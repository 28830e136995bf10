"""gather: which pieces and passages show a feature.

Conventions: every wish that is stated has to be met by a tune. Wishes that stand in
some bars (a device, a section, a progression, a melody note on its chord, a phrase)
give the passages, so that a tune may come several times; wishes about the whole tune
only narrow. Bars go by printed numbers. What is asked of chords and keys was worked
out when the tune was added. Tunes come by their titles, without case and accents;
where a progression is asked for, those that have it best come first.

Contents: Example, Gathering, gather, device_kinds; Wish comes from ``gather_wish``.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain
from typing import TYPE_CHECKING, Any

from melodex.corpus.facets import FACET_VERSION
from melodex.corpus.shards.merging import in_order
from melodex.corpus.tunes.tune_rows import FIRST_PLACE
from melodex.errors import REMEDIES, AnalysisError, CorpusError
from melodex.melody import bars_text, name_of
from melodex.tasks.gather.places import (
    Placed,
    Places,
    listed,
    placed_wishes,
)
from melodex.tasks.gather.progressions import MOST_ALIGNED, likeliest
from melodex.tasks.gather.reasons import device_kinds, why_none
from melodex.tasks.gather.whole import narrows, tunes_of
from melodex.tasks.gather.wish import TOGETHER, Wish

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus
    from melodex.matching.dealing.held import Shards

__all__ = [
    "Example",
    "Gathering",
    "Wish",
    "device_kinds",
    "gather",
    "placed_wishes",
    "tunes_of",
]


@dataclass(frozen=True, slots=True)
class Example:
    """A passage, or a whole tune, that shows what is asked for.

    ``points`` says how well the tune has the progression that was asked for; None
    where none was.
    """

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
    points: float | None = None

    def __repr__(self) -> str:
        bars = bars_text(self.first_bar, self.last_bar)
        return f"<Example {self.name}, {bars}: {'; '.join(self.reasons)}>"

    @property
    def name(self) -> str:
        """What its tune goes by: its title, or the name of its file."""
        return name_of(self.title, self.source, self.number)


Ordered = tuple[float, str, str, Example]
"""Points below zero, the title without case and accents, the tune id; and an example."""


@dataclass(frozen=True, slots=True)
class Gathering:
    """What was gathered.

    ``tunes`` counts those that show it, of ``corpus_tunes``; ``unsure`` more may show
    it and were not looked at closely.
    """

    wish: Wish
    examples: tuple[Example, ...]
    tunes: int
    corpus_tunes: int
    remarks: tuple[str, ...] = ()
    unsure: int = 0

    def __repr__(self) -> str:
        return f"<Gathering of {'; '.join(self.wish.told())}: {self.tunes} tunes>"


def gather(
    corpus: Corpus,
    wish: Wish,
    *,
    limit: int | None = None,
    thorough: bool = False,
    shards: Shards | None = None,
) -> Gathering:
    """Find the pieces and passages that show a feature.

    Parameters
    ----------
    corpus : Corpus
        Opened for reading.
    wish : Wish
        What is asked for.
    limit : int, optional
        At most so many examples, which may be none; all tunes are counted.
    thorough : bool
        Whether every tune that may hold a progression is looked at closely, as it is
        without a limit.
    shards : Shards, optional
        The parts of the corpus, where others hold them; looked through here if not given.
        The versions of a tune are found here in any case.

    Returns
    -------
    Gathering
        Examples in order of title, tune id and bar; with a progression, those with
        more points first.

    Raises
    ------
    AnalysisError
        If nothing is asked for, or a wish cannot be understood.
    CorpusError
        If another version of melodex worked out the features of this corpus.
    """
    for manner, of in TOGETHER.items():
        if getattr(wish, manner) and not getattr(wish, of):
            raise AnalysisError(
                f"{manner.replace('_', ' ')} is asked for, but not what",
                hint=f"name a {of}",
            )
    if not wish.told():
        raise AnalysisError("nothing is asked for", hint=REMEDIES["name feature"])
    require_features(corpus)
    most_aligned = None if thorough or limit is None else max(MOST_ALIGNED, limit)
    if shards is None or wish.version_of:
        parts = [shown_in(corpus, (wish, limit, most_aligned))]
    else:
        shares = [most_aligned] * shards.count
        if wish.progression and most_aligned is not None:
            offers = shards.corpora(offered_in, [(wish, most_aligned)] * shards.count)
            shares = [*likeliest_of_each_part(offers, most_aligned)]
        parts = shards.corpora(shown_in, [(wish, limit, share) for share in shares])
    ordered = in_order(0, 1, 2)([*chain.from_iterable(part.examples for part in parts)])
    tunes, unsure = (sum(row) for row in zip(*(p.counts for p in parts), strict=True))
    return Gathering(
        wish,
        tuple(example for *_, example in ordered[:limit]),
        tunes,
        corpus.tune_count,
        tuple(remarks_on(corpus, wish, tunes, unsure)),
        unsure,
    )


@dataclass(frozen=True, slots=True)
class Shown:
    """What a corpus or a part of it shows: examples, each after what it is put in order
    by, the tunes that show it, and how many more may."""

    examples: list[Ordered]
    counts: tuple[int, int]


def shown_in(corpus: Corpus, asked: tuple[Wish, int | None, int | None]) -> Shown:
    """What a corpus or a part of it shows; at most so many examples and tunes aligned."""
    wish, limit, most_aligned = asked
    placed: list[Placed] = []
    kept = tunes_of(corpus, wish) if narrows(wish) else None
    for found in placed_wishes(corpus, wish, kept, most_aligned=most_aligned):
        placed.append(found)
        kept = found.tunes if kept is None else kept & found.tunes
    if kept is None:
        kept = tunes_of(corpus, wish)
    # The passages are those of the progression, if there is one.
    placed.sort(key=lambda found: not found.points)
    unsure = sum(found.unsure for found in placed)
    return Shown(examples_of(corpus, kept, placed, limit), (len(kept), unsure))


def offered_in(corpus: Corpus, asked: tuple[Wish, int]) -> list[tuple[float, str]]:
    """The tunes of a part that may hold a progression, the likeliest, at most so many."""
    wish, count = asked
    other = replace(wish, progression="")
    kept = tunes_of(corpus, other) if narrows(other) else None
    for found in placed_wishes(corpus, other, kept):
        kept = found.tunes if kept is None else kept & found.tunes
    return likeliest(corpus, wish.progression, kept, wish.exact_progression)[:count]


def likeliest_of_each_part(
    offers: Sequence[Sequence[tuple[float, str]]], count: int
) -> list[int]:
    """How many of the likeliest tunes of all each part has."""
    best = set(sorted(chain.from_iterable(offers))[:count])
    return [len(best.intersection(offer)) for offer in offers]


def require_features(corpus: Corpus) -> None:
    """Refuse a corpus whose features have other columns than are asked for."""
    rows = corpus.query("SELECT value FROM setting WHERE name = 'facet_version'")
    if not rows or rows[0][0] != str(FACET_VERSION):
        raise CorpusError(
            "the features of this corpus were worked out by another version of melodex",
            where=str(corpus.path),
            hint=REMEDIES["add any"],
        )


def remarks_on(corpus: Corpus, wish: Wish, tunes: int, unsure: int) -> Iterator[str]:
    """What may help where nothing was found, and what was not looked at."""
    if unsure:
        yield (
            f"{unsure:,} more tunes may have the progression; only the likeliest "
            "were looked at closely. Narrow by another wish, or be thorough."
        )
    if not tunes:
        yield from why_none(corpus, wish)


# Examples.


def examples_of(
    corpus: Corpus, kept: set[int], placed: Sequence[Placed], limit: int | None
) -> list[Ordered]:
    """Passages of the tunes that meet every wish; whole tunes where none is placed."""
    if limit == 0:
        return []
    points = placed[0].points if placed else {}
    shown = kept if limit is None else first_of(corpus, kept, points, limit)
    located = [found.places(sorted(shown)) for found in placed]
    examples: list[Ordered] = []
    for row in sorted(rows_of(corpus, shown), key=lambda row: -points.get(row[0], 0.0)):
        order = -points.get(row[0], 0.0), row[-1], row[3]
        found = examples_of_tune(row[:-1], located, points.get(row[0]))
        examples += [(*order, example) for example in found]
    return examples[:limit]


def first_of(
    corpus: Corpus, kept: set[int], points: dict[int, float], limit: int
) -> set[int]:
    """As many tunes as passages are shown, for each has one: the first in order."""
    if points:
        best = sorted((points[tune] for tune in kept), reverse=True)[:limit]
        some = {tune for tune in kept if points[tune] >= best[-1]} if best else set()
    else:
        some = kept if len(kept) <= SORTED_AT_ONCE else foremost(corpus, kept, limit)
    rows = corpus.query(
        "SELECT tune.id, tune.title_folded, tune.tune_id FROM json_each(?) AS wanted "
        f"CROSS JOIN tune ON tune.id = wanted.value {BY_NAME}",
        [listed(some)],
        merge=in_order(1, 2),
    )
    return {row[0] for row in sorted(rows, key=lambda r: -points.get(r[0], 0.0))[:limit]}


def foremost(corpus: Corpus, kept: set[int], limit: int) -> set[int]:
    """Some of many tunes, among them the first by title: so many are not sorted."""
    size = 2 * limit * (corpus.tune_count // len(kept) + 1)
    while True:
        rows = corpus.query(
            "SELECT id, title_folded FROM tune ORDER BY title_folded LIMIT ?",
            [size],
            merge=in_order(1, limit=size),
        )
        found = [row for row in rows if row[0] in kept]
        if len(found) >= limit or len(rows) < size:
            break
        size *= 4
    last = found[:limit][-1][1]
    tied = corpus.query("SELECT id FROM tune WHERE title_folded = ?", [last])
    return kept & {row[0] for row in [*found[:limit], *tied]}


FROM_TUNES = f"""
FROM json_each(?) AS wanted
CROSS JOIN tune ON tune.id = wanted.value
LEFT JOIN place ON place.id = {FIRST_PLACE}
LEFT JOIN collection ON collection.id = place.collection"""
BY_NAME = "ORDER BY tune.title_folded, tune.tune_id"
SORTED_AT_ONCE = 2_000
"""Tunes; of more, the first are taken from the index of titles."""


def rows_of(corpus: Corpus, tunes: set[int]) -> list[tuple[Any, ...]]:
    """What is told of some tunes, in order of title and id; the title they go by last."""
    return corpus.query(
        "SELECT tune.id, facet.first_bar, facet.last_bar, tune.tune_id, tune.title, "
        "tune.composer, tune.year, coalesce(collection.name, ''), "
        "coalesce(place.source, ''), coalesce(place.number, ''), tune.rights, "
        "tune.title_folded "
        f"{FROM_TUNES} JOIN tune_facet AS facet ON facet.tune = tune.id {BY_NAME}",
        [listed(tunes)],
        merge=in_order(-1, 3),
    )


def examples_of_tune(
    row: Sequence[Any], located: Sequence[Places], points: float | None
) -> Iterator[Example]:
    """The passages of one tune."""
    tune, first_bar, last_bar, *told = row
    names = dict(zip(CREDITS, told, strict=True))
    for first, last, reasons, line in passages_of(tune, (first_bar, last_bar), located):
        # A passage of another line of the piece goes by the id of that line.
        own = {**names, "tune_id": line or names["tune_id"]}
        yield Example(**own, first_bar=first, last_bar=last, reasons=reasons, points=points)


CREDITS = (
    "tune_id",
    "title",
    "composer",
    "year",
    "collection",
    "source",
    "number",
    "rights",
)


def passages_of(
    tune: int, whole: tuple[int, int], located: Sequence[Places]
) -> Iterator[tuple[int, int, tuple[str, ...], str]]:
    """Passages of one tune: those of the first wish that is placed, others told once.

    Each with the id of the line that it is of, empty for the main one.
    """
    if not located:
        yield whole[0], whole[1], (), ""
        return
    others = tuple(
        f"{reason} (bars {first}-{last})"
        for places in located[1:]
        for first, last, reason, *_ in places[tune][:1]
    )
    for first, last, reason, *line in sorted(set(located[0][tune])):
        yield first, last, (reason, *others), line[0] if line else ""
