"""resemble: what a phrase resembles in the corpus, best first.

Conventions: indexes of notes count from 0, the query's within the phrase, the
tune's within the whole tune. Which tunes are found is settled by exact alignment over
every transposition, ties by tune id; of a piece of several lines the best one is found,
and others that match nearly as well are named with it. The best are then put in order by
all that speaks for each (:mod:`melodex.matching.evidence.ranking`), unless the order of the
alignment is asked for. A phrase cut from a tune of the corpus does not find that tune,
unless asked to.

Contents: said_phrase, resemble, resemble_as_asked; Match and Resemblance come from
``matches``.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from melodex.corpus.chunks import encode_notes
from melodex.corpus.tunes.tune_rows import with_their_lines
from melodex.errors import REMEDIES, PhraseError, SettingsError
from melodex.matching.asking import Notes, Question
from melodex.matching.chance.fit import Fit, expected_by_chance, fit_points
from melodex.matching.chance.sample import NULL_SAMPLE, OWN_BEST
from melodex.matching.engine.passes import noted_in
from melodex.matching.evidence.commonness import (
    STOCK,
    Commonness,
    countable,
    shared_run,
    verdicts,
)
from melodex.matching.evidence.features import question_of
from melodex.matching.evidence.figures import figure_of_steps
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
from melodex.matching.search import Hit
from melodex.melody import Melody, Phrase
from melodex.reading.phrase.reader import read_phrase
from melodex.records import dataclass
from melodex.settings import AlignmentCosts
from melodex.tasks.compare.likeness import likeness
from melodex.tasks.matches import (
    Match,
    Resemblance,
    also_in_piece,
    most_points,
    passage_of,
    searched,
    sheets_left_out,
)
from melodex.tasks.passage import find_passage, read_span

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = ["Match", "Resemblance", "resemble", "resemble_as_asked", "said_phrase"]


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
    outside: frozenset[str] = frozenset(),
    order: str = "evidence",
    explain: bool = False,
    notes: Notes | None = None,
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
        Ids of tunes to leave out, each with its whole piece.
    outside : frozenset of str
        Ids of the lines that are no part of what is searched.
    order : str
        ``evidence`` puts the best
        :data:`~melodex.matching.evidence.ranking.REORDERED` matches of the alignment in
        order by all that speaks for each; ``alignment`` leaves them in the order of
        their points. That is the only order where the weights do not fit: for a contour,
        for phrases longer than
        :data:`~melodex.matching.evidence.ranking.LONGEST_REORDERED` that are no whole
        tune, and with costs of one's own.
    explain : bool
        Whether to say how each match came by its place.
    notes : Notes, optional
        The notes of the corpus, where others hold them; read here if not given.

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
    # Leaving out a tune leaves out its piece.
    apart = with_their_lines(corpus, exclude) if exclude else NONE
    size = searched(corpus, outside | apart)
    hidden = with_their_lines(corpus, itself) | apart | outside
    whole = notes or Notes.of(corpus)
    # Where single lines are searched, chance is what it is among those.
    within = whole.without(outside) if size.is_partial else whole
    if not phrase.has_notes:
        from melodex.tasks.partly import resemble_partly

        return resemble_partly(corpus, within, phrase, limit, hidden, size)
    query = encode_query(phrase)
    # Chance is measured on more matches than are shown.
    looked_at = max(limit, REORDERED) if order == "evidence" else limit
    depth = max(looked_at, OWN_BEST)
    (answer,) = within.answers([Question(query, depth, costs, hidden)], noted)
    hits, fit = answer.hits, fit_points(answer.null) if answer.null else None
    melodies = corpus.melodies((hit.tune_id for hit in hits[:looked_at]), on_damage=noted)
    hits = [hit for hit in hits if hit.tune_id in melodies]
    found = Found(corpus, whole, phrase, query, fit, melodies, size.tunes, size.notes)
    matches, first = matches_of(found, hits, limit, order, explain) if hits else ((), ())
    return Resemblance(
        phrase=phrase,
        corpus_tunes=size.tunes,
        corpus_notes=size.notes,
        most_points=most_points(query, costs),
        order=order,
        matches=matches,
        remarks=(
            *remarks,
            *how_sure(fit, hits),
            *sheets_left_out(corpus),
        ),
        foreword=(*first, *out_of_order(matches)),
        corpus_lines=size.lines_told,
    )


def resemble_as_asked(corpus: Corpus, asked: tuple[Phrase, dict[str, Any]]) -> Resemblance:
    """What a phrase resembles: one of many that are dealt out."""
    phrase, settings = asked
    return resemble(corpus, phrase, **settings)


NONE: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Found:
    """What was searched, what for, what chance would bring, and the tunes found."""

    corpus: Corpus
    notes: Notes
    phrase: Phrase
    query: EncodedQuery
    fit: Fit | None
    melodies: Mapping[str, Melody]
    tune_count: int
    note_count: int


def matches_of(
    found: Found, hits: Sequence[Hit], limit: int, order: str, explain: bool
) -> tuple[tuple[Match, ...], tuple[str, ...]]:
    """The best hits with their tunes and how common they are; what to say before them."""
    phrase, query, melodies = found.phrase, found.query, found.melodies
    pitches = {tune_id: encode_notes(tune)[0] for tune_id, tune in melodies.items()}
    figures = [figure_of(hit, phrase, pitches[hit.tune_id]) for hit in hits]
    common, counts, tunes = counted(found.notes, query, figures, 2 if phrase.tune_id else 1)
    verdict = {hit.tune_id: said for hit, said in zip(hits, common, strict=True)}
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
                expected_by_chance=chance(found, hit.points),
                shared_ngrams=tuple((n.intervals, n.tunes) for n in shared),
                commonness=verdict[hit.tune_id].beside(chance(found, hit.points)),
                evidence=entry.evidence if entry else None,
                explanation=explained(entry) if explain and entry else (),
                also=also_in_piece(found.corpus, query, hit.points, hit.other_lines),
            )
        )
    return tuple(matches), commonplace(phrase, common)


def commonplace(phrase: Phrase, common: Sequence[Commonness]) -> tuple[str, ...]:
    """What has to be said first where many tunes hold the whole phrase."""
    whole = [said for said in common if said.notes == len(phrase.melody)]
    if not whole or whole[0].verdict != STOCK:
        return ()
    holders = whole[0].exact + 1
    return (
        f"This phrase is a commonplace: {holders:,} tunes hold all its "
        f"{whole[0].notes} notes, in any rhythm. More notes tell more.",
    )


def figure_of(hit: Hit, phrase: Phrase, pitch: bytes) -> bytes:
    """The figure that a phrase and a tune share: their longest run that agrees."""
    first, notes = shared_run(hit.alignment, phrase.melody.midi, pitch)
    return pitch[first : first + notes]


def counted(
    notes: Notes,
    query: EncodedQuery,
    figures: Sequence[bytes],
    compared: int,
) -> tuple[list[Commonness], dict[Ngram, int], int]:
    """How common shared figures are, and the phrase's n-grams, in one pass."""
    asked, ngrams = countable(figures), sorted(ngrams_of(query.pitch))
    wanted = [*asked, *(figure_of_steps(ngram) for ngram in ngrams)]
    # All of them are parts of the phrase, moved to other pitches.
    found = notes.counted(wanted, query.pitch)
    common = verdicts(figures, dict(zip(asked, found, strict=False)), compared=compared)
    counts = zip(ngrams, found[len(asked) :], strict=True)
    return common, {n: c.exact for n, c in counts}, found[0].tunes if found else 0


def chance(found: Found, points: int) -> float | None:
    """How many tunes as good chance would bring, where that can be said."""
    if found.fit is None:
        return None
    return expected_by_chance(
        found.fit, points, corpus_tunes=found.tune_count, corpus_notes=found.note_count
    )


def out_of_order(matches: Sequence[Match]) -> list[str]:
    """What has to be said where more points come after fewer."""
    if all(one.points >= other.points for one, other in pairwise(matches)):
        return []
    return [
        "Some come before others with more points, since rhythm, metre, function or rare "
        "figures speak for them."
    ]


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
