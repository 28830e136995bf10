"""What lines do, in sentences.

Conventions: lines go by their names, notes by theirs without octaves.

Contents: line_sentence, joint_sentence, told_lines.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from itertools import pairwise

from melodex.analysis.texture import line_finds
from melodex.analysis.texture.bars import Joint, bar_textures, joints
from melodex.analysis.texture.lines import LineFind
from melodex.melody import (
    TICKS_PER_QUARTER,
    Melody,
    Metre,
    WorkedLine,
    pitch_class,
    pitch_class_name,
)
from melodex.melody.texture import Texture

__all__ = ["bars_at", "joint_sentence", "line_sentence", "told_lines"]


def told_lines(texture: Texture, melody: Melody) -> tuple[WorkedLine, ...]:
    """What the lines of a piece do, as it is kept with the tune.

    Parameters
    ----------
    texture : Texture
        All its notes.
    melody : Melody
        The tune among them, with bars and chords.
    """
    if not melody.bars:
        return ()
    found = line_finds(texture, melody)
    told = [
        WorkedLine(each.kind, *bars_at(melody, each), line_sentence(each, melody))
        for each in found
    ]
    bars = bar_textures(texture, melody, found)
    told += [
        WorkedLine("a voice joins", joint.bar, joint.bar, joint_sentence(joint))
        for joint in joints(bars, texture, melody)
    ]
    return tuple(told)


def bars_at(melody: Melody, find: LineFind) -> tuple[int, int]:
    """First and last bar of something that a line does."""
    starts = [bar.onset_ticks for bar in melody.bars]
    places = (find.onset_ticks, find.end_ticks - 1)
    first, last = (max(bisect_right(starts, place) - 1, 0) for place in places)
    return melody.bars[first].number, melody.bars[last].number


def joint_sentence(joint: Joint) -> str:
    """Which line joins."""
    return f"{joint.line} joins the tune, which was alone"


def line_sentence(find: LineFind, melody: Melody) -> str:
    """What a line does beside the tune, or with another line."""
    names = " ".join(pitch_class_name(note) for note in find.notes)
    if find.kind == "pedal":
        return f"{find.line} stays on {names} while the chords move"
    if find.kind == "line by step":
        falls = find.below
        steps = find.notes[0], find.notes[-1]
        way = "by half steps" if is_chromatic(find.notes) else "by step"
        goes = "goes down" if falls else "goes up"
        first, last = map(pitch_class_name, steps)
        return f"{find.line} {goes} {way} from {first} to {last}: {names}"
    if find.kind in WOVEN:
        return WOVEN[find.kind](find, names, melody)
    apart = find.interval
    if find.kind == "doubling":
        if apart == "unison":
            return f"{find.line} doubles {find.other} in unison"
        where = "below" if find.below else "above"
        if "octave" in apart:
            return f"{find.line} doubles {find.other}, {article(apart)} {where}"
        return f"{find.line} goes with {find.other} in {apart}s {where}"
    later = after_words(find.after_ticks, melody.metre_at(find.onset_ticks))
    place = f"{article(apart)} {'below' if find.below else 'above'}"
    place = "at the same pitch" if apart == "unison" else place
    place += ", a tonal answer" if find.tonal else ""
    return f"{find.line} takes up {find.count} notes of {find.other} {later} later, {place}"


def chain_words(find: LineFind, names: str, _: Melody) -> str:
    """Suspensions that follow from one another."""
    return f"{find.line} has {find.count} suspensions in a chain, down by step: {names}"


def exchange_words(find: LineFind, names: str, _: Melody) -> str:
    """Two lines that exchange notes."""
    return f"{find.line} and {find.other} exchange {' and '.join(names.split())}"


def ostinato_words(find: LineFind, _: str, melody: Melody) -> str:
    """A figure that comes over and over."""
    bars = sum(
        find.onset_ticks <= bar.onset_ticks < find.onset_ticks + find.after_ticks
        for bar in melody.bars
    )
    return (
        f"{find.line} plays its figure of {counted_words(bars, 'bar')} {find.count} times"
    )


def suspension_words(find: LineFind, names: str, _: Melody) -> str:
    """One note that is held over."""
    held, resolved = names.split()
    figure = f" ({find.interval})" if find.interval else ""
    return f"{find.line} holds {held} over a change and goes down to {resolved}{figure}"


WOVEN: dict[str, Callable[[LineFind, str, Melody], str]] = {
    "suspension": suspension_words,
    "chained suspensions": chain_words,
    "voice exchange": exchange_words,
    "ostinato": ostinato_words,
}
"""What is said of kinds that ``weaving`` finds."""


def article(interval: str) -> str:
    """An interval with its article, such as ``an octave``; several octaves without."""
    if interval.endswith("s"):
        return interval
    return f"{'an' if interval[0] == 'o' else 'a'} {interval}"


def is_chromatic(notes: Sequence[int]) -> bool:
    """Whether notes lie half steps apart."""
    return all(pitch_class(b - a) in {1, 11} for a, b in pairwise(notes))


def after_words(ticks: int, metre: Metre | None) -> str:
    """A distance in time: bars where it is whole bars, else beats or quarters."""
    if metre and ticks % metre.bar_ticks == 0:
        return counted_words(ticks // metre.bar_ticks, "bar")
    beat = metre.beat_ticks if metre else TICKS_PER_QUARTER
    if ticks % beat == 0:
        return counted_words(ticks // beat, "beat")
    return f"{ticks / beat:.3g} beats"


def counted_words(number: int, word: str) -> str:
    """A number of things, such as ``2 bars``."""
    return f"{number} {word}{'' if number == 1 else 's'}"
