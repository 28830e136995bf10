"""What is in a piece, in sentences.

Conventions: bars go by their printed numbers. A key is told plainly from a certainty of
:data:`SURE`, as probable from :data:`UNCERTAIN`, and below that with the next likeliest;
both bounds are our choice.

Contents: summary_of, foreign_sentences, unsaid_of, figure_sentence, odd_sections,
bar_count.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from melodex.analysis.form import Figure, Section
from melodex.analysis.form.figures import OTHERWISE
from melodex.analysis.form.sections import CONTENT
from melodex.analysis.harmony.heard.sounding import NO_CHORD
from melodex.analysis.keys import KeySpan
from melodex.analysis.piece import DOUBTED, Analysis
from melodex.analysis.texture.foreign import ForeignNote
from melodex.melody import (
    Melody,
    bars_text,
    pitch_class,
)

__all__ = ["figure_sentence", "foreign_sentences", "summary_of", "unsaid_of"]

SURE, UNCERTAIN = 0.8, 0.6
MOST_PHRASES = 12
"""Phrases that are listed; of more, only their number is told."""
MOST_LINES = 6
"""Lines whose foreign notes are told one by one; of more, all together."""
RAISED_SEVENTH = 5
"""Above the tonic, in fifths."""
MOST_DOUBTS = 6
"""Uncertain chords that are listed with the next best."""
SPOKEN_METRES = {"C": "common time", "C|": "cut time"}


def summary_of(melody: Melody, found: Analysis) -> Iterable[str]:
    """Key, metre, form and range in sentences."""
    yield key_sentence(melody, found)
    if len(found.spans) > 1:
        yield f"Key centres: {'; '.join(span_words(span) for span in found.spans)}."
    yield metre_sentence(melody, found)
    if found.sections:
        yield form_sentence(found)
    if found.phrases:
        yield phrase_sentence(found)
    if found.compass:
        reach = found.compass
        yield (
            f"Range {reach.lowest} to {reach.highest}, {reach.range_semitones} semitones, "
            f"mostly {reach.tessitura[0]} to {reach.tessitura[1]}; "
            f"it peaks on {reach.highest} in bar {reach.peak_bar}."
        )


def foreign_sentences(notes: Sequence[ForeignNote]) -> Iterable[str]:
    """How many notes of each name the lines have that are not of their chords."""
    lines: dict[str, Counter[str]] = {}
    for note in notes:
        if note.figure:
            lines.setdefault(note.line, Counter())[note.figure] += 1
    if len(lines) > MOST_LINES:
        lines = {"all lines together": sum(lines.values(), Counter())}
    said = [
        f"{line}, {', '.join(counted_figure(*pair) for pair in figures.most_common())}"
        for line, figures in lines.items()
    ]
    if said:
        yield f"Notes beside the chords, the tune left out: {'; '.join(said)}."


def counted_figure(figure: str, number: int) -> str:
    """A number of notes with a name, such as ``2 passing notes``."""
    word = f"{figure} note" if figure == "pedal" else figure
    return f"{number} {word}{'' if number == 1 else 's'}"


def key_sentence(melody: Melody, found: Analysis) -> str:
    """The key, how sure it is, and what is printed."""
    reading = found.key
    if reading.key.mode == "none":
        return "No key can be said."
    inflection = f" ({reading.inflection})" if is_inflected(melody, found) else ""
    sure = "In" if reading.certainty >= SURE else "Probably in"
    text = f"{sure} {reading.key}{inflection}"
    if reading.certainty < UNCERTAIN:
        text = f"Perhaps in {reading.key}{inflection} ({reading.certainty:.0%} certain)"
        if reading.alternatives:
            other, share = reading.alternatives[0]
            text += f", else {other} ({share:.0%})"
    if reading.idiom:
        text += f", a {reading.idiom}"
    if reading.agrees_with_printed is False:
        stated = melody.keys[0].stated
        signs = reading.key.signature_fifths == reading.printed.signature_fifths
        signature = f"the signature of {reading.printed}"
        printed = str(reading.printed) if stated else signature
        text += (
            f", under {signature}"
            if signs and not stated
            else f", though {printed} is printed"
        )
    return f"{text}."


def is_inflected(melody: Melody, found: Analysis) -> bool:
    """Whether the form of minor that the tune has holds for what sounds under it too.

    A tune without a raised seventh says nothing of a piece in which chords have it, nor
    does one line of several of the others.
    """
    reading = found.key
    if reading.inflection != "natural":
        return bool(reading.inflection)
    if not melody.chords_worked_out:
        return melody.line.is_main
    raised = pitch_class(reading.key.tonic_fifths + RAISED_SEVENTH)
    return not any(
        raised in here.chord.pitch_classes
        for here in found.harmony.chords
        if here.key.tonic_fifths == reading.key.tonic_fifths
    )


def span_words(span: KeySpan) -> str:
    """Bars and key of one stretch, and whether it is less than sure."""
    doubt = f" ({span.certainty:.0%} certain)" if span.certainty < UNCERTAIN else ""
    return f"{bars_words(span.first_bar, span.last_bar)} {span.key}{doubt}"


def bars_words(first: int, last: int) -> str:
    """One bar or several, in words."""
    return f"bar {first}" if first == last else f"bars {first}-{last}"


def metre_sentence(melody: Melody, found: Analysis) -> str:
    """Metre, its class, pickup and number of bars."""
    metres = dict.fromkeys(str(change.metre or "free") for change in melody.metres)
    names = ", ".join(SPOKEN_METRES.get(metre, metre) for metre in metres)
    count = len({bar.number for bar in melody.bars if bar.number > 0})
    bars = bar_count(count)
    pickup = ", with a pickup" if 0 in melody.bar else ""
    if found.metre_class == "free":
        return f"In free metre, {bars}{pickup}."
    return f"In {names} ({found.metre_class} metre), {bars}{pickup}."


def form_sentence(found: Analysis) -> str:
    """Sections and their lengths, odd ones pointed out."""
    parts = ", ".join(f"{section.label} {section.bars}" for section in found.sections)
    odd = odd_sections(found)
    suggested = any(section.why == CONTENT for section in found.sections)
    ground = ", as the music suggests" if suggested else ""
    text = f"Sections in bars{ground}: {parts}"
    if odd:
        named = ", ".join(
            f"{s.label} ({bars_text(s.first_bar, s.last_bar)})" for s in odd[:6]
        )
        text += f"; of odd length: {named}"
    return f"{text}."


def odd_sections(found: Analysis) -> list[Section]:
    """Sections whose length is worth pointing out: bars in time, and more than one."""
    if found.metre_class == "free" or sum(part.bars for part in found.sections) < 2:
        return []
    return [section for section in found.sections if section.odd]


def bar_count(bars: int) -> str:
    """So many bars, in words."""
    return f"{bars} bar{'' if bars == 1 else 's'}"


def phrase_sentence(found: Analysis) -> str:
    """Phrases, and whether they are marked or only heard in the melody."""
    ground = "as marked" if found.phrases[0].how == "marked" else "as the melody suggests"
    if len(found.phrases) > MOST_PHRASES:
        return f"{len(found.phrases)} phrases, {ground}."
    if len(found.phrases) == 1:
        return f"One phrase, {ground}."
    spans = ", ".join(
        str(p.first_bar) if p.first_bar == p.last_bar else f"{p.first_bar}-{p.last_bar}"
        for p in found.phrases
    )
    return f"Phrases, {ground}: bars {spans}."


def figure_sentence(figure: Figure) -> str:
    """What returns where, and how it is changed."""
    first = bars_words(*figure.bars[0])
    again = [bars_words(*bars) for bars in figure.bars[1:]]
    if figure.kind == "repetition":
        come = "comes" if first.startswith("bar ") else "come"
        if OTHERWISE in figure.words:
            return f"{first} {come} again in {joined(again)}, {OTHERWISE}"
        return f"{first} {come} again note for note in {joined(again)}"
    if figure.kind == "inversion":
        return f"the figure of {first} is turned over in {joined(again)}"
    how = figure.words.split(", ", 1)[1]
    if len(set(figure.bars)) == 1:
        return f"a figure is stated {len(figure.bars)} times within {first}, {how}"
    return f"the figure of {first} is taken up in {joined(again)}, {how}"


def joined(words: Sequence[str]) -> str:
    """Places one after the other, each told once."""
    told = list(dict.fromkeys(words))
    return told[0] if len(told) == 1 else f"{', '.join(told[:-1])} and {told[-1]}"


def doubt_sentences(melody: Melody) -> Iterable[str]:
    """Which of the chords that were worked out are uncertain, with the next best."""
    chords = [chord for chord in melody.chords if chord.text != NO_CHORD]
    unsure = [chord for chord in chords if chord.certainty < DOUBTED]
    if not unsure:
        return
    told = dict.fromkeys(
        f"bar {chord.bar} {chord.text} or {chord.other}" for chord in unsure
    )
    listed = ", ".join(list(told)[:MOST_DOUBTS])
    more = f" and {len(told) - MOST_DOUBTS} more" if len(told) > MOST_DOUBTS else ""
    yield (
        f"Of {len(chords)} chords {len(unsure)} are less than "
        f"{DOUBTED:.0%} sure, marked with a question mark: {listed}{more}."
    )


def unsaid_of(melody: Melody, found: Analysis) -> Iterable[str]:
    """What cannot be said, and why."""
    if found.key.remark:
        yield f"About the key: {found.key.remark}."
    if not len(melody):
        yield "There is no melody, so there is nothing to resemble."
    if not melody.chords:
        yield "There are no chord symbols, so nothing is said of harmony."
    elif melody.chords_worked_out:
        yield (
            "The chords are not printed: they were worked out from the notes of all parts."
        )
        yield from doubt_sentences(melody)
        if any(chord.text == NO_CHORD for chord in melody.chords):
            yield "N.C. stands where all parts have one line, in unison or octaves."
    unknown = {
        here.chord.text: here.chord.reason
        for here in found.harmony.chords
        if not here.chord.understood and here.chord.text
    }
    if unknown:
        listed = "; ".join(f"{text} ({reason})" for text, reason in unknown.items())
        yield f"Chord symbols that were not understood: {listed}."
    if not melody.chords and len(found.spans) > 1:
        yield "Key centres from a melody alone are uncertain."
    if found.metre_class == "free":
        yield "Without a metre no section lengths can be relied on."
    if len({bar.number for bar in melody.bars if bar.number > 0}) < 2:
        yield "One bar is too little to speak of form."
