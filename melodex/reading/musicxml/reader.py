"""MusicXML sheets, plain or compressed, become one melody each, or one for every line.

Conventions: partwise sheets up to version 4.0, and timewise ones. The melody, or main
line, is the part and voice that were chosen, else the top voice of the part that a
listener follows: one called voice, solo or melody, else the first one with words, else
the first called soprano or the like, else the first one with notes. Where the main line
alone is read, what else there was is said in a warning; where all are, they come after it
in the order of the score. Pitches, keys and chords are as they sound. Chord symbols and
section marks that stand in another part belong to the whole sheet and are taken from
there when the main line's part has none. Repeats and endings are kept as marks and not
played.

References
----------
MusicXML 4.0 (W3C Music Notation Community Group, 2021).

Contents: Part, read_musicxml, read_parts.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from itertools import accumulate
from typing import Any
from xml.etree.ElementTree import Element

from melodex.errors import ReadingError
from melodex.melody import Credits, Melody, beat_strength
from melodex.melody.score_line import ScoreLine
from melodex.melody.texture import Texture, names_harmony
from melodex.reading.bounded import one_line
from melodex.reading.common.carried import FIELD, restored
from melodex.reading.common.fermatas import phrases_held
from melodex.reading.common.parts import Oddities, PartSheet, WrittenNote
from melodex.reading.lines import ReadLine, pieced, rank_of_line, read_tunes
from melodex.reading.musicxml.line import (
    Line,
    VoiceName,
    choose_voice,
    single_line,
)
from melodex.reading.musicxml.package import sheet_root
from melodex.reading.musicxml.part import walk_part
from melodex.reading.musicxml.scored import (
    VoiceLine,
    clef_of,
    part_lines,
    transposition_semitones_of,
)
from melodex.reading.musicxml.sounding import MOST_SOUNDING, part_notes
from melodex.reading.result import Choice, FileReading, Refusal

__all__ = ["Part", "read_musicxml", "read_parts"]

YEAR = re.compile(r"(?<!\d)(1[2-9]\d\d|20\d\d)(?!\d)")


@dataclass(slots=True)
class Part:
    """A part of the sheet: position from 1, names, instrument, and its element."""

    position: int
    name: str
    names: frozenset[str]
    element: Element
    instrument: str = ""
    is_one_of_many: bool = False
    walked: PartSheet | None = None

    def __str__(self) -> str:
        return self.name or f"part {self.position}"

    def sheet(self) -> PartSheet:
        """Everything in it, walked once.

        Raises
        ------
        ReadingError
            If it cannot be read.
        """
        if self.walked is None:
            self.walked = walk_part(self.element)
        return self.walked

    @property
    def rank(self) -> int:
        """How readily a listener follows it: by its name, then for its words."""
        words = (lyric.findtext("text") or "" for lyric in self.element.iter("lyric"))
        return rank_of_line(self.name, words)

    def clef(self, staff: str) -> str:
        """First printed clef of a staff."""
        return clef_of(self.element, staff)


def read_musicxml(
    data: bytes, source: str, choice: Choice, *, packed: bool = False
) -> FileReading:
    """Read the melody of a MusicXML file.

    Parameters
    ----------
    data : bytes
        What the file holds.
    source : str
        What to call the file in messages and credits.
    choice : Choice
        Part by name or position, voice by number, note of a chord.
    packed : bool
        Whether the file is a compressed ``.mxl``.

    Returns
    -------
    FileReading
        One tune, or all lines of the piece as the choice says, or one refusal that
        says why there is none. Their ``kept`` is the file; reading it again takes the
        same choice.
    """
    kept_format = "mxl" if packed else "musicxml"
    try:
        root = sheet_root(data, packed=packed)
        lines, texture = read_sheet(root, source, choice)
    except ReadingError as error:
        refusal = Refusal.of(error, source)
        return FileReading(source, refusals=(refusal,))
    return FileReading(source, tunes=read_tunes(lines, data, kept_format, texture))


def read_sheet(
    root: Element, source: str, choice: Choice
) -> tuple[list[tuple[ReadLine, ScoreLine]], Texture | None]:
    """The lines of a sheet, the main one first, and all notes of unnamed harmony."""
    parts = list(parts_of(root))
    if not parts:
        raise ReadingError("the sheet has no parts")
    fields = root.iterfind("identification/miscellaneous/miscellaneous-field")
    carried = [field.text or "" for field in fields if field.get("name") == FIELD]
    credited = asdict(credits_of(root)) | {"source": source}
    del credited["number"]
    return read_parts(parts, choice, credited, carried)


def read_parts(
    parts: list[Part],
    choice: Choice,
    credited: dict[str, Any],
    carried: Sequence[str] = (),
) -> tuple[list[tuple[ReadLine, ScoreLine]], Texture | None]:
    """The lines of some parts, from whatever notation they come.

    Parameters
    ----------
    parts : list of Part
        In the order of the score.
    choice : Choice
        Which line is the main one, and whether the others are read.
    credited : dict
        Fields of the credits; without a ``number`` the position of the part is it.
    carried : sequence of str
        What an export of ours says beside the notation.

    Returns
    -------
    lines : list of (ReadLine, ScoreLine)
        The main one first, then the others in the order of the score.
    texture : Texture or None
        All notes, where no chords are printed and some sound together.
    """
    part, sheet = chosen_part(parts, choice)
    none = ("1", "1"), list[WrittenNote](), list[str]()
    found = choose_voice(sheet, choice.voice) if sheet.pitched else none
    if found is None:
        raise ReadingError(
            f"{part} has no voice {choice.voice!r} with notes",
            hint=f"voices: {', '.join(sorted({n.voice for n in sheet.notes}))[:200]}",
        )
    voice, notes, other_voices = found
    others = [other for other in parts if other is not part]
    wants_all = choice.lines != "top" and sheet.pitched > 0
    credited = {"number": str(part.position), **credited}
    # Of the other lines each has the signs of its own part, before any are borrowed.
    beside, said = other_lines(parts, part, voice, choice) if wants_all else ([], [])
    borrow_signs(sheet, others)
    # Printed chords say what the harmony is; without them the notes do. They are taken
    # first: making one line lengthens and cuts notes.
    texture = texture_of(part, sheet, others)
    if texture and names_harmony(len(sheet.chords), len(sheet.bars)):
        texture = replace(texture, named=True)
    line = single_line(notes, sheet, choice, sheet.oddities)
    melody = melody_of(line, sheet).with_credits(**{**credited, "part": part.name})
    for text in carried:
        melody = restored(melody, text)
    main = read_line(part, VoiceLine(voice, 0, notes, beside_name(sheet, voice)), melody)
    main.is_main = True
    if not wants_all:
        said = left_aside(part, parts, voice[0], other_voices)
        main.warnings = [*said, *sheet.oddities.texts()]
        alone = ScoreLine(
            part=part.name,
            instrument=part.instrument,
            transposition_semitones=main.transposition_semitones,
        )
        if alone.transposition_semitones:
            main.melody = main.melody.with_line(alone)
        return [(main, alone)], texture
    made = [
        line_of_part(where, held, choice, {**credited, "part": where.name})
        for where, held in beside
    ]
    placed, aside = pieced([main, *made], as_written=choice.lines == "written")
    main.warnings = [*said, *aside, *sheet.oddities.texts()]
    return placed, texture


def other_lines(
    parts: list[Part], main: Part, voice: VoiceName, choice: Choice
) -> tuple[list[tuple[Part, VoiceLine]], list[str]]:
    """Every line of a sheet but the main one, and which parts cannot be read."""
    found: list[tuple[Part, VoiceLine]] = []
    said = []
    for part in parts:
        try:
            sheet = part.sheet()
        except ReadingError as error:
            said.append(f"left aside {part}: {error.what}")
            continue
        if sheet.unpitched and not sheet.pitched:
            said.append(f"left aside {part}: percussion without pitch")
        elif not sheet.pitched:
            said.append(f"left aside {part}: it has no notes")
        kept = choice.chord_note if part is main else "top"
        for line in part_lines(sheet, kept):
            if not (part is main and (line.voice, line.level) == (voice, 0)):
                found.append((part, line))
    return found, said


def beside_name(sheet: PartSheet, voice: VoiceName) -> str:
    """What the main line is called in its part."""
    named = [line for line in part_lines(sheet, "top") if not line.level]
    return next((line.name for line in named if line.voice == voice), "")


def line_of_part(
    part: Part, line: VoiceLine, choice: Choice, credited: dict[str, Any]
) -> ReadLine:
    """One line of a part, made into a melody."""
    sheet, odd = part.sheet(), Oddities()
    single = single_line(line.notes, sheet, replace(choice, chord_note="top"), odd)
    made = read_line(part, line, melody_of(single, sheet).with_credits(**credited))
    # What chords have beside their top is in the other lines.
    made.warnings = [text for text in odd.texts() if not text.startswith("of a chord")]
    return made


def read_line(part: Part, line: VoiceLine, melody: Melody) -> ReadLine:
    """A line with what its part says about it."""
    # Of chords the line has one note each; its height is that of those.
    height = sum(melody.midi) / len(melody) if len(melody) else 0.0
    staff = line.voice[1]
    order = (part.position, float(staff) if staff.isdigit() else 0.0, -height)
    return ReadLine(
        melody,
        order,
        part=part.name or (f"part {part.position}" if part.is_one_of_many else ""),
        voice=line.name,
        instrument=part.instrument,
        clef=part.clef(staff),
        transposition_semitones=transposition_semitones_of(part.element),
    )


def parts_of(root: Element) -> Iterator[Part]:
    """The parts in order, with every name that they go by."""
    listed = {entry.get("id"): entry for entry in root.iterfind("part-list/score-part")}
    elements = root.findall("part")
    for position, element in enumerate(elements, 1):
        entry = listed.get(element.get("id"))
        names = []
        if entry is not None:
            for tag in ("part-name", "part-abbreviation"):
                names.append(one_line(entry.findtext(tag)))
        known = {name.casefold() for name in [*names, element.get("id") or ""] if name}
        played = "" if entry is None else entry.findtext("score-instrument/instrument-name")
        yield Part(
            position,
            names[0] if names else "",
            frozenset(known),
            element,
            one_line(played),
            len(elements) > 1,
        )


def chosen_part(parts: list[Part], choice: Choice) -> tuple[Part, PartSheet]:
    """The part that was asked for, else of those with notes the one to be followed."""
    candidates, wanted = sorted(parts, key=lambda part: part.rank), choice.part
    chords = None
    if wanted:
        candidates = [p for p in parts if wanted.strip().casefold() in p.names]
        candidates = candidates or [p for p in parts if str(p.position) == wanted.strip()]
    unpitched = False
    for part in candidates:
        sheet = part.sheet()
        if sheet.pitched:
            return part, sheet
        unpitched = unpitched or bool(sheet.unpitched)
        chords = chords or ((part, sheet) if sheet.chords else None)
    if chords is not None and choice.chords_alone:
        return chords
    listed = ", ".join(f"{p.position} {p.name}".strip() for p in parts)[:300]
    if wanted and not candidates:
        raise ReadingError(f"no part is called {wanted!r}", hint=f"parts: {listed}")
    if wanted:
        raise ReadingError(
            f"{candidates[0]} has no notes with a pitch", hint=f"parts: {listed}"
        )
    if unpitched:
        raise ReadingError("only percussion without pitch is written here")
    if chords is not None:
        raise ReadingError(
            "the sheet has chords and no notes", hint="describe reads such sheets"
        )
    raise ReadingError("the sheet has no notes")


def borrow_signs(sheet: PartSheet, others: list[Part]) -> None:
    """Take chords, section marks and dynamics from another part, where this has none."""
    for part in others:
        wants_chords = not sheet.chords and next(part.element.iter("harmony"), None)
        wants_marks = not sheet.marks and next(part.element.iter("rehearsal"), None)
        wants_signs = not sheet.dynamics and next(part.element.iter("dynamics"), None)
        wanted = (wants_chords, wants_marks, wants_signs)
        if all(sign is False for sign in wanted):
            return
        if not any(sign is not None and sign is not False for sign in wanted):
            continue
        try:
            other = part.sheet()
        except ReadingError:
            # A quarter tone in a part that nobody asked for refuses nothing.
            continue
        sheet.chords = sheet.chords or other.chords
        sheet.marks = sheet.marks or other.marks
        sheet.dynamics = sheet.dynamics or other.dynamics


def texture_of(part: Part, sheet: PartSheet, others: list[Part]) -> Texture | None:
    """Every note of every part that can be read; None where nothing sounds together."""
    lines: list[str] = []
    notes = part_notes(sheet, str(part), lines)
    for other in others:
        try:
            notes += part_notes(other.sheet(), str(other), lines)
        except ReadingError:
            # A part that cannot be read keeps nobody from hearing the others.
            continue
        if len(notes) > MOST_SOUNDING:
            return None
    texture = Texture.of(notes, lines)
    return texture if texture.is_chordal else None


def left_aside(
    part: Part, parts: list[Part], voice: str, other_voices: list[str]
) -> list[str]:
    """Say which part and voice were read where there was a choice."""
    said = []
    others = [str(other) for other in parts if other is not part]
    if others:
        more = f" and {len(others) - 6} more" if len(others) > 6 else ""
        said.append(
            f"read part {part.position}, {part}; left aside {', '.join(others[:6])}{more}"
        )
    if other_voices:
        said.append(f"read voice {voice}; left aside voice {', '.join(other_voices[:8])}")
    return said


def credits_of(root: Element) -> Credits:
    """Title, makers and rights as the sheet states them."""
    work = one_line(root.findtext("work/work-title"))
    movement = one_line(root.findtext("movement-title"))
    if work and movement and movement.casefold() not in work.casefold():
        title = f"{work}: {movement}"
    else:
        title = work or movement or printed_title(root)
    makers: dict[str, list[str]] = {}
    for creator in root.iterfind("identification/creator"):
        kind = creator.get("type", "composer").strip().lower()
        kind = "lyricist" if kind == "poet" else kind
        makers.setdefault(kind, []).append(one_line(creator.text))
    rights = [one_line(text.text) for text in root.iterfind("identification/rights")]
    year = YEAR.search(one_line(root.findtext("identification/source")))
    return Credits(
        title=title[:500],
        composer=", ".join(filter(None, makers.get("composer", [])))[:500],
        lyricist=", ".join(filter(None, makers.get("lyricist", [])))[:500],
        year=int(year[1]) if year else None,
        collection=whole_of(root)[:500],
        rights="; ".join(filter(None, rights))[:500],
    )


def whole_of(root: Element) -> str:
    """The larger whole that the sheet is said to be part of (Dublin Core: isPartOf)."""
    for relation in root.iterfind("identification/relation"):
        if relation.get("type", "").casefold() == "ispartof":
            return one_line(relation.text)
    return ""


def printed_title(root: Element) -> str:
    """The words that the page prints as its title, where no field states one."""
    for credit in root.findall("credit"):
        if (credit.findtext("credit-type") or "").strip() == "title":
            return one_line(credit.findtext("credit-words"))
    return ""


def phrases_of(notes: Sequence[WrittenNote]) -> tuple[int, ...]:
    """The phrase of each note, as it is marked, else by fermatas; else all one."""
    if not any(note.phrase_end for note in notes):
        return phrases_held([note.held for note in notes]) or (0,) * len(notes)
    ends = accumulate((note.phrase_end for note in notes[:-1]), initial=0)
    return tuple(map(int, ends))


def melody_of(line: Line, sheet: PartSheet) -> Melody:
    """Lay a line and its part's signs out in columns."""
    notes = line.notes
    metres = [change.metre for change in sheet.metres]
    starts = [change.onset_ticks for change in sheet.metres]
    strengths = []
    place = -1
    # A line stands on few places of its bars: a metre is long to look up by.
    known: dict[tuple[int, int], float] = {}
    for note in notes:
        bar = sheet.bars[note.measure]
        while place + 1 < len(starts) and starts[place + 1] <= bar.onset_ticks:
            place += 1
        offset = note.onset_ticks - bar.onset_ticks + sheet.offsets[note.measure]
        strength = known.get((place, offset))
        if strength is None:
            metre: Any = metres[place] if place >= 0 else None
            strength = known[place, offset] = beat_strength(offset, metre)
        strengths.append(strength)
    return Melody(
        midi=tuple(note.midi for note in notes),
        fifths=tuple(note.fifths for note in notes),
        onset_ticks=tuple(note.onset_ticks for note in notes),
        duration_ticks=tuple(note.duration_ticks for note in notes),
        bar=tuple(sheet.bars[note.measure].number for note in notes),
        beat_strength=tuple(strengths),
        phrase=phrases_of(notes),
        bars=tuple(sheet.bars),
        keys=tuple(sheet.keys),
        metres=tuple(sheet.metres),
        chords=tuple(sorted(sheet.chords, key=lambda chord: chord.onset_ticks)),
        marks=tuple(sorted(sheet.marks, key=lambda mark: mark.onset_ticks)),
        graces=tuple(line.graces),
        tuplets=tuple(line.tuplets),
        lyrics=tuple(line.lyrics),
        dynamics=tuple(sorted(sheet.dynamics, key=lambda sign: sign.onset_ticks)),
        tempo_quarters_per_minute=sheet.tempo,
    )
