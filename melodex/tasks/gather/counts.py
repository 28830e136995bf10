"""How many tunes would remain: what is left of a corpus after some wishes, by feature.

Conventions: for each feature that has a list of values, every value is counted among
the tunes that meet all *other* wishes, so that a number says what choosing that value
would leave. Values that would leave nothing are not listed.

Contents: Remaining, FEATURES, remaining, tunes_outside, tunes_inside, tunes_left_out,
tunes_said, understood.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from melodex.corpus.shards.merging import summed
from melodex.errors import AnalysisError, MelodexError
from melodex.tasks.collection.holdings import Count
from melodex.tasks.gather.gather import require_features
from melodex.tasks.gather.lines import LINE_WISHES, asks_of_lines, lines_within
from melodex.tasks.gather.places import meeting
from melodex.tasks.gather.reasons import counts_of_kinds, why_none
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
    "part": "SELECT part_name, count(DISTINCT place.piece) FROM place "
    "JOIN tune ON tune.tune_id = place.piece WHERE tune.id IN {kept} "
    "AND part_name != '' GROUP BY part_name ORDER BY part_name",
    "instrument": "SELECT instrument, count(DISTINCT place.piece) FROM place "
    "JOIN tune ON tune.tune_id = place.piece WHERE tune.id IN {kept} "
    "AND instrument != '' GROUP BY instrument ORDER BY instrument",
    "sung": "SELECT 'yes', count(DISTINCT place.piece) FROM place "
    "JOIN tune ON tune.tune_id = place.piece WHERE tune.id IN {kept} "
    "AND sung_syllables > 0",
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
    if asks_of_lines(wish):
        # They and a phrase are wishes about one line, not about several of a piece.
        kept &= meeting(corpus, of_one_line(wish))
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


def of_one_line(wish: Wish) -> Wish:
    """What is asked about one line, without what is asked about its piece."""
    names = (*LINE_WISHES, "phrase", "nearly")
    return replace(NOTHING, **{name: getattr(wish, name) for name in names})


def with_more(rows: Sequence[tuple[Any, ...]]) -> list[tuple[Any, ...]]:
    """Values in rising order, each with the tunes that have as much or more."""
    rest = sum(tunes for _, tunes in rows)
    found = []
    for value, tunes in rows:
        found.append((value, rest))
        rest -= tunes
    return found


def understood(corpus: Corpus, wish: Wish) -> Wish:
    """Return the wishes without those that cannot be understood."""
    for name, single in singles(wish):
        try:
            meeting(corpus, single)
        except MelodexError:
            wish = replace(wish, **{name: getattr(NOTHING, name)})
    return wish


def tunes_outside(corpus: Corpus, wish: Wish) -> frozenset[str]:
    """Return the ids of the tunes that do not meet some wishes, line by line.

    Parameters
    ----------
    corpus : Corpus
        Opened for reading.
    wish : Wish
        What is asked for; nothing leaves no tune outside.

    Raises
    ------
    AnalysisError
        If wishes cannot be understood, or no tune meets them.
    """
    if not wish.told():
        return frozenset()
    return every_tune(corpus) - tunes_meeting(corpus, wish)


def tunes_inside(corpus: Corpus, wish: Wish) -> frozenset[str]:
    """Return the ids of the tunes that meet some wishes, line by line.

    Of a piece that meets them these are all lines; of one in which a line is asked for,
    the lines that are meant.
    """
    require_features(corpus)
    return lines_within(corpus, wish, meeting(corpus, wish))


def every_tune(corpus: Corpus) -> frozenset[str]:
    """Ids of all tunes, each line for itself."""
    return frozenset(row[0] for row in corpus.query("SELECT tune_id FROM tune"))


def tunes_left_out(corpus: Corpus, within: str = "", without: str = "") -> frozenset[str]:
    """Return the ids of the tunes that are not searched, line by line.

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
    every = every_tune(corpus)
    searched = tunes_said(corpus, within) if within else every
    if without:
        searched -= tunes_inside(corpus, wish_said(without))
        if not searched:
            raise AnalysisError(f"without {without!r} no tune is left to search")
    return every - searched


def tunes_said(corpus: Corpus, text: str) -> frozenset[str]:
    """Return the ids of the tunes that meet wishes as a person says them.

    Raises
    ------
    AnalysisError
        If they cannot be understood, or no tune meets them.
    """
    return tunes_meeting(corpus, wish_said(text), text)


def tunes_meeting(corpus: Corpus, wish: Wish, text: str = "") -> frozenset[str]:
    """The ids of the tunes that meet some wishes; that there are none is refused."""
    found = tunes_inside(corpus, wish)
    if not found:
        why = list(why_none(corpus, wish))
        said = text or "; ".join(wish.told())
        if len(wish.told()) == 1:
            # That the only wish is met by none has been said.
            why = why[1:]
        raise AnalysisError(f"no tune meets {said!r}", hint=" ".join(why))
    return found
