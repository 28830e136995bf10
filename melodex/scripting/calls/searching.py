"""What resembles a phrase, and what shows a feature.

Contents: Searching.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, cast

from melodex.errors import PhraseError
from melodex.scripting.file import CorpusFile
from melodex.scripting.results import GatherResult, ResembleResult
from melodex.scripting.tune import SpanLike, TuneLike, as_passage, sound_file

__all__ = ["Searching"]


class Searching(CorpusFile):
    """Questions to all tunes of a corpus."""

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


def of_recording(
    corpus: CorpusFile,
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
