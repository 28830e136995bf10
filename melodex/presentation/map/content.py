"""What a map shows, laid out in time.

Conventions: times in ticks from the start of the first bar, in the written order; a
stretch holds from ``start`` up to ``end``. Finds are told under their kinds, and each
sentence has one number, by which marks lead to it.

Contents: Stretch, KeyStretch, PhraseStretch, NumberedFind, PieceMap, numbered, piece_map,
short_key.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from melodex.analysis.form import Section
from melodex.analysis.keys import KeySpan
from melodex.analysis.piece import DOUBTED
from melodex.analysis.texture.activity import LineActivity
from melodex.melody import Bar, Key, Melody, pitch_class_name
from melodex.presentation.map.levels import Curve, curves_of
from melodex.tasks.describe.describe import Description
from melodex.tasks.describe.finds import Find
from melodex.tasks.describe.sentences import UNCERTAIN

__all__ = [
    "KeyStretch",
    "NumberedFind",
    "PhraseStretch",
    "PieceMap",
    "Stretch",
    "numbered",
    "piece_map",
    "short_key",
]


@dataclass(frozen=True, slots=True)
class Stretch:
    """Words that hold for a time, and a word on their length."""

    start: int
    end: int
    words: str
    aside: str = ""


@dataclass(frozen=True, slots=True)
class KeyStretch:
    """A key centre: which of the piece's keys it is, how it is reached, how sure."""

    start: int
    end: int
    key: Key
    tint: int
    how: str
    sure: bool


@dataclass(frozen=True, slots=True)
class PhraseStretch:
    """A phrase with its letter; ``of`` is the index of the phrase that it brings back."""

    start: int
    end: int
    letter: str
    of: int | None
    how: str
    first_bar: int


@dataclass(frozen=True, slots=True)
class NumberedFind:
    """A sentence with its number, and the finds that it is told of."""

    number: int
    kind: str
    sentence: str
    finds: tuple[Find, ...]

    @property
    def tunes(self) -> int | None:
        """How many tunes show the kind, or None without a corpus."""
        return self.finds[0].tunes


@dataclass(frozen=True, slots=True)
class PieceMap:
    """A piece laid out in time; what is not known is empty.

    Parameters
    ----------
    title : str
    bars : tuple of Bar
        At least one.
    sections : tuple of Stretch
        Letters, and lengths in bars.
    keys : tuple of KeyStretch
    chords : tuple of (int, str)
        Onset and numeral, or the chord itself where it has none.
    worked_out : bool
        Whether the chords are not printed but worked out from the notes.
    notes : tuple of (int, int, int)
        Onset, length and midi.
    peak : int or None
        Index of the note that the melody peaks on.
    peak_name, lowest_name : str
        Notes with their octaves.
    phrases : tuple of PhraseStretch
    metres : tuple of (int, str)
        Time signatures where they start to hold.
    tempo : float or None
        Quarters a minute, where the source gives it.
    finds : tuple of (NumberedFind, tuple of (int, int))
        Each with the stretches that it is told of.
    corpus_tunes : int or None
        How many tunes the finds were counted in.
    curves : tuple of Curve
        What goes up and down: voices, rich chords, loudness.
    lines : tuple of LineActivity
        When each line sounds; empty of one line.
    """

    title: str
    bars: tuple[Bar, ...]
    sections: tuple[Stretch, ...]
    keys: tuple[KeyStretch, ...]
    chords: tuple[tuple[int, str], ...]
    worked_out: bool
    notes: tuple[tuple[int, int, int], ...]
    peak: int | None
    peak_name: str
    lowest_name: str
    phrases: tuple[PhraseStretch, ...]
    metres: tuple[tuple[int, str], ...]
    tempo: float | None
    finds: tuple[tuple[NumberedFind, tuple[tuple[int, int], ...]], ...]
    corpus_tunes: int | None
    curves: tuple[Curve, ...] = ()
    lines: tuple[LineActivity, ...] = ()

    @property
    def end(self) -> int:
        """Where the last bar ends."""
        return self.bars[-1].onset_ticks + self.bars[-1].duration_ticks


def piece_map(found: Description) -> PieceMap:
    """Lay a description out in time."""
    melody, analysis = found.passage.melody, found.analysis
    bars = whole_bars(melody)
    times = BarTimes(bars)
    reach = analysis.compass
    return PieceMap(
        title=melody.title,
        bars=bars,
        sections=tuple(section_stretches(analysis.sections, bars, times)),
        keys=tuple(key_stretches(analysis.spans)),
        chords=tuple(
            (
                here.onset_ticks,
                (here.numeral.text or here.chord.text)
                + ("" if symbol.certainty >= DOUBTED else "?"),
            )
            for here, symbol in zip(analysis.harmony.chords, melody.chords, strict=True)
        ),
        worked_out=melody.chords_worked_out,
        notes=tuple(
            zip(melody.onset_ticks, melody.duration_ticks, melody.midi, strict=True)
        ),
        peak=reach.peak_note if reach else None,
        peak_name=reach.highest if reach else "",
        lowest_name=reach.lowest if reach else "",
        phrases=tuple(phrase_stretches(found)),
        metres=tuple((m.onset_ticks, str(m.metre or "free")) for m in melody.metres),
        tempo=melody.tempo_quarters_per_minute,
        finds=tuple(
            (find, tuple(places_of(find, times))) for find in numbered(found.finds)
        ),
        corpus_tunes=found.corpus_tunes,
        curves=curves_of(found),
        lines=found.activity,
    )


def whole_bars(melody: Melody) -> tuple[Bar, ...]:
    """The bars of a melody; one that holds everything where there are none."""
    lasting = tuple(bar for bar in melody.bars if bar.duration_ticks > 0)
    return lasting or (Bar(1, 0, max(melody.end_ticks, 1)),)


class BarTimes:
    """When the bars of each printed number sound; the first run of a number counts."""

    def __init__(self, bars: Sequence[Bar]) -> None:
        self.starts: dict[int, int] = {}
        self.ends: dict[int, int] = {}
        before = None
        for bar in bars:
            self.starts.setdefault(bar.number, bar.onset_ticks)
            if bar.number not in self.ends or bar.number == before:
                self.ends[bar.number] = bar.onset_ticks + bar.duration_ticks
            before = bar.number
        self.last = bars[-1].onset_ticks + bars[-1].duration_ticks

    def of(self, first: int, last: int) -> tuple[int, int]:
        """From the start of one bar to the end of another."""
        start = self.starts.get(first, 0)
        return start, max(self.ends.get(last, self.last), start + 1)


def section_stretches(
    sections: Sequence[Section], bars: Sequence[Bar], times: BarTimes
) -> Iterator[Stretch]:
    """Sections one after the other, also where printed numbers of bars run back."""
    numbers = [bar.number for bar in bars]
    runs_back = any(later < earlier for earlier, later in pairwise(numbers))
    if runs_back and sum(part.bars for part in sections) == len(bars):
        # A number says nothing of the place there; sections that hold all bars do.
        first = 0
        for part in sections:
            last = bars[first + part.bars - 1]
            end = last.onset_ticks + last.duration_ticks
            yield Stretch(bars[first].onset_ticks, end, part.label, str(part.bars))
            first += part.bars
        return
    for part in sections:
        start, end = times.of(part.first_bar, part.last_bar)
        yield Stretch(start, end, part.label, str(part.bars))


def key_stretches(spans: Sequence[KeySpan]) -> Iterator[KeyStretch]:
    """Key centres, each key with the number at which it first appeared."""
    order: dict[Key, int] = {}
    for span in spans:
        tint = order.setdefault(span.key, len(order))
        how = "" if span.how == "start" else span.how
        sure = span.certainty >= UNCERTAIN
        yield KeyStretch(span.onset_ticks, span.end_ticks, span.key, tint, how, sure)


def phrase_stretches(found: Description) -> Iterator[PhraseStretch]:
    """Phrases from the start of their first note to the end of their last."""
    melody, analysis = found.passage.melody, found.analysis
    for span, back in zip(analysis.phrases, analysis.returns, strict=True):
        yield PhraseStretch(
            melody.onset_ticks[span.first_note],
            melody.onset_ticks[span.last_note] + melody.duration_ticks[span.last_note],
            back.letter,
            back.of,
            back.how,
            span.first_bar,
        )


# Finds


def numbered(finds: Sequence[Find]) -> tuple[NumberedFind, ...]:
    """Finds under their kinds, the same sentence told once, numbered from 1."""
    kinds: dict[str, dict[str, list[Find]]] = {}
    for find in finds:
        kinds.setdefault(find.kind, {}).setdefault(find.sentence, []).append(find)
    told = [
        (kind, sentence, tuple(same))
        for kind, sentences in kinds.items()
        for sentence, same in sentences.items()
    ]
    return tuple(NumberedFind(place, *row) for place, row in enumerate(told, 1))


def places_of(find: NumberedFind, times: BarTimes) -> Iterator[tuple[int, int]]:
    """When what a sentence tells of sounds: each statement of a figure by itself."""
    passages = [passage for each in find.finds for passage in each.passages]
    for first, last in dict.fromkeys(passages):
        yield times.of(first, last)


# Names of keys


def short_key(key: Key) -> str:
    """A key in few signs: ``A`` for A major, ``Am`` for A minor, ``D dor`` for a mode.

    Examples
    --------
    >>> short_key(Key(-2, "major")), short_key(Key(3, "minor")), short_key(Key(2, "dorian"))
    ('Bb', 'Am', 'D dor')
    """
    tonic = pitch_class_name(key.tonic_fifths)
    if key.mode == "major":
        return tonic
    return f"{tonic}m" if key.mode == "minor" else f"{tonic} {key.mode[:3]}"
