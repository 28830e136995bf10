"""What may be a chord symbol among the words on a sheet.

Conventions: this only tells a chord symbol from other words; what a symbol means is
told where chords are read. Words of performance (Fine, D.C., DC al Coda) are none,
also where their letters are names of notes. All is common practice, no source.

Contents: may_be_chord, is_signpost, LONGEST_CHORD_SYMBOL.
"""

from __future__ import annotations

import re

__all__ = ["LONGEST_CHORD_SYMBOL", "is_signpost", "may_be_chord"]

LONGEST_CHORD_SYMBOL = 40
"""Characters; the longest spelling met in print has about 20."""

SIGNPOST = re.compile(
    r"\(?(?:(?:to\s)?(?:segno|sign|coda)|fine|end|segue|da\s?capo(?:\sal.*)?"
    r"|dal\s?segno(?:\sal.*)?|d\.?\s?[cs]\.?(?:\s?al.*)?)[.)]*",
    re.IGNORECASE,
)
CHORD_SYMBOL = re.compile(
    r"[(\[]?(?:[A-H][#b♯♭=]*+|[a-g][#b♯♭]?(?=m(?!a)|dim))"
    r"(?=((?:m(?=add|aug|alt)|[(\s]?(?i:maj(?:or)?|min(?:or)?|dim(?:inished)?|aug(?:mented)?"
    r"|sus|add|omit|dom(?:inant)?|half-?\s?dim(?:inished)?|ma|mi|no(?=\s?\d))(?![h-z])"
    r"|alt\.?|(?<=\d)(?:rd|th)|\sbass|j(?=\d)"
    r"|[mMo]|[-−–+°º˚ø∅⌀^Δ∆△Ø]|\d|[#♯♭=]|[(),/; \[\]]"
    r"|[A-G](?!b?[ac-z])|[ac-g](?![a-z])|b)*))\1"
    r"|(?i:\(?\s?(?:n\.?\s?c\.?|no\schord)\s?\)?)",
)
"""What is looked ahead at and then repeated is tried in one way only, as a possessive
group would be; Python before 3.11.5 loses matches of those (gh-106052)."""


def may_be_chord(text: str) -> bool:
    """Whether a text has the form of a chord symbol.

    Examples
    --------
    >>> [may_be_chord(t) for t in ("DMaj7", "am7", "Fine", "DC", "D.C. al Fine")]
    [True, True, False, False, False]
    """
    if len(text) > LONGEST_CHORD_SYMBOL or is_signpost(text):
        return False
    return CHORD_SYMBOL.fullmatch(text) is not None


def is_signpost(text: str) -> bool:
    """Whether a text says where to go on or stop: Fine, D.C., To Coda.

    Examples
    --------
    >>> [is_signpost(t) for t in ("Fine", "DC", "Dal Segno al Coda", "D7")]
    [True, True, True, False]
    """
    return SIGNPOST.fullmatch(text) is not None
