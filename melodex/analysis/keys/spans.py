"""Where the key turns: stretches of one key, how sure each is, how it is reached.

Conventions: spans follow one another without a gap, in ticks and in printed bars; a
change inside a bar counts for the bar it happens in. Printed changes of key always
part the piece. Under chords, keys come from the chords and the melody over them. A
melody alone seldom tells more than one key, so a turn is said only where several
notes leave the scale and the other key is likely for some bars. Names of keys reached
are common practice, no source.

Contents: KeySpan, key_spans, passage_words.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from statistics import median

from melodex.analysis.harmony.chords import Chord, parse_chords
from melodex.analysis.keys.overall import MINOR_MODES, KeyReading, global_key, share_in
from melodex.melody import MODES, TICKS_PER_QUARTER, Key, Melody

__all__ = ["KeySpan", "key_spans", "passage_words"]

FEWEST_CHORDS = 3
FEWEST_CELLS = 2
LEAST_CERTAIN_CHORDS = 0.55
LEAST_CERTAIN_LINE = 0.8
FEWEST_LINE_BARS = 4
FEWEST_FOREIGN_NOTES = 3
"""Thresholds for saying that a key turns: our choice, on the careful side."""
MODAL_SCALE_KEPT = 0.97
CERTAIN_HOME = 0.9
MELODY_IN_CELL = 1.0
"""The melody over a chord counts as one more chord note."""
LINE_IN_CELL = 4.0
"""A bar of a single line counts as the four notes of a chord."""


@dataclass(frozen=True, slots=True)
class KeySpan:
    """A stretch in one key.

    Parameters
    ----------
    first_bar, last_bar : int
        As printed.
    onset_ticks, end_ticks : int
        Where it starts, and where it ends.
    tonic_fifths : int
        On the line of fifths.
    mode : str
        A name in :data:`melodex.melody.MODES`.
    certainty : float
        Mean probability of the key over the stretch, 0 to 1.
    method : str
        ``melody``, ``chords``, ``melody and chords``, with ``signature`` or
        ``printed change`` where those took part.
    how : str
        How the key is reached, such as ``start`` or ``to the relative minor``.
    """

    first_bar: int
    last_bar: int
    onset_ticks: int
    end_ticks: int
    tonic_fifths: int
    mode: str
    certainty: float
    method: str
    how: str = "start"

    @property
    def key(self) -> Key:
        """Tonic and mode together."""
        return Key(self.tonic_fifths, self.mode)


@dataclass(frozen=True, slots=True)
class Cell:
    """A stretch that is judged as one: its place, its notes and its chord."""

    onset_ticks: int
    end_ticks: int
    weights: dict[int, float]
    chord: Chord | None = None


def key_spans(
    melody: Melody,
    *,
    chords: Sequence[Chord] | None = None,
    reading: KeyReading | None = None,
) -> tuple[KeySpan, ...]:
    """Say which keys a piece goes through.

    Parameters
    ----------
    melody : Melody
        May have chord symbols, printed keys, both or neither.
    chords : sequence of Chord, optional
        The melody's chord symbols, read, in their order; read here by default.
    reading : KeyReading, optional
        What :func:`global_key` said, if it was asked already.

    Returns
    -------
    tuple of KeySpan
        Empty where no key can be said.

    Raises
    ------
    ValueError
        If the chords are not as many as the melody's symbols.
    """
    read = list(parse_chords(s.text for s in melody.chords) if chords is None else chords)
    if len(read) != len(melody.chords):
        raise ValueError(f"{len(read)} chords for {len(melody.chords)} symbols")
    placed = [
        (symbol.onset_ticks, chord)
        for symbol, chord in zip(melody.chords, read, strict=True)
        if chord.sounds
    ]
    starts = printed_turns(melody)
    if len(starts) < 2:
        whole = reading or global_key(melody, chords=read)
        spans = stretch_spans(melody, placed, 0, melody.end_ticks, whole)
    else:
        spans = []
        for start, end in pairwise([*starts, max(melody.end_ticks, starts[-1] + 1)]):
            spans += printed_stretch(melody, placed, start, end)
    return described(merged(spans), placed)


def printed_turns(melody: Melody) -> list[int]:
    """Onsets at which another key is printed, the start included."""
    turns = [0]
    for before, after in pairwise(melody.keys):
        if (before.key, before.signature_fifths) != (after.key, after.signature_fifths):
            turns.append(after.onset_ticks)
    return turns


def printed_stretch(
    melody: Melody, placed: list[tuple[int, Chord]], start: int, end: int
) -> list[KeySpan]:
    """Spans between two printed changes of key."""
    inside = [i for i, onset in enumerate(melody.onset_ticks) if start <= onset < end]
    if not inside:
        return []
    here = [chord for onset, chord in placed if start <= onset < end]
    part = melody.excerpt(inside[0], inside[-1])
    change = melody.key_change_at(start)
    part = replace(part, keys=(change,) if change else (), chords=())
    found = global_key(part, chords=here)
    if found.key.mode == "none" and change is not None and change.key.mode != "none":
        found = KeyReading(change.key, 0.5, "printed change")
    spans = stretch_spans(
        part, [p for p in placed if start <= p[0] < end], start, end, found
    )
    return [replace(span, method=f"{span.method}, printed change") for span in spans]


def stretch_spans(
    melody: Melody,
    placed: list[tuple[int, Chord]],
    start: int,
    end: int,
    whole: KeyReading,
) -> list[KeySpan]:
    """Spans of a stretch under one printed key."""
    if whole.key.mode == "none":
        return []
    one = span_of(melody, start, end, whole.key, whole.certainty, whole.method)
    modal = whole.key.mode not in {"major", "minor"}
    if (
        modal
        and share_in(melody, whole.key) >= MODAL_SCALE_KEPT
        and not foreign(placed, whole.key)
    ):
        return [one]
    if is_blues(placed, whole.key):
        return [one]
    if whole.certainty >= CERTAIN_HOME and is_natural_minor(placed, whole.key):
        return [one]
    if len(placed) >= FEWEST_CHORDS:
        return spans_of_chords(melody, placed, start, end, whole)
    if foreign_notes(melody, whole.key) < FEWEST_FOREIGN_NOTES:
        return [one]
    return spans_of_line(melody, start, end, whole)


def foreign(placed: list[tuple[int, Chord]], key: Key) -> bool:
    """Whether more than a fifth of the chords leave the scale of a key."""
    low = key.tonic_fifths - 1 - MODES[key.mode]
    scale = set(range(low, low + 7))
    out = sum(not scale.issuperset(chord.note_fifths) for _, chord in placed)
    return 5 * out > len(placed)


def is_natural_minor(placed: list[tuple[int, Chord]], key: Key) -> bool:
    """Whether all chords are those of natural minor, and its relative is not at home.

    Such a key has no leading note, and the model by cells hardly knows it. The
    relative is at home where it has its dominant seventh, or where its tonic chord is
    more than a third as frequent as that of the minor.
    """
    low = key.tonic_fifths - 4
    scale = set(range(low, low + 7))
    roots = [chord.root_fifths for _, chord in placed]
    return (
        key.mode == "minor"
        and bool(roots)
        and 3 * roots.count(key.tonic_fifths - 3) <= roots.count(key.tonic_fifths)
        and all(
            chord.family != "dominant" and scale.issuperset(chord.note_fifths)
            for _, chord in placed
        )
    )


def foreign_notes(melody: Melody, key: Key) -> int:
    """How many notes leave the scale of a key, both forms of minor 6 and 7 counted."""
    low = key.tonic_fifths - 1 - MODES[key.mode]
    scale = set(range(low, low + 7))
    if key.mode in MINOR_MODES:
        scale |= {key.tonic_fifths + 3, key.tonic_fifths + 5}
    return sum(fifths not in scale for fifths in melody.fifths)


def spans_of_chords(
    melody: Melody,
    placed: list[tuple[int, Chord]],
    start: int,
    end: int,
    whole: KeyReading,
) -> list[KeySpan]:
    """Spans by the chords, each a cell with the melody over it."""
    from melodex.analysis.keys.local import CHORDS, chord_kind, local_keys_from_weights

    cells = chord_cells(melody, placed, start, end)
    usual = median(cell.end_ticks - cell.onset_ticks for cell in cells)
    found = local_keys_from_weights(
        [cell.weights for cell in cells],
        chords=[
            (cell.chord.root_fifths, chord_kind(cell.chord.degrees, cell.chord.family))
            if cell.chord
            else None
            for cell in cells
        ],
        # A chord held twice as long as usual says more, but not twice as much.
        counts=[math.sqrt((cell.end_ticks - cell.onset_ticks) / usual) for cell in cells],
        home=(
            whole.key.tonic_fifths,
            "minor" if whole.key.mode in MINOR_MODES else "major",
        ),
        setting=CHORDS,
    )
    keys = [(Key(local.tonic_fifths, local.mode), local.certainty) for local in found]
    method = "melody and chords" if melody.midi else "chords"
    if (
        len({key for key, _ in keys}) == 1
        and whole_mode(keys[0][0], whole.key) != whole.key
    ):
        # Nothing turns, so the question is that of the whole piece, and it is answered.
        keys = [(whole.key, whole.certainty)] * len(cells)
    return grouped(melody, cells, keys, whole, method, FEWEST_CELLS, LEAST_CERTAIN_CHORDS)


def is_blues(placed: list[tuple[int, Chord]], key: Key) -> bool:
    """Whether the tonic and the fourth mostly carry dominant sevenths, not leading on.

    Common practice, no source. Such a piece is in one key; the model by cells would
    hear the seventh of the tonic as leading to the fourth.
    """
    return all(
        mostly_sevenths([chord for _, chord in placed if chord.root_fifths == root])
        for root in (key.tonic_fifths, key.tonic_fifths - 1)
    )


def mostly_sevenths(chords: list[Chord]) -> bool:
    """Whether more than half of some chords are dominant sevenths."""
    return 2 * sum(chord.family == "dominant" for chord in chords) > len(chords)


def chord_cells(
    melody: Melody, placed: list[tuple[int, Chord]], start: int, end: int
) -> list[Cell]:
    """One cell for each chord that differs from the one before it."""
    changes = [placed[0]]
    for onset, chord in placed[1:]:
        if chord.text != changes[-1][1].text and onset > changes[-1][0]:
            changes.append((onset, chord))
    edges = [start, *(onset for onset, _ in changes[1:]), max(end, changes[-1][0] + 1)]
    lines = line_weights(melody, edges, MELODY_IN_CELL)
    cells = []
    for (_, chord), (onset, stop), weights in zip(
        changes, pairwise(edges), lines, strict=True
    ):
        for fifths in chord.note_fifths:
            weights[fifths] = weights.get(fifths, 0.0) + 1.0
        cells.append(Cell(onset, stop, weights, chord))
    return cells


def line_weights(melody: Melody, edges: list[int], total: float) -> list[dict[int, float]]:
    """Shares of the pitch classes that start between edges, of a given sum."""
    found: list[dict[int, float]] = [{} for _ in edges[1:]]
    for fifths, onset, ticks in zip(
        melody.fifths, melody.onset_ticks, melody.duration_ticks, strict=True
    ):
        cell = found[min(max(bisect_right(edges, onset) - 1, 0), len(found) - 1)]
        cell[fifths] = cell.get(fifths, 0.0) + ticks
    for cell in found:
        held = sum(cell.values())
        for fifths in cell:
            cell[fifths] *= total / held if held else 0.0
    return found


def spans_of_line(melody: Melody, start: int, end: int, whole: KeyReading) -> list[KeySpan]:
    """Spans by the melody alone, each bar a cell; mostly the one key of the whole."""
    from melodex.analysis.keys.local import LINE, local_keys_from_weights

    edges = [b.onset_ticks for b in melody.bars if start <= b.onset_ticks < end]
    if len(edges) < 2 * FEWEST_LINE_BARS:
        edges = list(range(start, end, 4 * TICKS_PER_QUARTER))
    edges = [start, *edges[1:], end]
    weights = line_weights(melody, edges, LINE_IN_CELL)
    found = local_keys_from_weights(weights, setting=LINE)
    cells = [
        Cell(on, off, w) for (on, off), w in zip(pairwise(edges), weights, strict=True)
    ]
    keys = [(Key(local.tonic_fifths, local.mode), local.certainty) for local in found]
    return grouped(
        melody, cells, keys, whole, "melody", FEWEST_LINE_BARS, LEAST_CERTAIN_LINE
    )


def grouped(
    melody: Melody,
    cells: list[Cell],
    keys: list[tuple[Key, float]],
    whole: KeyReading,
    method: str,
    fewest: int,
    least_certain: float,
) -> list[KeySpan]:
    """Runs of one key made spans; a run too short or too unsure joins what is around."""
    runs: list[tuple[int, int, Key, float]] = []
    for place, (key, certainty) in enumerate(keys):
        if runs and runs[-1][2] == key:
            first, _, _, total = runs[-1]
            runs[-1] = (first, place, key, total + certainty)
        else:
            runs.append((place, place, key, certainty))
    spans: list[KeySpan] = []
    for first, last, key, total in runs:
        size = last - first + 1
        certain = total / size
        coloured = whole_mode(key, whole.key)
        if coloured != whole.key and (size < fewest or certain < least_certain):
            coloured = spans[-1].key if spans else whole.key
        spans.append(
            span_of(
                melody,
                cells[first].onset_ticks,
                cells[last].end_ticks,
                coloured,
                certain,
                method,
            )
        )
    return merged(spans)


def whole_mode(key: Key, whole: Key) -> Key:
    """A key with the mode of the whole piece where it is the same tonic and third."""
    alike = (key.mode == "minor") == (whole.mode in MINOR_MODES)
    return whole if key.tonic_fifths == whole.tonic_fifths and alike else key


def span_of(
    melody: Melody, start: int, end: int, key: Key, certainty: float, method: str
) -> KeySpan:
    """A span with the printed bars that it lies in."""
    bars = melody.bars
    if bars:
        onsets = [bar.onset_ticks for bar in bars]
        first = bars[max(bisect_right(onsets, start) - 1, 0)].number
        last = bars[max(bisect_right(onsets, max(end - 1, start)) - 1, 0)].number
    else:
        first, last = (melody.bar[0], melody.bar[-1]) if melody.bar else (1, 1)
    return KeySpan(
        first, last, start, end, key.tonic_fifths, key.mode, round(certainty, 3), method
    )


def merged(spans: list[KeySpan]) -> list[KeySpan]:
    """Neighbours in one key made one, their certainty weighed by length."""
    kept: list[KeySpan] = []
    for span in spans:
        if kept and kept[-1].key == span.key:
            before = kept[-1]
            one, other = (
                before.end_ticks - before.onset_ticks,
                span.end_ticks - span.onset_ticks,
            )
            both = (before.certainty * one + span.certainty * other) / max(one + other, 1)
            kept[-1] = replace(
                before,
                last_bar=span.last_bar,
                end_ticks=span.end_ticks,
                certainty=round(both, 3),
            )
        else:
            kept.append(span)
    return kept


def described(spans: list[KeySpan], placed: list[tuple[int, Chord]]) -> tuple[KeySpan, ...]:
    """The spans with words on how each is reached."""
    told = spans[:1]
    for before, after in pairwise(spans):
        words = passage_words(before.key, after.key)
        words += by_what(before.key, after, placed)
        told.append(replace(after, how=words))
    return tuple(told)


STEPS = {
    1: "to the dominant",
    -1: "to the subdominant",
    2: "up a whole tone",
    -2: "down a whole tone",
    3: "down a minor third",
    -3: "up a minor third",
    4: "up a major third",
    -4: "down a major third",
    5: "down a semitone",
    -5: "up a semitone",
    6: "by a tritone",
    -6: "by a tritone",
    7: "up a chromatic semitone",
    -7: "down a chromatic semitone",
}


def passage_words(before: Key, after: Key) -> str:
    """Say in words how far one key is from the one before.

    Examples
    --------
    >>> passage_words(Key(0, "minor"), Key(-3, "major"))
    'to the relative major'
    >>> passage_words(Key(-1, "major"), Key(1, "major"))
    'up a whole tone'
    """
    step = after.tonic_fifths - before.tonic_fifths
    if step % 12 == 0 and step:
        return "to the same tonic, respelled"
    plain = {before.mode, after.mode} == {"major", "minor"}
    if step == 0:
        return f"to the parallel {after.mode}" if plain else f"to {after.mode}, same tonic"
    if plain and before.signature_fifths == after.signature_fifths:
        return f"to the relative {after.mode}"
    words = STEPS[step] if step in STEPS else f"{STEPS[(step + 5) % 12 - 5]}, respelled"
    return words if before.mode == after.mode else f"{words}, into {after.mode}"


def by_what(before: Key, span: KeySpan, placed: list[tuple[int, Chord]]) -> str:
    """Whether a chord of both keys stands at the turn; nothing where no chord does."""
    onsets = [onset for onset, _ in placed]
    at = bisect_right(onsets, span.onset_ticks) - 1
    if at < 1:
        return ""
    for _, chord in (placed[at], placed[at - 1]):
        if belongs(chord, before) and belongs(chord, span.key):
            return f", by a shared chord ({chord.text})"
    return ", direct"


def belongs(chord: Chord, key: Key) -> bool:
    """Whether a chord is diatonic in a key, the raised 7th of minor allowed."""
    low = key.tonic_fifths - 1 - MODES[key.mode]
    scale = set(range(low, low + 7))
    if key.mode == "minor" and key.tonic_fifths + 5 in chord.note_fifths:
        scale |= {key.tonic_fifths + 5}
        scale -= {key.tonic_fifths - 2}
    return scale.issuperset(chord.note_fifths)
