"""Letters of sections: one that returns has its letter again.

Conventions: a printed name stays as it is. A section without one is compared, bar by
bar, with those before it: alike enough it has the letter of the first that it is like,
a prime marks a varied return, and what is new takes the next letter that the piece has
not used. After Z come AA and BB, as on rehearsal marks (common practice, no source).
What stands before a printed A or a verse is the introduction.

Contents: labels.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import count

from melodex.analysis.form.bars import FormBar, likeness

__all__ = ["labels"]

SAME_SECTION, VARIED_SECTION = 0.85, 0.5
"""Mean likeness of bars from which a section returns, or returns varied; our choice. One
bar in eight may differ, as endings do."""
FIRST_BARS = 4
ROUNDING = 1e-9
"""More than sums of shares between 0 and 1 are off by."""
ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
INTRODUCTION = "Intro"
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
        label = name or returning(parts[place], parts[:place], found) or next(fresh)
        found.append(label)
    return found


def letters() -> Iterator[str]:
    """A to Z, then AA to ZZ, and so on."""
    return (letter * times for times in count(1) for letter in ALPHABET)


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
        value = max(value, VARIED_SECTION * opens_alike(earlier, part) + ROUNDING)
        if value > max(best, VARIED_SECTION):
            best, label = value, name.rstrip("'") + "'"
    return label


def alike(one: Sequence[FormBar], other: Sequence[FormBar]) -> float:
    """Mean likeness of the bars of two sections; what one has more counts as unlike."""
    pairs = zip(one, other, strict=False)
    return sum(likeness(a, b) for a, b in pairs) / max(len(one), len(other))


def opens_alike(one: Sequence[FormBar], other: Sequence[FormBar]) -> bool:
    """Whether two sections have the first four bars, or more, in common."""
    enough = min(len(one), len(other)) >= 2 * FIRST_BARS
    return enough and as_alike(one[:FIRST_BARS], other[:FIRST_BARS], SAME_SECTION)


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
