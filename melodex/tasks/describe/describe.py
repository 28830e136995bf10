"""describe: what is in a piece.

Conventions: bars go by their printed numbers. Finds are sorted by how few tunes of
the corpus show the same kind, so that what is worth telling comes first; without a
corpus they stand in the order of the piece. What cannot be said is said with its
reason.

Contents: GridBar, Find, Description, describe, described, with_counts.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

from melodex.analysis.harmony.heard.differences import Difference, differences
from melodex.analysis.keys import Keys, read_keys
from melodex.analysis.piece import Analysis, analyse, sure_devices
from melodex.analysis.texture import LINE_KINDS, LineFind, line_finds
from melodex.analysis.texture.activity import LineActivity, activity_of
from melodex.analysis.texture.foreign import ForeignNote, foreign_notes
from melodex.analysis.texture.words import bars_at, joint_sentence, line_sentence
from melodex.corpus.shards.merging import summed
from melodex.corpus.tunes.tune_rows import piece_of
from melodex.melody import Melody
from melodex.melody.loudness import bar_levels
from melodex.tasks.describe.recorded import (
    Recorded,
    read_points,
    recorded_sentences,
    recorded_under,
)
from melodex.tasks.describe.sentences import (
    bar_count,
    figure_sentence,
    foreign_sentences,
    odd_sections,
    summary_of,
    unsaid_of,
)
from melodex.tasks.describe.thickness import (
    Thickness,
    link_sentence,
    texture_sentences,
    thickness_of,
)
from melodex.tasks.passage import (
    Passage,
    find_piece,
    texture_of,
)

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus
    from melodex.melody.texture import Texture

__all__ = ["Description", "Find", "GridBar", "describe", "described", "with_counts"]


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
    doubts : tuple of (float, str)
        Of each chord how sure it is, and the next best chord; sure and without one
        where chords are printed.
    held : tuple of (str, str)
        The chord that was worked out before and goes on where the bar begins, and its
        numeral; empty where a chord starts there, or none does in the bar.
    """

    number: int
    section: str
    key: str
    metre: str
    chords: tuple[tuple[str, str], ...]
    degrees: tuple[str, ...]
    doubts: tuple[tuple[float, str], ...] = ()
    held: tuple[str, ...] = ()


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


def grid_of(melody: Melody, found: Analysis) -> Iterable[GridBar]:
    """Every bar with what starts in it."""
    sections = {section.first_bar: section.label for section in found.sections}
    spans = {span.first_bar: str(span.key) for span in reversed(found.spans)}
    chords: dict[int, list[tuple[str, str]]] = defaultdict(list)
    doubts: dict[int, list[tuple[float, str]]] = defaultdict(list)
    for here, symbol in zip(found.harmony.chords, melody.chords, strict=True):
        chords[here.bar].append((here.chord.text, here.numeral.text))
        doubts[here.bar].append((symbol.certainty, symbol.other))
    notes: dict[int, list[str]] = defaultdict(list)
    for bar, degree in zip(melody.bar, local_degrees(melody, found), strict=True):
        notes[bar].append(degree)
    metres = metre_starts(melody)
    held = held_into(melody, found) if melody.chords_worked_out else {}
    for number in sorted({bar.number for bar in melody.bars} | set(melody.bar)):
        yield GridBar(
            number,
            sections.get(number, ""),
            spans.get(number, ""),
            metres.get(number, ""),
            tuple(chords[number]),
            tuple(notes[number]),
            tuple(doubts[number]),
            held.get(number, ()),
        )


def held_into(melody: Melody, found: Analysis) -> dict[int, tuple[str, str]]:
    """The chords that go on into bars in which others start later."""
    starts: dict[int, int] = {}
    for bar in melody.bars:
        starts.setdefault(bar.number, bar.onset_ticks)
    chords = found.harmony.chords
    return {
        here.bar: (before.chord.text, before.numeral.text)
        for before, here in pairwise(chords)
        if before.bar != here.bar and here.onset_ticks > starts.get(here.bar, 0)
    }


def metre_starts(melody: Melody) -> dict[int, str]:
    """Time signatures by the bar in which they start to hold."""
    starts = {}
    for change in melody.metres:
        place = bisect_right(
            melody.bars,
            change.onset_ticks,
            key=lambda bar: bar.onset_ticks + bar.duration_ticks,
        )
        bar = melody.bars[place].number if place < len(melody.bars) else 0
        starts[bar] = str(change.metre or "free")
    return starts


def local_degrees(melody: Melody, found: Analysis) -> tuple[str, ...]:
    """Names of the notes' degrees in the key centres, empty without one."""
    from melodex.analysis.degrees import degree_names, degrees

    return degree_names(degrees(melody, found.spans or None))


def finds_of(melody: Melody, found: Analysis, lines: Iterable[LineFind] = ()) -> list[Find]:
    """Everything worth telling, in the order of the bars."""
    finds = [
        Find(device.kind, device.first_bar, device.last_bar, device.reason)
        for device in sure_devices(melody, found)
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
    finds += [
        Find(each.kind, *bars_at(melody, each), line_sentence(each, melody))
        for each in lines
        if not (each.kind == "pedal" and is_told(finds, *bars_at(melody, each)))
    ]
    return in_order(finds)


def in_order(finds: Iterable[Find]) -> list[Find]:
    """Finds in the order of the bars."""
    return sorted(finds, key=lambda find: (find.first_bar, find.last_bar, find.kind))


def texture_finds(thickness: Thickness, against: Iterable[Difference]) -> Iterable[Find]:
    """Lines that join, what goes together, and symbols that the notes speak against."""
    for joint in thickness.joints:
        yield Find("a voice joins", joint.bar, joint.bar, joint_sentence(joint))
    for link in thickness.links:
        yield Find(
            "going together",
            link.bars[0][0],
            link.bars[-1][1],
            link_sentence(link),
            statements=link.bars,
        )
    for each in against:
        yield Find("symbol and notes", each.bar, each.bar, difference_sentence(each))


def difference_sentence(difference: Difference) -> str:
    """What is printed, and what sounds."""
    return (
        f"{difference.printed} is printed; the notes make {difference.sounding} "
        f"({difference.certainty:.0%} sure)"
    )


def is_told(finds: list[Find], first_bar: int, last_bar: int) -> bool:
    """Whether a pedal in the bass is told already, from the chords, in some of the bars."""
    return any(
        find.kind == "pedal bass"
        and find.first_bar <= last_bar
        and find.last_bar >= first_bar
        for find in finds
    )


UNCOUNTED = {"going together", "symbol and notes"}
"""Kinds that no table counts."""
OF_LINES = {*LINE_KINDS, "a voice joins"}
"""Kinds that are counted only where scores were read since they are kept."""


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
            """,
            merge=summed,
        )
    )
    told = [
        f
        if f.kind in UNCOUNTED or (f.kind in OF_LINES and f.kind not in shown)
        else replace(f, tunes=int(shown.get(f.kind, 0)))
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
