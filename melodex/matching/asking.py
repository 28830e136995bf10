"""What a question asks of the packed notes of a corpus, in one place or in several.

Conventions: notes lie in parts: those of one file are one part, here; those of a folder of
shards may be held by others, a part each. A part is asked by a function of its chunks and
one argument, which travel by pickle where it lies elsewhere, and what the parts say is put
together as one part would say it. So one file and many shards go the same way:

1. *look*: each part searches for the phrase, and says which of its tunes may be drawn;
2. *plan*: of those drawn from the whole, how many are of each part;
3. *fetch*: each part gives those, and looks for the phrase backwards among as many;
4. *answer*: the best of all, and what chance would bring.

A part that is all there is is asked once: it looks and fetches.

Contents: Parts, Here, Question, Answer, Looked, Notes, best_of_all.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import chain
from typing import TYPE_CHECKING, Any, Protocol

from melodex.corpus.chunks import ID_BYTES, PackedChunk, pieces_in
from melodex.errors import DamagedCorpusError
from melodex.matching.chance.drawing import (
    DrawnTune,
    drawn_ids,
    drawn_ids_and_tunes,
    drawn_of_each_part,
    drawn_tunes,
    without_lines,
)
from melodex.matching.chance.sample import (
    NULL_SAMPLE,
    SEARCHED_BEST,
    SEARCHED_TUNES,
    Drawn,
    draw,
    null_of_drawn,
    seed_of,
)
from melodex.matching.engine.choice import engine
from melodex.matching.engine.passes import OnDamage, ignored
from melodex.matching.evidence.figures import FigureCount, count_figures
from melodex.matching.query import EncodedQuery
from melodex.matching.search import Hit, search
from melodex.records import dataclass
from melodex.settings import AlignmentCosts

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus
    from melodex.matching.chance.fit import Null

__all__ = ["Answer", "Here", "Looked", "Notes", "Parts", "Question", "best_of_all"]

Chunks = Sequence[PackedChunk]

SPARE_SHARE, SPARE_TUNES = 1.25, 100
"""A part offers so many times as many tunes for drawing as it has if all parts are of one
size, and so many more. Its number then is about n with a standard deviation of the root of
n (binomial), of which that covers ten and more. A part that is larger is asked again."""


class Parts(Protocol):
    """Where the notes of a corpus lie."""

    @property
    def count(self) -> int:
        """How many parts there are."""

    @property
    def at_once(self) -> int:
        """How many questions are best asked together."""

    def each(
        self, work: Callable[[Chunks, Any], Any], arguments: Sequence[Any]
    ) -> list[Any]:
        """Call a function with the chunks of each part and the argument for that part."""


class Here:
    """One part, in this process.

    Parameters
    ----------
    chunks : sequence of PackedChunk
        All of a corpus.
    """

    count = 1
    at_once = 1

    def __init__(self, chunks: Chunks) -> None:
        self.chunks = chunks

    def each(
        self, work: Callable[[Chunks, Any], Any], arguments: Sequence[Any]
    ) -> list[Any]:
        """As of parts."""
        return [work(self.chunks, arguments[0])]


@dataclass(frozen=True, slots=True)
class Question:
    """A phrase that is looked for, for at most so many tunes, but for some."""

    query: EncodedQuery
    limit: int
    costs: AlignmentCosts
    exclude: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Answer:
    """What was found, and what chance is fitted to; None where nothing was found."""

    hits: list[Hit]
    null: Null | None


class Notes:
    """The packed notes of a corpus, wherever they lie.

    Parameters
    ----------
    parts : Parts
        Where they lie.
    outside : frozenset of str
        Ids of lines that are not there for any question.
    """

    def __init__(self, parts: Parts, outside: frozenset[str] = frozenset()) -> None:
        self.parts = parts
        self.outside = outside

    @classmethod
    def of(cls, corpus: Corpus) -> Notes:
        """Those of a corpus that is open here."""
        return cls(Here(list(corpus.chunks())))

    def without(self, outside: frozenset[str]) -> Notes:
        """The same without some lines."""
        if not outside:
            return self
        if isinstance(self.parts, Here):
            return Notes(Here(without_lines(self.parts.chunks, outside)))
        return Notes(self.parts, self.outside | outside)

    @property
    def count(self) -> int:
        """In how many parts they lie."""
        return self.parts.count

    @property
    def at_once(self) -> int:
        """How many questions are best asked together."""
        return self.parts.at_once

    def each(
        self, work: Callable[[Chunks, Any], Any], arguments: Sequence[Any]
    ) -> list[Any]:
        """Call a function with the chunks of each part and the argument for that part."""
        if not self.outside:
            return self.parts.each(work, arguments)
        reduced = [(self.outside, work, argument) for argument in arguments]
        return self.parts.each(without_some, reduced)

    def told(self, work: Callable[[Chunks, Any], Any], argument: Any) -> list[Any]:
        """Call a function with the chunks of each part and one argument for all."""
        return self.each(work, [argument] * self.count)

    def answers(
        self, questions: Sequence[Question], on_damage: OnDamage | None = None
    ) -> list[Answer]:
        """What is found for some phrases, and what chance is fitted to for each.

        Parameters
        ----------
        questions : sequence of Question
            Those that are asked together.
        on_damage : callable, optional
            As in :func:`melodex.matching.search.search`.

        Raises
        ------
        DamagedCorpusError
            If a chunk is damaged and there is no ``on_damage``.
        """
        looked = self.looked(questions, on_damage, with_drawn=True)
        found = [each for each in looked if each.hits]
        nulls = iter(self.nulls(found))
        return [Answer(each.hits, next(nulls) if each.hits else None) for each in looked]

    def looked(
        self,
        questions: Sequence[Question],
        on_damage: OnDamage | None = None,
        *,
        with_drawn: bool = False,
    ) -> list[Looked]:
        """What is found for some phrases, before chance is thought of.

        ``with_drawn`` says that it will be: one part then tells at once what is drawn.
        """
        # One part need not say what it has: all that is drawn is of it.
        is_one = self.count == 1
        asked = list(questions), 0 if is_one else offered_by(self.count)
        parts: list[list[Look]] = self.told(look, (*asked, is_one and with_drawn))
        # It is told of once, not for each question.
        damages = {
            str(damage): damage for row in parts for each in row for damage in each.damages
        }
        for damage in damages.values():
            if on_damage is None:
                raise damage
            on_damage(damage)
        found = []
        for question, looks in zip(questions, zip(*parts, strict=True), strict=True):
            hits = best_of_all([each.hits for each in looks], question.limit)
            found.append(Looked(question, hits, looks))
        return found

    def nulls(self, looked: Sequence[Looked]) -> list[Null]:
        """What chance is fitted to for some phrases that were looked for."""
        later = iter(self.fetched([each for each in looked if each.drawn is None]))
        return [
            null_of_drawn(
                next(later) if each.drawn is None else each.drawn,
                sum(part.pieces for part in each.looks),
                each.question.query,
                each.question.costs,
                each.hits,
            )
            for each in looked
        ]

    def fetched(self, looked: Sequence[Looked]) -> list[Drawn]:
        """What is drawn for some phrases that were looked for."""
        if not looked:
            return []
        plans = [self.planned(each) for each in looked]
        jobs = [
            [
                (each.question, plan.counts[part], plan.is_whole)
                for each, plan in zip(looked, plans, strict=True)
            ]
            for part in range(self.count)
        ]
        parts: list[list[Drawn]] = self.each(fetch, jobs)
        return [together(drawn) for drawn in zip(*parts, strict=True)]

    def planned(self, looked: Looked) -> Plan:
        """How many of those drawn from the whole are of each part."""
        looks = looked.looks
        if len(looks) == 1:
            return Plan([(NULL_SAMPLE, SEARCHED_TUNES)], None)
        seed = seed_of(looked.question.query)
        ids = [found.offered for found in looks]
        pieces = sum(found.pieces for found in looks)
        searched = drawn_of_each_part(ids, seed, SEARCHED_TUNES)
        most = offered_by(self.count)
        if any(
            len(part) == ID_BYTES * most == ID_BYTES * share
            for part, share in zip(ids, searched, strict=True)
        ):
            # It may have more of them than it offered.
            ids = self.told(ids_drawn, (seed, SEARCHED_TUNES))
            searched = drawn_of_each_part(ids, seed, SEARCHED_TUNES)
        if pieces <= SEARCHED_TUNES:
            searched = [found.pieces for found in looks]
        sample = drawn_of_each_part(ids, seed, NULL_SAMPLE)
        return Plan(list(zip(sample, searched, strict=True)), sum(sample) == pieces)

    def drawn(self, seed: int, count: int) -> list[DrawnTune]:
        """Some tunes, as :func:`melodex.matching.chance.drawing.drawn_tunes` has them."""
        if self.count == 1:
            (only,) = self.told(tunes_drawn, (seed, count))
            return list(only)
        parts = self.told(ids_and_tunes, (seed, count))
        shares = drawn_of_each_part([ids for ids, _ in parts], seed, count)
        drawn: list[DrawnTune] = []
        for (ids, tunes), share in zip(parts, shares, strict=True):
            # Those of the whole are the first of a part by its own drawing.
            kept = set(first_drawn(ids, seed, share))
            drawn += [tune for tune in tunes if tune[0] in kept]
        return sorted(drawn)

    @property
    def pieces(self) -> int:
        """How many pieces they are of."""
        return sum(self.told(pieces_of, None))

    def counted(self, figures: Sequence[bytes], within: bytes = b"") -> list[FigureCount]:
        """In how many tunes each of some figures stands; damage is not told of again."""
        parts: list[list[FigureCount]] = self.told(count, (list(figures), within))
        return [summed(found) for found in zip(*parts, strict=True)]

    def found(
        self,
        search: Callable[..., list[Any]],
        phrase: Any,
        on_damage: OnDamage,
        **settings: Any,
    ) -> list[list[Any]]:
        """What another kind of search finds in each part.

        ``search`` takes the chunks, the phrase, ``on_damage`` and what else is named.
        """
        parts = self.told(searched, (search, phrase, settings))
        for damage in chain.from_iterable(damages for _, damages in parts):
            on_damage(damage)
        return [found for found, _ in parts]


@dataclass(frozen=True, slots=True)
class Look:
    """What a part found for a phrase, its tunes, those it offers for drawing, damage;
    what was drawn, where that is told at once."""

    hits: list[Hit]
    pieces: int
    offered: bytes
    damages: list[DamagedCorpusError]
    drawn: Drawn | None


@dataclass(frozen=True, slots=True)
class Looked:
    """What was found for a question: the best of all, and what each part said."""

    question: Question
    hits: list[Hit]
    looks: Sequence[Look]

    @property
    def drawn(self) -> Drawn | None:
        """What was drawn, where that was told at once."""
        return self.looks[0].drawn


@dataclass(frozen=True, slots=True)
class Plan:
    """For each part, how many tunes of the sample and of the search it has; the sample
    being all of the corpus or not. None where the part sees that itself."""

    counts: list[tuple[int, int]]
    is_whole: bool | None


def offered_by(parts: int) -> int:
    """How many tunes each of some parts offers for drawing."""
    return min(SEARCHED_TUNES, int(SPARE_SHARE * SEARCHED_TUNES / parts) + SPARE_TUNES)


def look(chunks: Chunks, asked: tuple[list[Question], int, bool]) -> list[Look]:
    """What a part finds for some phrases, and what is drawn from it if it is the whole."""
    questions, offered, with_drawn = asked
    pieces = sum(map(pieces_in, chunks))
    found = []
    for question in questions:
        damages: list[DamagedCorpusError] = []
        hits = search(
            chunks,
            question.query,
            limit=question.limit,
            costs=question.costs,
            exclude=question.exclude,
            on_damage=damages.append,
        )
        seed = seed_of(question.query)
        ids = drawn_ids(chunks, seed, offered) if offered else b""
        drawn = None
        if with_drawn and hits:
            drawn = draw(chunks, question.query, question.costs, question.exclude)
        found.append(Look(hits, pieces, ids, damages, drawn))
    return found


def searched(
    chunks: Chunks, asked: tuple[Callable[..., list[Any]], Any, dict[str, Any]]
) -> tuple[list[Any], list[DamagedCorpusError]]:
    """What another kind of search finds in a part, and the damage that it meets."""
    work, phrase, settings = asked
    damages: list[DamagedCorpusError] = []
    return work(chunks, phrase, on_damage=damages.append, **settings), damages


def fetch(
    chunks: Chunks, asked: list[tuple[Question, tuple[int, int], bool | None]]
) -> list[Drawn]:
    """What a part has of what was drawn for some phrases."""
    return [
        draw(chunks, each.query, each.costs, each.exclude, counts, is_whole)
        for each, counts, is_whole in asked
    ]


def together(parts: Sequence[Drawn]) -> Drawn:
    """What was drawn from each part as it is drawn from the whole."""
    if len(parts) == 1:
        return parts[0]
    return Drawn(
        sorted(tune for part in parts for tune in part.tunes),
        sum(part.searched for part in parts),
        best_of_all([part.back for part in parts], SEARCHED_BEST),
    )


def best_of_all(parts: Sequence[list[Hit]], limit: int) -> list[Hit]:
    """The best hits of all parts, in the order of one search.

    Parameters
    ----------
    parts : sequence of list of Hit
        What each part has found, with the same limit.
    limit : int
        How many at most.
    """
    if len(parts) == 1:
        return parts[0]
    found = sorted(chain.from_iterable(parts), key=lambda hit: (-hit.points, hit.tune_id))
    # Who comes next stands in the same part, which knows it, or in another.
    following = [*(hit.points for hit in found[1:]), 0]
    return [
        replace(hit, runner_up_points=max(hit.runner_up_points, after))
        for hit, after in zip(found[:limit], following, strict=False)
    ]


def ids_drawn(chunks: Chunks, asked: tuple[int, int]) -> bytes:
    """The ids of tunes drawn from a part."""
    return drawn_ids(chunks, *asked)


def tunes_drawn(chunks: Chunks, asked: tuple[int, int]) -> list[DrawnTune]:
    """Tunes drawn from a part."""
    return drawn_tunes(chunks, *asked)


def ids_and_tunes(chunks: Chunks, asked: tuple[int, int]) -> tuple[bytes, list[DrawnTune]]:
    """The ids of tunes drawn from a part, and the tunes."""
    return drawn_ids_and_tunes(chunks, *asked)


def pieces_of(chunks: Chunks, asked: None) -> int:
    """How many pieces the notes of a part are of."""
    return sum(map(pieces_in, chunks))


def first_drawn(ids: bytes, seed: int, count: int) -> list[bytes]:
    """The ids of those that are drawn if only so many are."""
    if not count:
        return []
    (places,) = engine().drawn([ids], seed, count)
    return [ids[ID_BYTES * at : ID_BYTES * (at + 1)] for at in places]


def count(chunks: Chunks, asked: tuple[list[bytes], bytes]) -> list[FigureCount]:
    """In how many tunes of a part each of some figures stands."""
    figures, within = asked
    return count_figures(chunks, figures, within=within, on_damage=ignored)


def summed(counts: Sequence[FigureCount]) -> FigureCount:
    """Counts of several parts as one."""
    return FigureCount(
        sum(each.exact for each in counts),
        sum(each.near for each in counts),
        sum(each.tunes for each in counts),
    )


def without_some(
    chunks: Chunks, asked: tuple[frozenset[str], Callable[[Chunks, Any], Any], Any]
) -> Any:
    """Call a function with the chunks of a part but for some lines."""
    outside, work, argument = asked
    return work(without_lines(chunks, outside), argument)
