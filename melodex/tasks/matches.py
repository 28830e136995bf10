"""What a search for a phrase gives back.

Conventions: indexes of notes count from 0, the query's within the phrase, the tune's
within the whole tune.

Contents: Asked, Match, Resemblance, passage_of, searched, sheets_left_out.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator
from typing import TYPE_CHECKING

from melodex.corpus.tune_rows import piece_of, with_their_lines
from melodex.matching.search import Hit
from melodex.melody import Melody, Phrase
from melodex.reading.phrase.reader import NOTATIONS
from melodex.records import dataclass
from melodex.tasks.compare import Likeness
from melodex.tasks.passage import Passage

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus
    from melodex.reading.recording.record import Recording

__all__ = ["Asked", "Match", "Resemblance", "passage_of", "searched", "sheets_left_out"]


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
        return "; ".join(passage.in_piece for passage in self.also)

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


def sheets_left_out(corpus: Corpus) -> Iterator[str]:
    """What has to be said where a corpus holds sheets of chords without notes."""
    count = corpus.sheet_count
    if count:
        yield (
            f"Not searched: {count:,} sheet{'s' if count > 1 else ''} of chords without "
            "notes. Gather finds them by their progressions."
        )


def searched(corpus: Corpus, exclude: Collection[str]) -> tuple[int, int]:
    """How many tunes and notes are searched: all but those that are left out by wish.

    Lines of one piece are one tune, and go together.
    """
    if not exclude:
        return corpus.tune_count, corpus.note_count
    hidden = sorted(with_their_lines(corpus, exclude))
    rows = corpus.query(
        "SELECT tune.tune_id, note_count FROM json_each(?) AS hidden "
        "CROSS JOIN tune ON tune.tune_id = hidden.value WHERE note_count > 0",
        [json.dumps(hidden)],
    )
    pieces = len(set(piece_of(corpus, [tune_id for tune_id, _ in rows]).values()))
    return corpus.tune_count - pieces, corpus.note_count - sum(notes for _, notes in rows)
