"""Text for a terminal: matches and comparisons as aligned columns.

Conventions: every line fits the width that is asked for; what is too long is broken
into systems, as on a page of music. Signs for flats, sharps and relations are
Unicode where the terminal can show them, plain ASCII where it cannot. Colour is an
addition: each relation has a mark of its own.

Contents: Style, style_for, as_text, columns, resemblance_text, comparison_text.
"""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Iterable, Sequence
from typing import TextIO

from melodex.errors import PresentationError
from melodex.melody import Melody, degree_name, note_name
from melodex.presentation.text_corpus import shown
from melodex.records import dataclass
from melodex.tasks.compare import (
    ALONE,
    DIFFERENT,
    INFLECTED,
    OTHER_RHYTHM,
    OTHER_WAY,
    SAME,
    SAME_IN_TIME,
    SAME_WAY,
    Comparison,
    Likeness,
    Pair,
    interval_text,
)
from melodex.tasks.resemble import Match, Resemblance

__all__ = [
    "Style",
    "as_text",
    "columns",
    "comparison_text",
    "resemblance_text",
    "style_for",
]

MARKS = {
    SAME_IN_TIME: ("●", "o"),
    SAME: ("●", "o"),
    OTHER_RHYTHM: ("◌", ":"),
    INFLECTED: ("◇", "~"),
    DIFFERENT: ("×", "x"),
    ALONE: ("–", "-"),
    SAME_WAY: ("●", "o"),
    OTHER_WAY: ("×", "x"),
}
MEANINGS = {
    SAME_IN_TIME: "same degree and time",
    OTHER_RHYTHM: "same degree, other rhythm",
    INFLECTED: "other inflection",
    DIFFERENT: "different",
    ALONE: "no partner",
    SAME_WAY: SAME_WAY,
    OTHER_WAY: OTHER_WAY,
}
PAINTS = {
    SAME_IN_TIME: "32",
    SAME: "32",
    OTHER_RHYTHM: "36",
    INFLECTED: "33",
    DIFFERENT: "31",
    SAME_WAY: "32",
    OTHER_WAY: "31",
}
NARROWEST, WIDEST = 40, 120
ACCIDENTAL = (
    r"(?<=\b[A-G])[b#](?![a-z])"
    r"|(?<=\b[A-G])[b#](?=(?:m|maj|min|dim|aug|sus|add|alt)(?![a-z]))"
    r"|\bb(?=[IViv1-79])|#(?=[IViv\d])"
    r"|(?:(?<=[A-GIVivmj]\d)|(?<=[A-G]b\d)|(?<=[A-GIVivmj]1[13]))b(?=(?:5|6|9|13)\b)"
)
"""Signs in names of notes, chords, numerals and degrees; not the letter b in words, nor
in the hexadecimal id of a tune."""
SIGNS = {"b": "♭", "#": "♯"}


@dataclass(frozen=True, slots=True)
class Style:
    """What a terminal can show: its width, whether signs, whether colour."""

    width: int = 80
    signs: bool = True
    colour: bool = False

    def spelled(self, text: str) -> str:
        """A note or degree name with real accidentals where they can be shown."""
        if not self.signs:
            return text
        body = text[0] if text[:1] == "B" else ""
        rest = text[len(body) :]
        return body + rest.replace("b", "♭").replace("#", "♯")

    def spelled_key(self, text: str) -> str:
        """A text with names of keys and numerals, with real accidentals."""
        if not self.signs:
            return text
        return re.sub(ACCIDENTAL, lambda found: SIGNS[found[0]], text)

    def mark(self, relation: str) -> str:
        """The mark of a relation."""
        return MARKS[relation][0 if self.signs else 1]

    def paint(self, text: str, code: str) -> str:
        """Colour a text, where the terminal has colour."""
        return (
            f"\x1b[{code}m{text}\x1b[0m" if self.colour and code and text.strip() else text
        )

    def strong(self, text: str) -> str:
        """Set a heading off, where the terminal can."""
        return self.paint(text, "1")


def style_for(stream: TextIO) -> Style:
    """Find out what a stream can show.

    Colour needs a terminal and no ``NO_COLOR`` in the environment; signs need an
    encoding that has them.
    """
    encoding = getattr(stream, "encoding", None) or "ascii"
    try:
        "♭♯●◌◇×–".encode(encoding)
        signs = True
    except (UnicodeEncodeError, LookupError):
        signs = False
    width = columns_shown()
    terminal = stream.isatty() and os.environ.get("TERM") != "dumb"
    colour = terminal and not os.environ.get("NO_COLOR")
    return Style(max(NARROWEST, min(width, WIDEST)), signs, colour)


def columns_shown() -> int:
    """Columns of the terminal, 80 where there is none.

    As ``shutil.get_terminal_size``, whose module loads three compressors with it.
    """
    said = os.environ.get("COLUMNS", "")
    if said.isdecimal() and int(said) > 0:
        return int(said)
    try:
        stream = sys.__stdout__ or sys.stdout
        return os.get_terminal_size(stream.fileno()).columns or 80
    except (AttributeError, ValueError, OSError):
        return 80


def as_text(result: object, style: Style) -> str:
    """Write the result of any task as text.

    Raises
    ------
    PresentationError
        If there is no text form of it.
    """
    if isinstance(result, Resemblance):
        return resemblance_text(result, style)
    if isinstance(result, Comparison):
        return comparison_text(result, style)
    # What a query does not need is imported only when it comes to be shown.
    from melodex.tasks.audit import Audit

    if isinstance(result, Audit):
        from melodex.presentation.text_audit import audit_text

        return audit_text(result, style)
    from melodex.tasks.describe import Description

    if isinstance(result, Description):
        from melodex.presentation.text_describe import description_text

        return description_text(result, style)
    from melodex.tasks.gather import Gathering

    if isinstance(result, Gathering):
        from melodex.presentation.text_gather import gathering_text

        return gathering_text(result, style)
    raise PresentationError(f"there is no text form of a {type(result).__name__}")


def columns(
    names: Sequence[str],
    rows: Sequence[Sequence[str]],
    style: Style,
    paints: Sequence[str] = (),
    painted: frozenset[int] = frozenset(),
) -> list[str]:
    """Lay rows of short texts out in columns, broken into systems to fit the width.

    Parameters
    ----------
    names : sequence of str
        What stands before each row.
    rows : sequence of (sequence of str)
        All of one length k.
    style : Style
        For the width.
    paints : sequence of str, of shape (k,)
        A colour code per column, or nothing.
    painted : frozenset of int
        Which rows the colours are for.

    Returns
    -------
    list of str
        Lines; an empty one between systems. A row that is empty in a system is left out
        of it.
    """
    margin = max(map(len, names)) + 2
    widths = [max(map(len, cells)) + 1 for cells in zip(*rows, strict=True)]
    lines: list[str] = []
    for first, last in systems(widths, style.width - margin - 2):
        if lines:
            lines.append("")
        for place, (name, row) in enumerate(zip(names, rows, strict=True)):
            if not any(row[first:last]):
                continue
            cells = [
                style.paint(
                    row[i].rjust(widths[i]),
                    paints[i] if paints and place in painted else "",
                )
                for i in range(first, last)
            ]
            lines.append(f"  {name.ljust(margin - 2)}{''.join(cells)}".rstrip())
    return lines


def systems(widths: Sequence[int], room: int) -> Iterable[tuple[int, int]]:
    """Where to break columns so that each stretch fits the room."""
    first, used = 0, 0
    for place, width in enumerate(widths):
        if used + width > room and place > first:
            yield first, place
            first, used = place, 0
        used += width
    if first < len(widths):
        yield first, len(widths)


def aligned_lines(
    a: Melody, b: Melody, likeness: Likeness, names: tuple[str, str], style: Style
) -> list[str]:
    """Both passages note against note, each with its degrees, marks between them."""
    pairs = likeness.pairs
    a_places = [pair.query for pair in pairs]
    b_places = [pair.tune for pair in pairs]
    rows = [
        bar_row(a, a_places),
        chord_row(a, a_places, style),
        note_row(a, a_places, style),
        degree_row(a, a_places, style),
        [style.mark(pair.relation) for pair in pairs],
        degree_row(b, b_places, style),
        note_row(b, b_places, style),
        chord_row(b, b_places, style),
        bar_row(b, b_places),
    ]
    titles = ["bar", "chord", names[0], "degree", "", "degree", names[1], "chord", "bar"]
    if not any(cell.isdigit() and cell != "1" for cell in rows[0]):
        rows[0] = []
    return marked_rows(titles, rows, pairs, style)


def marked_rows(
    titles: Sequence[str],
    rows: Sequence[Sequence[str]],
    pairs: Sequence[Pair],
    style: Style,
) -> list[str]:
    """Rows of cells, one for each pair, empty ones left out; that of marks has no title."""
    kept = [place for place, row in enumerate(rows) if any(row)]
    return columns(
        [titles[place] for place in kept],
        [rows[place] for place in kept],
        style,
        [PAINTS.get(pair.relation, "") for pair in pairs],
        frozenset({kept.index(titles.index(""))}),
    )


def note_row(melody: Melody, places: Sequence[int | None], style: Style) -> list[str]:
    """Names of notes with their octave, empty where there is none."""
    return [
        ""
        if place is None
        else style.spelled(note_name(melody.midi[place], melody.fifths[place]))
        for place in places
    ]


def degree_row(melody: Melody, places: Sequence[int | None], style: Style) -> list[str]:
    """Names of degrees in the printed key."""
    degrees = melody.degrees()
    found = [None if place is None else degrees[place] for place in places]
    return [
        "" if degree is None else style.spelled(degree_name(degree)) for degree in found
    ]


def chord_row(melody: Melody, places: Sequence[int | None], style: Style) -> list[str]:
    """The chord symbol over the first note that stands on it."""
    cells, last = [], None
    for place in places:
        chord = None if place is None else melody.chord_at(melody.onset_ticks[place])
        fresh = chord is not None and chord != last
        cells.append(shown(style.spelled_key(chord.text)) if chord and fresh else "")
        last = chord or last
    return cells


def bar_row(melody: Melody, places: Sequence[int | None]) -> list[str]:
    """The number of a bar over its first note."""
    cells, last = [], None
    for place in places:
        bar = None if place is None else melody.bar[place]
        cells.append("" if bar is None or bar == last else str(bar))
        last = last if bar is None else bar
    return cells


def legend(pairs: Iterable[str], style: Style) -> list[str]:
    """What the marks that were used mean."""
    used = set(pairs)
    if SAME in used:
        used = (used - {SAME}) | {SAME_IN_TIME} if SAME_IN_TIME in used else used
    told = [
        f"{style.mark(relation)} {MEANINGS.get(relation, relation)}"
        for relation in (SAME, *MEANINGS)
        if relation in used
    ]
    lines = [""]
    for meaning in told:
        if lines[-1] and len(lines[-1]) + len(meaning) + 3 > style.width:
            lines.append("")
        lines[-1] += ("   " if lines[-1] else "") + meaning
    return lines


def resemblance_text(found: Resemblance, style: Style) -> str:
    """Say what a phrase resembles, each match with its notes, and how it came by its
    place where that was asked for.

    Parameters
    ----------
    found : Resemblance
        Of the resemble task.
    style : Style
        What the terminal can show.
    """
    lines = [style.strong(shown(found.heading)), ""]
    if not found.matches:
        lines.append("Nothing in the corpus resembles it.")
    for match in found.matches:
        lines += match_lines(found, match, style)
        lines += [f"  {line}" for line in match.explanation]
        lines.append("")
    if found.matches:
        used = [pair.relation for match in found.matches for pair in match.likeness.pairs]
        lines += legend(used, style)
    return "\n".join([*lines, *paragraphs(found.remarks, style)]) + "\n"


def paragraphs(sentences: Iterable[str], style: Style) -> list[str]:
    """Sentences, each from the start of a line and broken to fit the width."""
    found = list(sentences)
    if not found:
        return []
    import textwrap

    return [line for sentence in found for line in textwrap.wrap(sentence, style.width)]


def match_lines(found: Resemblance, match: Match, style: Style) -> list[str]:
    """One match: where, how well, and the notes."""
    whose = match.passage.whole.credits
    maker = f", {whose.composer}" if whose.composer else ""
    place = f" ({whose.collection})" if whose.collection else ""
    lines = [style.strong(shown(f"{match.rank}  {match.passage.label}{maker}{place}"))]
    lines += wrapped(match_facts(found, match), style)
    if found.phrase.contour:
        return lines + contour_lines(found.phrase.contour, match, style)
    lines += aligned_lines(
        found.phrase.melody, match.passage.whole, match.likeness, ("phrase", "tune"), style
    )
    return lines


def contour_lines(signs: Sequence[int], match: Match, style: Style) -> list[str]:
    """A contour over a tune: each sign over the note that it leads to."""
    tune, pairs = match.passage.whole, match.likeness.pairs
    places = [pair.tune for pair in pairs]
    written = ["" if not p.query else "0+-"[signs[p.query - 1]] for p in pairs]
    rows = [
        written,
        [style.mark(pair.relation) for pair in pairs],
        degree_row(tune, places, style),
        note_row(tune, places, style),
        chord_row(tune, places, style),
        bar_row(tune, places),
    ]
    titles = ["contour", "", "degree", "tune", "chord", "bar"]
    return marked_rows(titles, rows, pairs, style)


def match_facts(found: Resemblance, match: Match) -> list[str]:
    """How well a phrase fits, in words."""
    likeness = match.likeness
    facts = [f"{match.points} points of {found.most_points}"]
    if match.expected_by_chance is not None:
        facts.append(f"{expected_text(match.expected_by_chance)} expected by chance")
    if match.commonness:
        facts.append(match.commonness)
    if match.shared_ngrams:
        facts.append(ngrams_text(match))
    move = interval_text(likeness.transposition_semitones, likeness.spelled_shift)
    if found.phrase.has_tonic and found.phrase.notation != "contour":
        key = match.passage.melody.key
        same = (
            "on the same degrees"
            if likeness.same_function
            else "on other degrees of the key"
        )
        facts.append(f"{key}, {same}" if key.mode != "none" else "no key")
    if found.phrase.notation == "passage":
        facts.append(move)
    return [*facts, f"tune {match.tune_id}"]


def ngrams_text(match: Match) -> str:
    """How many short figures are shared, and in how many tunes the rarest stands."""
    steps, tunes = match.shared_ngrams[0]
    count = len(match.shared_ngrams)
    return (
        f"{count} figure{'' if count == 1 else 's'} of {len(steps) + 1} notes shared, "
        f"the rarest in {tunes:,} tune{'' if tunes == 1 else 's'}"
    )


def expected_text(expected: float) -> str:
    """An expected number of matches with two figures, never as zero."""
    if expected >= 10:
        return f"{expected:.0f}"
    if expected >= 0.001:
        return f"{expected:.2g}"
    return "under 0.001" if expected > 1e-12 else "practically none"


def wrapped(facts: Sequence[str], style: Style, indent: str = "   ") -> list[str]:
    """Facts separated by semicolons, broken between facts to fit the width.

    A fact that is too long for a line by itself is broken between words.
    """
    lines, line = [], indent
    for place, fact in enumerate(facts):
        piece = fact + (";" if place < len(facts) - 1 else "")
        if len(line) + len(piece) + 1 > style.width and line.strip():
            lines.append(line.rstrip())
            line = indent
        words = [piece] if len(indent) + len(piece) <= style.width else piece.split()
        for word in words:
            if len(line) + len(word) > style.width and line.strip():
                lines.append(line.rstrip())
                line = indent
            line += word + " "
    return [*lines, line.rstrip()]


def comparison_text(found: Comparison, style: Style) -> str:
    """Lay two passages side by side as text.

    Parameters
    ----------
    found : Comparison
        Of the compare task.
    style : Style
        What the terminal can show.
    """
    lines = [
        style.strong(shown(f"A  {found.a.label}")),
        style.strong(shown(f"B  {found.b.label}")),
        "",
        *paragraphs(found.summary, style),
        "",
        *aligned_lines(found.a.melody, found.b.melody, found.likeness, ("A", "B"), style),
        "",
        *legend((pair.relation for pair in found.likeness.pairs), style),
    ]
    return "\n".join(lines) + "\n"
