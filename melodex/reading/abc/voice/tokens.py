"""The tokens of a line of ABC music, as one regular expression.

Conventions: the quantifiers are possessive, and what may run over other signs is
bounded, so that no input makes the search go back or look far ahead: time is linear
in the length of the line. A token takes the blanks behind
it along. ``lastgroup`` names the kind of a token; a note is recognised by
``lastindex`` being :data:`NOTE_INDEX`.

References
----------
The ABC music standard 2.1 (December 2011), section 4, and 10 for the old spelling
of decorations and chords.

Contents: TOKEN, NOTE_INDEX, NOTE, BarSign, bar_sign, strip_comment.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

__all__ = ["NOTE", "NOTE_INDEX", "TOKEN", "BarSign", "bar_sign", "strip_comment"]

NOTE_INDEX = 4
"""Number of the group of :data:`TOKEN` that a note closes last."""

PITCHED = r"(\^\^?|__?|=)?([A-Ga-g][,']*+)"
LENGTH = r"([\d/]*+)"
ENDING = r"\d{1,3}(?:[,\-]\d{1,3}){0,50}"

TOKEN = re.compile(
    rf"(?:{PITCHED}{LENGTH}(-?)"
    rf"|(?P<bar>\.?(?::*+(?:\[?\|++\]?+){{1,50}}:*+|:{{2,}}+)(?:[ ]*+{ENDING})?)"
    r"|(?P<broken>>{1,3}+|<{1,3}+)"
    r"|(?P<rest>[zxZX][\d/]*+)"
    r"|(?P<tie>-)"
    r"|(?P<tuplet>\(\d{1,2}(?::\d{0,2}(?::\d{0,2})?)?)"
    r"|(?P<slur>\.?[()])"
    r'|(?P<quoted>"[^"]*+")'
    r"|(?P<grace>\{[^{}]*+\})"
    rf'|(?P<ending>\[[ ]*+(?:{ENDING}|"[^"]*+"))'
    r"|(?P<field>\[[A-Za-z]:[^\]]{0,500}+\])"
    r'|(?P<chord>\[(?:"[^"]*+"|![^!\]]*+!|[^\[\]"|!]++){0,200}\][\d/]*+-?)'
    r"|(?P<decoration>![^!|\[\]\s]*+!|\+[^+|\s]{0,80}+\+)"
    r"|(?P<letter>[H-WYh-w~.])"
    r"|(?P<spacer>y[\d/]*+)"
    r"|(?P<silent>[`$!]++|\\(?=\s*$))"
    r"|(?P<overlay>&++)"
    r"|(?P<micro>[\^_=]{1,4}+[\d/]*+[A-Ga-g][,']*+[\d/]*+-?)"
    r"|(?P<colon>:)"
    r"|(?P<space>\s++)"
    r"|(?P<junk>.)"
    r")[ \t`]*+",
    re.S,
)

# What is repeated in a group is bounded: of each time the engine remembers where it was,
# and possessive groups, which would not, lose matches before Python 3.11.5 (gh-106052).

NOTE = re.compile(rf"{PITCHED}{LENGTH}(-?)")
"""A note inside a chord or a group of grace notes."""


@dataclass(frozen=True, slots=True)
class BarSign:
    """What a bar line says: how it looks, and which repeats end and start there."""

    line: str
    ends_repeat: int
    starts_repeat: bool
    ending: str


@lru_cache(maxsize=1024)
def bar_sign(text: str) -> BarSign:
    """Read a bar line, liberally: any run of bars, brackets and colons (4.8).

    Examples
    --------
    >>> bar_sign("|:"), bar_sign("::").ends_repeat, bar_sign(":|2").ending
    (BarSign(line='', ends_repeat=0, starts_repeat=True, ending=''), 2, '2')
    """
    text = text.strip(" \t`.")
    signs = text.rstrip("0123456789,-").rstrip()
    ending = text[len(signs) :].strip()
    before = len(signs) - len(signs.lstrip(":"))
    after = len(signs) - len(signs.rstrip(":"))
    if before == len(signs):
        before = after = before // 2
    bars = signs.strip(":")
    line = ""
    if bars == "[|]":
        line = "none"
    elif "]" in bars or "[" in bars:
        line = "final"
    elif bars.count("|") > 1:
        line = "double"
    elif before and after:
        # A repeat that ends and one that starts share their line: |: :|
        line = ""
    return BarSign(line, before + 1 if before else 0, after > 0, ending)


COMMENT = re.compile(r"(?<!\\)%.*", re.S)


def strip_comment(line: str) -> str:
    """Remove a comment: a per cent sign without a backslash, and what follows."""
    return COMMENT.sub("", line) if "%" in line else line
