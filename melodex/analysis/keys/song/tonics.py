"""Key centres of a piece with chord symbols.

Conventions: the tonic of each bar is the likeliest one given all bars; its mode is read
afterwards, and its spelling from what is written. Leaving a tonic is cheap where another
key is printed, dearer where a section begins, dearer still in the middle of one; what is
printed counts once where it is printed. The costs were tuned on the charts that
``weights`` names, in folds of songs.

Contents: SongKeys, song_spans, runs.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from melodex.analysis.eights import EIGHT
from melodex.analysis.keys.song.centres import with_centres
from melodex.analysis.keys.song.chain import tonic_probabilities
from melodex.analysis.keys.song.confirmed import confirmed_points, part_numbers
from melodex.analysis.keys.song.far import with_far_sections
from melodex.analysis.keys.song.idioms import PHRYGIAN, fifth_as_tonic, idiom_at_home
from melodex.analysis.keys.song.layout import Layout, layout_of
from melodex.analysis.keys.song.mode import (
    held_in,
    scale_mode,
    third_of_mode,
    thirds_of,
)
from melodex.analysis.keys.song.points import chord_points, melody_points, signature_points
from melodex.analysis.keys.song.relatives import relative_points
from melodex.analysis.keys.song.returns import SETTLED, returning_points
from melodex.analysis.keys.song.strains import with_own_strains, with_sections_before_a_lift
from melodex.analysis.keys.song.vamps import (
    with_lydian_pedals,
    with_suspended_chords,
    with_vamps,
)
from melodex.analysis.keys.spans import BarNumbers, KeySpan, merged, span_of
from melodex.melody import MODES, Key, KeyChange, Melody, pitch_class

if TYPE_CHECKING:
    from numpy import ndarray

    from melodex.analysis.harmony.chords import Chord

__all__ = ["SongKeys", "runs", "song_spans"]

LEAVE, LEAVE_FOUR, LEAVE_EIGHT = 13.0, 11.0, 10.0
"""What leaving a tonic costs inside a section, and at every fourth and eighth bar."""
LEAVE_SECTION, LEAVE_LINE, LEAVE_PRINTED = 7.5, 8.5, 1.0
"""The same at a printed mark, at a double line or repeat, and at a printed change."""
UNMARKED = 0.85
"""Where no section is marked a turn may come anywhere: leaving costs so much of that."""
UNPRINTED = 2.0
"""What leaving costs beyond that in a piece that prints its changes of key."""
KEPT, KEPT_WITHOUT_SIGNS = 0.97, 0.8
"""How likely a piece keeps to its signature; none may be what was never set."""
STATED_POINTS, STATED_MAJOR_POINTS = 8.0, 0.7
"""What a printed mode speaks for its tonic. Our choice: many programs write major where
nobody has chosen it."""
LAST_NOTE = (0.5, 0.01, 0.08, 0.05, 0.1, 0.03, 0.01, 0.14, 0.01, 0.05, 0.02, 0.02)
LAST_NOTE_WEIGHT = 0.6
"""How often a melody ends on each degree, and what that counts; our choice."""
RETURNS_ASKED = 2
"""First sections that are moved, then those that come back after them."""
OTHERS = 3
FOREIGN_SIGNS = 2
"""A key that is so many signs away from the printed signature leaves it aside."""
MELODY_WAS_HEARD = 4
"""Notes from which a melody is taken to have been written down, not only its chords."""


@dataclass(frozen=True, slots=True)
class SongKeys:
    """Key centres of a song, other keys that it might be in, and what else to say."""

    spans: tuple[KeySpan, ...]
    others: tuple[tuple[Key, float], ...]
    remark: str
    idiom: str


def song_spans(
    melody: Melody, placed: Sequence[tuple[int, Chord]], use_signature: bool = True
) -> SongKeys:
    """Say which keys a piece with chord symbols goes through.

    Parameters
    ----------
    melody : Melody
        The piece; it may have no notes.
    placed : sequence of (int, Chord)
        Onsets and chords, at least one of which sounds.
    use_signature : bool
        Whether what is printed counts.
    """
    import numpy as np

    layout = layout_of(melody, placed)
    points = chord_points(layout.bars) + melody_points(layout.bars)
    points += confirmed_points(layout)
    by_part = chord_points(layout.bars, part_numbers(layout))
    if melody.midi:
        points[-1] += last_note_points(melody.midi[-1])
    printed = layout.printed if use_signature else {}
    for bar, change in printed.items():
        points[bar] += printed_points(change)
    costs = leaving_costs(layout, printed)
    chances = tonic_probabilities(points, costs)
    for _ in range(RETURNS_ASKED):
        again = returning_points(layout, chances.argmax(1).tolist(), by_part, printed)
        if not again.any():
            break
        points += again
        chances = tonic_probabilities(points, costs)
    settled = chances.argmax(1).tolist()
    beside = relative_points(layout, settled, printed)
    if (fifth := fifth_as_tonic(layout, settled)) is not None:
        beside[fifth[1], fifth[0]] += SETTLED
    if beside.any():
        chances = tonic_probabilities(points + beside, costs)
    if len(printed) <= 1:
        # Several printed keys say for themselves where keys change.
        chances = with_unprinted(layout, chances, placed)
    speller = Speller(melody, layout, placed)
    numbers = BarNumbers(melody)
    spans: list[KeySpan] = []
    tonics = chances.argmax(1).tolist()
    held = held_keys(printed, len(tonics))
    for first, stop in runs(tonics):
        certain = float(chances[first:stop, tonics[first]].mean())
        run = (tonics[first], first, stop)
        # A dorian tune that is moved stays one where no sixth is heard.
        dorian = "dorian" if spans and spans[-1].mode == "dorian" else ""
        for key, a, b in keys_of_run(layout, printed, held, speller, run, dorian):
            start, end = layout.edges[a], layout.edges[b]
            spans.append(span_of(numbers, start, end, key, certain, ""))
    idiom = idiom_at_home(layout.bars, tonics)
    remark = "" if idiom in PHRYGIAN else remark_of(spans, printed)
    method = method_of(melody, bool(printed) and not remark)
    kept = [replace(span, method=method) for span in merged(spans)]
    whole = chances.mean(0)
    others = other_keys(layout, speller, whole, np.argsort(-whole).tolist())
    return SongKeys(tuple(kept), others, remark, idiom)


def with_unprinted(
    layout: Layout, chances: ndarray, placed: Sequence[tuple[int, Chord]]
) -> ndarray:
    """The chances of each tonic with those of passages that are in keys of their own."""
    chances = with_far_sections(layout, chances)
    chances = with_own_strains(layout, chances)
    chances = with_sections_before_a_lift(layout, chances)
    chances = with_centres(layout, chances)
    chances = with_vamps(layout, chances)
    chances = with_suspended_chords(layout, chances, placed)
    return with_lydian_pedals(layout, chances, placed)


def last_note_points(midi: int) -> ndarray:
    """Points of each tonic by the last note of the melody."""
    import numpy as np

    logs = LAST_NOTE_WEIGHT * np.log(np.array(LAST_NOTE))
    return np.array([logs[(midi - tonic) % 12] for tonic in range(12)])


def printed_points(change: KeyChange) -> ndarray:
    """Points of each tonic by a printed key."""
    import numpy as np

    if change.key.mode == "none" and change.signature_fifths == 0:
        return np.zeros(12)
    kept = KEPT if change.signature_fifths else KEPT_WITHOUT_SIGNS
    points = signature_points(change.signature_fifths, kept)
    if change.stated and change.key.mode != "none":
        major = change.key.mode in {"major", "ionian"}
        more = STATED_MAJOR_POINTS if major else STATED_POINTS
        points[pitch_class(change.key.tonic_fifths)] += more
    return points


def leaving_costs(layout: Layout, printed: dict[int, KeyChange]) -> list[float]:
    """What leaving a tonic costs as each bar begins."""
    costs, since = [], layout.first
    dearer = UNPRINTED * (len(printed) > 1)
    for bar in range(len(layout.bars)):
        if bar in layout.starts:
            since = bar
        if bar in printed:
            costs.append(LEAVE_PRINTED)
        elif bar in layout.starts:
            costs.append(dearer + (LEAVE_SECTION if layout.marked else LEAVE_LINE))
        else:
            inside = bar - since
            plain = LEAVE if inside % 4 else LEAVE_FOUR if inside % 8 else LEAVE_EIGHT
            costs.append(dearer + plain * (1 if layout.marked else UNMARKED))
    return costs


def runs(values: Sequence[int | bool]) -> list[tuple[int, int]]:
    """First index and end of each run of equal values."""
    starts = [i for i in range(len(values)) if not i or values[i] != values[i - 1]]
    return list(zip(starts, [*starts[1:], len(values)], strict=True))


def keys_of_run(
    layout: Layout,
    printed: dict[int, KeyChange],
    held: Sequence[KeyChange | None],
    speller: Speller,
    run: tuple[int, int, int],
    mode_before: str,
) -> list[tuple[Key, int, int]]:
    """The keys on one tonic: its third may change from section to section, or from eight
    to eight where none is marked.
    """
    tonic, first, stop = run
    bars = layout.bars[first:stop]
    starts = [
        bar in layout.starts or not (layout.marked or (bar - layout.first) % EIGHT)
        for bar in range(first, stop)
    ]
    said = [printed_third(printed.get(bar), tonic) for bar in range(first, stop)]
    if first not in printed:
        said[0] = printed_third(held[first], tonic) / 2
    thirds = thirds_of(bars, tonic, starts, said)
    fifths = speller.spelled(tonic, first, stop)
    found = []
    for a, b in runs(thirds):
        mode = printed_mode(held[first + a], fifths)
        signed = signed_mode(held[first + a], fifths) or mode_before
        mode_before = ""
        named = scale_mode(held_in(bars[a:b]), tonic, thirds[a], mode, signed)
        found.append((Key(fifths, named), first + a, first + b))
    return found


def held_keys(printed: dict[int, KeyChange], count: int) -> list[KeyChange | None]:
    """The printed key that holds in each bar."""
    held, found = None, []
    for bar in range(count):
        held = printed.get(bar, held)
        found.append(held)
    return found


def printed_third(change: KeyChange | None, tonic: int) -> float:
    """1 or -1 for the third that a printed key has on a tonic, 0 where it has none."""
    if change is None or (change.key.mode == "none" and not change.signature_fifths):
        return 0.0
    if change.stated and pitch_class(change.key.tonic_fifths) == tonic:
        return float(third_of_mode(change.key.mode))
    above = (tonic - pitch_class(change.signature_fifths)) % 12
    return {0: 1.0, 7: 0.5, 2: -1.0, 9: -1.0, 4: -0.5}.get(above, 0.0)


def printed_mode(change: KeyChange | None, tonic_fifths: int) -> str:
    """The mode that is printed for a tonic, empty where none is."""
    if change is None or not change.stated or change.key.tonic_fifths != tonic_fifths:
        return ""
    return change.key.mode if change.key.mode in MODES else ""


def signed_mode(change: KeyChange | None, tonic_fifths: int) -> str:
    """Dorian or mixolydian, where that is what a printed signature makes of a tonic."""
    if change is None or change.key.mode == "none":
        return ""
    steps = tonic_fifths - change.signature_fifths
    return next((mode for mode in ("dorian", "mixolydian") if MODES[mode] == steps), "")


class Speller:
    """Spells a tonic as the chords and notes around it are spelled."""

    def __init__(
        self, melody: Melody, layout: Layout, placed: Sequence[tuple[int, Chord]]
    ) -> None:
        self.roots: list[Counter[int]] = [Counter() for _ in layout.bars]
        for onset, chord in placed:
            if chord.sounds:
                self.roots[layout.bar_at(onset)][chord.root_fifths] += 4
        for onset, fifths in zip(melody.onset_ticks, melody.fifths, strict=True):
            self.roots[layout.bar_at(onset)][fifths] += 1
        self.whole: Counter[int] = Counter()
        for held in self.roots:
            self.whole.update(held)

    def spelled(self, tonic: int, first: int, stop: int) -> int:
        """A tonic on the line of fifths, as in some bars or elsewhere; else near theirs."""
        held: Counter[int] = Counter()
        for bar in range(first, stop):
            held.update(self.roots[bar])
        if not held:
            return (tonic * 7 + 5) % 12 - 5
        middle = sum(f * n for f, n in held.items()) / held.total() - 1
        places = [f for f in range(-14, 18) if pitch_class(f) == tonic]
        return max(places, key=lambda f: (held[f], self.whole[f], -abs(f - middle)))


def method_of(melody: Melody, signed: bool) -> str:
    """What a reading was drawn from."""
    notes = len(melody) >= MELODY_WAS_HEARD
    if signed:
        return "melody, chords and signature" if notes else "chords and signature"
    return "melody and chords" if notes else "chords"


def other_keys(
    layout: Layout, speller: Speller, whole: ndarray, tonics: Sequence[int]
) -> tuple[tuple[Key, float], ...]:
    """The next likeliest keys of the whole with their probabilities."""
    found = []
    count, sounding = len(layout.bars), held_in(layout.bars)
    for tonic in tonics[1 : 1 + OTHERS]:
        thirds = thirds_of(layout.bars, tonic, [False] * count, [0.0] * count)
        major = 2 * sum(thirds) >= count
        key = Key(speller.spelled(tonic, 0, count), scale_mode(sounding, tonic, major))
        found.append((key, float(whole[tonic])))
    return tuple(found)


def remark_of(spans: Sequence[KeySpan], printed: dict[int, KeyChange]) -> str:
    """What is to be said of what is printed and not followed."""
    if not printed or not spans:
        return ""
    first = printed[min(printed)]
    if not first.signature_fifths and first.key.mode == "none":
        return ""
    parted = abs(spans[0].key.signature_fifths - first.signature_fifths)
    return (
        "the chords do not keep to the printed signature, which was left aside"
        if parted >= FOREIGN_SIGNS
        else ""
    )
