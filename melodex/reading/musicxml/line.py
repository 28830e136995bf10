"""The melody among the voices of a part: choosing it, and making it one line.

Conventions: the *top voice* is, among the voices of the first staff that have at least
half as many notes as the busiest of them, the one that lies highest on average. Of a
chord one note is kept, the top one unless told otherwise. Ties are merged where both
ends are written; a note that sounds into the next one of its voice ends there.

Contents: Line, choose_voice, single_line.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from itertools import groupby
from operator import attrgetter

from melodex.melody import Grace, Lyric, Tuplet
from melodex.reading.common.parts import Oddities, PartSheet, WrittenNote
from melodex.reading.musicxml.clock import ROUNDED_TICKS
from melodex.reading.result import Choice

__all__ = ["Line", "VoiceName", "choose_voice", "single_line", "voices_of"]

VoiceName = tuple[str, str]
Say = Callable[[WrittenNote, str], None]


@dataclass(slots=True)
class Line:
    """One note at a time, and what hangs on the notes."""

    notes: list[WrittenNote] = field(default_factory=list)
    graces: list[Grace] = field(default_factory=list)
    tuplets: list[Tuplet] = field(default_factory=list)
    lyrics: list[Lyric] = field(default_factory=list)


def choose_voice(
    sheet: PartSheet, wanted: str
) -> tuple[VoiceName, list[WrittenNote], list[str]] | None:
    """Return number and staff, and notes, of the chosen voice; the numbers of the others.

    Parameters
    ----------
    sheet : PartSheet
        A part with at least one sounding note.
    wanted : str
        Number of a voice; empty for the top voice.

    Returns
    -------
    tuple or None
        None if no voice with notes has that number.
    """
    voices = voices_of(sheet.notes)
    sounding = {
        name: [note for note in notes if note.midi >= 0 and not note.grace]
        for name, notes in voices.items()
    }
    sounding = {name: notes for name, notes in sounding.items() if notes}
    if wanted:
        named = [name for name in sounding if name[0] == wanted]
        if not named:
            return None
        chosen = named[0]
    else:
        chosen = top_voice(sounding)
    others = sorted({name[0] for name in sounding if name != chosen})
    return chosen, voices[chosen], others


def voices_of(notes: list[WrittenNote]) -> dict[VoiceName, list[WrittenNote]]:
    """Notes by voice; a number used on two staves at once stands for two voices."""
    by_number: dict[str, list[WrittenNote]] = {}
    for note in notes:
        by_number.setdefault(note.voice, []).append(note)
    voices: dict[VoiceName, list[WrittenNote]] = {}
    for number, members in by_number.items():
        if shared_between_staves(members):
            for note in members:
                voices.setdefault((number, note.staff), []).append(note)
        else:
            voices[number, members[0].staff] = members
    return voices


def shared_between_staves(notes: list[WrittenNote]) -> bool:
    """Whether notes of one voice number start together on different staves."""
    if len({note.staff for note in notes}) < 2:
        return False
    starts: dict[int, str] = {}
    return any(
        starts.setdefault(note.onset_ticks, note.staff) != note.staff
        for note in notes
        if not note.grace and not note.in_chord
    )


def top_voice(sounding: dict[VoiceName, list[WrittenNote]]) -> VoiceName:
    """The highest of the busy voices on the first staff."""
    first_staff = min(name[1] for name in sounding)
    there = {name: notes for name, notes in sounding.items() if name[1] == first_staff}
    busiest = max(map(len, there.values()))
    busy = [name for name, notes in there.items() if 2 * len(notes) >= busiest]
    return max(busy, key=lambda name: mean_height(there[name]))


def mean_height(notes: list[WrittenNote]) -> float:
    """Average pitch in semitones."""
    return sum(note.midi for note in notes) / len(notes)


def single_line(
    notes: list[WrittenNote], sheet: PartSheet, choice: Choice, oddities: Oddities
) -> Line:
    """Make one line of a voice: one note of each chord, ties merged, no overlap.

    Parameters
    ----------
    notes : list of WrittenNote
        The voice in written order, rests and grace notes included.
    sheet : PartSheet
        The part, for the numbers of its bars and the other ends of ties.
    choice : Choice
        Which note of a chord is kept.
    oddities : Oddities
        Where to say what was mended.
    """

    def odd(note: WrittenNote, what: str) -> None:
        oddities.note(what, sheet.bars[note.measure].number)

    written, graces = without_chords(notes, choice.chord_note, odd)
    line = Line()
    index_of: dict[int, int] = {}
    stops = {(n.onset_ticks, n.midi) for n in sheet.notes if n.tie_stop}
    for note in written:
        if note.midi < 0:
            continue
        add_note(line, note, odd)
        index_of[id(note)] = len(line.notes) - 1
    # A tie that leads nowhere shows only when the line has come to its end.
    for note in line.notes:
        end = (note.onset_ticks + note.duration_ticks, note.midi)
        if note.tie_start and end not in stops:
            odd(note, "a tie has no second note")
    hang_graces(line, graces)
    line.tuplets = tuplets_of(written, index_of)
    return line


def without_chords(
    notes: list[WrittenNote], kept: str, odd: Say
) -> tuple[list[WrittenNote], list[WrittenNote]]:
    """One note for each onset, and the grace notes that stand before each onset."""
    timed = [note for note in notes if not note.grace]
    graces = [note for note in notes if note.grace and not note.in_chord]
    timed.sort(key=attrgetter("onset_ticks"))
    written = []
    for _, together in groupby(timed, key=attrgetter("onset_ticks")):
        group = list(together)
        if len(group) == 1:
            written += group
            continue
        pitched = [note for note in group if note.midi >= 0]
        if len(pitched) > 1:
            odd(pitched[0], f"of a chord only the {kept} note is read")
        pick = min if kept == "bottom" else max
        written.append(pick(pitched, key=lambda note: note.midi) if pitched else group[0])
        share_signs(written[-1], group)
    return written, graces


def share_signs(note: WrittenNote, group: list[WrittenNote]) -> None:
    """Signs that stand at the first note of a chord belong to whichever is kept."""
    note.tuplet_start |= any(other.tuplet_start for other in group)
    note.tuplet_stop |= any(other.tuplet_stop for other in group)
    note.held |= any(other.held for other in group)
    note.phrase_end |= any(other.phrase_end for other in group)
    if not note.lyrics:
        note.lyrics = next((other.lyrics for other in group if other.lyrics), ())


def add_note(line: Line, note: WrittenNote, odd: Say) -> None:
    """Append a note, or lengthen the last one where a tie leads to it."""
    if line.notes:
        last = line.notes[-1]
        end = last.onset_ticks + last.duration_ticks
        tied = note.tie_stop and last.tie_start and last.midi == note.midi
        if tied and end == note.onset_ticks:
            last.duration_ticks += note.duration_ticks
            last.tie_start = note.tie_start
            last.held |= note.held
            last.phrase_end |= note.phrase_end
            return
        if end > note.onset_ticks:
            last.duration_ticks = note.onset_ticks - last.onset_ticks
            odd(last, "a note that sounds into the next one is cut short")
        elif 0 < note.onset_ticks - end < ROUNDED_TICKS:
            # No rest is so short: another program rounded.
            last.duration_ticks = note.onset_ticks - last.onset_ticks
    line.notes.append(note)
    index = len(line.notes) - 1
    line.lyrics += [Lyric(index, text, verse) for verse, text in note.lyrics]


def hang_graces(line: Line, graces: list[WrittenNote]) -> None:
    """Give each grace note the index of the sounding note that it stands before."""
    index = 0
    for grace in sorted(graces, key=lambda note: note.onset_ticks):
        while index < len(line.notes) and line.notes[index].onset_ticks < grace.onset_ticks:
            index += 1
        if index < len(line.notes):
            line.graces.append(Grace(index, grace.midi, grace.fifths, grace.slashed))


def tuplets_of(written: list[WrittenNote], index_of: dict[int, int]) -> list[Tuplet]:
    """Group the notes and rests that are modified in the same ratio."""
    tuplets: list[Tuplet] = []
    group: list[WrittenNote] = []
    for note in written:
        if group and (not continues(group, note) or is_complete(group)):
            close(group, index_of, tuplets)
            group = []
        if note.ratio:
            group.append(note)
    close(group, index_of, tuplets)
    return tuplets


def continues(group: list[WrittenNote], note: WrittenNote) -> bool:
    """Whether a note goes on with an open tuplet."""
    last = group[-1]
    return (
        note.ratio == last.ratio
        and not note.tuplet_start
        and note.onset_ticks <= last.onset_ticks + last.duration_ticks + 1
    )


def is_complete(group: list[WrittenNote]) -> bool:
    """Whether a tuplet ends here: it says so, or it fills its normal time."""
    if group[-1].tuplet_stop:
        return True
    if group[0].tuplet_start:
        return False
    total = sum(note.duration_ticks for note in group)
    shortest = min(note.duration_ticks for note in group)
    actual = (group[0].ratio or (1, 1))[0]
    # As many of the shortest note as the figure says; rounding takes a tick or two.
    return total >= (shortest - 1) * actual


def close(
    group: list[WrittenNote], index_of: dict[int, int], tuplets: list[Tuplet]
) -> None:
    """Add a finished tuplet, unless only rests are in it."""
    inside = [index_of[id(note)] for note in group if id(note) in index_of]
    if not inside:
        return
    actual, normal = group[0].ratio or (1, 1)
    start = group[0].onset_ticks
    end = group[-1].onset_ticks + group[-1].duration_ticks
    tuplets.append(Tuplet(inside[0], inside[-1], actual, normal, start, end - start))
