"""What a recording resembles: every reading of it asked at once, one answer.

A sound can be read in several ways: which dips of loudness begin a note, and how long
the notes are in quarters. Each way is a phrase of its own, and each is searched exactly,
in any key. A tune stands in the answer once, with the reading that brought it most
points, a piece of several lines with its best one; equal points go to the reading that
was heard first, then by tune id. The best are then put in the order of points and of how
near they lie to what was sung (``as_sung``).

Contents: Reading, best_of_readings, resemble_recording.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from melodex.corpus.chunks import PackedChunk
from melodex.corpus.tunes.tune_rows import with_their_lines
from melodex.matching.asking import Here, Looked, Notes, Question
from melodex.matching.chance.fit import fit_points
from melodex.matching.chance.sample import OWN_BEST
from melodex.matching.engine.passes import OnDamage, noted_in
from melodex.matching.evidence.as_sung import nearest_first
from melodex.matching.query import EncodedQuery, encode_query
from melodex.matching.search import Hit
from melodex.melody import Phrase
from melodex.reading.recording.record import Recording
from melodex.reading.recording.rhythm import PULSES
from melodex.records import dataclass
from melodex.settings import AlignmentCosts
from melodex.tasks.matches import Asked, Match, Resemblance, most_points, searched
from melodex.tasks.resemble import (
    Found,
    how_sure,
    matches_of,
)
from melodex.tasks.tune_file import recording_of

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = ["Reading", "best_of_readings", "resemble_recording"]

CONSIDERED = 40
"""Tunes with most points that are laid against what was sung; those after them stay out."""

AS_SUNG = (
    "In the order of points and of how near the pitches and lengths lie as they were sung."
)


@dataclass(frozen=True, slots=True)
class Reading:
    """One way to read a recording, and what it found."""

    words: str
    phrase: Phrase
    query: EncodedQuery
    looked: Looked


def resemble_recording(
    corpus: Corpus,
    recording: str | Recording,
    *,
    limit: int = 10,
    exclude: Collection[str] = (),
    outside: frozenset[str] = frozenset(),
    notes: Notes | None = None,
) -> Resemblance:
    """Find what a recording resembles, in each way that it can be read.

    Parameters
    ----------
    corpus : Corpus
        Opened for reading.
    recording : str or Recording
        A sound file, or what was heard in one.
    limit : int
        How many tunes at most.
    exclude : collection of str
        Ids of tunes to leave out, each with its whole piece.
    outside : frozenset of str
        Ids of the lines that are no part of what is searched.
    notes : Notes, optional
        The notes of the corpus, where others hold them; read here if not given.

    Returns
    -------
    Resemblance
        In the order of points and of what was sung, each match with its reading.

    Raises
    ------
    ReadingError, EmptyMelodyError
        If the file cannot be read, or holds no line.
    """
    heard = recording_of(recording) if isinstance(recording, str) else recording
    remarks: list[str] = []
    whole = notes or Notes.of(corpus)
    apart = with_their_lines(corpus, exclude)
    size = searched(corpus, outside | apart)
    hidden = apart | outside
    within = whole.without(outside) if size.is_partial else whole
    readings, best = asked_all(within, heard, limit, hidden, noted_in(remarks))
    # What is damaged was told of by the search.
    melodies = corpus.melodies(
        (hit.tune_id for _, hit in best), on_damage=lambda damage: None
    )
    best = [(place, hit) for place, hit in best if hit.tune_id in melodies]
    costs = AlignmentCosts()
    matches: dict[str, Match] = {}
    chosen = sorted({place for place, _ in best})
    nulls = within.nulls([readings[place].looked for place in chosen])
    for place, null in zip(chosen, nulls, strict=True):
        reading = readings[place]
        hits = [hit for at, hit in best if at == place]
        fit = fit_points(null)
        found = Found(
            corpus,
            whole,
            reading.phrase,
            reading.query,
            fit,
            melodies,
            size.tunes,
            size.notes,
        )
        asked = Asked(reading.phrase, reading.words, most_points(reading.query, costs))
        for match in matches_of(found, hits, len(hits), "alignment", False)[0]:
            matches[match.tune_id] = replace(match, asked=asked)
        if best and place == best[0][0]:
            remarks += how_sure(fit, hits)
    ranked = [matches[hit.tune_id] for _, hit in best]
    if sorted(ranked, key=lambda match: -match.points) != ranked:
        remarks.append(AS_SUNG)
    return Resemblance(
        phrase=heard.lines[0].phrase(heard.name, PULSES[0]),
        corpus_tunes=size.tunes,
        corpus_notes=size.notes,
        most_points=most_points(readings[0].query, costs),
        order="alignment",
        matches=tuple(replace(m, rank=rank) for rank, m in enumerate(ranked, start=1)),
        remarks=tuple(remarks),
        recording=heard,
        corpus_lines=size.lines_told,
    )


def best_of_readings(
    chunks: Sequence[PackedChunk], recording: Recording, *, limit: int
) -> list[tuple[int, Hit]]:
    """The best tunes over all readings: the place of the reading, and the hit.

    Parameters
    ----------
    chunks : sequence of PackedChunk
        The corpus.
    recording : Recording
        What was heard.
    limit : int
        How many tunes at most.
    """
    return asked_all(Notes(Here(chunks)), recording, limit, frozenset(), None)[1]


def asked_all(
    notes: Notes,
    recording: Recording,
    limit: int,
    exclude: frozenset[str],
    on_damage: OnDamage | None,
) -> tuple[list[Reading], list[tuple[int, Hit]]]:
    """Every reading with what it found, and the best tunes over all of them."""
    readings: list[Reading] = []
    best: dict[str, tuple[int, Hit]] = {}
    lines = []
    ways = list(recording.ways())
    asked = [
        Question(encode_query(phrase), max(limit, OWN_BEST), AlignmentCosts(), exclude)
        for _, _, phrase in ways
    ]
    looked = notes.looked(asked, on_damage)
    for place, ((line, words, phrase), found) in enumerate(zip(ways, looked, strict=True)):
        lines.append(line)
        readings.append(Reading(words, phrase, found.question.query, found))
        for hit in found.hits:
            held = best.get(hit.piece)
            if held is None or hit.points > held[1].points:
                best[hit.piece] = place, hit
    ranked = sorted(best.values(), key=lambda one: (-one[1].points, one[1].tune_id))
    ranked = ranked[: max(limit, CONSIDERED)]
    order = nearest_first(notes, [(lines[place], hit) for place, hit in ranked])
    return readings, [ranked[place] for place in order[:limit]]
