"""A corpus as a script uses it: add, resemble, compare, audit, describe, gather, lesson.

Conventions: every call opens the file, asks, and lets go of it, so that one corpus can
be used by a notebook, the command line and the page at the same time, and what others
add is seen by the next call.

Contents: Corpus.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from os import PathLike
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any, cast

from melodex.corpus.faults import is_there
from melodex.corpus.reader import Corpus as CorpusReader
from melodex.corpus.tune_rows import RemarkRow
from melodex.errors import PhraseError
from melodex.scripting.file import CorpusFile
from melodex.scripting.lesson import Lesson, kept
from melodex.scripting.results import (
    AddResult,
    AuditResult,
    CompareResult,
    DescribeResult,
    FamiliesResult,
    Found,
    GatherResult,
    ResembleResult,
    TuneList,
    WholeAuditResult,
)
from melodex.scripting.scores import AnswersResult, AroundResult
from melodex.scripting.tune import (
    SpanLike,
    Tune,
    TuneLike,
    as_passage,
    as_piece,
    name_of_piece,
    sound_file,
    within_limits,
)
from melodex.tasks.passage import parts_of

if TYPE_CHECKING:
    from melodex.tasks.compare.compare import Comparison
    from melodex.tasks.passage import Passage

__all__ = ["Corpus", "compared"]

BothSpans = SpanLike | tuple[SpanLike | None, SpanLike | None] | None


class Corpus(CorpusFile):
    """A corpus of tunes in one file; of :func:`melodex.open`.

    Parameters
    ----------
    path : str or PathLike
        The file, or the folder of shards; a file is made by the first :meth:`add` where
        there is none.
    partial : bool
        Whether to go on without shards that are missing or damaged, and say so.

    Raises
    ------
    CorpusError
        If there is a file of that name that is no corpus, or that may not be read.
    """

    def __enter__(self) -> Corpus:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def __repr__(self) -> str:
        if self.is_closed:
            return f"<Corpus {str(self.path)!r}, closed>"
        tunes = f"{len(self):,} tunes" if is_there(self.path) else "not made yet"
        return f"<Corpus {str(self.path)!r}: {tunes}>"

    def __len__(self) -> int:
        """How many tunes it holds; none where the file is not made yet."""
        self.require_open()
        if not is_there(self.path):
            return 0
        with self.reading() as reader:
            return reader.tune_count

    def __bool__(self) -> bool:
        """A corpus is one even while it is empty."""
        return True

    def __iter__(self) -> Iterator[Tune]:
        """Go through all tunes, in the order of :meth:`tunes`."""
        for row in self.tunes():
            yield self.tune(row.tune_id)

    def __contains__(self, name: object) -> bool:
        """Whether just one tune goes by a title or an id."""
        from melodex.errors import UnknownTuneError

        try:
            with self.reading() as reader:
                return bool(reader.resolve(str(name)))
        except UnknownTuneError:
            return False

    # What is in it

    def add(
        self,
        *paths: str | PathLike[str],
        collection: str = "",
        part: str = "",
        voice: str = "",
        chord_note: str = "top",
        lines: str = "all",
        workers: int = 1,
        shards: int = 0,
        progress: Callable[[int, int], None] | None = None,
    ) -> AddResult:
        """Read files and folders into the corpus, which is made where there is none.

        Parameters
        ----------
        *paths : str or PathLike
            ABC, MusicXML (plain or compressed) and MIDI files, or folders of them.
        collection : str
            Name of the collection; by default that of each file's folder.
        part, voice : str
            Which is the main line, by name or number from 1.
        chord_note : str
            ``top`` or ``bottom``: which note of a written chord is the melody.
        lines : str
            ``all`` reads every line of a score, ``top`` its main line alone.
        workers : int
            Processes that read at once.
        shards : int
            Make a folder of so many shards where there is no corpus; 0 for one file.
        progress : callable, optional
            Called with the number of files done and of all.

        Returns
        -------
        AddResult
            Its ``refusals`` name what could not be read, and why; all else is in.

        Raises
        ------
        CorpusError
            If the corpus cannot be opened or written.
        """
        from melodex.reading import Choice
        from melodex.tasks.adding.add import AddStep, add_paths

        def move(step: AddStep) -> None:
            if progress is not None:
                progress(step.files_done, step.files_total)

        self.require_open()
        result = add_paths(
            self.path,
            paths,
            collection=collection,
            choice=Choice.kept(part, voice, chord_note, lines),
            progress=move,
            workers=workers,
            shards=shards,
        )
        if result.interrupted:
            raise KeyboardInterrupt
        return AddResult(result)

    def tunes(
        self,
        *,
        title: str = "",
        collection: str = "",
        tag: str = "",
        source: str = "",
        limit: int | None = None,
    ) -> TuneList:
        """List the tunes.

        Parameters
        ----------
        title : str
            Only tunes whose title holds this, whatever the case and accents.
        collection, tag, source : str
            Only tunes of that collection, with that tag, from that file or folder.
        limit : int, optional
            At most so many.
        """
        from melodex.tasks.collection.holdings import list_tunes

        with self.reading() as reader:
            return TuneList(
                list_tunes(
                    reader,
                    collection=collection,
                    title=title,
                    tag=tag,
                    source=source,
                    limit=limit,
                )
            )

    def tune(self, name: TuneLike, *, bars: SpanLike | None = None) -> Tune:
        """Return one tune, or some bars of it.

        Parameters
        ----------
        name : str, PathLike or Tune
            Its title, a part of it that no other tune has, its id, or a file.
        bars : int, str or tuple of int, optional
            Printed numbers: ``5``, ``"5-8"`` or ``(5, 8)``.

        Raises
        ------
        UnknownTuneError
            If no tune goes by that name, or several do.
        PassageError
            If it has no such bars.
        """
        with self.reading() as reader:
            return Tune(as_passage(name, reader, bars=bars, fewest=1))

    def remove(self, *names: str) -> list[str]:
        """Take tunes out; return their ids.

        Parameters
        ----------
        *names : str
            Titles or ids, as for :meth:`tune`.

        Raises
        ------
        UnknownTuneError
            If a name fits no tune, or several; nothing is removed then.
        """
        from melodex.tasks.collection.holdings import remove_tunes

        self.require_open()
        return [row.tune_id for row in remove_tunes(self.path, names).removed]

    # The tasks

    def resemble(
        self,
        phrase: TuneLike | None = None,
        *,
        tune: TuneLike | None = None,
        bars: SpanLike | None = None,
        notes: SpanLike | None = None,
        notation: str = "",
        limit: int = 10,
        include_self: bool = False,
        exclude: Iterable[str] = (),
        within: str = "",
        without: str = "",
        order: str = "evidence",
        explain: bool = False,
        workers: int | None = None,
        scheduler: str = "",
    ) -> ResembleResult:
        """Find what a phrase resembles, exactly and in any key.

        Parameters
        ----------
        phrase : str, PathLike or Tune, optional
            Scale degrees (``5 1' 7 b6``), note names, solfa, steps in semitones
            (``+2 +2 -4``), ABC (``K:F c3 d | f2 e2``), a contour (``+ + - 0``) or a rhythm
            (``q. e h``), with ``?`` for notes not known; or a tune.
        tune : str, PathLike or Tune, optional
            A tune of the corpus, by title or id, or a file, to take the phrase from; of
            a recording (WAV) all readings are looked for.
        bars, notes : int, str or tuple of int, optional
            What part of the tune: bars by printed number, or notes counted from 1.
        notation : str
            A key of :data:`melodex.reading.phrase.reader.NOTATIONS`, such as
            ``degrees`` or ``abc``, where the phrase could be taken in two ways.
        limit : int
            How many tunes at most.
        include_self : bool
            Whether a phrase cut from a tune of the corpus may find that tune.
        exclude : iterable of str
            Titles or ids of tunes to leave out.
        within, without : str
            Wishes that tunes have to meet to be searched, or must not:
            ``"kind jig; key D"``, ``"part bass"``.
        order : str
            ``evidence``, or ``alignment`` for alignment points alone.
        explain : bool
            Whether each match is to say how it came by its place.
        workers : int, optional
            Let so many processes of this machine work, a shard of the corpus each; they
            stay for the next question, until the corpus is closed.
        scheduler : str
            Let the workers of the Dask cluster at this address work,
            such as ``tcp://host:8786``. The answer is the same, whoever works.

        Raises
        ------
        PhraseError
            If the phrase cannot be understood, or neither or both were named.
        WorkersError
            If those who are to work cannot be had, or are gone.
        """
        from melodex.reading.phrase.reader import read_phrase
        from melodex.tasks.gather.counts import tunes_left_out
        from melodex.tasks.resemble import resemble

        if (phrase is None) == (tune is None):
            raise PhraseError("name a phrase or a tune, and not both")
        typed = isinstance(phrase, str)
        if not typed and bars is None and notes is None:
            recording = sound_file(cast(TuneLike, phrase if tune is None else tune))
            if recording:
                return of_recording(
                    self,
                    recording,
                    limit,
                    exclude,
                    within=within,
                    without=without,
                    who=(workers, scheduler),
                )
        if typed and (bars is not None or notes is not None):
            raise PhraseError("bars and notes are those of a tune", hint="name it by tune=")
        with self.reading() as reader:
            sought = None
            if typed:
                said = read_phrase(str(phrase), notation=notation)
            else:
                named = cast(TuneLike, phrase if tune is None else tune)
                sought = as_passage(named, reader, bars=bars, notes=notes)
                said = sought.phrase()
            found = resemble(
                reader,
                said,
                limit=limit,
                include_self=include_self,
                exclude=[reader.resolve(name) for name in exclude],
                outside=tunes_left_out(reader, within, without),
                order=order,
                explain=explain,
                notes=self.hands.notes(reader, workers, scheduler),
            )
        return ResembleResult(found, self, sought)

    def resemble_each(
        self,
        phrases: Iterable[str],
        *,
        notation: str = "",
        limit: int = 10,
        exclude: Iterable[str] = (),
        within: str = "",
        without: str = "",
        order: str = "evidence",
        workers: int | None = None,
        scheduler: str = "",
        progress: Callable[[int, int], None] | None = None,
    ) -> list[ResembleResult]:
        """Find what each of many typed phrases resembles, dealt out phrase by phrase.

        Parameters
        ----------
        phrases : iterable of str
            As for :meth:`resemble`.
        notation, limit, exclude, within, without, order
            The same for all, as for :meth:`resemble`.
        workers : int, optional
            Let so many processes of this machine work, each with the whole corpus.
        scheduler : str
            Let the workers of the Dask cluster at this address work.
        progress : callable, optional
            Called with the number of phrases done and of all.

        Returns
        -------
        list of ResembleResult
            In the order of the phrases, each the same as that of :meth:`resemble`.

        Raises
        ------
        PhraseError
            If a phrase cannot be understood; none is looked for then.
        WorkersError
            If those who are to work cannot be had, or are gone.
        """
        from melodex.reading.phrase.reader import read_phrase
        from melodex.tasks.gather.counts import tunes_left_out
        from melodex.tasks.resemble import resemble_as_asked

        with self.reading() as reader:
            asked = {
                "limit": limit,
                "exclude": [reader.resolve(name) for name in exclude],
                "outside": tunes_left_out(reader, within, without),
                "order": order,
            }
            said = [(read_phrase(text, notation=notation), asked) for text in phrases]
            who = workers, scheduler
            found = self.hands.each(reader, who, resemble_as_asked, said, progress)
        return [ResembleResult(each, self) for each in found]

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

    def describe(self, tune: TuneLike) -> DescribeResult:
        """Say what is in a piece, and how many tunes of the corpus show each find.

        Parameters
        ----------
        tune : str, PathLike or Tune
            A tune of the corpus, a file or a tune.
        """
        from melodex.tasks.describe.describe import describe, with_counts

        with self.reading() as reader:
            passage, texture = as_piece(tune, reader)
            if passage.in_corpus:
                return DescribeResult(describe(passage, reader, texture))
            found = within_limits(describe, [tune], passage, None, texture)
            return DescribeResult(with_counts(found, reader))

    def around(
        self, tune: TuneLike, *, bars: SpanLike | None = None, lines: str = "sounding"
    ) -> AroundResult:
        """Show a passage of a score with the other lines of its piece.

        Parameters
        ----------
        tune : str, PathLike or Tune
            A line of a score: of the corpus, a file, or a passage of a result.
        bars : str, int or tuple, optional
            Such as ``"5-8"``; by default those of the passage.
        lines : str
            ``sounding`` shows the lines that sound there, ``all`` every one.

        Raises
        ------
        PassageError
            If the piece has one line, or too many bars are asked for.
        """
        from melodex.tasks.describe.surroundings import surroundings_of

        with self.reading() as reader:
            passage = as_passage(tune, reader, bars=bars, fewest=1)
            found = surroundings_of(passage, name_of_piece(tune), reader, lines=lines)
        return AroundResult(found)

    def answers(
        self,
        tune: TuneLike,
        *,
        bars: SpanLike | None = None,
        notes: SpanLike | None = None,
    ) -> AnswersResult:
        """Find where the other lines of a piece answer a passage: canon and imitation.

        Parameters
        ----------
        tune : str, PathLike or Tune
            A line of a score: of the corpus, a file, or a passage of a result.
        bars, notes : str, int or tuple, optional
            What part of it is answered.

        Raises
        ------
        PassageError, EmptyMelodyError
            If the piece has one line, or the passage is too long or too short.
        """
        from melodex.tasks.describe.echoes import answers_in_piece

        with self.reading() as reader:
            passage = as_passage(tune, reader, bars=bars, notes=notes, fewest=1)
            found = answers_in_piece(passage, name_of_piece(tune), reader)
        return AnswersResult(found)

    def gather(
        self,
        *,
        limit: int | None = 30,
        thorough: bool = False,
        workers: int | None = None,
        scheduler: str = "",
        **wishes: Any,
    ) -> GatherResult:
        """Find pieces and passages that show a feature; wishes can be combined freely.

        Parameters
        ----------
        limit : int or None
            At most so many examples; all tunes are counted.
        thorough : bool
            Whether to look at every tune that may hold a progression.
        workers, scheduler
            Who works: see :meth:`resemble`.
        **wishes
            As for :class:`melodex.tasks.gather.wish.Wish`: ``device``, ``progression``,
            ``note_on_chord``, ``mode``, ``metre``, ``kind``, ``key``, ``range``, ``tempo``,
            ``plan``, ``lyrics``, ``phrase``, ``maker``, ``decade``, ``part``,
            ``instrument``, ``sung`` and the others.

        Raises
        ------
        AnalysisError
            If nothing is asked for, or a wish cannot be understood.
        """
        from dataclasses import fields

        from melodex.errors import AnalysisError
        from melodex.tasks.gather.gather import gather
        from melodex.tasks.gather.wish import Wish

        known = [field.name for field in fields(Wish)]
        for name in wishes:
            if name not in known:
                raise AnalysisError(
                    f"there is no wish {name!r}", hint=f"there are {', '.join(known)}"
                )
        with self.reading() as reader:
            found = gather(
                reader,
                Wish(**wishes),
                limit=limit,
                thorough=thorough,
                shards=self.hands.shards(reader, workers, scheduler),
            )
        return GatherResult(found, self)

    # The musician's own words

    def remark(
        self, tune: str, text: str, *, kind: str = "note", bars: str = ""
    ) -> tuple[RemarkRow, ...]:
        """Write a note, a source or a citation on a tune; return all that is on it.

        Parameters
        ----------
        tune : str
            Title or id.
        text : str
            What is to be kept.
        kind : str
            ``note``, ``source`` or ``citation``.
        bars : str
            The bars it is about, by printed number, such as ``5-8``; by default all.

        Raises
        ------
        CorpusError
            If there is nothing to keep, or too much.
        UnknownTuneError, PassageError
            If there is no such tune, or it has not these bars.
        """
        from melodex.tasks.collection.remarks import write_remark

        return write_remark(self.path, tune, text, kind=kind, bars=bars).remarks

    def remarks(self, tune: str) -> tuple[RemarkRow, ...]:
        """Return what is written on a tune."""
        from melodex.tasks.collection.remarks import remarks_on

        with self.reading() as reader:
            return remarks_on(reader, tune).remarks

    # Teaching sets

    def lesson(self, name: str) -> Lesson:
        """Return a teaching set.

        Raises
        ------
        LessonError
            If there is none of that name.
        """
        return Lesson(self, name)

    def lessons(self) -> list[Lesson]:
        """Return all teaching sets, in alphabetical order."""
        from melodex.tasks.lesson.sets import list_lessons

        with self.reading() as reader:
            names = [line.row.name for line in list_lessons(reader)]
        return [Lesson(self, name) for name in names]

    def new_lesson(
        self, name: str, *, topic: str = "", level: str = "", notes: str = ""
    ) -> Lesson:
        """Make an empty teaching set.

        Parameters
        ----------
        name : str
            What it is called.
        topic, level, notes : str
            What it is to teach, for whom, and words to print on the handout.

        Raises
        ------
        LessonError
            If there is one of that name.
        """
        from melodex.tasks.lesson.sets import new_lesson

        self.require_open()
        row = new_lesson(self.path, name, topic=topic, level=level, notes=notes)
        return Lesson(self, row.name)

    def keep(self, name: str, found: Found[Any, Any]) -> Lesson:
        """Keep what was found in a teaching set, which is made if there is none.

        Raises
        ------
        LessonError
            If the set would have too many passages, or nothing was found.
        """
        return kept(self, name, found)

    def unpack(self, file: str | PathLike[str], *, name: str = "") -> Lesson:
        """Put a packed teaching set into the corpus.

        Parameters
        ----------
        file : str or PathLike
            What :meth:`melodex.Lesson.pack` wrote.
        name : str
            Another name for it here.
        """
        from melodex.tasks.lesson.file import unpack_file

        self.require_open()
        return Lesson(self, unpack_file(self.path, Path(file), name=name)[0].name)

    # Keeping the file

    def backup(self, path: str | PathLike[str], *, replace: bool = False) -> Path:
        """Write a consistent copy of the corpus, which may be in use meanwhile.

        Raises
        ------
        CorpusError
            If there is a file of that name and it is not to be replaced.
        """
        from melodex.tasks.collection.upkeep import backup

        self.require_open()
        return backup(self.path, Path(path), replace=replace).path

    def check(self) -> tuple[str, ...]:
        """Test the corpus for damage; return what is wrong, nothing if it is whole."""
        from melodex.tasks.collection.upkeep import check

        self.require_open()
        return tuple(fault.what for fault in check(self.path).report.faults)


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


def of_recording(
    corpus: Corpus,
    recording: str,
    limit: int,
    exclude: Iterable[str],
    *,
    within: str,
    without: str,
    who: tuple[int | None, str],
) -> ResembleResult:
    """What a sound file resembles, every reading of it asked."""
    from melodex.tasks.gather.counts import tunes_left_out
    from melodex.tasks.recording.recording import resemble_recording

    with corpus.reading() as reader:
        found = resemble_recording(
            reader,
            recording,
            limit=limit,
            exclude=[reader.resolve(name) for name in exclude],
            outside=tunes_left_out(reader, within, without),
            notes=corpus.hands.notes(reader, *who),
        )
    return ResembleResult(found, corpus)
