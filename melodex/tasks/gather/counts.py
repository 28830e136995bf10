"""How many tunes would remain: what is left of a corpus after some wishes, by feature.

Conventions: for each feature that has a list of values, every value is counted among
the tunes that meet all *other* wishes, so that a number says what choosing that value
would leave. Values that would leave nothing are not listed.

Contents: Remaining, FEATURES, remaining, tunes_outside.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from melodex.tasks.collection.holdings import Count
from melodex.tasks.gather.gather import Wish, placed_wishes, tunes_of
from melodex.tasks.gather.wish import TOGETHER

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = ["FEATURES", "Remaining", "remaining", "tunes_outside"]

FEATURES = {
    "device": "SELECT kind, count(DISTINCT tune) FROM device WHERE tune IN {kept} "
    "GROUP BY kind ORDER BY kind",
    "mode": "SELECT mode, count(*) FROM tune_facet WHERE tune IN {kept} "
    "GROUP BY mode ORDER BY mode",
    "modal": "SELECT mode, count(DISTINCT tune) FROM modal_passage WHERE tune IN {kept} "
    "GROUP BY mode ORDER BY mode",
    "metre": "SELECT metre_class, count(*) FROM tune_facet WHERE tune IN {kept} "
    "GROUP BY metre_class ORDER BY metre_class",
    # At least so many: the tunes with more are counted too.
    "key_centres": "SELECT key_centres, sum(count(*)) OVER (ORDER BY key_centres DESC) "
    "FROM tune_facet WHERE tune IN {kept} AND key_centres > 1 GROUP BY key_centres "
    "ORDER BY key_centres",
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
NOTHING = Wish()


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
        rows = corpus.query(FEATURES[feature].format(kept=LISTED), [listed])
        options[feature] = tuple(Count(str(value), tunes) for value, tunes in rows if tunes)
    return Remaining(len(kept), corpus.tune_count, options)


def singles(wish: Wish) -> Iterator[tuple[str, Wish]]:
    """Each stated wish by itself."""
    for name in Wish.__slots__:
        value = getattr(wish, name)
        if value in ("", None, False) or name in TOGETHER:
            continue
        manner = {flag: getattr(wish, flag) for flag, of in TOGETHER.items() if of == name}
        yield name, replace(NOTHING, **{name: value}, **manner)


def meeting(corpus: Corpus, wish: Wish) -> set[int]:
    """Rows of the tunes that meet a wish."""
    kept = tunes_of(corpus, wish)
    for places in placed_wishes(corpus, wish, kept):
        kept &= places.keys()
    return kept


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
    rows = corpus.query(
        f"SELECT tune_id FROM tune WHERE id NOT IN {LISTED}",
        [json.dumps(sorted(meeting(corpus, wish)))],
    )
    return frozenset(row[0] for row in rows)
