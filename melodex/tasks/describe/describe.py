"""describe: what is in a piece.

Conventions: bars go by their printed numbers. Finds are sorted by how few tunes of
the corpus show the same kind, so that what is worth telling comes first; without a
corpus they stand in the order of the piece. What cannot be said is said with its
reason.

Contents: GridBar, Find, Description, describe, described.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from melodex.analysis.piece import Analysis, analyse
from melodex.analysis.texture import LINE_KINDS, LineFind, line_finds
from melodex.melody import Melody
from melodex.tasks.describe.sentences import (
    bar_count,
    figure_sentence,
    line_sentence,
    odd_sections,
    summary_of,
    unsaid_of,
)
from melodex.tasks.passage import (
    Passage,
    find_piece,
    texture_of,
)

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus
    from melodex.melody.texture import Texture

__all__ = ["Description", "Find", "GridBar", "describe", "described"]


@dataclass(frozen=True, slots=True)
class GridBar:
    """One bar of the grid.

    Parameters
    ----------
    number : int
        As printed.
    section : str
        Label of the section that starts here, or empty.
    key : str
        Key that starts to hold here, or empty.
    metre : str
        Time signature that starts here, or empty.
    chords : tuple of (str, str)
        Chord symbols that start in it, as printed, and their numerals.
    degrees : tuple of str
        Degrees of the notes that start in it, in the key that holds.
    """

    number: int
    section: str
    key: str
    metre: str
    chords: tuple[tuple[str, str], ...]
    degrees: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Find:
    """Something worth telling: kind, bars, one sentence, and how many tunes show it.

    ``tunes`` is None without a corpus to compare with. ``statements`` are the bars of
    each statement of a figure that returns; of other finds the bars are one stretch.
    """

    kind: str
    first_bar: int
    last_bar: int
    sentence: str
    tunes: int | None = None
    statements: tuple[tuple[int, int], ...] = ()

    @property
    def passages(self) -> tuple[tuple[int, int], ...]:
        """First and last bar of each place that it is told of."""
        return self.statements or ((self.first_bar, self.last_bar),)


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
    """

    passage: Passage
    analysis: Analysis
    summary: tuple[str, ...]
    grid: tuple[GridBar, ...]
    finds: tuple[Find, ...]
    unsaid: tuple[str, ...]
    corpus_tunes: int | None

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
    melody = passage.melody
    found = analyse(melody)
    if texture is None and passage.in_corpus:
        texture = texture_of(passage, "", corpus)
    finds = finds_of(melody, found, texture)
    if corpus is not None:
        finds = counted(finds, corpus)
    return Description(
        passage=passage,
        analysis=found,
        summary=tuple(summary_of(melody, found)),
        grid=tuple(grid_of(melody, found)),
        finds=tuple(finds),
        unsaid=tuple(unsaid_of(melody, found)),
        corpus_tunes=corpus.tune_count if corpus else None,
    )


def described(name: str, corpus_path: Path, *, alone: bool = False) -> Description:
    """Describe a tune by name; the corpus is used if there is one.

    Parameters
    ----------
    name : str
        A file, a tune id or a title.
    corpus_path : Path
        The corpus file, where there is one.
    alone : bool
        Whether not to count how rare each find is.

    Raises
    ------
    UnknownTuneError, ReadingError
        If there is no such tune.
    """
    from melodex.corpus.faults import is_there
    from melodex.corpus.reader import Corpus

    if not is_there(corpus_path):
        passage = find_piece(name)
        return describe(passage, texture=texture_of(passage, name, None))
    with Corpus.open(corpus_path) as corpus:
        passage = find_piece(name, corpus)
        texture = texture_of(passage, name, corpus)
        return describe(passage, None if alone else corpus, texture)


def grid_of(melody: Melody, found: Analysis) -> Iterable[GridBar]:
    """Every bar with what starts in it."""
    sections = {section.first_bar: section.label for section in found.sections}
    spans = {span.first_bar: str(span.key) for span in reversed(found.spans)}
    chords: dict[int, list[tuple[str, str]]] = defaultdict(list)
    for here in found.harmony.chords:
        chords[here.bar].append((here.chord.text, here.numeral.text))
    notes: dict[int, list[str]] = defaultdict(list)
    for bar, degree in zip(melody.bar, local_degrees(melody, found), strict=True):
        notes[bar].append(degree)
    metres = metre_starts(melody)
    for number in sorted({bar.number for bar in melody.bars} | set(melody.bar)):
        yield GridBar(
            number,
            sections.get(number, ""),
            spans.get(number, ""),
            metres.get(number, ""),
            tuple(chords[number]),
            tuple(notes[number]),
        )


def metre_starts(melody: Melody) -> dict[int, str]:
    """Time signatures by the bar in which they start to hold."""
    starts = {}
    for change in melody.metres:
        bar = next(
            (
                bar.number
                for bar in melody.bars
                if bar.onset_ticks + bar.duration_ticks > change.onset_ticks
            ),
            0,
        )
        starts[bar] = str(change.metre or "free")
    return starts


def local_degrees(melody: Melody, found: Analysis) -> tuple[str, ...]:
    """Names of the notes' degrees in the key centres, empty without one."""
    from melodex.analysis.degrees import degree_names, degrees

    return degree_names(degrees(melody, found.spans or None))


def finds_of(melody: Melody, found: Analysis, texture: Texture | None = None) -> list[Find]:
    """Everything worth telling, in the order of the bars."""
    finds = [
        Find(device.kind, device.first_bar, device.last_bar, device.reason)
        for device in found.harmony.devices
    ]
    finds += [
        Find(
            "modal passage",
            passage.first_bar,
            passage.last_bar,
            f"{passage.mode} colour in {passage.home_mode}, told by "
            f"{'the natural ' if passage.telling_degree.isdigit() else ''}"
            f"{passage.telling_degree}",
        )
        for passage in found.modal
    ]
    finds += [
        Find("change of key", span.first_bar, span.last_bar, f"{span.key}, {span.how}")
        for span in found.spans[1:]
    ]
    finds += [
        Find(
            "odd section",
            section.first_bar,
            section.last_bar,
            f"section {section.label} has {bar_count(section.bars)}",
        )
        for section in odd_sections(found)
    ]
    finds += [
        Find(
            figure.kind,
            figure.bars[0][0],
            figure.bars[-1][1],
            figure_sentence(figure),
            statements=figure.bars,
        )
        for figure in found.figures
    ]
    if texture is not None:
        finds += [
            Find(each.kind, *bars_at(melody, each), line_sentence(each, melody))
            for each in line_finds(texture, melody)
            if not (each.kind == "pedal" and is_told(finds, *bars_at(melody, each)))
        ]
    return sorted(finds, key=lambda find: (find.first_bar, find.last_bar, find.kind))


def is_told(finds: list[Find], first_bar: int, last_bar: int) -> bool:
    """Whether a pedal in the bass is told already, from the chords, in some of the bars."""
    return any(
        find.kind == "pedal bass"
        and find.first_bar <= last_bar
        and find.last_bar >= first_bar
        for find in finds
    )


def bars_at(melody: Melody, find: LineFind) -> tuple[int, int]:
    """First and last bar of something that a line does."""
    starts = [bar.onset_ticks for bar in melody.bars]
    places = (find.onset_ticks, find.end_ticks - 1)
    first, last = (max(bisect_right(starts, place) - 1, 0) for place in places)
    return melody.bars[first].number, melody.bars[last].number


def counted(finds: list[Find], corpus: Corpus) -> list[Find]:
    """Finds with the number of tunes that show their kind, the rarest first."""
    shown = dict(
        corpus.query(
            """
            SELECT kind, count(DISTINCT tune) FROM device GROUP BY kind
            UNION ALL SELECT kind, count(DISTINCT tune) FROM returning_figure GROUP BY kind
            UNION ALL SELECT 'modal passage', count(DISTINCT tune) FROM modal_passage
            UNION ALL SELECT 'change of key', count(DISTINCT tune) FROM key_span
              WHERE place > 0
            UNION ALL SELECT 'odd section', count(DISTINCT tune) FROM section WHERE odd
            """
        )
    )
    told = [
        f if f.kind in LINE_KINDS else replace(f, tunes=int(shown.get(f.kind, 0)))
        for f in finds
    ]
    # What no table counts stands last.
    uncounted = corpus.tune_count + 1
    return sorted(
        told,
        key=lambda find: (
            uncounted if find.tunes is None else find.tunes,
            find.first_bar,
            find.last_bar,
        ),
    )
