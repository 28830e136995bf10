"""Tunes beside one another: two, one and all others, all.

Contents: Comparing, BothSpans, compared.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from os import PathLike, fspath
from pathlib import Path
from typing import TYPE_CHECKING, cast

from melodex.corpus.reader import Corpus as CorpusReader
from melodex.errors import MelodexError
from melodex.scripting.file import CorpusFile
from melodex.scripting.results import (
    AuditEachResult,
    AuditResult,
    CompareResult,
    FamiliesResult,
    WholeAuditResult,
)
from melodex.scripting.tune import SpanLike, Tune, TuneLike, as_passage, within_limits
from melodex.tasks.passage import parts_of
from melodex.tasks.tune_file import is_file

if TYPE_CHECKING:
    from melodex.tasks.audit.many import OwnTune, Refused
    from melodex.tasks.compare.compare import Comparison
    from melodex.tasks.passage import Passage

__all__ = ["BothSpans", "Comparing", "compared"]

BothSpans = SpanLike | tuple[SpanLike | None, SpanLike | None] | None


class Comparing(CorpusFile):
    """Comparisons of tunes, two or all."""

    def compare(
        self,
        a: TuneLike,
        b: TuneLike,
        *,
        bars: BothSpans = None,
        notes: BothSpans = None,
        transpose: int | None = None,
    ) -> CompareResult:
        """Lay two passages side by side, note against note.

        Parameters
        ----------
        a, b : str, PathLike or Tune
            Tunes of the corpus, files or tunes.
        bars, notes : str or tuple, optional
            Which of both: ``"1-4,9-12"`` or ``((1, 4), (9, 12))``; one range serves
            for ``a`` alone.
        transpose : int, optional
            Move ``a`` by so many semitones; by default by what brings most points.

        Raises
        ------
        PassageError, UnknownTuneError
            If there is no such tune or part of it.
        EmptyMelodyError
            If a passage has under three notes, or no notes agree.
        """
        with self.reading() as reader:
            return compared(a, b, reader, bars, notes, transpose)

    def audit(
        self,
        tune: TuneLike,
        *,
        exclude: Iterable[str] = (),
        within: str = "",
        without: str = "",
        threshold: float = 1.0,
        limit: int = 20,
        workers: int | None = None,
        scheduler: str = "",
    ) -> AuditResult:
        """Find where a tune of your own comes close to the corpus, or whether by chance.

        Parameters
        ----------
        tune : str, PathLike or Tune
            A file, a tune, or a tune of the corpus, which is then compared with the
            others.
        exclude : iterable of str
            Titles or ids of tunes that are known to be related.
        within, without : str
            Wishes that tunes have to meet to be searched, or must not:
            ``"kind jig; key D"``, ``"part bass"``.
        threshold : float
            Findings that chance would bring more often than this are left out.
        limit : int
            At most so many findings.
        workers, scheduler
            Who works: see :meth:`resemble`.

        Notes
        -----
        Likeness is not infringement, and no likeness found is not clearance.
        """
        from melodex.tasks.audit.audit import audit
        from melodex.tasks.gather.counts import tunes_left_out

        with self.reading() as reader:
            own = as_passage(tune, reader)
            hidden = [reader.resolve(name) for name in exclude]
            found = audit(
                reader,
                own,
                exclude=hidden,
                outside=tunes_left_out(reader, within, without),
                threshold=threshold,
                limit=limit,
                notes=self.hands.notes(reader, workers, scheduler),
            )
        return AuditResult(found, self)

    def audit_each(
        self,
        tunes: Iterable[TuneLike],
        *,
        exclude: Iterable[str] = (),
        within: str = "",
        without: str = "",
        threshold: float = 1.0,
        limit: int = 20,
        workers: int | None = None,
        scheduler: str = "",
        work: str | PathLike[str] | None = None,
        progress: Callable[[int, int], None] | None = None,
    ) -> AuditEachResult:
        """Audit many tunes of your own, dealt out tune by tune.

        Parameters
        ----------
        tunes : iterable of str, PathLike or Tune
            As for :meth:`audit`; of a file or a folder, each of its tunes.
        exclude, within, without, threshold, limit
            The same for all, as for :meth:`audit`.
        workers : int, optional
            Let so many processes of this machine work, each with the whole corpus.
        scheduler : str
            Let the workers of the Dask cluster at this address work.
        work : str or PathLike, optional
            A folder in which each audit is kept as soon as it is there, so that a call that
            was stopped is gone on with, or asked again with more tunes. What was refused is
            tried again.
        progress : callable, optional
            Called with the number of tunes done and of all.

        Returns
        -------
        AuditEachResult
            A list of what :meth:`audit` returns for each, in the order given. Its
            ``refusals`` name what could not be read or is too short, and why.

        Raises
        ------
        WorkersError
            If those who are to work cannot be had, or are gone.
        """
        from melodex.matching.dealing.exchange import work_folder
        from melodex.matching.dealing.held import whole_of
        from melodex.tasks.audit.audit import digest_of
        from melodex.tasks.audit.kept import KeptAudits
        from melodex.tasks.audit.many import AuditJob, audits_in_order
        from melodex.tasks.gather.counts import tunes_left_out

        with self.reading() as reader:
            asked = AuditJob(
                whole_of(reader),
                exclude=tuple(reader.resolve(name) for name in exclude),
                outside=tunes_left_out(reader, within, without),
                threshold=threshold,
                limit=limit,
            )
            kept = None
            if work is not None:
                settings = sorted({*asked.exclude}), sorted(asked.outside), threshold, limit
                kept = KeptAudits(work_folder(Path(work)), digest_of(reader), settings)
            given = [own for tune in tunes for own in own_each(tune, reader)]
            dealer = self.hands.dealer(workers, scheduler)
            found = audits_in_order(asked, given, dealer, progress=progress, kept=kept)
        return AuditEachResult(found, self)

    def audit_whole(
        self,
        *,
        exclude: Iterable[str] = (),
        within: str = "",
        against: str = "",
        limit: int = 20,
        workers: int | None = None,
        scheduler: str = "",
        work: str | PathLike[str] | None = None,
    ) -> WholeAuditResult:
        """Compare the tunes of the corpus with each other, or two books of it.

        Parameters
        ----------
        exclude : iterable of str
            Titles or ids of tunes to leave out.
        within, against : str
            Wishes such as ``"collection fen"``: only tunes that meet the first are
            compared; with the second, only with those that meet that.
        limit : int
            At most so many groups and pairs.
        workers, scheduler
            Who works: see :meth:`resemble`.
        work : str or PathLike, optional
            A folder in which what is done is kept, so that a call that was stopped is gone
            on with; a cluster needs one that every machine sees under this name.

        Raises
        ------
        WorkersError
            If those who are to work cannot be had, or are gone.
        """
        from melodex.tasks.audit.whole import audit_whole
        from melodex.tasks.gather.counts import tunes_left_out, tunes_said

        with (
            self.reading() as reader,
            self.hands.exchange(workers, scheduler, work) as exchange,
        ):
            outside, sides = frozenset[str](), None
            if against:
                sides = tunes_said(reader, within), tunes_said(reader, against)
            else:
                outside = tunes_left_out(reader, within)
            found = audit_whole(
                reader,
                exclude=[reader.resolve(name) for name in exclude],
                outside=outside,
                limit=limit,
                sides=sides,
                exchange=exchange,
            )
        return WholeAuditResult(found)

    def families(
        self,
        *,
        least: float = 0.2,
        limit: int | None = None,
        workers: int | None = None,
        scheduler: str = "",
        work: str | PathLike[str] | None = None,
    ) -> FamiliesResult:
        """Find tune families: tunes that are one by their music, whatever their names.

        Other versions of one tune are found by ``gather(version_of="Ladder Song")``.

        Parameters
        ----------
        least : float
            Likeness below which two tunes are not called kin: points of their alignment,
            of what the shorter could reach.
        limit : int, optional
            At most so many families, the largest first; all are counted.
        workers, scheduler, work
            Who works, and where: see :meth:`audit_whole`.
        """
        from melodex.tasks.collection.families import find_families

        with (
            self.reading() as reader,
            self.hands.exchange(workers, scheduler, work) as exchange,
        ):
            return FamiliesResult(
                find_families(reader, least=least, limit=limit, exchange=exchange)
            )


def own_each(tune: TuneLike, reader: CorpusReader) -> Sequence[OwnTune | Refused]:
    """The tunes that are meant to be audited, or why there are none."""
    from melodex.tasks.audit.many import OwnTune, Refused, own_tunes

    if isinstance(tune, Tune):
        return [OwnTune(tune.title, tune.passage)]
    name = fspath(tune)
    if is_file(name) or Path(name).is_dir():
        found, refused = own_tunes([Path(name)])
        return [*found, *refused]
    try:
        return [OwnTune(name, as_passage(name, reader))]
    except MelodexError as error:
        return [Refused(name, str(error))]


def compared(
    a: TuneLike,
    b: TuneLike,
    reader: CorpusReader | None,
    bars: BothSpans,
    notes: BothSpans,
    transpose: int | None,
) -> CompareResult:
    """Two passages side by side, with a corpus to look names up in or without."""
    of_bars, of_notes = both_of(bars, "bars"), both_of(notes, "notes")
    first, second = (
        as_passage(tune, reader, bars=of_bars[side], notes=of_notes[side])
        for side, tune in enumerate((a, b))
    )
    return CompareResult(within_limits(laid_out, (a, b), first, second, transpose))


def laid_out(first: Passage, second: Passage, transpose: int | None) -> Comparison:
    """Two passages side by side."""
    from melodex.tasks.compare.compare import compare

    return compare(first, second, transposition_semitones=transpose)


def both_of(given: BothSpans, what: str) -> tuple[SpanLike | None, SpanLike | None]:
    """What part of the first and of the second is meant.

    Examples
    --------
    >>> both_of("1-4,9-12", "bars"), both_of(((1, 4), (9, 12)), "bars")
    (((1, 4), (9, 12)), ((1, 4), (9, 12)))
    >>> both_of((1, 4), "bars"), both_of(5, "bars")
    (((1, 4), None), (5, None))
    """
    if isinstance(given, str):
        first, second = (
            (span.first, span.last) if span else None for span in parts_of(given, what)
        )
        return first, second
    if isinstance(given, tuple) and not all(isinstance(end, int) for end in given):
        return given
    return cast(SpanLike | None, given), None
