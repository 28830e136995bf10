"""Who works for a script beside itself: processes of this machine, or a cluster.

Conventions: who was asked for stays, with all that they keep open, until others are asked
for or the corpus is closed; so the second question of a script begins at once.

Contents: Hands.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING, Any

from melodex.errors import WorkersError

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus
    from melodex.matching.asking import Notes
    from melodex.matching.dealing.dealer import Dealer
    from melodex.matching.dealing.exchange import Exchange
    from melodex.matching.dealing.held import Shards

__all__ = ["Hands"]


class Hands:
    """Those who work for one corpus of a script.

    Parameters
    ----------
    is_partial : bool
        Whether the corpus may be without some shards; then nobody else works for it.
    """

    def __init__(self, *, is_partial: bool = False) -> None:
        self.is_partial = is_partial
        self.asked: tuple[int | None, str] = (None, "")
        self.stack = ExitStack()
        self.held: Dealer | None = None

    def close(self) -> None:
        """Let go of them."""
        self.held, self.asked = None, (None, "")
        self.stack.close()

    def dealer(self, workers: int | None, scheduler: str) -> Dealer:
        """Those who are asked for, the same as before if they are.

        Raises
        ------
        WorkersError
            If processes and a cluster are both asked for, there are to be none, the
            cluster cannot be had, or the corpus may be without some shards.
        """
        if self.is_partial:
            raise WorkersError(
                "a partial answer is worked out by this process alone",
                hint="leave out workers=, scheduler= and work=, or partial=",
            )
        from melodex.matching.dealing.dealer import dealt_by

        if workers is not None and workers < 1:
            raise WorkersError(f"at least one has to work, not {workers}")
        if self.held is None or self.asked != (workers, scheduler):
            self.close()
            self.held = self.stack.enter_context(dealt_by(workers, scheduler))
            self.asked = (workers, scheduler)
        return self.held

    def shards(self, reader: Corpus, workers: int | None, scheduler: str) -> Shards | None:
        """The parts of a corpus as others hold them; None where nobody else works."""
        if workers in (None, 1) and not scheduler:
            return None
        from melodex.matching.dealing.held import Shards, places_of

        dealer = self.dealer(workers, scheduler)
        return Shards(dealer, places_of(reader, dealer.workers))

    def notes(self, reader: Corpus, workers: int | None, scheduler: str) -> Notes | None:
        """The notes of a corpus as others hold them; None where nobody else works."""
        shards = self.shards(reader, workers, scheduler)
        if shards is None:
            return None
        from melodex.matching.asking import Notes

        return Notes(shards)

    @contextmanager
    def exchange(
        self, workers: int | None, scheduler: str, work: str | PathLike[str] | None
    ) -> Iterator[Exchange | None]:
        """Those who compare all with all, and the folder where what is done is kept."""
        if workers in (None, 1) and not scheduler and work is None:
            yield None
            return
        if scheduler and work is None:
            raise WorkersError(
                "a cluster needs a folder for the work, which every machine sees",
                hint="name one with work=",
            )
        import tempfile

        from melodex.matching.dealing.exchange import Exchange, work_folder

        dealer = self.dealer(workers, scheduler)
        if work is not None:
            yield Exchange(dealer, work_folder(Path(work)))
            return
        with tempfile.TemporaryDirectory() as made:
            yield Exchange(dealer, Path(made))

    def each(
        self,
        reader: Corpus,
        who: tuple[int | None, str],
        work: Callable[[Corpus, Any], Any],
        arguments: Sequence[Any],
        progress: Callable[[int, int], None] | None,
    ) -> list[Any]:
        """Call a function with a corpus and each of some arguments, dealt out singly."""
        from melodex.matching.dealing.held import whole_of, with_whole

        jobs = [(whole_of(reader), work, argument) for argument in arguments]
        return self.dealer(*who).deal(with_whole, jobs, progress)
