"""Whether the passage of a teaching set is still as it was kept.

Conventions: a tune id says what a tune holds, so a file may be renamed or added
again and nothing has changed. Where the id is gone, the place where the tune stood is
looked up: another tune there is the changed one. Agreement is the share of the
passage's notes that have the same degree.

Contents: AS_KEPT, CHANGED, GONE, APART, Nearest, State, state_of, nearest_in.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from melodex.corpus.chunks import encode_notes
from melodex.corpus.lessons import tune_at_place
from melodex.errors import DamagedCorpusError, EmptyMelodyError, PhraseError
from melodex.matching.align import align
from melodex.matching.query import encode_query
from melodex.matching.search import search
from melodex.melody import Melody, Phrase, bars_text
from melodex.settings import AlignmentCosts
from melodex.tasks.compare.likeness import likeness
from melodex.tasks.lesson.labels import excerpt_digest

if TYPE_CHECKING:
    from melodex.corpus.lessons import ExampleRow
    from melodex.corpus.reader import Corpus

__all__ = ["APART", "AS_KEPT", "CHANGED", "GONE", "Nearest", "State", "nearest_in"]

AS_KEPT = "as kept"
CHANGED = "changed"
GONE = "gone"
APART = "not of this corpus"

LEAST_OFFERED = 0.5
"""Agreement from which a passage of the changed tune is offered; our choice."""

LEAST_ELSEWHERE = 0.8
"""The same for a passage of any tune, where the tune itself is gone; our choice."""


@dataclass(frozen=True, slots=True)
class Nearest:
    """What comes nearest now to a passage; ``agreement`` is 1 for the same notes."""

    tune_id: str
    title: str
    first_note: int
    last_note: int
    first_bar: int
    last_bar: int
    agreement: float


@dataclass(frozen=True, slots=True)
class State:
    """How a passage stands to the corpus: a kind, a sentence, and what is offered."""

    kind: str
    sentence: str = ""
    nearest: Nearest | None = None


def state_of(
    corpus: Corpus,
    row: ExampleRow,
    kept: Melody,
    whole: Melody | None,
    *,
    offer_nearest: bool = False,
) -> State:
    """Say whether a passage is as it was kept, and what comes nearest if not.

    Parameters
    ----------
    corpus : Corpus
        Opened for reading.
    row : ExampleRow
        The stored passage.
    kept : Melody
        Its notes.
    whole : Melody or None
        The tune of its id; None where the corpus has it no more.
    offer_nearest : bool
        Whether to search all tunes where the tune is gone.
    """
    if whole is not None:
        return held_state(row, whole)
    if not row.file:
        return State(
            APART, "its tune never stood in this corpus; the copy in the set is shown"
        )
    tune_id = tune_at_place(corpus, row.file, row.number, row.occurrence)
    if tune_id:
        try:
            tune = corpus.melody(tune_id)
        except DamagedCorpusError:
            return State(GONE, "its tune cannot be read; the copy in the set is shown")
        near = nearest_in(kept, tune, tune_id, least=LEAST_OFFERED)
        return State(CHANGED, f"its tune has changed since; {offer_words(near)}", near)
    near = nearest_anywhere(corpus, kept) if offer_nearest else None
    offer = f"; {offer_words(near)}" if offer_nearest else ""
    return State(GONE, f"its tune is gone; the copy in the set is shown{offer}", near)


def held_state(row: ExampleRow, whole: Melody) -> State:
    """The state of a passage whose tune is there."""
    inside = 0 <= row.first_note <= row.last_note < len(whole)
    if inside and same_notes(whole.excerpt(row.first_note, row.last_note), row):
        return State(AS_KEPT)
    # The id vouches for the tune, so it is the row that is odd.
    return State(CHANGED, "its notes are not those of its tune; the copy is shown")


def same_notes(excerpt: Melody, row: ExampleRow) -> bool:
    """Whether a passage holds the notes that were kept."""
    return excerpt_digest(excerpt) == row.excerpt_sha256


def offer_words(near: Nearest | None) -> str:
    """What is offered, in words."""
    if near is None:
        return "nothing in it comes near the passage"
    bars = bars_text(near.first_bar, near.last_bar)
    if near.agreement == 1:
        return f"the same notes stand in {bars} of {near.title}"
    return f"nearest to it: {bars} of {near.title}, {near.agreement:.0%} of the notes agree"


def nearest_in(kept: Melody, tune: Melody, tune_id: str, *, least: float) -> Nearest | None:
    """Find what comes nearest to a passage in one tune.

    Parameters
    ----------
    kept : Melody
        The passage.
    tune : Melody
        The tune to look in.
    tune_id : str
        Its id.
    least : float
        Agreement below which nothing is offered.
    """
    digest = excerpt_digest(kept)
    for first in range(len(tune) - len(kept) + 1):
        last = first + len(kept) - 1
        same = tune.midi[first : last + 1] == kept.midi
        if same and excerpt_digest(tune.excerpt(first, last)) == digest:
            return nearest_of(tune, tune_id, first, last, 1.0)
    try:
        query = encode_query(Phrase(kept, "passage"))
    except (EmptyMelodyError, PhraseError):
        return None
    alignment = align(query, *encode_notes(tune), AlignmentCosts())
    if alignment is None:
        return None
    agreement = likeness(kept, tune, alignment).agreeing / len(kept)
    if agreement < least:
        return None
    first, last = alignment.tune_span
    # The same degrees in another rhythm are not the same notes.
    return nearest_of(tune, tune_id, first, last, min(agreement, 0.99))


def nearest_of(
    tune: Melody, tune_id: str, first: int, last: int, agreement: float
) -> Nearest:
    """An offer."""
    bars = tune.bar[first], tune.bar[last]
    return Nearest(tune_id, tune.title, first, last, *bars, round(agreement, 4))


def nearest_anywhere(corpus: Corpus, kept: Melody) -> Nearest | None:
    """What comes nearest in the whole corpus, if it is nearly the same."""
    try:
        query = encode_query(Phrase(kept, "passage"))
    except (EmptyMelodyError, PhraseError):
        return None
    hits = search(corpus.chunks(), query, limit=1, on_damage=left_out)
    if not hits:
        return None
    tune_id = hits[0].tune_id
    return nearest_in(kept, corpus.melody(tune_id), tune_id, least=LEAST_ELSEWHERE)


def left_out(damage: DamagedCorpusError) -> None:
    """A damaged part of the corpus has nothing to offer; a check tells of it."""
