"""How many tunes would remain: what is left of a corpus after some wishes, by feature.

Conventions: for each feature that has a list of values, every value is counted among
the tunes that meet all *other* wishes, so that a number says what choosing that value
would leave. Values that would leave nothing are not listed.

Contents: Remaining, FEATURES, remaining, tunes_outside, tunes_inside, tunes_left_out,
tunes_said, understood.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from melodex.corpus.rows import kind_of
from melodex.corpus.shards.merging import summed
from melodex.errors import AnalysisError, MelodexError
from melodex.tasks.collection.holdings import Count
from melodex.tasks.gather.gather import require_features
from melodex.tasks.gather.places import meeting
from melodex.tasks.gather.reasons import why_none
from melodex.tasks.gather.whole import tunes_of
from melodex.tasks.gather.wish import NOTHING, Wish, singles, wish_said

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = [
    "FEATURES",
    "Remaining",
    "remaining",
    "tunes_inside",
    "tunes_left_out",
    "tunes_outside",
    "tunes_said",
    "understood",
]

FEATURES = {
    "device": "SELECT kind, count(DISTINCT tune) FROM device WHERE tune IN {kept} "
    "GROUP BY kind ORDER BY kind",
    "mode": "SELECT mode, count(*) FROM tune_facet WHERE tune IN {kept} "
    "GROUP BY mode ORDER BY mode",
    "modal": "SELECT mode, count(DISTINCT tune) FROM modal_passage WHERE tune IN {kept} "
    "GROUP BY mode ORDER BY mode",
    # Classes of metre, and then the time signatures that are printed first.
    "metre": "SELECT rank, length(value), value, tunes FROM ("
    "SELECT metre_class AS value, count(*) AS tunes, "
    "0 AS rank FROM tune_facet WHERE tune IN {kept} GROUP BY metre_class UNION ALL "
    "SELECT metre, count(*), 1 FROM tune_facet WHERE tune IN {kept} AND metre != '' "
    "GROUP BY metre) ORDER BY rank, length(value), value",
    # Counted by :func:`counts_of_kinds`: a kind may stand in another, or in a title.
    "kind": "SELECT kind, title_folded FROM tune_facet WHERE tune IN {kept}",
    "decade": "SELECT (year / 10 * 10) || 's', count(*) FROM tune "
    "WHERE id IN {kept} AND year IS NOT NULL GROUP BY 1 ORDER BY 1",
    # At least so many: :func:`with_more` counts the tunes with more too.
    "key_centres": "SELECT key_centres, count(*) FROM tune_facet "
    "WHERE tune IN {kept} AND key_centres > 1 GROUP BY key_centres ORDER BY key_centres",
    # What stands before the comma; after it comes which chord is shared.
    "key_change": "SELECT substr(how, 1, instr(how || ',', ',') - 1), "
    "count(DISTINCT tune) FROM key_span WHERE place > 0 AND tune IN {kept} "
    "GROUP BY 1 ORDER BY 1",
    "section_bars": "SELECT bars, count(DISTINCT tune) FROM section WHERE tune IN {kept} "
    "GROUP BY bars ORDER BY bars",
    "odd_sections": "SELECT 'yes', count(DISTINCT tune) FROM section WHERE odd "
    "AND tune IN {kept}",
    "returning": "SELECT kind, count(DISTINCT tune) FROM returning_figure "
    "WHERE tune IN {kept} GROUP BY kind ORDER BY kind",
    "collection": "SELECT collection.name, count(DISTINCT place.tune) FROM place "
    "JOIN collection ON collection.id = place.collection WHERE place.tune IN {kept} "
    "GROUP BY collection.name ORDER BY collection.name",
    "tag": "SELECT name, count(*) FROM tag WHERE tune IN {kept} GROUP BY name "
    "ORDER BY name",
}
"""Features with a list of values, and how the tunes of each value are counted."""

LISTED = "(SELECT value FROM json_each(?))"


@dataclass(frozen=True, slots=True)
class Remaining:
    """Tunes that meet every wish, of how many, and the values that are left to choose.

    ``options`` has the features in the order of :data:`FEATURES`; a count says how many
    tunes would meet all wishes if that value stood in place of the one that is chosen.
    """

    tunes: int
    corpus_tunes: int
    options: dict[str, tuple[Count, ...]]


def remaining(
    corpus: Corpus, wish: Wish, *, features: Sequence[str] = tuple(FEATURES)
) -> Remaining:
    """Count what some wishes leave, and what each further choice would leave.

    Parameters
    ----------
    corpus : Corpus
        Opened for reading.
    wish : Wish
        What is asked for so far; nothing leaves all.
    features : sequence of str
        Which of :data:`FEATURES` to count the values of.

    Raises
    ------
    AnalysisError, PhraseError
        If a wish cannot be understood.
    """
    met = {name: meeting(corpus, single) for name, single in singles(wish)}
    everything = tunes_of(corpus, NOTHING)
    kept = everything.intersection(*met.values())
    options = {}
    for feature in features:
        others = [tunes for name, tunes in met.items() if name != feature]
        left = kept if feature not in met else everything.intersection(*others)
        listed = json.dumps(sorted(left))
        query = FEATURES[feature].format(kept=LISTED)
        is_counted = feature != "kind"
        rows = corpus.query(
            query, [listed] * query.count("?"), merge=summed if is_counted else None
        )
        if not is_counted:
            rows = counts_of_kinds(rows)
        elif feature == "key_centres":
            rows = with_more(rows)
        options[feature] = tuple(
            Count(str(value), tunes) for *_, value, tunes in rows if tunes
        )
    return Remaining(len(kept), corpus.tune_count, options)


def with_more(rows: Sequence[tuple[Any, ...]]) -> list[tuple[Any, ...]]:
    """Values in rising order, each with the tunes that have as much or more."""
    rest = sum(tunes for _, tunes in rows)
    found = []
    for value, tunes in rows:
        found.append((value, rest))
        rest -= tunes
    return found


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
    return [
        (
            kind,
            len(
                set.intersection(
                    *(holding.get(word, set()) for word in kind_of(kind).split())
                )
            ),
        )
        for kind in sorted(kinds - {""})
    ]


def understood(corpus: Corpus, wish: Wish) -> Wish:
    """Return the wishes without those that cannot be understood."""
    for name, single in singles(wish):
        try:
            meeting(corpus, single)
        except MelodexError:
            wish = replace(wish, **{name: getattr(NOTHING, name)})
    return wish


def tunes_outside(corpus: Corpus, wish: Wish) -> frozenset[str]:
    """Return the ids of the tunes that do not meet some wishes.

    Parameters
    ----------
    corpus : Corpus
        Opened for reading.
    wish : Wish
        What is asked for; nothing leaves no tune outside.
    """
    if not wish.told():
        return frozenset()
    return ids_of(corpus, meeting(corpus, wish), "NOT IN")


def tunes_inside(corpus: Corpus, wish: Wish) -> frozenset[str]:
    """Return the ids of the tunes that meet some wishes."""
    return ids_of(corpus, meeting(corpus, wish), "IN")


def ids_of(corpus: Corpus, tunes: set[int], relation: str) -> frozenset[str]:
    """Ids of the tunes whose rows are, or are not, among some."""
    require_features(corpus)
    rows = corpus.query(
        f"SELECT tune_id FROM tune WHERE id {relation} {LISTED}",
        [json.dumps(sorted(tunes))],
    )
    return frozenset(row[0] for row in rows)


def tunes_left_out(corpus: Corpus, within: str = "", without: str = "") -> frozenset[str]:
    """Return the ids of the tunes that are not searched.

    Parameters
    ----------
    corpus : Corpus
        Opened for reading.
    within : str
        Wishes as :func:`~melodex.tasks.gather.wish.wish_said` reads them: only tunes
        that meet them are searched.
    without : str
        Wishes, of which tunes that meet them are left out.

    Raises
    ------
    AnalysisError
        If wishes cannot be understood, or leave no tune.
    """
    hidden = tunes_outside(corpus, wish_said(within)) if within else frozenset()
    if within and len(hidden) == corpus.tune_count:
        raise none_left(corpus, within)
    if without:
        hidden |= tunes_inside(corpus, wish_said(without))
        if len(hidden) == corpus.tune_count:
            raise AnalysisError(f"without {without!r} no tune is left to search")
    return hidden


def tunes_said(corpus: Corpus, text: str) -> frozenset[str]:
    """Return the ids of the tunes that meet wishes as a person says them.

    Raises
    ------
    AnalysisError
        If they cannot be understood, or no tune meets them.
    """
    found = tunes_inside(corpus, wish_said(text))
    if not found:
        raise none_left(corpus, text)
    return found


def none_left(corpus: Corpus, text: str) -> AnalysisError:
    """That no tune meets some wishes, and why."""
    why = " ".join(why_none(corpus, wish_said(text)))
    return AnalysisError(f"no tune meets {text!r}", hint=why)
