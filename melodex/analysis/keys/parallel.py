"""Major or minor on the home tonic of music in parts, told by its own I.

Conventions: the cells hear the scale of a passage, and a passage of a piece in major with
a few notes of minor, or the other way, may be heard in the parallel key. The third of its
I tells it, bar by bar, as in songs (``song.mode``): where I is that of the home key and
stays so, the passage is at home. Common practice, no source. On other tonics a major I in
minor is too common in old music (Picardy thirds, V of iv) to tell anything: there the
local keys of chorales and madrigals were read worse by it
(``benchmarks/analysis/keys/lines``).

Contents: with_own_thirds.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from melodex.analysis.harmony.chords import Chord
from melodex.analysis.keys.song.layout import Layout, layout_of
from melodex.analysis.keys.song.mode import third_of, thirds_of
from melodex.analysis.keys.song.points import KINDS, NO_ROOT, SongBar
from melodex.analysis.keys.song.tonics import runs
from melodex.analysis.keys.spans import BarNumbers, KeySpan, merged, span_of
from melodex.melody import Key, Melody, pitch_class

__all__ = ["with_own_thirds"]

PLAIN = {"major": True, "minor": False}
NAMES = {third: mode for mode, third in PLAIN.items()}
FOURTH, SUSPENDED = 5, KINDS.index("suspended")
FEWEST_BARS = 4
"""Bars of a passage, and of the part of it whose third is another; our choice."""


def with_own_thirds(
    spans: Sequence[KeySpan],
    melody: Melody,
    placed: Sequence[tuple[int, Chord]],
    home: Key,
    numbers: BarNumbers,
) -> list[KeySpan]:
    """The spans, those in the parallel of the home key at home where their I is.

    Parameters
    ----------
    spans : sequence of KeySpan
        Of one stretch, in order.
    melody : Melody
        The stretch.
    placed : sequence of (int, Chord)
        Onsets in ticks and chords of the stretch, in order.
    home : Key
        In which the stretch is at home.
    numbers : BarNumbers
        Of the whole piece.
    """
    other = Key(home.tonic_fifths, "minor" if home.mode == "major" else "major")
    if home.mode not in PLAIN or all(span.key != other for span in spans):
        return list(spans)
    layout = layout_of(melody, placed)
    found: list[KeySpan] = []
    for span in spans:
        found += parts_of_span(span, layout, numbers) if span.key == other else [span]
    return merged(found)


def parts_of_span(span: KeySpan, layout: Layout, numbers: BarNumbers) -> Iterator[KeySpan]:
    """A span whole, or in parts where the third of its I changes."""
    first = layout.bar_at(span.onset_ticks)
    stop = layout.bar_at(span.end_ticks - 1) + 1
    if stop - first < FEWEST_BARS:
        yield span
        return
    own = PLAIN[span.mode]
    starts = [bar in layout.starts for bar in range(first, stop)]
    said = [0.0] * (stop - first)
    tonic = pitch_class(span.tonic_fifths)
    bars = without_applied(layout.bars[first:stop], tonic)
    thirds = thirds_of(bars, tonic, starts, said)
    parts = runs(thirds)
    if any(b - a < FEWEST_BARS for a, b in parts if thirds[a] != own):
        yield span
        return
    for a, b in parts:
        onset = layout.edges[first + a] if a else span.onset_ticks
        end = layout.edges[first + b] if b < len(thirds) else span.end_ticks
        key = replace(span.key, mode=NAMES[thirds[a]])
        yield span_of(numbers, onset, end, key, span.certainty, span.method)


def without_applied(bars: Sequence[SongBar], tonic: int) -> list[SongBar]:
    """Bars in which a major I that goes to a minor iv has no third: it is V of that."""
    found, following = [], (NO_ROOT, "")
    for bar in reversed(bars):
        chords = []
        for root, kind, share in reversed(bar.chords):
            here = (root, third_of(kind))
            applied = here == (tonic, "M") and following == ((tonic + FOURTH) % 12, "m")
            chords.append((root, SUSPENDED if applied else kind, share))
            # Another form of the same chord goes where that goes.
            following = following if here == (tonic, "M") and applied else here
        found.append(replace(bar, chords=tuple(reversed(chords))))
    return found[::-1]
