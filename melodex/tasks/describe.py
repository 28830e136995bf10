"""describe: what is in a piece.

Conventions: bars go by their printed numbers. Finds are sorted by how few tunes of
the corpus show the same kind, so that what is worth telling comes first; without a
corpus they stand in the order of the piece. What cannot be said is said with its
reason.

Contents: GridBar, Find, Description, describe, described.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from melodex.analysis.piece import Analysis, analyse
from melodex.melody import Melody
from melodex.tasks.passage import Passage, find_passage

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = ["Description", "Find", "GridBar", "describe", "described"]

UNCERTAIN = 0.6


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

    ``tunes`` is None without a corpus to compare with.
    """

    kind: str
    first_bar: int
    last_bar: int
    sentence: str
    tunes: int | None = None


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


def describe(passage: Passage, corpus: Corpus | None = None) -> Description:
    """Say what is in a piece: keys, form, metre, range, chords, devices.

    Parameters
    ----------
    passage : Passage
        The whole piece.
    corpus : Corpus, optional
        To say how rare each find is.
    """
    melody = passage.melody
    found = analyse(melody)
    finds = finds_of(melody, found)
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
    from melodex.corpus.reader import Corpus

    if not corpus_path.exists():
        return describe(find_passage(name, fewest=1))
    with Corpus.open(corpus_path) as corpus:
        passage = find_passage(name, corpus, fewest=1)
        return describe(passage, None if alone else corpus)


def summary_of(melody: Melody, found: Analysis) -> Iterable[str]:
    """Key, metre, form and range in sentences."""
    yield key_sentence(found)
    if len(found.spans) > 1:
        centres = "; ".join(
            f"bars {span.first_bar}-{span.last_bar} {span.key}" for span in found.spans
        )
        yield f"Key centres: {centres}."
    yield metre_sentence(melody, found)
    if found.sections:
        yield form_sentence(found)
    if found.compass:
        reach = found.compass
        yield (
            f"Range {reach.lowest} to {reach.highest}, {reach.range_semitones} semitones, "
            f"mostly {reach.tessitura[0]} to {reach.tessitura[1]}; "
            f"it peaks in bar {reach.peak_bar}."
        )


def key_sentence(found: Analysis) -> str:
    """The key, how sure it is, and what is printed."""
    reading = found.key
    if reading.key.mode == "none":
        return "No key can be said."
    sure = (
        "" if reading.certainty >= UNCERTAIN else f", uncertain ({reading.certainty:.2f})"
    )
    text = f"In {reading.key}{sure}"
    if reading.agrees_with_printed is False:
        text += f", though {reading.printed} is printed"
    inflection = f"; the minor is {reading.inflection}" if reading.inflection else ""
    return f"{text}{inflection}."


def metre_sentence(melody: Melody, found: Analysis) -> str:
    """Metre, its class, pickup and number of bars."""
    metres = list(dict.fromkeys(str(change.metre or "free") for change in melody.metres))
    count = len({bar.number for bar in melody.bars if bar.number > 0})
    pickup = ", with a pickup" if 0 in melody.bar else ""
    if found.metre_class == "free":
        return f"In free metre, {count} bars{pickup}."
    return f"In {', '.join(metres)} ({found.metre_class} metre), {count} bars{pickup}."


def form_sentence(found: Analysis) -> str:
    """Sections and their lengths, odd ones pointed out."""
    parts = ", ".join(f"{section.label} {section.bars}" for section in found.sections)
    odd = [section for section in found.sections if section.odd]
    text = f"Sections in bars: {parts}"
    if odd:
        named = ", ".join(f"{s.label} (bars {s.first_bar}-{s.last_bar})" for s in odd[:6])
        text += f"; of odd length: {named}"
    return f"{text}."


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


def finds_of(melody: Melody, found: Analysis) -> list[Find]:
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
            f"section {section.label} has {section.bars} bars",
        )
        for section in found.sections
        if section.odd
    ]
    finds += [
        Find(figure.kind, figure.bars[0][0], figure.bars[-1][1], figure.words)
        for figure in found.figures
    ]
    return sorted(finds, key=lambda find: (find.first_bar, find.last_bar, find.kind))


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
        Find(f.kind, f.first_bar, f.last_bar, f.sentence, int(shown.get(f.kind, 0)))
        for f in finds
    ]
    return sorted(told, key=lambda find: (find.tunes or 0, find.first_bar, find.last_bar))


def unsaid_of(melody: Melody, found: Analysis) -> Iterable[str]:
    """What cannot be said, and why."""
    if found.key.remark:
        yield found.key.remark
    if not melody.chords:
        yield "There are no chord symbols, so nothing is said of harmony."
    unknown = [
        here.chord.text
        for here in found.harmony.chords
        if not here.chord.understood and here.chord.text
    ]
    if unknown:
        listed = ", ".join(dict.fromkeys(unknown))
        yield f"Chord symbols that were not understood: {listed}."
    if not melody.chords and len(found.spans) > 1:
        yield "Key centres from a melody alone are uncertain."
    if found.metre_class == "free":
        yield "Without a metre no section lengths can be relied on."
    if len({bar.number for bar in melody.bars if bar.number > 0}) < 2:
        yield "One bar is too little to speak of form."
