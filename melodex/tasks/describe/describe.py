"""describe: what is in a piece.

Conventions: bars go by their printed numbers. What cannot be said is said with its
reason.

Contents: Description, describe, described, with_counts; bars are made in ``grid``, finds in
``finds``.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING

from melodex.analysis.harmony.heard.differences import Difference, differences
from melodex.analysis.keys import Keys, read_keys
from melodex.analysis.piece import Analysis, analyse
from melodex.analysis.texture import line_finds
from melodex.analysis.texture.activity import LineActivity, activity_of
from melodex.analysis.texture.foreign import ForeignNote, foreign_notes
from melodex.corpus.tunes.tune_rows import piece_of
from melodex.melody.loudness import bar_levels
from melodex.tasks.describe.finds import Find, counted, finds_of, in_order, texture_finds
from melodex.tasks.describe.grid import GridBar, grid_of
from melodex.tasks.describe.recorded import (
    Recorded,
    read_points,
    recorded_sentences,
    recorded_under,
)
from melodex.tasks.describe.sentences import foreign_sentences, summary_of, unsaid_of
from melodex.tasks.describe.thickness import Thickness, texture_sentences, thickness_of
from melodex.tasks.passage import Passage, find_piece, texture_of

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus
    from melodex.melody.texture import Texture

__all__ = [
    "Description",
    "describe",
    "described",
    "described_whole",
    "with_counts",
    "with_recording",
]


@dataclass(frozen=True, slots=True)
class Description:
    """What is in a piece.

    Parameters
    ----------
    passage : Passage
        The whole piece.
    analysis : Analysis
        All that was worked out.
    summary : tuple of str
        Key, metre, form and range, in sentences.
    grid : tuple of GridBar
        Every bar.
    finds : tuple of Find
        The rarest first.
    unsaid : tuple of str
        What cannot be said, and why.
    corpus_tunes : int or None
        How many tunes the finds were counted in.
    thickness : Thickness
        How thick the piece is, bar by bar and by section; empty of one line.
    differences : tuple of Difference
        Where printed symbols and the notes of the score say different things.
    recorded : Recorded or None
        The loudness of a recording under the bars, where one was given.
    activity : tuple of LineActivity
        When each line of the piece sounds; empty of one line.
    foreign : tuple of ForeignNote
        Notes of the other lines that their chords do not have, each with its name.
    """

    passage: Passage
    analysis: Analysis
    summary: tuple[str, ...]
    grid: tuple[GridBar, ...]
    finds: tuple[Find, ...]
    unsaid: tuple[str, ...]
    corpus_tunes: int | None
    thickness: Thickness = field(default_factory=Thickness)
    differences: tuple[Difference, ...] = ()
    recorded: Recorded | None = None
    activity: tuple[LineActivity, ...] = ()
    foreign: tuple[ForeignNote, ...] = ()

    def __repr__(self) -> str:
        return f"<Description of {self.passage.label}: {len(self.finds)} finds>"


def describe(
    passage: Passage, corpus: Corpus | None = None, texture: Texture | None = None
) -> Description:
    """Say what is in a piece: keys, form, metre, range, chords, devices, its lines.

    Parameters
    ----------
    passage : Passage
        The whole piece.
    corpus : Corpus, optional
        To say how rare each find is.
    texture : Texture, optional
        All notes of the piece, for what its other lines do; by default what the corpus
        keeps of it is read again.
    """
    if texture is None and passage.in_corpus:
        texture = texture_of(passage, corpus)
    if texture is not None and len(passage.melody) == len(passage.whole):
        # Bars before and after the tune, in which others play, belong to the piece.
        passage = replace(passage, melody=passage.whole)
    melody = passage.melody
    found = analyse(melody, keys=keys_of_piece(passage, corpus))
    lines = line_finds(texture, melody) if texture else ()
    thickness = Thickness()
    against: tuple[Difference, ...] = ()
    foreign: tuple[ForeignNote, ...] = ()
    if texture is not None:
        foreign = foreign_notes(texture, melody, found.harmony.chords, lines)
        bars = [bar for bar in melody.bars if bar.duration_ticks > 0]
        levels = bar_levels(melody.dynamics, bars, melody.end_ticks)
        thickness = thickness_of(texture, melody, found, lines, levels)
        against = differences(texture, melody) if texture.named else ()
    finds = finds_of(melody, found, lines)
    finds = in_order([*finds, *texture_finds(thickness, against)])
    said = Description(
        passage=passage,
        analysis=found,
        summary=(
            *summary_of(melody, found),
            *texture_sentences(thickness),
            *foreign_sentences(foreign),
        ),
        grid=tuple(grid_of(melody, found)),
        finds=tuple(finds),
        unsaid=tuple(unsaid_of(melody, found)),
        corpus_tunes=None,
        thickness=thickness,
        differences=against,
        activity=activity_of(texture) if texture is not None else (),
        foreign=foreign,
    )
    return said if corpus is None else with_counts(said, corpus)


def with_counts(found: Description, corpus: Corpus) -> Description:
    """A description that says how many tunes of a corpus show each find."""
    finds = tuple(counted(list(found.finds), corpus))
    return replace(found, finds=finds, corpus_tunes=corpus.tune_count)


def keys_of_piece(passage: Passage, corpus: Corpus | None) -> Keys | None:
    """The keys of the piece of which a line is described, which says less of them."""
    if corpus is None or not passage.in_corpus or passage.whole.line.is_main:
        return None
    main = piece_of(corpus, [passage.tune_id]).get(passage.tune_id, passage.tune_id)
    melodies = corpus.melodies([main], on_damage=lambda damage: None)
    return read_keys(melodies[main]) if main in melodies else None


def with_recording(found: Description, data: bytes, name: str, at: str) -> Description:
    """A description with the loudness of a recording under its bars.

    Parameters
    ----------
    found : Description
    data : bytes
        A sound file.
    name : str
        What to call it.
    at : str
        Points at which bars begin, such as ``1=0:12, 35=1:50``.

    Raises
    ------
    PassageError
        If the points cannot be read, or do not fit the score or the recording.
    ReadingError, HostileInputError
        If the recording cannot be read, or is silent.
    """
    from melodex.reading.recording.loudness import loudness_of_file

    points = read_points(at)
    curve = loudness_of_file(data, name)
    recorded = recorded_under(found.passage.whole, name, curve, points)
    summary = (*found.summary, *recorded_sentences(recorded))
    return replace(found, recorded=recorded, summary=summary)


def described(
    name: str,
    corpus_path: Path,
    *,
    alone: bool = False,
    recording: Path | None = None,
    at: str = "",
) -> Description:
    """Describe a tune by name; the corpus is used if there is one.

    Parameters
    ----------
    name : str
        A file, a tune id or a title.
    corpus_path : Path
        The corpus file, where there is one.
    alone : bool
        Whether not to count how rare each find is.
    recording : Path, optional
        A sound file whose loudness is laid under the bars.
    at : str
        Points at which bars of it begin, such as ``1=0:12, 35=1:50``.

    Raises
    ------
    UnknownTuneError, ReadingError
        If there is no such tune.
    """
    found, _ = described_whole(name, corpus_path, alone=alone)
    if recording is None:
        return found
    from melodex.reading import contents
    from melodex.reading.recording.waveform import MOST_FILE_BYTES

    data = contents(recording, str(recording), MOST_FILE_BYTES)
    return with_recording(found, data, recording.name, at)


def described_whole(
    name: str, corpus_path: Path, *, alone: bool
) -> tuple[Description, Texture | None]:
    """Describe a tune by name, and all notes of its piece."""
    from melodex.corpus.faults import is_there
    from melodex.corpus.reader import Corpus

    if not is_there(corpus_path):
        passage, texture = find_piece(name)
        return describe(passage, texture=texture), texture
    with Corpus.open(corpus_path) as corpus:
        passage, texture = find_piece(name, corpus)
        return describe(passage, None if alone else corpus, texture), texture
