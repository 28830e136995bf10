"""Corpora and shards that one who works keeps open between two questions.

Conventions: what is held is looked at before each question, by what changes when somebody
changes a file or puts another in its place, and is opened anew then. Notes are read when
they are first asked for, and stay; between two questions nothing else is held of a file,
so that whoever changes it need not wait. A thread holds its own, of one corpus at a time.
Before anything is answered from a shard, it is seen to be the one that is meant, by its
digest.

Contents: Place, Held, Shards, places_of, Whole, whole_of, with_whole.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import Any

from melodex.corpus.chunks import PackedChunk
from melodex.corpus.connection import leave, let_go
from melodex.corpus.faults import faults_named
from melodex.corpus.reader import Corpus, opened_part
from melodex.corpus.shards.index import INDEX_NAME, MOST_SHARDS, ShardIndex, digest_of
from melodex.corpus.shards.opening import opened_shard, settled
from melodex.errors import CorpusError, WorkersError
from melodex.matching.dealing.dealer import Dealer

__all__ = [
    "OTHER_TUNES",
    "Held",
    "Place",
    "Shards",
    "Whole",
    "places_of",
    "whole_of",
    "with_whole",
]

Stamp = tuple[tuple[str, int, int, int], ...]

OTHER_TUNES = "give the corpus one name on every machine, and leave it as it is"


class Held(Corpus):
    """A corpus or a shard whose notes are kept once they have been read."""

    def see(self) -> None:
        """As of a corpus; its notes are read anew."""
        self.packed: list[PackedChunk] | None = None
        super().see()
        self.versions = self.versions_seen()

    def versions_seen(self) -> list[int]:
        """For each part a number that is another once somebody else has changed it."""
        found = []
        for part in self.parts:
            with faults_named(part.path):
                row = part.connection.execute("PRAGMA data_version").fetchone()
            found.append(int(row[0]))
        return found

    def rest(self) -> None:
        """Hold up nobody who writes, until the next question."""
        for part in self.parts:
            let_go(part.connection)

    def wake(self) -> None:
        """See the state that was seen before, or what somebody has made of it meanwhile."""
        for part in self.parts:
            if not part.connection.in_transaction:
                part.connection.execute("BEGIN")
        if self.versions_seen() != self.versions:
            self.refresh()

    def chunks(self) -> Iterator[PackedChunk]:
        """As of a corpus."""
        if self.packed is None:
            self.packed = list(super().chunks())
        return iter(self.packed)


@dataclass(frozen=True, slots=True)
class Place:
    """What one who works holds of a corpus: the whole file, or some shards of a folder.

    Parameters
    ----------
    path : str
        The whole path of the file or folder, the same for all who work.
    numbers : tuple of int
        Of the shards, from 1; none for a file.
    digests : tuple of str
        Of the chunks of each of them, or of the file.
    """

    path: str
    numbers: tuple[int, ...]
    digests: tuple[str, ...]


def places_of(corpus: Corpus, most: int = MOST_SHARDS) -> list[Place]:
    """The parts of a corpus that is open here, at most so many, each of a few shards.

    Who holds several shards answers for them as for one: each of three rounds asks it
    once, and of what chance draws nothing has to be shared out among them.
    """
    path = str(corpus.path.absolute())
    digests = [digest_of(part.connection) for part in corpus.parts]
    if not corpus.path.is_dir():
        return [Place(path, (), tuple(digests))]
    numbers = range(1, len(digests) + 1)
    count = min(most, len(digests))
    return [
        Place(path, tuple(numbers[first::count]), tuple(digests[first::count]))
        for first in range(count)
    ]


AT_ONCE = 16
"""Questions that go to shards together: an audit then asks two or three times, and is told
of progress and stopped as often."""


class Shards:
    """The parts of a corpus that others hold, as :class:`~melodex.matching.asking.Parts`.

    Parameters
    ----------
    dealer : Dealer
        Who holds them.
    places : sequence of Place
        Of :func:`places_of`.
    """

    at_once = AT_ONCE

    def __init__(self, dealer: Dealer, places: Sequence[Place]) -> None:
        self.dealer = dealer
        self.places = list(places)

    @property
    def count(self) -> int:
        """How many parts there are."""
        return len(self.places)

    def each(
        self, work: Callable[[Sequence[PackedChunk], Any], Any], arguments: Sequence[Any]
    ) -> list[Any]:
        """As of parts."""
        asked = [(work, argument) for argument in arguments]
        return self.dealer.each(with_notes, self.places, asked)

    def corpora(
        self, work: Callable[[Corpus, Any], Any], arguments: Sequence[Any]
    ) -> list[Any]:
        """Call a function with each part, as a corpus of its own, and its argument."""
        asked = [(work, argument) for argument in arguments]
        return self.dealer.each(with_corpus, self.places, asked)


Key = tuple[str, tuple[int, ...]]
"""A path and the numbers of shards; none for the whole corpus."""

HERE = threading.local()
"""What this thread holds: by its key, its stamp and the corpus."""


def held(key: Key, opened: Callable[[], Held], files: Sequence[str]) -> Held:
    """What is held, opened anew where its files are others than before."""
    holding: dict[Key, tuple[Stamp, Held]] = HERE.__dict__.setdefault("held", {})
    stamp = stamp_of(files)
    if key in holding and holding[key][0] == stamp:
        holding[key][1].wake()
        return holding[key][1]
    # Of another corpus nothing is kept, and no notes are kept twice.
    for other in [other for other in holding if not are_apart(other, key)]:
        holding.pop(other)[1].close()
    found = opened()
    holding[key] = (stamp, found)
    return found


def are_apart(one: Key, other: Key) -> bool:
    """Whether two keys are of one folder and have no shard in common."""
    return (
        one[0] == other[0]
        and bool(one[1] and other[1])
        and set(one[1]).isdisjoint(other[1])
    )


def stamp_of(files: Sequence[str]) -> Stamp:
    """What changes when somebody changes a file or puts another in its place.

    While somebody writes to it, a file may be as it was and its journal say more.
    """
    stamps = []
    for file in chain.from_iterable((file, f"{file}-wal") for file in files):
        try:
            found = Path(file).stat()
        except OSError:
            stamps.append((file, 0, 0, 0))
        else:
            stamps.append((file, found.st_ino, found.st_size, found.st_mtime_ns))
    return tuple(stamps)


def whole_at_hand(path: str) -> Held:
    """A whole corpus, kept open."""
    files = [path]
    # What is gone meanwhile is told of by who opens it.
    with suppress(OSError):
        files += sorted(str(entry) for entry in Path(path).iterdir())
    return held((path, ()), lambda: opened_whole(path), files)


def opened_whole(path: str) -> Held:
    """A corpus whose notes are kept."""
    corpus = Held.open(path)
    assert isinstance(corpus, Held)
    return corpus


def opened_shards_of(folder: Path, index: ShardIndex, numbers: Sequence[int]) -> Held:
    """Some shards of a folder as a corpus whose notes are kept."""
    with ExitStack() as opening:
        parts = []
        for number in numbers:
            parts.append(opened_shard(folder, index, number, opened_part))
            opening.callback(leave, parts[-1].connection, parts[-1].path)
        found = Held(parts, folder)
        opening.pop_all()
    return found


def part_at_hand(place: Place) -> Held:
    """A part of a corpus, kept open.

    Raises
    ------
    WorkersError
        If it is not there where this is run, or is another one than is meant.
    """
    folder = Path(place.path)
    try:
        if not place.numbers:
            found = whole_at_hand(place.path)
        else:
            index = settled(folder)
            if max(place.numbers) > len(index.shards):
                raise other_tunes(place.path)
            shards = [folder / index.shards[number - 1].file for number in place.numbers]
            found = held(
                (place.path, place.numbers),
                lambda: opened_shards_of(folder, index, place.numbers),
                [str(file) for file in (folder / INDEX_NAME, *shards)],
            )
    except CorpusError as error:
        raise unusable(error) from error
    if tuple(digest_of(part.connection) for part in found.parts) != place.digests:
        found.rest()
        raise other_tunes(place.path)
    return found


@dataclass(frozen=True, slots=True)
class Whole:
    """A whole corpus: its path, the same for all who work, and the digests of its parts."""

    path: str
    digests: tuple[str, ...]


def whole_of(corpus: Corpus) -> Whole:
    """A corpus that is open here, for those who are to hold all of it."""
    return Whole(
        str(corpus.path.absolute()),
        tuple(digest_of(part.connection) for part in corpus.parts),
    )


def with_whole(job: tuple[Whole, Callable[[Corpus, Any], Any], Any]) -> Any:
    """Call a function with a whole corpus, kept open, and an argument.

    Raises
    ------
    WorkersError
        If the corpus cannot be used where this is run, or is another than is meant.
    """
    whole, work, argument = job
    try:
        found = whole_at_hand(whole.path)
    except CorpusError as error:
        raise unusable(error) from error
    with resting_after(found):
        if whole_of(found) != whole:
            raise other_tunes(whole.path)
        return work(found, argument)


@contextmanager
def resting_after(corpus: Held) -> Iterator[Held]:
    """Answer one question from what is held, and hold up nobody afterwards."""
    try:
        yield corpus
    finally:
        corpus.rest()


def unusable(error: CorpusError) -> WorkersError:
    """That one who works cannot use a corpus."""
    return WorkersError(
        f"one who works cannot use it: {error.what}", where=error.where, hint=error.hint
    )


def other_tunes(path: str) -> WorkersError:
    """That one who works sees another corpus than is seen by whoever asks."""
    return WorkersError(
        "a worker sees other tunes in the corpus than are seen here",
        where=path,
        hint=OTHER_TUNES,
    )


def with_notes(place: Place, asked: tuple[Callable[..., Any], Any]) -> Any:
    """Call a function with the chunks of a part and an argument."""
    work, argument = asked
    with resting_after(part_at_hand(place)) as part:
        return work(list(part.chunks()), argument)


def with_corpus(place: Place, asked: tuple[Callable[..., Any], Any]) -> Any:
    """Call a function with a part, as a corpus of its own, and an argument."""
    work, argument = asked
    with resting_after(part_at_hand(place)) as part:
        return work(part, argument)
