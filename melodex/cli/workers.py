"""Who works: ``--workers``, ``--scheduler``, ``--work``, for what takes many machines.

Contents: Hands, workers_options, asking_options, exchange_for, shards_for, notes_for.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from melodex.records import dataclass

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus
    from melodex.matching.asking import Notes
    from melodex.matching.dealing.exchange import Exchange
    from melodex.matching.dealing.held import Shards

__all__ = [
    "Hands",
    "asking_options",
    "exchange_for",
    "notes_for",
    "shards_for",
    "workers_options",
]

Decorated = TypeVar("Decorated", bound=Callable[..., Any])


@dataclass(frozen=True, slots=True)
class Hands:
    """Who is to work: so many processes here, or the cluster of a scheduler; and where.

    ``work`` is a folder in which what is done is kept, to be gone on with.
    """

    workers: int | None
    scheduler: str
    work: Path | None = None


WORKERS = click.option(
    "--workers",
    type=click.IntRange(1, 256),
    help="Let so many processes of this machine work.",
)
SCHEDULER = click.option(
    "--scheduler",
    default="",
    metavar="ADDRESS",
    help="Let the workers of a Dask cluster work, such as tcp://host:8786.",
)
WORK = click.option(
    "--work",
    type=click.Path(path_type=Path, file_okay=False),
    help="Keep what is done in this folder, and go on with it when started again; "
    "with --scheduler every machine must see it under this name.",
)


def workers_options(command: Decorated) -> Decorated:
    """Give a command the options that say who works, and where what is done is kept."""
    return asking_options(WORK(command))


def asking_options(command: Decorated) -> Decorated:
    """Give a command that asks one question the options that say who works."""
    return WORKERS(SCHEDULER(command))


def refuse_partial() -> None:
    """Refuse to have others work on a corpus that may be without some shards."""
    if click.get_current_context().find_root().params.get("partial"):
        raise click.UsageError(
            "a partial answer is worked out by this process alone: leave out --workers, "
            "--scheduler and --work, or --partial"
        )


@contextmanager
def shards_for(hands: Hands, corpus: Corpus) -> Iterator[Shards | None]:
    """The parts of a corpus, each held by one who works; None where this process does."""
    if not hands.scheduler and (hands.workers or 1) == 1:
        yield None
        return
    refuse_partial()
    from melodex.matching.dealing.dealer import dealt_by
    from melodex.matching.dealing.held import Shards, places_of

    with dealt_by(hands.workers, hands.scheduler) as dealer:
        yield Shards(dealer, places_of(corpus, dealer.workers))


@contextmanager
def notes_for(hands: Hands, corpus: Corpus) -> Iterator[Notes | None]:
    """The notes of a corpus, held by those who work; None where this process does."""
    with shards_for(hands, corpus) as shards:
        if shards is None:
            yield None
            return
        from melodex.matching.asking import Notes

        yield Notes(shards)


@contextmanager
def exchange_for(hands: Hands) -> Iterator[Exchange | None]:
    """Those who work, and where; None where this process alone is enough."""
    if hands.scheduler and hands.work is None:
        raise click.UsageError("--scheduler needs --work, a folder that every worker sees.")
    if not hands.scheduler and (hands.workers or 1) == 1 and hands.work is None:
        yield None
        return
    refuse_partial()
    import tempfile

    from melodex.matching.dealing.dealer import dealt_by
    from melodex.matching.dealing.exchange import Exchange, work_folder

    with ExitStack() as held:
        if hands.work is None:
            folder = Path(held.enter_context(tempfile.TemporaryDirectory()))
        else:
            folder = work_folder(hands.work)
        dealer = held.enter_context(dealt_by(hands.workers, hands.scheduler))
        yield Exchange(dealer, folder)
