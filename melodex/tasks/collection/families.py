"""Tune families: tunes of a corpus that are one tune by their music, whatever their names.

Conventions: which tunes are kin is said by ``kin``, pair by pair. A family is a tune with
all its kin that are in no earlier family, the tune with the most kin first: so each member
is kin to the tune that stands for the family, and the claim can be looked at by comparing
the two. That a tune of many kin stands for a family is ours; "tune family" is the word of
the trade (Bayard 1950, J. American Folklore 63, 247-249; the place is from memory).

Tunes of too few notes, or of too few different figures (a drone, a scale), are kin to
anything or to nothing: they are left out, and counted.

Contents: Member, Family, Families, find_families, family_of_tune.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from melodex.corpus.chunks import TuneNotes, encode_notes
from melodex.corpus.packing import unpack
from melodex.corpus.reader import Corpus
from melodex.corpus.tunes.tune_rows import TuneRow, lined_pieces
from melodex.matching.dealing.exchange import Exchange
from melodex.matching.engine.passes import batched
from melodex.matching.evidence.kinship import steps_of
from melodex.matching.evidence.whole_tunes import (
    Unrelated,
    WholeTune,
    beats_of,
    query_of,
)
from melodex.matching.search import search
from melodex.tasks.collection.kin import (
    LEAST,
    Link,
    Progress,
    kin_of,
    links_among,
)
from melodex.tasks.collection.variants import differences

__all__ = ["Families", "Family", "Member", "family_of_tune", "find_families"]

FEWEST_NOTES, FEWEST_FIGURES, FIGURE_STEPS = 12, 8, 3
"""Of a tune that can be told from others: notes, and different figures of four notes."""

READ_AT_ONCE = 512
MOST_KIN = 100
"""Of the best that the search finds for one tune so many are looked at."""


@dataclass(frozen=True, slots=True)
class Member:
    """A tune of a family, and what it is to the tune that stands for the family.

    Parameters
    ----------
    row : TuneRow
        The tune.
    likeness : float
        Points of their alignment, of what the shorter could reach: 1 for the same notes.
    sureness : float
        How sure it is that they are one tune, 0.5 to 1.
    expected_by_chance : float
        Tunes as near to one of them that chance would bring to the whole corpus.
    differences : tuple of str
        What differs, in words; nothing for the tune that stands for the family.
    """

    row: TuneRow
    likeness: float
    sureness: float
    expected_by_chance: float
    differences: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Family:
    """Kin; the first stands for the family, the others follow by falling sureness."""

    members: tuple[Member, ...]

    @property
    def likeness(self) -> float:
        """Of the member that is least like the first."""
        return min(member.likeness for member in self.members)

    @property
    def sureness(self) -> float:
        """Of the member that is least surely kin to the first."""
        return min(member.sureness for member in self.members)


@dataclass(frozen=True, slots=True)
class Families:
    """The families of a corpus, the largest first.

    ``left_out`` tunes have too few notes or figures; ``families_in_all`` and
    ``tunes_in_families`` count also those that are not shown.
    """

    families: tuple[Family, ...]
    families_in_all: int
    tunes_in_families: int
    left_out: int
    corpus_tunes: int
    least: float


Copies = Mapping[tuple[bytes, bytes], Sequence[TuneNotes]]
"""Tunes by steps and lengths: one tune may stand in a corpus many times."""


def find_families(
    corpus: Corpus,
    *,
    least: float = LEAST,
    limit: int | None = None,
    progress: Progress | None = None,
    exchange: Exchange | None = None,
) -> Families:
    """Find the tune families of a corpus.

    Parameters
    ----------
    corpus : Corpus
        An open corpus.
    least : float
        Likeness below which two tunes are not called kin, above 0, at most 1.
    limit : int, optional
        At most so many families; the others are counted.
    progress : callable, optional
        Called with what is done and all there is to do, a few times a second.
    exchange : Exchange, optional
        Others who work, and where; this process alone where it is not given.

    Returns
    -------
    Families
        The largest first, then the surest, then by tune id.
    """
    tunes = tunes_of(corpus)
    told = [tune for tune in tunes if can_be_told(tune.pitch)]
    copies = same_music(told)
    leaders = [group[0] for group in copies.values()]

    def report(done: int, total: int) -> None:
        corpus.pause()
        if progress is not None:
            progress(done, total)

    whole = whole_tunes(corpus, leaders)
    unrelated = Unrelated.measured(whole, len(tunes))
    links = links_among(whole, least, unrelated, report, exchange)
    groups = with_copies(starred(links, len(leaders)), leaders, copies)
    groups.sort(key=lambda group: (-len(group), -group[-1].sureness, group[0].tune.tune_id))
    shown = groups if limit is None else groups[:limit]
    return Families(
        tuple(family_of(corpus, group) for group in shown),
        len(groups),
        sum(len(group) for group in groups),
        len(tunes) - len(told),
        len(tunes),
        least,
    )


def family_of_tune(corpus: Corpus, tune: str, *, least: float = LEAST) -> Family:
    """Find the kin of one tune in the whole corpus, by the exact search.

    Parameters
    ----------
    corpus : Corpus
        An open corpus.
    tune : str
        A tune id, the start of one, or a title.
    least : float
        Likeness below which no tune is called kin.

    Returns
    -------
    Family
        The tune first, which may be alone.

    Raises
    ------
    UnknownTuneError
        If there is no such tune, or more than one.
    """
    tune_id = corpus.resolve(tune)
    tunes = tunes_of(corpus)
    alone = next((tune for tune in tunes if tune.tune_id == tune_id), None)
    alone = alone or notes_of_line(corpus, tune_id)
    found = [Placed(alone, 1.0, 1.0, 0.0)]
    if can_be_told(alone.pitch):
        found += sorted(
            kin_in(corpus, alone, tunes, least),
            key=lambda each: (-each.sureness, each.tune.tune_id),
        )
    return family_of(corpus, found)


def kin_in(
    corpus: Corpus, alone: TuneNotes, tunes: Sequence[TuneNotes], least: float
) -> Iterator[Placed]:
    """The kin of a tune among all, of those that the exact search finds first."""
    query = query_of(WholeTune(alone.pitch, alone.length_class))
    itself = frozenset({alone.tune_id})
    hits = search(corpus.chunks(), query, limit=MOST_KIN, exclude=itself)
    found = {hit.tune_id for hit in hits}
    others = [tune for tune in tunes if tune.tune_id in found and can_be_told(tune.pitch)]
    if not others:
        return
    some = [WholeTune(tune.pitch, tune.length_class) for tune in tunes]
    unrelated = Unrelated.measured(some, len(tunes))
    whole = whole_tunes(corpus, [alone, *others])
    for link in kin_of(whole, 0, range(1, len(whole)), least, unrelated):
        yield placed(others[link.other - 1], link)


def whole_tunes(corpus: Corpus, tunes: Sequence[TuneNotes]) -> list[WholeTune]:
    """Tunes with the beats of their notes, which stand with the melodies."""
    found: list[WholeTune] = []
    for part in batched(tunes, READ_AT_ONCE):
        corpus.pause()
        # A tune that cannot be read goes without; 'check' names it.
        melodies = corpus.melodies(
            [tune.tune_id for tune in part], on_damage=lambda damage: None
        )
        for tune in part:
            melody = melodies.get(tune.tune_id)
            beats = beats_of(melody) if melody is not None else b""
            found.append(WholeTune(tune.pitch, tune.length_class, beats))
    return found


def tunes_of(corpus: Corpus) -> list[TuneNotes]:
    """All tunes in order of tune id; of a piece of several lines its main line."""
    pieces = lined_pieces(corpus)
    return sorted(
        (
            tune
            for chunk in corpus.chunks()
            for tune in unpack(chunk)
            if pieces.get(tune.tune_id, tune.tune_id) == tune.tune_id
        ),
        key=lambda tune: tune.tune_id,
    )


def notes_of_line(corpus: Corpus, tune_id: str) -> TuneNotes:
    """A tune that does not stand for its piece."""
    return TuneNotes(tune_id, *encode_notes(corpus.melody(tune_id)))


def can_be_told(pitch: bytes) -> bool:
    """Whether a tune has enough in it to be known again."""
    steps = steps_of(pitch)
    figures = {steps[at : at + FIGURE_STEPS] for at in range(len(steps) - FIGURE_STEPS + 1)}
    return len(pitch) >= FEWEST_NOTES and len(figures) >= FEWEST_FIGURES


def same_music(tunes: Sequence[TuneNotes]) -> Copies:
    """Tunes by steps and lengths."""
    found: dict[tuple[bytes, bytes], list[TuneNotes]] = defaultdict(list)
    for tune in tunes:
        found[steps_of(tune.pitch), tune.length_class].append(tune)
    return found


@dataclass(frozen=True, slots=True)
class Placed:
    """A tune of a family, and how surely it is kin to the one that stands for it."""

    tune: TuneNotes
    likeness: float
    sureness: float
    expected: float


def placed(tune: TuneNotes, link: Link) -> Placed:
    """A tune with what a link says of it."""
    return Placed(tune, link.pair.likeness, link.sureness, link.expected)


def starred(links: Sequence[Link], count: int) -> list[list[tuple[int, Link | None]]]:
    """Families by places: a tune and its kin that are in none yet, most kin first."""
    kin: list[list[tuple[int, Link]]] = [[] for _ in range(count)]
    for link in links:
        kin[link.one].append((link.other, link))
        kin[link.other].append((link.one, link))
    free = [True] * count
    found: list[list[tuple[int, Link | None]]] = []
    order = sorted(
        range(count),
        key=lambda n: (-len(kin[n]), -sum(link.sureness for _, link in kin[n]), n),
    )
    for place in order:
        if not free[place]:
            continue
        members = sorted(
            (each for each in kin[place] if free[each[0]]),
            key=lambda each: (-each[1].sureness, each[0]),
        )
        free[place] = False
        for other, _ in members:
            free[other] = False
        found.append([(place, None), *members])
    return found


def with_copies(
    groups: Sequence[Sequence[tuple[int, Link | None]]],
    leaders: Sequence[TuneNotes],
    copies: Copies,
) -> list[list[Placed]]:
    """The families of two tunes or more, tunes of the same music beside each other."""
    found = []
    for group in groups:
        members = [
            placed(tune, link) if link else Placed(tune, 1.0, 1.0, 0.0)
            for place, link in group
            for tune in copies[steps_of(leaders[place].pitch), leaders[place].length_class]
        ]
        if len(members) > 1:
            found.append(members)
    return found


def family_of(corpus: Corpus, group: Sequence[Placed]) -> Family:
    """A family with what its members differ by."""
    first = group[0].tune
    standing = corpus.tune(first.tune_id)
    members = []
    for each in group:
        row = corpus.tune(each.tune.tune_id)
        same = each.tune is first
        differs = () if same else differences(first, each.tune, standing, row)
        members.append(Member(row, each.likeness, each.sureness, each.expected, differs))
    return Family(tuple(members))
