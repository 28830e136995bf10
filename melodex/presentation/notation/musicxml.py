"""MusicXML: a passage or a comparison, to be opened in a notation editor.

References
----------
MusicXML 4.0 (W3C Music Notation Community Group, 2021): partwise documents, order
of elements in ``note``, ``kind-value``.

Contents: musicxml_text, comparison_musicxml, score_musicxml.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING
from xml.etree.ElementTree import Element, SubElement, indent, tostring

from melodex.melody import (
    TICKS_PER_QUARTER,
    ChordSymbol,
    KeyChange,
    Melody,
    Metre,
    degree_name,
)
from melodex.presentation.engraving.layout import Measure, StaffPart, in_score, in_time
from melodex.presentation.engraving.marks import RELATION_SHAPES
from melodex.presentation.notation.pitch import Inflections, clef_for, spelled
from melodex.presentation.notation.values import DOTTED, UNVALUED, Written
from melodex.presentation.notation.writing import (
    WrittenBar,
    by_note,
    ending_ends,
    from_first_bar,
)
from melodex.presentation.notation.written import diatonic_steps, written
from melodex.reading.common.carried import FIELD, kept_beside
from melodex.reading.musicxml.harmony import KIND_SIGNS

if TYPE_CHECKING:
    from melodex.tasks.compare import Comparison

__all__ = ["comparison_musicxml", "musicxml_text", "score_musicxml"]

DOCTYPE = (
    '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
    '"http://www.musicxml.org/dtds/partwise.dtd">\n'
)
TYPES = {0: "breve", 1: "whole", 2: "half", 4: "quarter", 8: "eighth"}
TYPES |= {16: "16th", 32: "32nd", 64: "64th", 128: "128th"}
ACCIDENTALS = {
    0: "natural",
    1: "sharp",
    2: "double-sharp",
    3: "triple-sharp",
    -1: "flat",
    -2: "flat-flat",
    -3: "triple-flat",
}
MODES = {"major", "minor", "dorian", "phrygian", "lydian", "mixolydian", "aeolian"}
MODES |= {"ionian", "locrian", "none"}
KINDS = {sign: kind for kind, sign in KIND_SIGNS.items()}
LINES = {"double": "light-light", "final": "light-heavy", "none": "none"}


def musicxml_text(
    melody: Melody, *, excerpt: bool = False, sounds_semitones: int = 0
) -> str:
    """Return a melody as a MusicXML document.

    Parameters
    ----------
    melody : Melody
        At least one note.
    excerpt : bool
        Whether it was cut from a longer one.
    sounds_semitones : int
        From what is to be written to what sounds, for a transposing instrument.

    Raises
    ------
    PresentationError
        If it cannot be written (see
        :func:`melodex.presentation.notation.writing.write_out`).
    """
    name = melody.credits.part or melody.credits.title or "untitled"
    parts = [
        StaffPart(
            written(melody, sounds_semitones),
            name,
            excerpt=excerpt,
            sounds_semitones=sounds_semitones,
        )
    ]
    title = melody.credits.title
    text = document(parts, (), title)
    lost = lost_in(text, from_first_bar(melody, excerpt=excerpt))
    return document(parts, (), title, lost=lost) if lost else text


def lost_in(text: str, melody: Melody) -> str:
    """What reading the document again would not give of a melody."""
    from melodex.reading import read_bytes

    tunes = read_bytes(text.encode(), "musicxml", "").tunes
    return kept_beside(melody, tunes[0].melody) if tunes else ""


def comparison_musicxml(comparison: Comparison, *, key: str = "common") -> str:
    """Return two compared passages as one MusicXML document of two parts.

    Degrees stand below the notes as text; colour tells the relations apart where an
    editor shows it.

    Parameters
    ----------
    comparison : Comparison
        From :func:`melodex.tasks.compare.compare`.
    key : str
        ``common`` or ``own``.

    Raises
    ------
    PresentationError
        As :func:`musicxml_text`.
    """
    from melodex.presentation.engraving.sides import moved_words, parts_of

    a, b = comparison.a, comparison.b
    onto = "b" if a.melody.key.mode == "none" else "a"
    parts, pairs = parts_of(a.melody, b.melody, comparison.likeness, key=key, onto=onto)
    names = []
    for part, passage in zip(parts, (a, b), strict=True):
        words = moved_words(part.melody, passage.melody)
        said = f" ({words})" if words else ""
        names.append(f"{part.label}: {passage.label}{said}")
    return document(parts, pairs, f"{a.label} and {b.label}", names)


def score_musicxml(parts: Sequence[StaffPart], names: Sequence[str], title: str) -> str:
    """Return the lines of one piece as one MusicXML document, a part for each.

    Parameters
    ----------
    parts : sequence of StaffPart
        From the top of the score, each with the same bars.
    names : sequence of str
        What each is called.
    title : str
        Of the whole.

    Raises
    ------
    PresentationError
        As :func:`musicxml_text`.
    """
    return document(parts, (), title, names, measures=in_score(parts))


def document(
    parts: Sequence[StaffPart],
    pairs: Sequence[tuple[int, int]],
    title: str,
    names: Sequence[str] = (),
    lost: str = "",
    measures: Sequence[Measure] = (),
) -> str:
    """A whole document; with what the notation loses, in a field of its own."""
    root = Element("score-partwise", {"version": "4.0"})
    if clean(title):
        SubElement(SubElement(root, "work"), "work-title").text = clean(title)
    identify(root, parts, lost)
    measures = measures or in_time(parts, pairs)
    listed = SubElement(root, "part-list")
    for index, part in enumerate(parts):
        entry = SubElement(listed, "score-part", {"id": f"P{index + 1}"})
        name = names[index] if names else part.label
        SubElement(entry, "part-name").text = clean(name)
    for index, part in enumerate(parts):
        home = SubElement(root, "part", {"id": f"P{index + 1}"})
        writer = PartWriter(part, index)
        own = [measure.bars[index] for measure in measures]
        ends = iter(ending_ends([bar.bar for bar in own if bar]))
        for measure, bar in zip(measures, own, strict=True):
            writer.write(home, measure, next(ends) if bar else "")
    indent(root, " ")
    body = tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{DOCTYPE}{body}\n'


def clean(text: str) -> str:
    """Text without characters that XML cannot carry."""
    return "".join(c for c in text if c.isprintable())


def identify(root: Element, parts: Sequence[StaffPart], lost: str) -> None:
    """Makers, rights and source, as far as they are known."""
    about = SubElement(root, "identification")
    makers = [part.melody.credits for part in parts]

    def each(name: str) -> list[str]:
        said = dict.fromkeys(str(getattr(made, name) or "") for made in makers)
        return [clean(text) for text in said if clean(text)]

    for kind in ("composer", "lyricist"):
        for name in each(kind):
            SubElement(about, "creator", {"type": kind}).text = name
    for rights in each("rights"):
        SubElement(about, "rights").text = rights
    SubElement(SubElement(about, "encoding"), "software").text = "melodex"
    if years := each("year"):
        SubElement(about, "source").text = ", ".join(years)
    for whole in each("collection"):
        SubElement(about, "relation", {"type": "isPartOf"}).text = whole
    fields = [(name, text) for name in ("rhythm", "origin") for text in each(name)]
    if lost:
        fields.append((FIELD, lost))
    if fields:
        home = SubElement(about, "miscellaneous")
        for name, text in fields:
            SubElement(home, "miscellaneous-field", {"name": name}).text = text


class PartWriter:
    """Writes one part measure by measure; remembers accidentals and open endings."""

    def __init__(self, part: StaffPart, index: int) -> None:
        self.part = part
        self.melody = part.melody
        self.index = index
        self.inflections = Inflections(self.signature(None))
        self.started = False
        self.measures = 0
        self.number = 0
        self.ending = ""
        self.open_words: set[int] = set()
        self.graces_of = by_note(self.melody.graces)
        self.words_of = by_note(self.melody.lyrics)

    def signature(self, change: KeyChange | None) -> int:
        """The signature to print."""
        return self.part.signature_at(change)

    def write(self, home: Element, measure: Measure, ending_end: str) -> None:
        """One measure; how a numbered ending ends in it, if one does."""
        bar = measure.bars[self.index]
        shown = bar or next(other for other in measure.bars if other is not None)
        element = SubElement(home, "measure", {"number": str(shown.bar.number)})
        # A pickup and the second half of a split bar are not counted.
        if bar is None or shown.bar.number in {0, self.number}:
            element.set("implicit", "yes")
        self.number = shown.bar.number
        self.attributes(element, bar)
        if bar is None:
            note = SubElement(element, "note")
            SubElement(note, "rest", {"measure": "yes"})
            SubElement(note, "duration").text = str(shown.bar.duration_ticks)
            return
        self.measures += 1
        self.left_line(element, bar)
        self.inflections.new_bar()
        self.beams = edges(bar, lambda event: event.beam)
        self.tuplets = edges(bar, lambda event: event.tuplet)
        waiting = sorted(self.texts(bar), key=lambda text: text[0])
        for event in rests_apart(bar):
            end = event.onset_ticks + event.duration_ticks
            while waiting and waiting[0][0] < end:
                onset, text = waiting.pop(0)
                if onset > event.onset_ticks and text.tag != "sound":
                    SubElement(text, "offset").text = str(onset - event.onset_ticks)
                element.append(text)
            self.event(element, bar, event)
        self.right_line(element, bar, ending_end)

    def attributes(self, element: Element, bar: WrittenBar | None) -> None:
        """Divisions and clef once; key and time where they change."""
        first = not self.started
        key = bar.key_change if bar else None
        change = bar.metre_change if bar else None
        if first and change is None and self.melody.metres:
            change = self.melody.metres[0]
        if not first and not key and not change:
            return
        home = SubElement(element, "attributes")
        if first:
            SubElement(home, "divisions").text = str(TICKS_PER_QUARTER)
        if first or key:
            signature = self.signature(key)
            self.inflections.new_signature(signature)
            write_key(home, signature, key)
        if change:
            write_time(home, change.metre)
        if first:
            write_clef(home, *(self.part.clef or clef_for(self.melody)))
            write_transpose(home, self.part.sounds_semitones)
        self.started = True

    def texts(self, bar: WrittenBar) -> list[tuple[int, Element]]:
        """Section marks and chord symbols of a bar with their onsets."""
        low, high = bar.bar.onset_ticks, bar.bar.onset_ticks + bar.bar.duration_ticks
        out: list[tuple[int, Element]] = []
        for mark in self.melody.marks:
            if low <= mark.onset_ticks < high and clean(mark.text):
                direction = Element("direction", {"placement": "above"})
                kind = SubElement(direction, "direction-type")
                SubElement(kind, "rehearsal").text = clean(mark.text)
                out.append((mark.onset_ticks, direction))
        tempo = self.melody.tempo_quarters_per_minute
        if tempo and self.measures == 1:
            sound = Element("sound", {"tempo": f"{tempo:.6g}"})
            out.append((low, sound))
        if bar.fault:
            direction = Element("direction", {"placement": "above"})
            kind = SubElement(direction, "direction-type")
            SubElement(kind, "words").text = f"without note values: {bar.fault}"
            out.append((low, direction))
        for onset, numeral in self.part.numerals:
            if low <= onset < high and clean(numeral):
                direction = Element("direction", {"placement": "below"})
                kind = SubElement(direction, "direction-type")
                SubElement(kind, "words").text = clean(numeral)
                out.append((onset, direction))
        first = self.melody.onset_ticks[0] if len(self.melody) else low
        for chord in self.melody.printed_chords:
            onset = (
                max(chord.onset_ticks, first) if self.part.excerpt else chord.onset_ticks
            )
            if low <= onset < high and (element := harmony(chord)) is not None:
                out.append((onset, element))
        return out

    def left_line(self, element: Element, bar: WrittenBar) -> None:
        """A repeat that begins, an ending that starts."""
        if not bar.bar.repeat_start and not bar.bar.ending:
            return
        line = SubElement(element, "barline", {"location": "left"})
        if bar.bar.ending:
            self.ending = ending_numbers(bar.bar.ending)
            SubElement(line, "ending", {"number": self.ending, "type": "start"})
        if bar.bar.repeat_start:
            SubElement(line, "repeat", {"direction": "forward"})

    def right_line(self, element: Element, bar: WrittenBar, ending_end: str) -> None:
        """The right bar line where it is not a plain one."""
        closes = self.ending and ending_end
        style = "light-heavy" if bar.bar.repeat_times else LINES.get(bar.bar.line)
        if not closes and not style:
            return
        line = SubElement(element, "barline", {"location": "right"})
        if style:
            SubElement(line, "bar-style").text = style
        if closes:
            kind = "stop" if ending_end == "closed" else "discontinue"
            SubElement(line, "ending", {"number": self.ending, "type": kind})
            self.ending = ""
        if bar.bar.repeat_times:
            repeat = SubElement(line, "repeat", {"direction": "backward"})
            if bar.bar.repeat_times > 2:
                repeat.set("times", str(bar.bar.repeat_times))

    # Notes

    def event(self, element: Element, bar: WrittenBar, event: Written) -> None:
        """A note, rest or blank, after its grace notes."""
        if event.blank:
            forward = SubElement(element, "forward")
            SubElement(forward, "duration").text = str(event.duration_ticks)
            return
        if event.note is not None and not event.tied_from:
            self.graces(element, event.note)
        note = SubElement(element, "note")
        alteration = None
        if event.note is None:
            SubElement(note, "rest")
        else:
            self.paint(note, event.note)
            alteration = self.pitch(note, event)
        SubElement(note, "duration").text = str(event.duration_ticks)
        for kind, wanted in (("stop", event.tied_from), ("start", event.tied_to)):
            if wanted:
                SubElement(note, "tie", {"type": kind})
        self.value(note, bar, event, alteration)
        self.notations(note, bar, event)
        if event.note is not None and not event.tied_from:
            self.words(note, event.note)

    def paint(self, note: Element, index: int) -> None:
        """The colour of the relation to the partner."""
        if self.part.relations:
            shape = RELATION_SHAPES.get(self.part.relations[index])
            if shape and shape.form not in {"cross", "dash"}:
                note.set("color", shape.colour.upper())

    def pitch(self, note: Element, event: Written) -> int | None:
        """Pitch; returns the accidental to print."""
        assert event.note is not None
        midi, fifths = self.melody.midi[event.note], self.melody.fifths[event.note]
        write_pitch(note, midi, fifths)
        return self.inflections.printed(midi, fifths, tied_from=event.tied_from)

    def graces(self, element: Element, index: int) -> None:
        """The grace notes before a note."""
        for grace in self.graces_of.get(index, ()):
            note = SubElement(element, "note")
            SubElement(note, "grace", {"slash": "yes"} if grace.slashed else {})
            write_pitch(note, grace.midi, grace.fifths)
            SubElement(note, "voice").text = "1"
            SubElement(note, "type").text = "eighth"
            printed = self.inflections.printed(grace.midi, grace.fifths)
            if printed is not None:
                SubElement(note, "accidental").text = ACCIDENTALS[printed]

    def value(
        self, note: Element, bar: WrittenBar, event: Written, alteration: int | None
    ) -> None:
        """Voice, written value, accidental, tuplet ratio and beams."""
        SubElement(note, "voice").text = "1"
        if event.value != UNVALUED:
            SubElement(note, "type").text = TYPES[event.value]
        for _ in range(event.dots):
            SubElement(note, "dot")
        if alteration is not None:
            SubElement(note, "accidental").text = ACCIDENTALS[alteration]
        if event.tuplet is not None:
            tuplet = bar.tuplets[event.tuplet]
            ratio = SubElement(note, "time-modification")
            SubElement(ratio, "actual-notes").text = str(tuplet.actual)
            SubElement(ratio, "normal-notes").text = str(tuplet.normal)
        if event.beam is not None:
            first, last = self.beams[event.beam]
            word = "end" if event is last else "begin" if event is first else "continue"
            SubElement(note, "beam", {"number": "1"}).text = word

    def notations(self, note: Element, bar: WrittenBar, event: Written) -> None:
        """Ties and tuplet brackets."""
        home = Element("notations")
        for kind, wanted in (("stop", event.tied_from), ("start", event.tied_to)):
            if wanted:
                SubElement(home, "tied", {"type": kind})
        if event.tuplet is not None:
            first, last = self.tuplets[event.tuplet]
            for kind, edge in (("start", first), ("stop", last)):
                if event is edge:
                    SubElement(home, "tuplet", {"type": kind})
        if len(home):
            note.append(home)

    def words(self, note: Element, index: int) -> None:
        """Syllables, and the degree below them in a comparison."""
        texts = [(w.verse, w.text) for w in self.words_of.get(index, ())]
        if self.part.degrees and (degree := self.part.degrees[index]) is not None:
            texts.append((max([v for v, _ in texts], default=0) + 1, degree_name(degree)))
        for verse, text in sorted(texts):
            if not clean(text):
                continue
            lyric = SubElement(note, "lyric", {"number": str(verse)})
            goes_on = len(text) > 1 and text.endswith("-")
            came = verse in self.open_words
            kinds = {(False, True): "begin", (True, True): "middle", (True, False): "end"}
            SubElement(lyric, "syllabic").text = kinds.get((came, goes_on), "single")
            self.open_words = (self.open_words - {verse}) | ({verse} if goes_on else set())
            SubElement(lyric, "text").text = clean(text[:-1] if goes_on else text)


def edges(
    bar: WrittenBar, group_of: Callable[[Written], int | None]
) -> dict[int, tuple[Written, Written]]:
    """First and last event of each group in a bar."""
    found: dict[int, tuple[Written, Written]] = {}
    for event in bar.events:
        group = group_of(event)
        if group is not None:
            found[group] = found.get(group, (event, event))[0], event
    return found


def rests_apart(bar: WrittenBar) -> Iterator[Written]:
    """The events of a bar; a silent bar longer than its metre has a rest for each length
    of it, since readers take one rest alone for a bar of the printed metre."""
    for event in bar.events:
        whole = bar.metre.bar_ticks if bar.metre else event.duration_ticks
        alone = event.note is None and not event.blank and len(bar.events) == 1
        if not alone or whole not in DOTTED or event.duration_ticks % whole:
            yield event
            continue
        value, dots = DOTTED[whole]
        for onset in range(0, event.duration_ticks, whole):
            yield replace(
                event,
                onset_ticks=event.onset_ticks + onset,
                duration_ticks=whole,
                value=value,
                dots=dots,
            )


def write_pitch(note: Element, midi: int, fifths: int) -> None:
    """Step, alteration and octave."""
    letter, alteration, octave = spelled(midi, fifths)
    pitch = SubElement(note, "pitch")
    SubElement(pitch, "step").text = letter
    if alteration:
        SubElement(pitch, "alter").text = str(alteration)
    SubElement(pitch, "octave").text = str(octave)


def write_key(home: Element, signature: int, change: KeyChange | None) -> None:
    """A key signature, with its mode unless it is drawn under another key's."""
    key = SubElement(home, "key")
    SubElement(key, "fifths").text = str(signature)
    is_own = change and change.signature_fifths == signature
    if change and is_own and change.stated and change.key.mode in MODES:
        SubElement(key, "mode").text = change.key.mode


def write_time(home: Element, metre: Metre | None) -> None:
    """A time signature, or word that there is none."""
    time = SubElement(home, "time")
    if metre is None:
        SubElement(time, "senza-misura")
        return
    if metre.symbol in {"C", "C|"}:
        time.set("symbol", "common" if metre.symbol == "C" else "cut")
    count = "+".join(map(str, metre.groups)) if metre.groups else str(metre.numerator)
    SubElement(time, "beats").text = count
    SubElement(time, "beat-type").text = str(metre.denominator)


def write_clef(home: Element, shape: str, line: int, octaves: int) -> None:
    """A clef."""
    clef = SubElement(home, "clef")
    SubElement(clef, "sign").text = shape
    SubElement(clef, "line").text = str(line)
    if octaves:
        SubElement(clef, "clef-octave-change").text = str(octaves)


def write_transpose(home: Element, semitones: int) -> None:
    """From written to sounding pitch; nothing where they are the same."""
    if not semitones:
        return
    octaves = int(semitones / 12)
    rest = semitones - 12 * octaves
    transpose = SubElement(home, "transpose")
    SubElement(transpose, "diatonic").text = str(diatonic_steps(rest))
    SubElement(transpose, "chromatic").text = str(rest)
    if octaves:
        SubElement(transpose, "octave-change").text = str(octaves)


def ending_numbers(text: str) -> str:
    """The numbers of an ending as the standard wants them: ``1, 2``."""
    return ",".join(re.findall(r"[1-9]\d*", text)) or "1"


def harmony(chord: ChordSymbol) -> Element | None:
    """A chord symbol, None where it names no root."""
    text = chord.text.replace("♭", "b").replace("♯", "#")
    found = re.fullmatch(r"([A-G])([#b]*)(.*?)(?:/([A-G])([#b]*))?", text)
    element = Element("harmony")
    if text in {"N.C.", "NC"}:
        root = SubElement(element, "root")
        SubElement(root, "root-step", {"text": ""}).text = "C"
        SubElement(element, "kind", {"text": "N.C."}).text = "none"
        return element
    if not found:
        return None
    letter, signs, rest, bass, bass_signs = found.groups()
    write_root(element, "root", letter, signs)
    rest = clean(rest)
    SubElement(element, "kind", {"text": rest}).text = KINDS.get(rest, "other")
    if bass:
        write_root(element, "bass", bass, bass_signs)
    return element


def write_root(home: Element, name: str, letter: str, signs: str) -> None:
    """The root or the bass of a chord symbol."""
    element = SubElement(home, name)
    SubElement(element, f"{name}-step").text = letter
    if signs:
        alteration = signs.count("#") - signs.count("b")
        SubElement(element, f"{name}-alter").text = str(alteration)
