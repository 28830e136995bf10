"""What a search for a phrase gives back.

Conventions: indexes of notes count from 0, the query's within the phrase, the tune's
within the whole tune.

Contents: Asked, Match, Resemblance, passage_of, Size, searched, most_points,
also_in_piece, also_text, sheets_left_out.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Collection, Iterator, Sequence
from typing import TYPE_CHECKING

from melodex.corpus.chunks import encode_notes
from melodex.corpus.tunes.tune_rows import lines_in, piece_of
from melodex.matching.engine.choice import engine
from melodex.matching.query import EncodedQuery
from melodex.matching.search import Hit
from melodex.melody import Melody, Phrase
from melodex.reading.phrase.reader import NOTATIONS
from melodex.records import dataclass
from melodex.settings import AlignmentCosts
from melodex.tasks.compare.likeness import Likeness
from melodex.tasks.passage import Passage

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus
    from melodex.reading.recording.record import Recording

__all__ = [
    "Asked",
    "Match",
    "Resemblance",
    "Size",
    "also_in_piece",
    "also_text",
    "most_points",
    "passage_of",
    "searched",
    "sheets_left_out",
]


@dataclass(frozen=True, slots=True)
class Asked:
    """What was asked where one thing can be read in several ways.

    Parameters
    ----------
    phrase : Phrase
        This reading of it.
    words : str
        How it was read.
    most_points : int
        What the phrase would have against itself.
    """

    phrase: Phrase
    words: str
    most_points: int


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
    asked : Asked or None
        Where a recording was looked for: which reading of it matches.
    also : tuple of Passage
        What other lines of the same piece have that matches nearly as well, best first.
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
    asked: Asked | None = None
    also: tuple[Passage, ...] = ()

    @property
    def tune_id(self) -> str:
        """Id of the tune."""
        return self.passage.tune_id

    @property
    def also_words(self) -> str:
        """Other lines that match nearly as well: ``Viola (line 3 of 4), bars 9-12``."""
        return also_text(self.also)

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
        How much was searched; lines of one piece are one tune.
    most_points : int
        What the phrase would have against itself.
    order : str
        ``evidence`` or ``alignment``.
    matches : tuple of Match
        Best first.
    remarks : tuple of str
        What else has to be said, such as damage found on the way.
    foreword : tuple of str
        What has to be known before the matches are looked at.
    recording : Recording or None
        What was heard, where a recording was looked for.
    corpus_lines : int
        How many lines the tunes searched have; 0 where each has one.
    """

    phrase: Phrase
    corpus_tunes: int
    corpus_notes: int
    most_points: int
    order: str
    matches: tuple[Match, ...]
    remarks: tuple[str, ...] = ()
    foreword: tuple[str, ...] = ()
    recording: Recording | None = None
    corpus_lines: int = 0

    def asked_by(self, match: Match) -> Asked:
        """The phrase that a match is a match of."""
        return match.asked or Asked(self.phrase, "", self.most_points)

    @property
    def heading(self) -> str:
        """What was looked for, and in how much."""
        said = [f"{len(self.phrase.melody)} notes"]
        if self.phrase.notation in NOTATIONS:
            said.append(f"read as {NOTATIONS[self.phrase.notation]}")
        if others := self.phrase.other_notations:
            said.append(f"other music as {' or '.join(others)}")
        if not self.phrase.contour and not self.phrase.has_rhythm:
            said.append("no rhythm given")
        tunes = f"{self.corpus_tunes:,} tune{'s' if self.corpus_tunes != 1 else ''}"
        if self.corpus_lines:
            tunes += f" of {self.corpus_lines:,} lines"
        return f"{self.phrase.text}  ({', '.join(said)}; {tunes} searched)"

    def __repr__(self) -> str:
        return f"<Resemblance of {self.phrase!r}: {len(self.matches)} matches>"


def passage_of(tune: Melody, hit: Hit) -> Passage:
    """The aligned part of a tune."""
    first, last = hit.tune_span
    return Passage(tune.excerpt(first, last), tune, first, hit.tune_id, True)


def most_points(query: EncodedQuery, costs: AlignmentCosts) -> int:
    """What a phrase would have against itself."""
    return sum(costs.pair_points(0, length, length) for length in query.classes)


NEARLY_AS_GOOD = 0.8
"""Of the points of a piece's best line; another line that has so many, and half of what
the phrase has against itself, is named too."""
MOST_ALSO = 5
"""Other lines of a piece that are named beside its best."""


def also_in_piece(
    corpus: Corpus, query: EncodedQuery, points: int, others: Collection[str]
) -> tuple[Passage, ...]:
    """Passages of other lines of a piece that match nearly as well, best first.

    Parameters
    ----------
    corpus : Corpus
        Opened for reading.
    query : EncodedQuery
        What was looked for.
    points : int
        Of the best line.
    others : collection of str
        Ids of the other lines.
    """
    if not others:
        return ()
    # A line that cannot be read is named by nobody; 'check' names it.
    melodies = corpus.melodies(others, on_damage=lambda damage: None)
    notes = {tune_id: encode_notes(melody) for tune_id, melody in melodies.items()}
    costs, worker = AlignmentCosts(), engine()
    best = worker.best(list(notes.values()), query, costs)
    least = max(NEARLY_AS_GOOD * points, most_points(query, costs) / 2)
    good = sorted(
        (-reached, tune_id, move)
        for (tune_id, _), (reached, move) in zip(notes.items(), best, strict=True)
        if reached >= least
    )
    passages = []
    for _, tune_id, move in good[:MOST_ALSO]:
        alignment = worker.trace(query, *notes[tune_id], move, costs)
        assert alignment is not None
        first, last = alignment.tune_span
        melody = melodies[tune_id]
        part = melody.excerpt(first, last)
        passages.append(Passage(part, melody, first, tune_id, True))
    return tuple(passages)


def also_text(passages: Sequence[Passage]) -> str:
    """Those passages in words: ``Viola (line 3 of 4), bars 9-12``."""
    return "; ".join(passage.in_piece for passage in passages)


def sheets_left_out(corpus: Corpus) -> Iterator[str]:
    """What has to be said where a corpus holds sheets of chords without notes."""
    count = corpus.sheet_count
    if count:
        yield (
            f"Not searched: {count:,} sheet{'s' if count > 1 else ''} of chords without "
            "notes. Gather finds them by their progressions."
        )


@dataclass(frozen=True, slots=True)
class Size:
    """How much is searched: lines of one piece are one tune.

    ``is_partial`` where of a piece some lines are searched and others not.
    """

    tunes: int
    notes: int
    lines: int
    is_partial: bool = False

    @property
    def lines_told(self) -> int:
        """How many lines the tunes have; 0 where each has one."""
        return self.lines if self.lines > self.tunes else 0


def searched(corpus: Corpus, outside: Collection[str]) -> Size:
    """How much is searched: all but the lines that are left out by wish."""
    whole = Size(corpus.tune_count, corpus.note_count, corpus.line_count)
    if not outside:
        return whole
    rows = corpus.query(
        "SELECT tune.tune_id, note_count FROM json_each(?) AS hidden "
        "CROSS JOIN tune ON tune.tune_id = hidden.value WHERE note_count > 0",
        [json.dumps(sorted(outside))],
    )
    notes = whole.notes - sum(notes for _, notes in rows)
    gone, is_partial = len(rows), False
    if whole.lines > whole.tunes:
        # A piece is searched as long as one of its lines is.
        ids = [tune_id for tune_id, _ in rows]
        hidden = Counter(piece_of(corpus, ids).values())
        lines = {piece: len(lines) for piece, lines in lines_in(corpus, hidden).items()}
        gone = sum(count >= lines.get(piece, 1) for piece, count in hidden.items())
        is_partial = gone < len(hidden)
    return Size(whole.tunes - gone, notes, whole.lines - len(rows), is_partial)
