"""resemble: what a phrase resembles in the corpus, best first.

Conventions: indexes of notes count from 0, the query's within the phrase, the
tune's within the whole tune. The order is that of exact alignment over every
transposition; ties go by tune id. A phrase cut from a tune of the corpus does not
find that tune, unless asked to.

Contents: Match, Resemblance, said_phrase, resemble.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from typing import TYPE_CHECKING

from melodex.corpus.chunks import PackedChunk, encode_notes
from melodex.errors import DamagedCorpusError, PhraseError
from melodex.matching.chance import (
    NULL_SAMPLE,
    Fit,
    expected_by_chance,
    fit_points,
    measure_null,
)
from melodex.matching.commonness import Commonness, countable, shared_run, verdicts
from melodex.matching.figures import count_figures, figure_of_steps
from melodex.matching.ngrams import Ngram, ngrams_of, overlap
from melodex.matching.query import EncodedQuery, encode_query
from melodex.matching.search import Hit, search
from melodex.melody import Melody, Phrase
from melodex.reading.phrase import read_phrase
from melodex.records import dataclass
from melodex.settings import AlignmentCosts
from melodex.tasks.compare import Likeness, likeness
from melodex.tasks.passage import Passage, find_passage, read_span

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = ["Match", "Resemblance", "resemble", "said_phrase"]


@dataclass(frozen=True, slots=True)
class Match:
    """A place in a tune that the phrase resembles.

    Parameters
    ----------
    rank : int
        From 1.
    passage : Passage
        The part of the tune that is aligned, in its tune.
    likeness : Likeness
        Note against note; ``tune`` indexes are those of the whole tune.
    query_notes, tune_notes : tuple of int
        First and last aligned note of phrase and tune.
    expected_by_chance : float or None
        How many matches as good would turn up by chance in this corpus.
    shared_ngrams : tuple of (tuple of int, int)
        Runs of steps in semitones that both have, each with the number of tunes of
        the corpus that have it too; rarest first.
    commonness : str
        How common the shared figure is, in words.
    explanation : tuple of str
        How the place in the order was arrived at.
    """

    rank: int
    passage: Passage
    likeness: Likeness
    query_notes: tuple[int, int]
    tune_notes: tuple[int, int]
    expected_by_chance: float | None = None
    shared_ngrams: tuple[tuple[tuple[int, ...], int], ...] = ()
    commonness: str = ""
    explanation: tuple[str, ...] = ()

    @property
    def tune_id(self) -> str:
        """Id of the tune."""
        return self.passage.tune_id

    @property
    def points(self) -> int:
        """Alignment points, higher is better."""
        return self.likeness.points


@dataclass(frozen=True, slots=True)
class Resemblance:
    """What a phrase resembles.

    Parameters
    ----------
    phrase : Phrase
        What was looked for.
    corpus_tunes, corpus_notes : int
        How much was searched.
    most_points : int
        What the phrase would have against itself.
    order : str
        ``alignment`` or ``fitted``.
    matches : tuple of Match
        Best first.
    remarks : tuple of str
        What else has to be said, such as damage found on the way.
    """

    phrase: Phrase
    corpus_tunes: int
    corpus_notes: int
    most_points: int
    order: str
    matches: tuple[Match, ...]
    remarks: tuple[str, ...] = ()

    @property
    def heading(self) -> str:
        """What was looked for, and in how much."""
        said = [f"{len(self.phrase.melody)} notes"]
        if self.phrase.notation == "contour":
            said.append("contour only")
        elif not self.phrase.has_rhythm:
            said.append("no rhythm given")
        tunes = f"{self.corpus_tunes:,} tune{'s' if self.corpus_tunes != 1 else ''}"
        return f"{self.phrase.text}  ({', '.join(said)}; {tunes} searched)"


def said_phrase(
    corpus: Corpus | None,
    text: str | None = None,
    *,
    origin: str | None = None,
    bars: str | None = None,
    notes: str | None = None,
    notation: str = "",
) -> Phrase:
    """Make a phrase of what a person said: typed, or taken from a tune.

    Parameters
    ----------
    corpus : Corpus or None
        Where tunes are looked up.
    text : str, optional
        A typed phrase.
    origin : str, optional
        A tune or file to take the phrase from instead.
    bars, notes : str, optional
        What part of it, such as ``5-8``.
    notation : str
        How a typed phrase is written, where that could be taken in two ways.

    Raises
    ------
    PhraseError
        If neither or both were said, or the text cannot be understood.
    PassageError, UnknownTuneError, ReadingError
        If the tune or the part of it cannot be had.
    """
    if bool(text) == bool(origin):
        raise PhraseError(
            "a phrase and a tune were both named"
            if text
            else "there is nothing to look for",
            hint='type a phrase, such as "5 1 7 6 5 3", or take one with --from and --bars',
        )
    if origin:
        return find_passage(
            origin,
            corpus,
            bars=read_span(bars) if bars else None,
            notes=read_span(notes, "notes") if notes else None,
        ).phrase()
    if bars or notes:
        raise PhraseError("bars and notes go with --from", hint="leave them out")
    return read_phrase(text or "", notation=notation)


def resemble(
    corpus: Corpus,
    phrase: Phrase,
    *,
    limit: int = 10,
    include_self: bool = False,
    costs: AlignmentCosts | None = None,
    exclude: Collection[str] = (),
) -> Resemblance:
    """Find what a phrase resembles, exactly and in any key.

    Parameters
    ----------
    corpus : Corpus
        Opened for reading.
    phrase : Phrase
        Of :func:`said_phrase`, or of :meth:`Passage.phrase`.
    limit : int
        How many tunes at most.
    include_self : bool
        Whether a phrase cut from a tune of the corpus may find that tune.
    costs : AlignmentCosts, optional
        Points for pairs and gaps.
    exclude : collection of str
        Ids of tunes to leave out.

    Returns
    -------
    Resemblance
        With fewer matches than asked for where fewer tunes have anything in common.
    """
    costs = costs or AlignmentCosts()
    remarks: list[str] = []

    def noted(damage: DamagedCorpusError) -> None:
        remarks.append(f"Left out: {damage}.")

    itself = {phrase.tune_id} if phrase.tune_id and not include_self else set()
    hidden = frozenset(itself.union(exclude))
    query = encode_query(phrase)
    chunks = list(corpus.chunks())
    hits = search(chunks, query, limit=limit, costs=costs, exclude=hidden, on_damage=noted)
    fit = fit_points(measure_null(chunks, query, costs)) if hits else None
    return Resemblance(
        phrase=phrase,
        corpus_tunes=corpus.tune_count,
        corpus_notes=corpus.note_count,
        most_points=sum(costs.pair_points(0, length, length) for length in query.classes),
        order="alignment",
        matches=matches_of(corpus, chunks, phrase, query, hits, fit) if hits else (),
        remarks=(*remarks, *how_sure(fit, hits)),
    )


def matches_of(
    corpus: Corpus,
    chunks: Sequence[PackedChunk],
    phrase: Phrase,
    query: EncodedQuery,
    hits: Sequence[Hit],
    fit: Fit | None,
) -> tuple[Match, ...]:
    """Hits with their tunes, what the notes are to each other, and how common that is."""
    melodies = corpus.melodies(hit.tune_id for hit in hits)
    pitches = [encode_notes(melodies[hit.tune_id])[0] for hit in hits]
    runs = [
        shared_run(hit.alignment, phrase.melody.midi, pitch)
        for hit, pitch in zip(hits, pitches, strict=True)
    ]
    figures = [
        pitch[first : first + notes]
        for pitch, (first, notes) in zip(pitches, runs, strict=True)
    ]
    common, counts, tunes = counted(chunks, query, figures, 2 if phrase.tune_id else 1)
    matches = []
    for rank, (hit, pitch) in enumerate(zip(hits, pitches, strict=True), start=1):
        first, last = hit.tune_span
        shared = overlap(query.pitch, pitch[first : last + 1], counts, tunes).shared
        matches.append(
            Match(
                rank=rank,
                passage=passage_of(melodies[hit.tune_id], hit),
                likeness=likeness(
                    phrase.melody,
                    melodies[hit.tune_id],
                    hit.alignment,
                    has_rhythm=phrase.has_rhythm,
                    has_tonic=phrase.has_tonic,
                ),
                query_notes=hit.query_span,
                tune_notes=hit.tune_span,
                expected_by_chance=chance(corpus, fit, hit.points),
                shared_ngrams=tuple((n.intervals, n.tunes) for n in shared),
                commonness=str(common[rank - 1]),
            )
        )
    return tuple(matches)


def counted(
    chunks: Sequence[PackedChunk],
    query: EncodedQuery,
    figures: Sequence[bytes],
    compared: int,
) -> tuple[list[Commonness], dict[Ngram, int], int]:
    """How common shared figures are, and the phrase's n-grams, in one pass."""
    asked, ngrams = countable(figures), sorted(ngrams_of(query.pitch))
    wanted = [*asked, *(figure_of_steps(ngram) for ngram in ngrams)]
    # All of them are parts of the phrase, moved to other pitches.
    found = count_figures(chunks, wanted, within=query.pitch, on_damage=ignored)
    common = verdicts(figures, dict(zip(asked, found, strict=False)), compared=compared)
    counts = zip(ngrams, found[len(asked) :], strict=True)
    return common, {n: c.exact for n, c in counts}, found[0].tunes if found else 0


def passage_of(tune: Melody, hit: Hit) -> Passage:
    """The aligned part of a tune."""
    first, last = hit.tune_span
    return Passage(tune.excerpt(first, last), tune, first, hit.tune_id, True)


def ignored(damage: DamagedCorpusError) -> None:
    """The search has said it already."""


def chance(corpus: Corpus, fit: Fit | None, points: int) -> float | None:
    """How many tunes as good chance would bring, where that can be said."""
    if fit is None:
        return None
    return expected_by_chance(
        fit, points, corpus_tunes=corpus.tune_count, corpus_notes=corpus.note_count
    )


def how_sure(fit: Fit | None, hits: list[Hit]) -> list[str]:
    """What has to be said of the expected numbers in a small corpus."""
    if not hits:
        return []
    if fit is None:
        return ["The corpus is too small to say how many as good chance would bring."]
    sample = len(fit.null.points)
    if sample >= NULL_SAMPLE:
        return []
    times = 10 ** fit.spread_decades(hits[0].points)
    return [
        f"With only {sample} tunes to measure chance on, the number expected by chance "
        f"is rough: within about {times:.0f} times either way."
    ]
