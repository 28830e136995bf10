"""The leads of an audit: what each window of the own tune finds, and by what chance.

Conventions: the own tune is read in windows that overlap. A tune that was borrowed
from is as often given another rhythm as kept, and lengths that differ hide pitches
that agree: so windows are looked for by pitch alone, and the long ones also with
their rhythm. The number expected by chance is that of one window, times as many as
count as separate among the windows that were tried.

Contents: LOOKS, Look, Lead, windows_of, leads_of, merged, best_lead, least_expected.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from melodex.matching.asking import Notes, Question
from melodex.matching.chance.fit import Fit, expected_by_chance, fit_points
from melodex.matching.chance.sample import NULL_SAMPLE, OWN_BEST
from melodex.matching.engine.passes import batched, noted_in
from melodex.matching.query import EncodedQuery, encode_query
from melodex.settings import AlignmentCosts
from melodex.tasks.matches import Size
from melodex.tasks.passage import Passage

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = [
    "LOOKS",
    "Lead",
    "Look",
    "best_lead",
    "leads_of",
    "least_expected",
    "merged",
    "windows_of",
]


@dataclass(frozen=True, slots=True)
class Look:
    """Windows of so many notes, one every ``step``, with or without their rhythm."""

    notes: int
    step: int
    rhythm: bool


LOOKS = (Look(16, 4, False), Look(24, 12, False), Look(24, 12, True))
"""Windows overlap, so that a borrowed phrase of eight notes or more falls whole, or
nearly, into one of them. Of windows of 10, 12, 16, 20 and 24 notes and of the whole tune,
in the audit benchmark on tunes that it does not report, those of 16 notes find most; one
every four notes more than one every eight."""

SEPARATE_SHARE = 0.5
"""What chance brings to a window, it brings to those that overlap it. In tunes without a
borrowing there are as many passages as if so many of the windows were separate, or
fewer: 0.17 to 0.24 of them against 60 tunes, 0.35 to 0.52 against 1,000."""

HITS_PER_WINDOW = 6
NEIGHBOURS = 4
"""Windows that find one tune are merged if fewer notes than this lie between them."""


@dataclass(frozen=True, slots=True)
class Lead:
    """What one look found: notes of the own tune, in which tune, and its chance.

    ``stretch`` says that it was found note against note, and not by an alignment.
    """

    first: int
    last: int
    tune_id: str
    points: int
    expected: float | None
    rhythm: bool
    stretch: bool = False


def windows_of(notes: int) -> list[tuple[int, int, bool]]:
    """First and last notes of all windows, and whether their rhythm counts.

    The whole tune where it is shorter than a window.
    """
    spans = set()
    for look in LOOKS:
        starts = [*range(0, notes - look.notes, look.step), max(notes - look.notes, 0)]
        spans |= {
            (start, min(start + look.notes, notes) - 1, look.rhythm) for start in starts
        }
    return sorted(spans)


def leads_of(
    corpus: Corpus,
    notes: Notes,
    own: Passage,
    spans: Sequence[tuple[int, int, bool]],
    hidden: frozenset[str],
    size: Size,
    costs: AlignmentCosts,
    remarks: list[str],
) -> list[Lead]:
    """What each window finds, with the chance of it, all windows considered."""

    noted = noted_in(remarks)
    whole = {
        rhythm: encode_query(replace(own.phrase(), has_rhythm=rhythm))
        for rhythm in (False, True)
    }
    leads = []
    unsaid = False
    depth = max(HITS_PER_WINDOW, OWN_BEST)
    for group in batched(spans, notes.at_once):
        corpus.pause()
        queries = [part_of(whole[rhythm], first, last) for first, last, rhythm in group]
        answers = notes.answers(
            [Question(query, depth, costs, hidden) for query in queries], noted
        )
        for (first, _, rhythm), answer in zip(group, answers, strict=True):
            fit = fit_points(answer.null) if answer.null else None
            unsaid = unsaid or (bool(answer.hits) and fit is None)
            leads += [
                Lead(
                    first + hit.query_span[0],
                    first + hit.query_span[1],
                    hit.tune_id,
                    hit.points,
                    chance_of(size, fit, hit.points, len(spans)),
                    rhythm,
                )
                for hit in answer.hits[:HITS_PER_WINDOW]
            ]
    if unsaid:
        remarks.append("The corpus is too small to say what chance would bring.")
    elif size.tunes < NULL_SAMPLE:
        remarks.append(
            f"With {size.tunes} tunes to measure chance on, expected numbers are rough."
        )
    return leads


def part_of(query: EncodedQuery, first: int, last: int) -> EncodedQuery:
    """Some notes of a phrase as a phrase."""
    part = slice(first, last + 1)
    return EncodedQuery(query.pitch[part], query.length_class[part], query.moved_semitones)


def chance_of(size: Size, fit: Fit | None, points: int, windows: int) -> float | None:
    """Tunes as close that chance would bring among so many tunes, over all windows."""
    if fit is None:
        return None
    one = expected_by_chance(fit, points, corpus_tunes=size.tunes, corpus_notes=size.notes)
    separate = max(SEPARATE_SHARE * windows, 1.0)
    return min(one * separate, float(size.tunes))


def merged(leads: Sequence[Lead]) -> list[list[Lead]]:
    """Leads to one tune whose stretches of the own tune touch, put together."""
    by_tune: dict[str, list[Lead]] = defaultdict(list)
    for lead in leads:
        by_tune[lead.tune_id].append(lead)
    groups: list[list[Lead]] = []
    for tune_id in sorted(by_tune):
        last = -1
        for place, lead in enumerate(
            sorted(by_tune[tune_id], key=lambda x: (x.first, x.last))
        ):
            if place == 0 or lead.first - last > NEIGHBOURS:
                groups.append([])
            groups[-1].append(lead)
            last = max(last, lead.last)
    return groups


def best_lead(group: Sequence[Lead]) -> Lead:
    """The lead least to be explained by chance; by points where nothing is said."""
    return min(
        group,
        key=lambda lead: (
            math.inf if lead.expected is None else lead.expected,
            -lead.points,
        ),
    )


def least_expected(group: Sequence[Lead]) -> float | None:
    """The least expected number in a group, None where none can be said."""
    return best_lead(group).expected
