"""resemble: what a phrase resembles in the corpus, best first.

Conventions: indexes of notes count from 0, the query's within the phrase, the
tune's within the whole tune. Which tunes are found is settled by exact alignment over
every transposition, ties by tune id; the best of them are then put in order by all that
speaks for each (:mod:`melodex.matching.evidence.ranking`), unless the order of the
alignment is asked for. A phrase cut from a tune of the corpus does not find that tune,
unless asked to.

Contents: Match, Resemblance, said_phrase, resemble.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from melodex.corpus.chunks import PackedChunk, encode_notes
from melodex.errors import REMEDIES, DamagedCorpusError, PhraseError, SettingsError
from melodex.matching.chance.fit import Fit, expected_by_chance, fit_points
from melodex.matching.chance.sample import NULL_SAMPLE, OWN_BEST, measure_null
from melodex.matching.engine.passes import noted_in
from melodex.matching.evidence.commonness import Commonness, countable, shared_run, verdicts
from melodex.matching.evidence.features import question_of
from melodex.matching.evidence.figures import count_figures, figure_of_steps
from melodex.matching.evidence.ngrams import Ngram, ngrams_of, overlap
from melodex.matching.evidence.ranking import (
    ORDERS,
    REORDERED,
    Ranked,
    explained,
    reorder,
    suits,
)
from melodex.matching.query import EncodedQuery, encode_query
from melodex.matching.search import Hit, search
from melodex.melody import Melody, Phrase
from melodex.reading.phrase.reader import NOTATIONS, read_phrase
from melodex.records import dataclass
from melodex.settings import AlignmentCosts
from melodex.tasks.compare import Likeness, likeness, likeness_of_contour
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
    evidence : float or None
        All that speaks for it, as a number that only compares matches of one phrase;
        None where matches are in the order of the alignment.
    explanation : tuple of str
        How the place in the order was arrived at, where that was asked for.
    """

    rank: int
    passage: Passage
    likeness: Likeness
    query_notes: tuple[int, int]
    tune_notes: tuple[int, int]
    expected_by_chance: float | None = None
    shared_ngrams: tuple[tuple[tuple[int, ...], int], ...] = ()
    commonness: str = ""
    evidence: float | None = None
    explanation: tuple[str, ...] = ()

    @property
    def tune_id(self) -> str:
        """Id of the tune."""
        return self.passage.tune_id

    @property
    def points(self) -> int:
        """Alignment points, higher is better."""
        return self.likeness.points

    def __repr__(self) -> str:
        return f"<Match {self.rank}: {self.passage.label}; {self.points} points>"


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
        ``evidence`` or ``alignment``.
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
        if self.phrase.notation in NOTATIONS:
            said.append(f"read as {NOTATIONS[self.phrase.notation]}")
        if self.phrase.notation != "contour" and not self.phrase.has_rhythm:
            said.append("no rhythm given")
        tunes = f"{self.corpus_tunes:,} tune{'s' if self.corpus_tunes != 1 else ''}"
        return f"{self.phrase.text}  ({', '.join(said)}; {tunes} searched)"

    def __repr__(self) -> str:
        return f"<Resemblance of {self.phrase!r}: {len(self.matches)} matches>"


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
            hint=REMEDIES["name phrase"],
        )
    if origin:
        return find_passage(
            origin,
            corpus,
            bars=read_span(bars) if bars else None,
            notes=read_span(notes, "notes") if notes else None,
        ).phrase()
    if bars or notes:
        raise PhraseError(
            "bars and notes are those of a tune",
            hint=REMEDIES["name tune"],
        )
    return read_phrase(text or "", notation=notation)


def resemble(
    corpus: Corpus,
    phrase: Phrase,
    *,
    limit: int = 10,
    include_self: bool = False,
    costs: AlignmentCosts | None = None,
    exclude: Collection[str] = (),
    order: str = "evidence",
    explain: bool = False,
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
    order : str
        ``evidence`` puts the best
        :data:`~melodex.matching.evidence.ranking.REORDERED` matches of the alignment in
        order by all that speaks for each; ``alignment`` leaves them in the order of
        their points. That is the only order where the weights do not fit: for a contour,
        for phrases longer than
        :data:`~melodex.matching.evidence.ranking.LONGEST_REORDERED`, and with costs of
        one's own.
    explain : bool
        Whether to say how each match came by its place.

    Returns
    -------
    Resemblance
        With fewer matches than asked for where fewer tunes have anything in common.
    """
    if order not in ORDERS:
        raise SettingsError(f"there is no order {order!r}", hint=" or ".join(ORDERS))
    if costs is not None or not suits(phrase):
        order = "alignment"
    costs = costs or AlignmentCosts()
    remarks: list[str] = []
    noted = noted_in(remarks)
    itself = {phrase.tune_id} if phrase.tune_id and not include_self else set()
    hidden = frozenset(itself.union(exclude))
    chunks = list(corpus.chunks())
    if phrase.notation == "contour":
        return resemble_contour(corpus, chunks, phrase, limit, hidden)
    query = encode_query(phrase)
    # Chance is measured on more matches than are shown.
    looked_at = max(limit, REORDERED) if order == "evidence" else limit
    depth = max(looked_at, OWN_BEST)
    hits = search(chunks, query, limit=depth, costs=costs, exclude=hidden, on_damage=noted)
    fit = fit_points(measure_null(chunks, query, costs, hits, hidden)) if hits else None
    melodies = corpus.melodies((hit.tune_id for hit in hits[:looked_at]), on_damage=noted)
    hits = [hit for hit in hits if hit.tune_id in melodies]
    found = Found(corpus, chunks, phrase, query, fit, melodies)
    matches = matches_of(found, hits, limit, order, explain) if hits else ()
    return Resemblance(
        phrase=phrase,
        corpus_tunes=corpus.tune_count,
        corpus_notes=corpus.note_count,
        most_points=sum(costs.pair_points(0, length, length) for length in query.classes),
        order=order,
        matches=matches,
        remarks=(
            *other_readings(phrase),
            *remarks,
            *out_of_order(matches),
            *how_sure(fit, hits),
        ),
    )


def other_readings(phrase: Phrase) -> list[str]:
    """What else a typed text can mean, where that is other music."""
    others = [NOTATIONS[name] for name in phrase.other_notations]
    if not others:
        return []
    meant = NOTATIONS[phrase.notation]
    return [f"The phrase was read as {meant}; read as {' or '.join(others)}, it differs."]


def resemble_contour(
    corpus: Corpus,
    chunks: Sequence[PackedChunk],
    phrase: Phrase,
    limit: int,
    hidden: frozenset[str],
) -> Resemblance:
    """Find the tunes that go up and down as a contour does."""
    from melodex.matching.contour import CONTOUR_COSTS, search_contour

    remarks: list[str] = []
    noted = noted_in(remarks)
    hits = search_contour(
        chunks, phrase.contour, limit=limit, exclude=hidden, on_damage=noted
    )
    melodies = corpus.melodies((hit.tune_id for hit in hits), on_damage=noted)
    hits = [hit for hit in hits if hit.tune_id in melodies]
    matches = tuple(
        Match(
            rank=rank,
            passage=passage_of(melodies[hit.tune_id], hit),
            likeness=likeness_of_contour(
                phrase.contour, melodies[hit.tune_id], hit.alignment
            ),
            query_notes=hit.query_span,
            tune_notes=hit.tune_span,
        )
        for rank, hit in enumerate(hits, start=1)
    )
    if hits and hits[-1].runner_up_points == hits[-1].points:
        remarks.append("More tunes tie with the last; ties go by id.")
    if hits:
        remarks.append("Contour searches carry no chance estimate.")
    return Resemblance(
        phrase=phrase,
        corpus_tunes=corpus.tune_count,
        corpus_notes=corpus.note_count,
        most_points=len(phrase.contour) * CONTOUR_COSTS.best_pair,
        order="alignment",
        matches=matches,
        remarks=tuple(remarks),
    )


@dataclass(frozen=True, slots=True)
class Found:
    """What was searched, what for, what chance would bring, and the tunes found."""

    corpus: Corpus
    chunks: Sequence[PackedChunk]
    phrase: Phrase
    query: EncodedQuery
    fit: Fit | None
    melodies: Mapping[str, Melody]


def matches_of(
    found: Found, hits: Sequence[Hit], limit: int, order: str, explain: bool
) -> tuple[Match, ...]:
    """The best hits with their tunes, what the notes are to each other, how common."""
    phrase, query, melodies = found.phrase, found.query, found.melodies
    pitches = {tune_id: encode_notes(tune)[0] for tune_id, tune in melodies.items()}
    figures = [figure_of(hit, phrase, pitches[hit.tune_id]) for hit in hits]
    common, counts, tunes = counted(
        found.chunks, query, figures, 2 if phrase.tune_id else 1
    )
    verdict = {hit.tune_id: str(said) for hit, said in zip(hits, common, strict=True)}
    placed: list[tuple[Hit, Ranked | None]] = [(hit, None) for hit in hits]
    if order == "evidence":
        question = question_of(phrase, query, found.fit, counts, tunes)
        best = reorder(question, hits[:REORDERED], melodies)
        placed[:REORDERED] = [(entry.hit, entry) for entry in best]
    matches = []
    for rank, (hit, entry) in enumerate(placed[:limit], start=1):
        found.corpus.pause()
        first, last = hit.tune_span
        part = pitches[hit.tune_id][first : last + 1]
        shared = overlap(query.pitch, part, counts, tunes).shared
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
                expected_by_chance=chance(found.corpus, found.fit, hit.points),
                shared_ngrams=tuple((n.intervals, n.tunes) for n in shared),
                commonness=verdict[hit.tune_id],
                evidence=entry.evidence if entry else None,
                explanation=explained(entry) if explain and entry else (),
            )
        )
    return tuple(matches)


def figure_of(hit: Hit, phrase: Phrase, pitch: bytes) -> bytes:
    """The figure that a phrase and a tune share: their longest run that agrees."""
    first, notes = shared_run(hit.alignment, phrase.melody.midi, pitch)
    return pitch[first : first + notes]


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


def out_of_order(matches: Sequence[Match]) -> list[str]:
    """What has to be said where more points come after fewer."""
    if all(one.points >= other.points for one, other in pairwise(matches)):
        return []
    return ["Some come before others with more points, since more else speaks for them."]


def how_sure(fit: Fit | None, hits: list[Hit]) -> list[str]:
    """What has to be said of the expected numbers in a small corpus."""
    if not hits:
        return []
    if fit is None:
        return [
            "The corpus is too small, or the phrase too short, to say how many as good "
            "chance would bring."
        ]
    sample = fit.null.tune_count
    if sample >= NULL_SAMPLE:
        return []
    times = 10 ** fit.spread_decades(hits[0].points)
    return [
        f"With only {sample} tunes to measure chance on, the number expected by chance "
        f"is rough: within a factor of about {times:.2g}."
    ]
