"""One reading of the keys of a piece, from everything at once.

Conventions: what every command, page and table says of keys comes from :func:`read_keys`:
key centres that follow one another without a gap, and a headline that is one of them.
Three ways lead to it, by what a piece is. Under chord symbols the tonic of each bar comes
from a chain over twelve tonics (``song``, ``chain``), with the melody, the printed
signature and the form; mode is read after the tonic (``mode``). Where chords move with
every beat, as in chorales, the model by cells knows near keys better (``cells``). A melody
alone is in the key that its notes and its signature speak for, between printed changes.

Contents: Keys, read_keys, with_centres.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import median

from melodex.analysis.harmony.chords import Chord, parse_chords
from melodex.analysis.keys.cells import (
    FEWEST_FOREIGN_NOTES,
    foreign_notes,
    spans_of_chords,
    spans_of_line,
)
from melodex.analysis.keys.home import TOO_FEW_NOTES, Home, home_of
from melodex.analysis.keys.overall import KeyReading, headline, nothing_said
from melodex.analysis.keys.parallel import with_own_thirds
from melodex.analysis.keys.parts import (
    at_home,
    in_minor,
    with_relatives_at_home,
    without_glances,
)
from melodex.analysis.keys.song.layout import turns_of
from melodex.analysis.keys.song.tonics import song_spans
from melodex.analysis.keys.spans import BarNumbers, KeySpan, described, merged, span_of
from melodex.melody import TICKS_PER_QUARTER, KeyChange, Melody

__all__ = ["Keys", "read_keys", "with_centres"]

FEWEST_IN_PARTS = 12
PARTS_QUARTERS = 1.25
"""Chords that mostly last no longer than this many quarters are those of voices that
move together, from so many chords on. Our choice: chorales change chord with the beat,
songs with the bar or half of it."""
PARTS_VARIETY = 0.12
"""Different chords over changes of chord: .15 to .36 in the chorales, .02 to .10 in the
charts of songs that change chord with every beat."""
SLOW_PARTS_QUARTERS = 4.0
FEWEST_THROUGH_COMPOSED, TURN = 48, 4
MOST_SEVENTHS, MOST_RETURNS = 0.15, 0.33
"""Of the madrigals analysed in music21's corpus no more than .14 of the chords are
sevenths, and .00 to .32 of their turns of four chords were there before; of 373 charts of
songs one is below both."""
MOST_RETURNS_WORKED = 0.6
"""The same for chords that were worked out from notes: .00 to .60 in 40 chorales,
madrigals, quartets, songs and piano pieces of music21's corpus; of the 373 charts of songs
three in four are above."""
LEAST_SURE, MOST_DOUBTFUL = 0.5, 0.5
"""How sure a chord is that counts, and the share of a piece beyond which its chords say
nothing of keys. Our choice: .30 at most in 70 tonal movements of music21's corpus, .73 in
Schoenberg's op. 19 no. 6."""
LEAST_OPENING = 0.1
"""An opening under its own printed key that is shorter than this part is no more than an
introduction. Our choice."""
PRINTED_CERTAINTY = 0.5
"""Of a key that is only printed, over too few notes to say anything of."""


@dataclass(frozen=True, slots=True)
class Keys:
    """The headline and the key centres of a piece, which agree."""

    reading: KeyReading
    spans: tuple[KeySpan, ...]


def read_keys(
    melody: Melody,
    *,
    chords: Sequence[Chord] | None = None,
    use_signature: bool = True,
) -> Keys:
    """Say in which keys a piece is.

    Parameters
    ----------
    melody : Melody
        With notes, chord symbols, printed keys, or only some of these.
    chords : sequence of Chord, optional
        The melody's chord symbols, read, in their order; read here by default. An empty
        one leaves the chords aside.
    use_signature : bool
        Whether what is printed counts.

    Raises
    ------
    ValueError
        If the chords are neither none nor as many as the melody's symbols.

    Examples
    --------
    >>> n = 7
    >>> tune = Melody(midi=(62, 64, 65, 67, 69, 71, 62), fifths=(2, 4, -1, 1, 3, 5, 2),
    ...               onset_ticks=tuple(range(n)), duration_ticks=(1,) * n,
    ...               bar=(1,) * n, beat_strength=(1.0,) + (0.25,) * 6, phrase=(0,) * n)
    >>> str(read_keys(tune).reading.key)
    'D dorian'
    """
    placed = [] if is_atonal(melody) else placed_chords(melody, chords)
    sounding = [(onset, chord) for onset, chord in placed if chord.sounds]
    if sounding and not in_parts(sounding, melody.chords_worked_out):
        found = song_spans(melody, placed, use_signature)
        spans = described(found.spans, sounding)
        reading = headline(melody, spans, found.others, found.remark, found.idiom)
        return Keys(reading, spans)
    plain, homes = stretch_spans(melody, sounding, use_signature)
    if not plain:
        return Keys(nothing_said(melody, homes[0].remark), ())
    spans = described(merged(plain), sounding)
    home, opening = homes[0], opening_share(melody, plain, use_signature)
    told = home.key if opening >= LEAST_OPENING else None
    reading = headline(melody, spans, home.others, home.remark, home=told)
    return Keys(reading, spans)


def is_atonal(melody: Melody) -> bool:
    """Whether chords that were worked out are doubtful for most of the time.

    As of clusters and fourths: what they would say of keys is left aside.
    """
    if not melody.chords_worked_out or not melody.chords:
        return False
    ends = [*(symbol.onset_ticks for symbol in melody.chords[1:]), melody.end_ticks]
    whole = doubtful = 0
    for symbol, end in zip(melody.chords, ends, strict=True):
        length = max(end - symbol.onset_ticks, 0)
        whole += length
        doubtful += length * (symbol.certainty < LEAST_SURE)
    return doubtful > MOST_DOUBTFUL * whole


def opening_share(melody: Melody, spans: Sequence[KeySpan], use_signature: bool) -> float:
    """How much of a piece comes before another key is printed."""
    turns = turns_of(melody) if use_signature else []
    if len(turns) < 2:
        return 1.0
    whole = spans[-1].end_ticks - spans[0].onset_ticks
    return (turns[1].onset_ticks - spans[0].onset_ticks) / max(whole, 1)


def with_centres(melody: Melody) -> Melody:
    """Return a melody with its key centres, read here unless it has them already."""
    if melody.centres:
        return melody
    return melody.with_centres(
        tuple(
            KeyChange(span.onset_ticks, span.key, span.key.signature_fifths)
            for span in read_keys(melody).spans
        )
    )


def placed_chords(
    melody: Melody, chords: Sequence[Chord] | None
) -> list[tuple[int, Chord]]:
    """Chords with their onsets, silences among them."""
    if chords is not None and not chords:
        return []
    read = list(parse_chords(s.text for s in melody.chords) if chords is None else chords)
    if len(read) != len(melody.chords):
        raise ValueError(f"{len(read)} chords for {len(melody.chords)} symbols")
    return [
        (symbol.onset_ticks, chord)
        for symbol, chord in zip(melody.chords, read, strict=True)
        if chord.sounds or chord.family == "none"
    ]


def in_parts(placed: Sequence[tuple[int, Chord]], worked_out: bool = False) -> bool:
    """Whether chords move as voices do: with every beat, and seldom in a loop.

    Slower music in parts is told by plain triads that never come round again. Chords that
    were worked out from notes are those of parts unless they go round as a song's do.
    """
    changes = [
        here
        for before, here in pairwise([(0, None), *placed])
        if before[1] is None or here[1] != before[1]
    ]
    if len(changes) < FEWEST_IN_PARTS:
        return False
    usual = median(after[0] - before[0] for before, after in pairwise(changes))
    chords = [chord for _, chord in changes if chord is not None]
    if worked_out:
        return turns_again(chords) <= MOST_RETURNS_WORKED
    if usual <= PARTS_QUARTERS * TICKS_PER_QUARTER:
        if len(set(chords)) >= PARTS_VARIETY * len(changes):
            return True
    elif usual > SLOW_PARTS_QUARTERS * TICKS_PER_QUARTER:
        return False
    return is_through_composed(chords)


def is_through_composed(chords: Sequence[Chord]) -> bool:
    """Whether a long row of chords is of triads, in turns that seldom come again."""
    sevenths = sum(bool({"7", "b7"} & set(chord.degree_names)) for chord in chords)
    if len(chords) < FEWEST_THROUGH_COMPOSED or sevenths > MOST_SEVENTHS * len(chords):
        return False
    return turns_again(chords) <= MOST_RETURNS


def turns_again(chords: Sequence[Chord]) -> float:
    """The share of turns of four chords that were there before."""
    row = [(chord.root_fifths, chord.family) for chord in chords]
    turns = [tuple(row[i : i + TURN]) for i in range(len(row) - TURN + 1)]
    return 1 - len(set(turns)) / len(turns)


def stretch_spans(
    melody: Melody, placed: Sequence[tuple[int, Chord]], use_signature: bool
) -> tuple[list[KeySpan], list[Home]]:
    """Spans between printed changes of key, and the home key of each stretch."""
    turns: list[KeyChange | None] = list(turns_of(melody)) if use_signature else [None]
    turns = turns or [None]
    starts = [0, *(turn.onset_ticks for turn in turns[1:] if turn is not None)]
    stop_of_piece = max(melody.end_ticks, starts[-1] + 1)
    ends = [*starts[1:], stop_of_piece]
    numbers, cutter = BarNumbers(melody), Cutter(melody)
    onsets = [onset for onset, _ in placed]
    spans: list[KeySpan] = []
    homes: list[Home] = []
    for change, start, end in zip(turns, starts, ends, strict=True):
        here = placed[bisect_left(onsets, start) : bisect_left(onsets, end)]
        part = cutter.cut(start, end)
        leads_on = stop_of_piece > end
        home = home_of(part, change, [chord for _, chord in here], leads_on)
        if home.key.mode == "none" and change is not None and change.key.mode != "none":
            home = Home(change.key, PRINTED_CERTAINTY, "printed key", (), home.remark)
        home = in_minor(home, [chord for _, chord in here], change)
        homes.append(home)
        if home.key.mode != "none":
            found = spans_of_stretch(part, here, start, end, home, numbers)
            if len(found) > 1 and here:
                found = with_relatives_at_home(found, here, home.key)
                bar_ticks = part.bars[0].duration_ticks if part.bars else 0
                found = without_glances(found, here, bar_ticks)
                found = with_own_thirds(found, part, here, home.key, numbers)
                found = at_home(found, here, home.key, numbers)
            if len(turns) > 1:
                found = [replace(s, method=f"{s.method}, printed change") for s in found]
            spans += found
    return spans, homes


def spans_of_stretch(
    part: Melody,
    placed: Sequence[tuple[int, Chord]],
    start: int,
    end: int,
    home: Home,
    numbers: BarNumbers,
) -> list[KeySpan]:
    """Spans of a stretch under one printed key."""
    if len(placed) >= FEWEST_IN_PARTS:
        return spans_of_chords(part, list(placed), start, end, home, numbers)
    if len(part) >= TOO_FEW_NOTES and foreign_notes(part, home.key) >= FEWEST_FOREIGN_NOTES:
        return spans_of_line(part, start, end, home, numbers)
    return [span_of(numbers, start, end, home.key, home.certainty, home.method)]


class Cutter:
    """Cuts stretches out of a melody without looking at the rest of it."""

    def __init__(self, melody: Melody) -> None:
        self.melody = melody
        self.bars = [bar.onset_ticks for bar in melody.bars]

    def cut(self, start: int, end: int) -> Melody:
        """The notes and bars that start in a stretch, nothing else."""
        whole = self.melody
        first = bisect_left(whole.onset_ticks, start)
        stop = bisect_left(whole.onset_ticks, end)
        return Melody(
            midi=whole.midi[first:stop],
            fifths=whole.fifths[first:stop],
            onset_ticks=whole.onset_ticks[first:stop],
            duration_ticks=whole.duration_ticks[first:stop],
            bar=whole.bar[first:stop],
            beat_strength=whole.beat_strength[first:stop],
            phrase=whole.phrase[first:stop],
            bars=whole.bars[bisect_left(self.bars, start) : bisect_left(self.bars, end)],
        )
