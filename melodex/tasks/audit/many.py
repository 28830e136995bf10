"""audit of many own tunes at once, each dealt out whole to whoever works.

Conventions: every tune is audited as :mod:`melodex.tasks.audit.audit` does it alone, so
each answer is that of a single audit. Who works keeps the corpus open between two tunes
(:mod:`melodex.matching.dealing.held`). What cannot be read or is
too short to be audited is refused with the reason, and stops nothing else.

Contents: OwnTune, AuditJob, Refused, ManyAudits, own_tunes, audit_many, audits_in_order,
audit_one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from melodex.analysis.harmony.heard.sounding import harmonised
from melodex.analysis.keys import with_centres
from melodex.corpus.reader import Corpus
from melodex.errors import MelodexError
from melodex.matching.dealing.dealer import Dealer, Progress
from melodex.matching.dealing.held import Whole, with_whole
from melodex.reading.apart import read_path_apart
from melodex.tasks.adding.walking import files_of
from melodex.tasks.audit.audit import Audit, audit
from melodex.tasks.audit.kept import KeptAudits
from melodex.tasks.passage import Passage, passage_of

__all__ = [
    "AuditJob",
    "ManyAudits",
    "OwnTune",
    "Refused",
    "audit_many",
    "audit_one",
    "audits_in_order",
    "own_tunes",
]


@dataclass(frozen=True, slots=True)
class OwnTune:
    """A tune of one's own: what it is called here, and the whole of it."""

    name: str
    passage: Passage


@dataclass(frozen=True, slots=True)
class Refused:
    """A tune or file that was not audited, and why."""

    name: str
    reason: str


@dataclass(frozen=True, slots=True)
class AuditJob:
    """One audit: the corpus, the tune, what is left out, and how much is told."""

    whole: Whole
    tune: OwnTune | None = None
    exclude: tuple[str, ...] = ()
    outside: frozenset[str] = frozenset()
    threshold: float = 1.0
    limit: int = 20


@dataclass(frozen=True, slots=True)
class ManyAudits:
    """Audits of many tunes, and what could not be audited.

    Parameters
    ----------
    names : tuple of str
        What each tune is called here.
    audits : tuple of Audit
        One for each name, in the order in which the tunes were given.
    refusals : tuple of Refused
        Those that were not audited, in the same order.
    """

    names: tuple[str, ...]
    audits: tuple[Audit, ...]
    refusals: tuple[Refused, ...]

    @property
    def findings_in_all(self) -> int:
        """Findings of all audits, with those that are not shown."""
        return sum(found.findings_in_all for found in self.audits)

    def __repr__(self) -> str:
        return f"<ManyAudits of {len(self.audits)} tunes: {self.findings_in_all} findings>"


def own_tunes(paths: Iterable[Path]) -> tuple[list[OwnTune], list[Refused]]:
    """Read the tunes of files and folders; also what could not be read."""
    found: list[OwnTune] = []
    refused: list[Refused] = []
    for path in files_of(paths):
        try:
            reading = read_path_apart(path)
        except MelodexError as error:
            refused.append(Refused(str(path), str(error)))
            continue
        refused += [Refused(str(path), str(refusal)) for refusal in reading.refusals]
        for tune in reading.tunes:
            melody = with_centres(harmonised(tune))
            name = f"{path}#{melody.credits.number}"
            try:
                whole = passage_of(melody, melody.content_id(), False)
            except MelodexError as error:
                refused.append(Refused(name, str(error)))
            else:
                found.append(OwnTune(name, whole))
    return found, refused


def audit_many(
    asked: AuditJob,
    tunes: Sequence[OwnTune],
    dealer: Dealer,
    done: Callable[[OwnTune, Audit | Refused], None] | None = None,
    *,
    progress: Progress | None = None,
    kept: KeptAudits | None = None,
) -> list[Audit | Refused]:
    """Audit tunes by whoever works; each result is handed on as soon as it is there.

    Parameters
    ----------
    asked : AuditJob
        How each is audited; its tune is none of them.
    tunes : sequence of OwnTune
        Of :func:`own_tunes`.
    dealer : Dealer
        Who works.
    done : callable, optional
        Called with a tune and its audit, or why there is none.
    progress : callable, optional
        Called with tunes done and of all.
    kept : KeptAudits, optional
        Where audits are kept as soon as they are there; those that are there already are
        not made again, and not handed to ``done``.

    Returns
    -------
    list of Audit or Refused
        In the order of the tunes.

    Raises
    ------
    WorkersError
        If a worker sees another corpus under that name, or none can be had.
    """
    held = {
        place: found
        for place, tune in enumerate(tunes)
        if kept and (found := kept.find(tune.passage))
    }
    left = [tune for place, tune in enumerate(tunes) if place not in held]
    jobs = [(asked.whole, audit_one, replace(asked, tune=tune)) for tune in left]

    def told(place: int, result: Audit | Refused) -> None:
        if kept and isinstance(result, Audit):
            kept.keep(result, left[place].passage)
        if done:
            done(left[place], result)

    def count(now: int, _total: int) -> None:
        if progress:
            progress(len(held) + now, len(tunes))

    made = iter(dealer.deal(with_whole, jobs, count, told))
    return [held.get(place) or next(made) for place in range(len(tunes))]


def audits_in_order(
    asked: AuditJob,
    given: Sequence[OwnTune | Refused],
    dealer: Dealer,
    *,
    progress: Progress | None = None,
    kept: KeptAudits | None = None,
) -> ManyAudits:
    """Audit tunes of which some were refused before; all in the order given.

    Parameters
    ----------
    asked, dealer, progress, kept
        As for :func:`audit_many`.
    given : sequence of OwnTune or Refused
        The tunes, and in their places those that could not be read.
    """
    tunes = [each for each in given if isinstance(each, OwnTune)]
    results = iter(audit_many(asked, tunes, dealer, progress=progress, kept=kept))
    audited: list[tuple[str, Audit]] = []
    refusals: list[Refused] = []
    for each in given:
        found = next(results) if isinstance(each, OwnTune) else each
        if isinstance(found, Refused):
            refusals.append(found)
        else:
            audited.append((each.name, found))
    return ManyAudits(
        tuple(name for name, _ in audited),
        tuple(found for _, found in audited),
        tuple(refusals),
    )


def audit_one(corpus: Corpus, job: AuditJob) -> Audit | Refused:
    """One audit."""
    assert job.tune is not None
    try:
        return audit(
            corpus,
            job.tune.passage,
            exclude=job.exclude,
            outside=job.outside,
            threshold=job.threshold,
            limit=job.limit,
        )
    except MelodexError as error:
        return Refused(job.tune.name, str(error))
