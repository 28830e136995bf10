"""Text of a resemblance: each match with its notes and how it came by its place.

Contents: resemblance_text, expected_text.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from melodex.melody import TICKS_PER_QUARTER, Melody, Phrase, note_name
from melodex.melody.tune_id import leading
from melodex.presentation.text.staves import (
    aligned_lines,
    bar_row,
    chord_row,
    degree_row,
    legend,
    marked_rows,
    note_row,
)
from melodex.presentation.text.style import Style, paragraphs, wrapped
from melodex.presentation.text.words import shown
from melodex.tasks.compare.sentences import (
    function_text,
    interval_text,
    keys_along,
    keys_text,
)
from melodex.tasks.matches import Match, Resemblance

if TYPE_CHECKING:
    from melodex.reading.recording.record import Recording

__all__ = [
    "contour_lines",
    "expected_text",
    "match_facts",
    "match_lines",
    "ngrams_text",
    "resemblance_text",
]

UNCERTAIN = 0.6
"""Confidence under which a note that was heard is marked."""


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
    if found.recording is not None:
        lines += [*heard_lines(found.recording, style), ""]
    if found.foreword:
        lines += [*paragraphs(found.foreword, style), ""]
    if not found.matches:
        lines.append("Nothing in the corpus resembles it.")
    for alike in folded_together(found):
        lines += match_lines(found, alike[0], style)
        lines += [f"  {line}" for line in alike[0].explanation]
        lines += [*same_lines(alike[1:], style), ""]
    if found.matches:
        used = [pair.relation for match in found.matches for pair in match.likeness.pairs]
        lines += legend(used, style)
    return "\n".join([*lines, *paragraphs(found.remarks, style)]) + "\n"


FEWEST_FOLDED = 2
"""Of one further match the notes are shown: to fold it would save little."""


def folded_together(found: Resemblance) -> list[list[Match]]:
    """Matches one after the other whose notes would be printed alike, together."""
    groups: list[list[Match]] = []
    for match in found.matches:
        alike = groups and not match.explanation
        if alike and printed_alike(found, groups[-1][0]) == printed_alike(found, match):
            groups[-1].append(match)
        else:
            groups.append([match])
    parts: list[list[Match]] = []
    for group in groups:
        parts += [group] if len(group) > FEWEST_FOLDED else [[match] for match in group]
    return parts


def printed_alike(found: Resemblance, match: Match) -> tuple[object, ...]:
    """What two matches have in common if they show nothing that the other does not."""
    tune, pairs = match.passage.whole, match.likeness.pairs
    places = [pair.tune for pair in pairs if pair.tune is not None]
    first = tune.midi[places[0]] if places else 0
    return (
        match.points,
        found.asked_by(match).words,
        tuple(pair.relation for pair in pairs),
        tuple(tune.midi[place] - first for place in places),
        match.likeness.same_function,
        tuple(tune.duration_ticks[place] for place in places)
        if found.asked_by(match).phrase.has_rhythm
        else (),
    )


def same_lines(matches: Sequence[Match], style: Style) -> list[str]:
    """Further matches with the same notes, a line each."""
    if not matches:
        return []
    lines = [f"   The same in {len(matches)} more:"]
    for match in matches:
        whose = match.passage.whole.credits
        maker = f", {whose.composer}" if whose.composer else ""
        told = f"{match.rank}  {match.passage.label}{maker}; tune {leading(match.tune_id)}"
        lines += [f"   {line}" for line in paragraphs([shown(told)], style)]
    return lines


def match_lines(found: Resemblance, match: Match, style: Style) -> list[str]:
    """One match: where, how well, and the notes."""
    whose = match.passage.whole.credits
    maker = f", {whose.composer}" if whose.composer else ""
    place = f" ({whose.collection})" if whose.collection else ""
    lines = [style.strong(shown(f"{match.rank}  {match.passage.label}{maker}{place}"))]
    lines += wrapped(match_facts(found, match), style)
    phrase = found.asked_by(match).phrase
    if phrase.contour:
        return lines + contour_lines(phrase.contour, match, style)
    if not phrase.has_notes:
        return lines + partial_lines(phrase, match, style)
    lines += aligned_lines(
        phrase.melody, match.passage.whole, match.likeness, ("phrase", "tune"), style
    )
    return lines


def heard_lines(recording: Recording, style: Style) -> list[str]:
    """What was heard: the notes by name, the uncertain ones marked, and the tuning."""
    names = [
        note.name + ("?" if note.confidence < UNCERTAIN else "") for note in recording.notes
    ]
    unsure = " (? is uncertain)" if any(name.endswith("?") for name in names) else ""
    words = f"Heard: {' '.join(names)}{unsure}; {recording.tuning}."
    return paragraphs([words, *recording.remarks], style)


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


def partial_lines(phrase: Phrase, match: Match, style: Style) -> list[str]:
    """What is known of each note over the note of the tune, with its length if asked."""
    tune, pairs = match.passage.whole, match.likeness.pairs
    places = [pair.tune for pair in pairs]
    timed = any(phrase.has_length)
    rows = [
        ["" if p.query is None else known_of(phrase, p.query, style) for p in pairs],
        [style.mark(pair.relation) for pair in pairs],
        ["" if p is None or not timed else beats_text(tune, p) for p in places],
        degree_row(tune, places, style),
        note_row(tune, places, style),
        chord_row(tune, places, style),
        bar_row(tune, places),
    ]
    titles = ["phrase", "", "beats", "degree", "tune", "chord", "bar"]
    return marked_rows(titles, rows, pairs, style)


def known_of(phrase: Phrase, place: int, style: Style) -> str:
    """What is known of one note: its name, its length in quarter notes, or nothing."""
    melody = phrase.melody
    name = "?" if any(phrase.has_pitch) else ""
    if phrase.has_pitch[place]:
        name = style.spelled(note_name(melody.midi[place], melody.fifths[place]))
    length = beats_text(melody, place) if phrase.has_length[place] else ""
    return "*".join(filter(None, (name, length)))


def beats_text(melody: Melody, place: int) -> str:
    """The length of a note in quarter notes."""
    from fractions import Fraction

    return str(Fraction(melody.duration_ticks[place], TICKS_PER_QUARTER))


def match_facts(found: Resemblance, match: Match) -> list[str]:
    """How well a phrase fits, in words."""
    likeness, asked = match.likeness, found.asked_by(match)
    facts = [f"{match.points} points of {asked.most_points}"]
    if asked.words:
        facts.append(f"read {asked.words}")
    if any(found.phrase.has_pitch):
        facts = []
    elif likeness.augmentation != 1 and not found.phrase.has_notes:
        facts.append(f"in notes {likeness.augmentation:.3g} times as long")
    if match.expected_by_chance is not None:
        facts.append(f"{expected_text(match.expected_by_chance)} expected by chance")
    if match.commonness:
        facts.append(match.commonness)
    if match.also:
        facts.append(shown(f"also {match.also_words}"))
    if match.shared_ngrams:
        facts.append(ngrams_text(match))
    move = interval_text(likeness.transposition_semitones, likeness.spelled_shift)
    if found.phrase.has_tonic and found.phrase.has_notes:
        places = [pair.tune for pair in likeness.pairs]
        keys = keys_along(match.passage.whole, places)
        same = function_text(likeness)
        facts.append(f"{keys_text(keys)}, {same}" if keys else "no key")
    if found.phrase.notation == "passage":
        facts.append(move)
    return [*facts, f"tune {leading(match.tune_id)}"]


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
