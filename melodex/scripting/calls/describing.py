"""What is in one piece, and what its other lines do.

Contents: Describing.
"""

from __future__ import annotations

from melodex.scripting.file import CorpusFile
from melodex.scripting.results import AnswersResult, AroundResult, DescribeResult
from melodex.scripting.tune import (
    SpanLike,
    TuneLike,
    as_passage,
    as_piece,
    name_of_piece,
    within_limits,
)

__all__ = ["Describing"]


class Describing(CorpusFile):
    """Questions about one piece."""

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
