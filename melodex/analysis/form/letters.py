"""Letters of sections and of phrases: what returns has its letter again.

Conventions: a printed name stays as it is. A section without one is compared, bar by
bar, with those before it: alike enough it has the letter of the first that it is like,
a prime marks a varied return, and what is new takes the next letter that the piece has
not used. After Z come AA and BB, as on rehearsal marks (common practice, no source).
What stands before a printed A or a verse is the introduction.

Phrases have small letters in the same way (common practice, no source). They are laid on
one another at their first bar lines and compared note for note, at the same pitch or
moved by steps of the scale.

Contents: labels, PhraseReturn, phrase_returns.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import count

from melodex.analysis.form.bars import FormBar, likeness
from melodex.analysis.form.figures import scale_steps
from melodex.analysis.form.phrases import PhraseSpan
from melodex.melody import Melody

__all__ = ["PhraseReturn", "labels", "phrase_returns"]

SAME_SECTION, VARIED_SECTION = 0.85, 0.5
"""Mean likeness of bars from which a section returns, or returns varied; our choice. One
bar in eight may differ, as endings do."""
OPENS_LIKE = 0.35
"""Mean likeness of first halves, below which a section is no return though it ends as
another does; our choice."""
FIRST_BARS, MOST_BEFORE = 4, 2
"""Bars by which a beginning is known, and bars before the tune of a piece that is not
parted from them begins. Our choice."""
ROUNDING = 1e-9
"""More than sums of shares between 0 and 1 are off by."""
ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
MOST_LOOKED_BACK = 500
"""Sections with which one is compared: more than any piece has, and few enough that a
file of many thousands takes no square of their number."""
INTRODUCTION = "Intro"
SAME_PHRASE, VARIED_PHRASE = 0.9, 0.55
"""Share of notes that two phrases have in common, from which one returns, or returns
varied; our choice."""
FEWEST_IN_COMMON = 4
MOST_COMPARED = 100
"""Letters that a phrase is compared with, the latest ones, so that twice as many phrases
take about twice the work."""
OPENING = ("verse", "chorus", "refrain", "head", "theme")


def labels(parts: Sequence[Sequence[FormBar]], names: Sequence[str]) -> list[str]:
    """Return the label of each section.

    Parameters
    ----------
    parts : sequence of sequence of FormBar
        The bars of each section.
    names : sequence of str
        What is printed over each; empty where nothing is.

    Returns
    -------
    list of str
        Printed names, or letters.
    """
    used = {name for name in names if name}
    fresh = (letter for letter in letters() if letter not in used)
    found: list[str] = []
    for place, name in enumerate(names):
        if not name and not place and introduces(used) and not returns(parts):
            name = INTRODUCTION
        near = slice(max(0, place - MOST_LOOKED_BACK), place)
        label = name or returning(parts[place], parts[near], found[near])
        if not label and place and comes_in_again(parts[0], parts[place]):
            label = found[0].rstrip("'") + "'"
        label = label or moved_return(parts, place, near, found) or next(fresh)
        found.append(label)
    return found


def letters(alphabet: str = ALPHABET) -> Iterator[str]:
    """A to Z, then AA to ZZ, and so on."""
    return (letter * times for times in count(1) for letter in alphabet)


def introduces(used: set[str]) -> bool:
    """Whether the names in a piece leave its first section no other than this."""
    return "A" in used or any(name.lower().startswith(OPENING) for name in used)


def returns(parts: Sequence[Sequence[FormBar]]) -> bool:
    """Whether the first section comes again later."""
    return any(as_alike(parts[0], part, VARIED_SECTION) for part in parts[1:])


def returning(
    part: Sequence[FormBar], before: Sequence[Sequence[FormBar]], found: Sequence[str]
) -> str:
    """The label of the earlier section that a section is most like; empty if of none."""
    best, label = 0.0, ""
    for earlier, name in zip(before, found, strict=True):
        value = alike(earlier, part)
        if value >= SAME_SECTION:
            return name
        if only_ends_alike(earlier, part):
            continue
        value = max(value, VARIED_SECTION * opens_alike(earlier, part) + ROUNDING)
        if value > max(best, VARIED_SECTION):
            best, label = value, name.rstrip("'") + "'"
    return label


def alike(one: Sequence[FormBar], other: Sequence[FormBar]) -> float:
    """Mean likeness of the bars of two sections; what one has more counts as unlike."""
    pairs = zip(one, other, strict=False)
    return sum(likeness(a, b) for a, b in pairs) / max(len(one), len(other))


def only_ends_alike(one: Sequence[FormBar], other: Sequence[FormBar]) -> bool:
    """Whether two sections rhyme: second halves that are one do not make a return."""
    half = min(len(one), len(other)) // 2
    return half > 0 and alike(one[:half], other[:half]) < OPENS_LIKE


def opens_alike(one: Sequence[FormBar], other: Sequence[FormBar]) -> bool:
    """Whether two sections have the first four bars, or more, in common."""
    enough = min(len(one), len(other)) >= 2 * FIRST_BARS
    return enough and as_alike(one[:FIRST_BARS], other[:FIRST_BARS], SAME_SECTION)


def comes_in_again(first: Sequence[FormBar], part: Sequence[FormBar]) -> bool:
    """Whether a section begins as the piece does, once its tune has come in.

    A bar or two of what accompanies it may stand before, in one section with it.
    """
    comes_in = any(bar.notes for bar in first[: MOST_BEFORE + FIRST_BARS])
    return comes_in and any(
        opens_alike(first[before:], part)
        for before in range(1, MOST_BEFORE + 1)
        if sum(len(bar.notes) for bar in first[:before]) <= before
    )


def moved_return(
    parts: Sequence[Sequence[FormBar]], place: int, near: slice, found: Sequence[str]
) -> str:
    """The label of the earlier section that a section is, moved to another key.

    So in a last verse that is lifted; its prime is left off where another return has it.
    Where the section comes back afterwards as it was, the moved one was a bridge, and has
    a letter of its own (common practice, no source).
    """
    part = parts[place]
    for earlier, name in zip(parts[near], found[near], strict=False):
        step = step_between(earlier[0], part[0])
        if not step or likeness(moved(earlier[0], step), part[0]) < VARIED_SECTION:
            continue
        higher = [moved(bar, step) for bar in earlier]
        later = parts[place + 1 : place + 1 + MOST_LOOKED_BACK]
        if as_alike(higher, part, SAME_SECTION) and not any(
            as_alike(earlier, other, SAME_SECTION) for other in later
        ):
            primed = name.rstrip("'") + "'"
            return name if primed in found and name != primed else primed
    return ""


def step_between(one: FormBar, other: FormBar) -> int:
    """Semitones from the first note of a bar to that of another, or from chord to chord."""
    if one.notes and other.notes:
        return other.notes[0][1] - one.notes[0][1]
    if one.chords and other.chords and not (one.notes or other.notes):
        return (min(other.chords)[1] - min(one.chords)[1]) % 12
    return 0


def moved(bar: FormBar, step: int) -> FormBar:
    """A bar some semitones higher."""
    return replace(
        bar,
        content=frozenset((offset, pitch + step) for offset, pitch in bar.content),
        chords=frozenset(
            (offset, (root + step) % 12 if root >= 0 else root, family)
            for offset, root, family in bar.chords
        ),
    )


def as_alike(one: Sequence[FormBar], other: Sequence[FormBar], least: float) -> bool:
    """Whether two sections are alike to a degree: :func:`alike` reaches it.

    Ends at the first bar that rules it out, so that the many sections that are nothing
    like another cost a bar or two each.
    """
    longer = max(len(one), len(other))
    total, missing = 0.0, float(abs(len(one) - len(other)))
    for a, b in zip(one, other, strict=False):
        value = likeness(a, b)
        total += value
        missing += 1 - value
        if missing > (1 - least) * longer + ROUNDING:
            return False
    return total / longer >= least


# Phrases


@dataclass(frozen=True, slots=True)
class PhraseReturn:
    """The letter of a phrase, and which phrase it brings back.

    Parameters
    ----------
    letter : str
        Small; a prime marks a varied return.
    of : int or None
        Index of the latest phrase before it with that letter and no prime.
    how : str
        ``new``, ``same``, ``varied`` or ``moved``: at the same pitch, altered, or by
        steps of the scale; against the first phrase of that letter.
    """

    letter: str
    of: int | None
    how: str


@dataclass(frozen=True, slots=True)
class LaidPhrase:
    """The notes of a phrase from its first bar line: times, pitches and scale steps."""

    pitches: Counter[tuple[int, int]]
    steps: tuple[tuple[int, int], ...]


def phrase_returns(melody: Melody, spans: Sequence[PhraseSpan]) -> tuple[PhraseReturn, ...]:
    """Say of each phrase whether it is new or brings an earlier one back.

    Parameters
    ----------
    melody : Melody
        The whole.
    spans : sequence of PhraseSpan
        Its phrases in order.

    Returns
    -------
    tuple of PhraseReturn
        One for each phrase.

    Examples
    --------
    >>> tune = Melody(
    ...     (60, 62, 64, 65) * 2, (0, 2, 4, -1) * 2, tuple(range(0, 32, 4)), (4,) * 8,
    ...     (1,) * 4 + (2,) * 4, (1.0,) * 8, (0,) * 4 + (1,) * 4,
    ... )
    >>> spans = [PhraseSpan(i, i + 3, 1, 1, 1.0, "marked") for i in (0, 4)]
    >>> [(r.letter, r.of, r.how) for r in phrase_returns(tune, spans)]
    [('a', None, 'new'), ('a', 0, 'same')]
    """
    steps, lines = scale_steps(melody), [bar.onset_ticks for bar in melody.bars]
    fresh = letters(ALPHABET.lower())
    founders: list[tuple[str, LaidPhrase]] = []
    latest: dict[str, int] = {}
    found = []
    for place, span in enumerate(spans):
        laid = laid_phrase(melody, steps, lines, span)
        letter, how = best_founder(founders[-MOST_COMPARED:], laid)
        if how == "new":
            letter = next(fresh)
            founders.append((letter, laid))
        prime = "" if how in {"new", "same"} else "'"
        found.append(PhraseReturn(letter + prime, latest.get(letter), how))
        if not prime:
            latest[letter] = place
    return tuple(found)


def laid_phrase(
    melody: Melody, steps: Sequence[int], lines: Sequence[int], span: PhraseSpan
) -> LaidPhrase:
    """A phrase with its times counted from the first bar line in it."""
    inside = range(span.first_note, span.last_note + 1)
    start, end = (melody.onset_ticks[n] for n in (span.first_note, span.last_note))
    after = bisect_left(lines, start)
    anchor = lines[after] if after < len(lines) and lines[after] <= end else start
    times = [melody.onset_ticks[note] - anchor for note in inside]
    return LaidPhrase(
        Counter(zip(times, (melody.midi[note] for note in inside), strict=True)),
        tuple(zip(times, (steps[note] for note in inside), strict=True)),
    )


def best_founder(
    founders: Sequence[tuple[str, LaidPhrase]], laid: LaidPhrase
) -> tuple[str, str]:
    """The letter that a phrase brings back and how; ``new`` where it brings none."""
    best, letter, how = 0.0, "", "new"
    for name, first in founders:
        share = in_common(first.pitches, laid.pitches)
        if share >= SAME_PHRASE:
            return name, "same"
        if share >= VARIED_PHRASE and share > best:
            best, letter, how = share, name, "varied"
        elif (share := moved_share(first, laid)) >= SAME_PHRASE and share > best:
            best, letter, how = share, name, "moved"
    return letter, how


def in_common(one: Counter[tuple[int, int]], other: Counter[tuple[int, int]]) -> float:
    """Share of the notes of two phrases that both have, at the same time and height."""
    shared = (one & other).total()
    if shared < min(FEWEST_IN_COMMON, one.total(), other.total()):
        return 0.0
    return 2 * shared / (one.total() + other.total())


def moved_share(one: LaidPhrase, other: LaidPhrase) -> float:
    """Share of notes in common where the second is moved so that the first notes agree."""
    by_time = dict(one.steps)
    apart = next((step - by_time[t] for t, step in other.steps if t in by_time), 0)
    if not apart:
        return 0.0
    moved = Counter((time, step - apart) for time, step in other.steps)
    return in_common(Counter(one.steps), moved)
