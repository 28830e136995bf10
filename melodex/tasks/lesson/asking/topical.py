"""Questions about what a set was gathered for.

Conventions: for each passage there are several designs, which are taken in turn so that
a sheet mixes them: find it, name it, say what it does, write another. What a design
cannot prove is left out of it; a design of which nothing is left is not asked.

Contents: Draft, topical_drafts, of_their_own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from melodex.tasks.lesson.asking.aloud import heard_drafts, sing_topic
from melodex.tasks.lesson.asking.facts import (
    bar_part,
    chords_elsewhere,
    figure_elsewhere,
    new_notes,
    note_elsewhere,
    scale_elsewhere,
    signature_part,
)
from melodex.tasks.lesson.asking.focus import Focus, focus_of, hits_of, note_wish
from melodex.tasks.lesson.asking.keys import change_part, relation_part
from melodex.tasks.lesson.asking.parts import (
    Made,
    degrees_part,
    find_part,
    is_sure,
    key_at,
    next_part,
    note_part,
    numerals_part,
    provable,
    root_part,
    spell_part,
    united,
)
from melodex.tasks.lesson.asking.plain import (
    beats_part,
    cadence_part,
    count_part,
    ending_part,
    metre_part,
    mode_part,
    telling_notes,
)
from melodex.tasks.lesson.asking.records import Part, Shown, plain_words
from melodex.tasks.lesson.asking.returning import (
    figure_notes,
    find_figure,
    return_part,
    sequence_part,
)

__all__ = ["Draft", "draft", "of_their_own", "topical_drafts"]


@dataclass(frozen=True, slots=True)
class Draft:
    """A question in the making: heading, passage with its marks, and parts."""

    heading: str
    shown: Shown
    parts: tuple[Part, ...]


def topical_drafts(shown: Shown) -> tuple[Draft, ...]:
    """Return the designs about what a passage was gathered for, the plainest first.

    Parameters
    ----------
    shown : Shown
        Cut, with its topic among its labels.
    """
    topic = shown.labels.topic
    if topic is None or topic.kind not in DESIGNS:
        return ()
    found = [*DESIGNS[topic.kind](shown, focus_of(shown))]
    heard = heard_drafts(shown, is_topical=True)
    found += [Draft(heading, made.shown, (made.part,)) for heading, made in heard]
    return tuple(draft for draft in found if draft.parts)


def draft(heading: str, shown: Shown, *made: Made | Part | None) -> Draft:
    """A design of what could be made of it."""
    parts: list[Part] = []
    for each in made:
        if isinstance(each, Made):
            shown = united(shown, each.shown)
            parts.append(each.part)
        elif each is not None:
            parts.append(each)
    return Draft(heading, shown, tuple(parts))


def about_note(shown: Shown, focus: Focus) -> Iterator[Draft]:
    """Designs about a melody note on a chord."""
    topic = shown.labels.topic
    wish = note_wish(topic.asked) if topic else None
    if wish is None or not focus.hits:
        return
    first = focus.hits[:1]
    place = first[0][1]
    named = note_part(shown, first, wish.degree, is_topical=True)
    numeral = numerals_part(shown, [place], is_topical=True)
    moves = next_part(shown, first[0][0], is_topical=True)
    head = wish.chord if not wish.is_symbol else ""
    elsewhere = note_elsewhere(shown, wish.degree, head) if head else None
    yield draft("The note in a box", shown, named, numeral, moves)
    yield draft(
        "Find the note",
        shown,
        find_part(shown, hits_of(wish, shown), wish.degree, wish.chord),
        elsewhere,
    )
    yield draft(
        "The note and its chord", shown, named, spell_part(shown, place, is_topical=True)
    )
    yield draft("One of your own", shown, named, elsewhere)
    sung = sing_topic(shown, first[0][0], place)
    boxed = note_part(shown, first, wish.degree, is_topical=True)
    if sung is not None and boxed is not None:
        yield Draft("To be sung", boxed.shown, (sung,))


def about_chords(shown: Shown, focus: Focus) -> Iterator[Draft]:
    """Designs about chords: a device or a progression."""
    sure = [place for place in focus.chords if place in provable(shown)]
    if not sure:
        yield from about_sounds(shown, focus)
        return
    numerals = numerals_part(shown, sure, is_topical=True)
    middle = next((p for p in sure if "/" in shown.labels.numerals[p]), sure[0])
    named = [shown.labels.numerals[place] for place in sure]
    plain = list(dict.fromkeys(text for text in named if "(" not in text))[:4]
    boxed = shown.with_marks(marked_chords=frozenset(sure))
    cadence = cadence_part(shown, is_topical=True)
    yield draft("Name the chords", shown, numerals)
    yield draft(
        "Chords and their notes",
        boxed,
        spell_part(shown, middle, is_topical=True),
        root_part(shown, middle, is_topical=True),
    )
    yield draft("The same in another key", boxed, chords_elsewhere(shown, plain))
    yield draft("Chords and close", shown, numerals, cadence)


def about_sounds(shown: Shown, focus: Focus) -> Iterator[Draft]:
    """Designs about chords whose numerals are disputed: their notes and roots alone."""
    boxed = shown.with_marks(marked_chords=frozenset(focus.chords))
    for place in focus.chords:
        yield draft(
            "Chords and their notes",
            boxed,
            spell_part(shown, place, is_topical=True),
            root_part(shown, place, is_topical=True),
        )


def about_key(shown: Shown, focus: Focus) -> Iterator[Draft]:
    """Designs about a change of key."""
    keys = shown.labels.keys
    asked = change_part(shown, is_topical=True)
    if asked is not None:
        yield draft("Where does the key change?", asked.shown, asked)
    if len(keys) < 2 or not is_sure(shown):
        return
    one, other = keys[0].key, keys[1].key
    yield draft(
        "Two keys",
        shown,
        relation_part(one, other),
        new_notes(one, other),
        signature_part(other),
    )


def about_mode(shown: Shown, focus: Focus) -> Iterator[Draft]:
    """Designs about the mode of a tune or of a passage."""
    topic = shown.labels.topic
    key = key_at(shown, shown.excerpt.onset_ticks[0])
    mode = topic.asked if topic and topic.kind == "modal" else key.mode
    telling = [n for n in telling_notes(shown, mode) if shown.excerpt.bar[n] in focus.bars]
    asked = mode_part(shown, is_topical=True)
    unnamed = replace(shown, has_key_names=False)
    notes = degrees_part(shown, telling[:6], is_topical=True) if telling else None
    scale = scale_elsewhere(shown, mode)
    if asked:
        yield draft("Which mode?", unnamed, asked, scale)
    yield draft("The notes that tell the mode", shown, notes, scale)
    yield draft("A scale of your own", shown, scale)


def about_metre(shown: Shown, focus: Focus) -> Iterator[Draft]:
    """Designs about the metre."""
    unnamed = replace(shown, has_key_names=False)
    yield draft("The metre", unnamed, metre_part(shown, is_topical=True))
    yield draft("On the beat", unnamed, beats_part(shown, is_topical=True), bar_part(shown))
    yield draft("Filling a bar", unnamed, bar_part(shown))


def about_section(shown: Shown, focus: Focus) -> Iterator[Draft]:
    """Designs about the length of a section."""
    from melodex.tasks.lesson.asking.cutting import part_of

    topic = shown.labels.topic
    if topic is None or not topic.spans:
        return
    section = part_of(shown, *topic.spans[0])
    bare = replace(section, has_key_names=False)
    count = count_part(section, is_topical=True)
    yield draft("How long is the section?", bare, count)
    ends = ending_part(section, is_topical=True)
    yield draft("The end of the section", section, ends, count)


def about_figure(shown: Shown, focus: Focus) -> Iterator[Draft]:
    """Designs about a figure of the melody."""
    topic = shown.labels.topic
    notes = figure_notes(shown, topic.asked if topic else "")
    if not notes:
        return
    named = degrees_part(shown, notes, is_topical=True)
    degrees = [field.accepted[0][0] for field in named.part.fields] if named else []
    texts = [text for text in degrees if isinstance(text, str)]
    yield draft("Find the figure", shown, find_figure(shown, notes, texts))
    yield draft("The degrees of the figure", shown, named)
    elsewhere = figure_elsewhere(shown, texts) if texts else None
    boxed = shown.with_marks(marked_notes=frozenset(notes))
    yield draft("The figure in another key", boxed, elsewhere)


def about_return(shown: Shown, focus: Focus) -> Iterator[Draft]:
    """Designs about a figure that comes again."""
    made = return_part(shown, focus.bars)
    topic = shown.labels.topic
    if topic is not None and topic.asked == "sequence":
        continued = sequence_part(shown, is_topical=True)
        if continued is not None:
            yield Draft("Go on with the sequence", continued.shown, (continued.part,))
    yield draft("What comes again?", replace(shown, has_key_names=False), *made)


Design = Callable[[Shown, Focus], Iterator[Draft]]
DESIGNS: dict[str, Design] = {
    "note_on_chord": about_note,
    "device": about_chords,
    "progression": about_chords,
    "key_change": about_key,
    "mode_change": about_key,
    "key_centres": about_key,
    "modal": about_mode,
    "mode": about_mode,
    "metre": about_metre,
    "section_bars": about_section,
    "odd_sections": about_section,
    "phrase": about_figure,
    "returning": about_return,
}


TURNS = (1, 2, 3)
"""Questions without music that a set asks about its topic, each in another key."""


def of_their_own(shown: Shown, turns: Sequence[int] = TURNS) -> tuple[Part, ...]:
    """Return parts that ask for what a set is about in keys of their own, without music.

    Parameters
    ----------
    shown : Shown
        A passage that shows it.
    turns : sequence of int
        Which keys, in the order that the passage gives them; some may come twice.
    """
    topic = shown.labels.topic
    if topic is None or not shown.labels.keys:
        return ()
    made = [one_of_their_own(shown, topic.kind, topic.asked, turn) for turn in turns]
    parts = {plain_words(part.task): part for part in made if part is not None}
    return tuple(parts.values())


def one_of_their_own(shown: Shown, kind: str, asked: str, turn: int) -> Part | None:
    """One of them."""
    wish = note_wish(asked) if kind == "note_on_chord" else None
    if wish is not None and not wish.is_symbol:
        return note_elsewhere(shown, wish.degree, wish.chord, turn)
    if kind in {"device", "progression"}:
        places = [p for p in focus_of(shown).chords if p in provable(shown)]
        texts = dict.fromkeys(shown.labels.numerals[place] for place in places)
        plain = [text for text in texts if "(" not in text][:4]
        return chords_elsewhere(shown, plain, turn) if len(plain) > 1 else None
    if kind in {"mode", "modal"}:
        mode = asked if kind == "modal" else shown.labels.keys[0].mode
        return scale_elsewhere(shown, mode, turn)
    return bar_part(shown, turn) if kind == "metre" else None
