"""One piece of a Humdrum file, walked line by line into parts like those of MusicXML.

Conventions: every ``**kern`` spine is a part; the one on the right is the top of the
score. What stands on one line sounds together: a line begins where the notes end that
the new ones follow. A bar ends where most strands have come to; a rest that is written
longer than its bar ends with it. Words (``**text``, ``**silbe``) belong to the notes on
their left, loudness (``**dynam``) to the part there, chord symbols (``**mxhm``) to the
whole piece. Other spines are left aside and
named. Repeats and endings are kept as marks and not played.

References
----------
Humdrum user guide, syntax and ``**kern``. From memory, and tried against music21's
reading.

Contents: KernLine, KernPart, KernPiece, walk_piece.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from unicodedata import normalize

from melodex.errors import HostileInputError, ReadingError
from melodex.melody import (
    TICKS_PER_QUARTER,
    ChordSymbol,
    Key,
    KeyChange,
    MetreChange,
    SectionMark,
)
from melodex.reading.bounded import one_line, settle
from melodex.reading.common.parts import Oddities, PartSheet, WrittenNote
from melodex.reading.humdrum.bars import BarBook
from melodex.reading.humdrum.dynam import Loudness
from melodex.reading.humdrum.references import record_of
from melodex.reading.humdrum.signs import (
    BarSign,
    bar_sign,
    chord_symbol,
    clef_name,
    metre_sign,
    metre_symbol,
    signature_sign,
    tempo_sign,
    tonic_sign,
)
from melodex.reading.humdrum.spines import MOST_STRANDS, Strand, next_row
from melodex.reading.humdrum.tokens import KernNote, notes_of

__all__ = ["KernLine", "KernPart", "KernPiece", "walk_piece"]

MOST_NOTES = 400_000
"""Of a piece: ten times the longest quartet of music21's corpus, for every part."""
MOST_MARKS = 2000  # of a piece: names of sections; of a part: signs of loudness
FINEST = 1 << 64
"""Parts of a tick that places may lie apart: lengths of 2, 3, 5 ... 53 to a whole note all
at once, each dotted, have fewer; adding up far finer ones takes longer with every note."""

WORDS = {"**text", "**silbe", "**lyrics"}
CHORDS, DYNAMICS = "**mxhm", "**dynam"

KernLine = tuple[int, str]
"""Number of a line in its file, from 1, and its text."""


@dataclass(slots=True)
class KernPart:
    """A spine of notes: how it is named, and all that stands in it."""

    sheet: PartSheet
    name: str = ""
    code: str = ""
    abbreviation: str = ""
    clef: str = ""
    signature: int = 0
    unpitched: bool = False


@dataclass(slots=True)
class KernPiece:
    """The parts of a piece from the top of the score, and what is said about it."""

    parts: list[KernPart] = field(default_factory=list)
    records: list[tuple[str, str]] = field(default_factory=list)
    left_aside: list[str] = field(default_factory=list)
    oddities: Oddities = field(default_factory=Oddities)


def walk_piece(lines: Sequence[KernLine]) -> KernPiece:
    """Read every line of a piece.

    Raises
    ------
    ReadingError
        If a line cannot be read; ``where`` is its number.
    HostileInputError
        If a limit is passed.
    """
    walk = PieceWalk()
    for number, text in lines:
        try:
            walk.read_line(text)
        except HostileInputError as error:
            raise HostileInputError(
                error.what, limit=error.limit, where=str(number)
            ) from error
        except ReadingError as error:
            raise ReadingError(error.what, where=str(number), hint=error.hint) from error
    return walk.finished()


class PieceWalk:
    """Where the walk through a piece stands."""

    def __init__(self) -> None:
        self.piece = KernPiece()
        self.row: list[Strand] = []
        self.spines = 0
        self.by_spine: dict[int, KernPart] = {}
        self.bars = BarBook()
        self.chords: list[ChordSymbol] = []
        self.marks: dict[int, SectionMark] = {}
        self.labels: set[str] = set()
        self.loudness: dict[int, Loudness] = {}
        self.tempo: float | None = None
        self.note_count = 0

    def read_line(self, text: str) -> None:
        """Read one line of the file."""
        if not text:
            return
        if text.startswith("!!"):
            record = record_of(text)
            if record:
                self.piece.records.append(record)
            return
        if text[0] == "!":
            return
        tokens = text.split("\t")
        if not self.row:
            self.begin(tokens)
            return
        if len(tokens) != len(self.row):
            tokens = [token for token in tokens if token]
        if len(tokens) != len(self.row):
            raise ReadingError(
                f"{len(tokens)} columns stand here where the lines above lead to "
                f"{len(self.row)}",
                hint="columns are parted by one tab; *^ splits one, *v joins some",
            )
        if tokens[0][:1] == "*":
            self.interpret(tokens)
        elif tokens[0][:1] == "=":
            self.read_bar_line(bar_sign(tokens[0]))
        else:
            self.read_data(tokens)

    def begin(self, tokens: list[str]) -> None:
        """Begin the spines."""
        if not all(token.startswith("**") for token in tokens):
            raise ReadingError(
                "a line of notes or signs before the spines are named",
                hint="a piece begins with a line such as **kern",
            )
        if len(tokens) > MOST_STRANDS:
            raise HostileInputError(
                f"more than {MOST_STRANDS} columns of notes", limit=MOST_STRANDS
            )
        self.row = [Strand(place) for place in range(len(tokens))]
        self.spines = len(tokens)
        self.interpret(tokens)

    # Signs

    def interpret(self, tokens: list[str]) -> None:
        """Read a line of interpretations."""
        for strand, token in zip(self.row, tokens, strict=True):
            if token.startswith("**"):
                strand.kind = token
                self.name_spine(strand)
            elif strand.sounds and len(token) > 2:
                self.read_sign(self.by_spine[strand.spine], token, round(strand.end))
        if any(token.startswith("*>") for token in tokens):
            self.read_label(next(token for token in tokens if token.startswith("*>")))
        self.row, self.spines = next_row(self.row, tokens, self.spines)

    def name_spine(self, strand: Strand) -> None:
        """Begin the part of a spine of notes; name a spine that is left aside."""
        if strand.sounds:
            self.by_spine.setdefault(strand.spine, KernPart(PartSheet()))
        elif strand.kind not in WORDS and strand.kind not in {CHORDS, DYNAMICS}:
            name = one_line(strand.kind)[:30]
            if name not in self.piece.left_aside and len(self.piece.left_aside) < 20:
                self.piece.left_aside.append(name)

    def read_sign(self, part: KernPart, token: str, place: int) -> None:
        """Read a sign of a spine of notes."""
        sheet = part.sheet
        if token.startswith("*k["):
            signature = signature_sign(token)
            if signature is not None:
                part.signature = signature
                key = Key(signature, "major")
                settle(sheet.keys, KeyChange(place, key, signature, False))
        elif token.startswith("*MM"):
            self.tempo = self.tempo or tempo_sign(token)
        elif token.startswith("*M"):
            settle(sheet.metres, MetreChange(place, metre_sign(token)))
        elif token.startswith("*met("):
            held = sheet.metres[-1].metre if sheet.metres else None
            signed = metre_symbol(token, held)
            if signed and sheet.metres[-1].onset_ticks == place:
                sheet.metres[-1] = MetreChange(place, signed)
        elif token.startswith("*clef"):
            part.clef = part.clef or clef_name(token)
            part.unpitched = clef_name(token) == "X"
        elif token.startswith("*I"):
            name_part(part, token)
        elif (key_said := tonic_sign(token)) is not None:
            stated = key_said.mode != "none"
            change = KeyChange(place, key_said, part.signature, True)
            if stated or not sheet.keys:
                settle(sheet.keys, change)

    def read_label(self, token: str) -> None:
        """Read the name of a section; ``A2`` after ``A`` is an ending of it."""
        found = re.fullmatch(r"\*>([^\[\],\t]{1,60})", token)
        if not found or len(self.marks) >= MOST_MARKS:
            return
        label = one_line(found[1])
        base = re.fullmatch(r"(.*\D)(\d)", label)
        if base and base[1] in self.labels:
            self.bars.ending = base[2]
        else:
            place = self.reached()
            self.marks[place] = SectionMark(label, self.bars.shown_number, place)
        self.labels.add(label)

    # Notes

    def reached(self) -> int:
        """Where most strands of notes have come to."""
        ends = [strand.end for strand in self.row if strand.sounds and strand.kind]
        if not ends:
            return self.bars.start
        tally = Counter(ends)
        most = max(tally.values())
        places = sorted(place for place in tally if tally[place] == most)
        full = self.bars.start + self.full_bar()
        return round(full if full in places else places[-1])

    def full_bar(self) -> int:
        """Length of a full bar by the metre that holds; a whole note without one."""
        for part in self.by_spine.values():
            if part.sheet.metres:
                metre = part.sheet.metres[-1].metre
                return metre.bar_ticks if metre else 4 * TICKS_PER_QUARTER
        return 4 * TICKS_PER_QUARTER

    def read_data(self, tokens: list[str]) -> None:
        """Read what sounds together."""
        read = {}
        ends: set[int | Fraction] = set()
        for place, (strand, token) in enumerate(zip(self.row, tokens, strict=True)):
            if strand.sounds and token != "." and token:
                notes = notes_of(token)
                read[place] = notes
                if not notes[0].grace:
                    ends.add(strand.end)
        if len(ends) > 1:
            self.odd("the lengths of notes above each other do not add up")
        time = max(ends) if ends else None
        begun: dict[int, WrittenNote] = {}
        verses: dict[int, int] = {}
        left = -1
        for place, (strand, token) in enumerate(zip(self.row, tokens, strict=True)):
            if strand.sounds:
                left = strand.spine
                if place in read:
                    self.keep(strand, read[place], time, begun)
            elif strand.kind in WORDS:
                verses[left] = verses.get(left, 0) + 1
                if token != "." and left in begun:
                    hang_syllable(begun[left], token, verses[left])
            elif token != "." and time is not None:
                self.keep_beside(strand, left, token, round(time))

    def keep_beside(self, strand: Strand, left: int, token: str, place: int) -> None:
        """Keep a chord symbol, or the loudness of the part on the left."""
        if strand.kind == CHORDS:
            self.keep_chord(token, place)
        elif strand.kind == DYNAMICS and left in self.by_spine:
            marks = self.by_spine[left].sheet.dynamics
            if len(marks) < MOST_MARKS:
                marks += self.loudness.setdefault(strand.spine, Loudness()).read(
                    token, place
                )

    def keep(
        self,
        strand: Strand,
        notes: tuple[KernNote, ...],
        time: int | Fraction | None,
        begun: dict[int, WrittenNote],
    ) -> None:
        """Keep the notes of one strand that begin here, and move on."""
        part = self.by_spine[strand.spine]
        onset = strand.end if notes[0].grace or time is None else time
        end = onset
        self.note_count += len(notes)
        if self.note_count > MOST_NOTES:
            raise HostileInputError(
                f"a piece of more than {MOST_NOTES} notes", limit=MOST_NOTES
            )
        for place, note in enumerate(notes):
            if note.ticks is None:
                raise ReadingError("a note without a length")
            if part.unpitched and note.midi >= 0:
                part.sheet.unpitched += 1
            else:
                written = self.written(strand, note, onset, place > 0)
                part.sheet.notes.append(written)
                if not note.grace and not place:
                    begun.setdefault(strand.spine, written)
            if not note.grace:
                end = max(end, onset + note.ticks)
        if not notes[0].grace:
            if end.denominator > FINEST:
                self.odd("lengths have no beat in common and are put on ticks")
                end = round(end)
            strand.end = end
            strand.resting = notes[0].midi < 0

    def written(
        self, strand: Strand, note: KernNote, onset: int | Fraction, in_chord: bool
    ) -> WrittenNote:
        """A note as a part keeps it."""
        start = round(onset)
        return WrittenNote(
            start,
            round(onset + (note.ticks or 0)) - start,
            note.midi,
            note.fifths,
            str(strand.voice),
            "1",
            len(self.bars.records),
            in_chord,
            grace=note.grace,
            slashed=note.slashed,
            tie_start=note.tie_start,
            tie_stop=note.tie_stop,
            ratio=note.ratio,
            held=note.held,
            phrase_end=note.phrase_stop,
        )

    def keep_chord(self, token: str, place: int) -> None:
        """Keep a chord symbol."""
        text = chord_symbol(token)
        if text:
            self.chords.append(ChordSymbol(text, self.bars.shown_number, place))
        else:
            self.odd("a chord without a root name is left out")

    def odd(self, what: str) -> None:
        """Remember something that was mended in this bar."""
        self.piece.oddities.note(what, self.bars.shown_number)

    # Bars

    def read_bar_line(self, sign: BarSign) -> None:
        """Close the bar that ends here, and open the next one."""
        end = self.reached()
        for strand in self.row:
            if strand.resting and strand.end > end:
                strand.end = end
            elif strand.end < end:
                if strand.sounds:
                    self.odd("the lengths of a voice do not fill the bar")
                strand.end = end
        if end > self.bars.start:
            self.bars.close(end, self.full_bar(), sign)
        self.bars.open(sign)

    def finished(self) -> KernPiece:
        """The piece, its last bar closed, what all parts share given to each."""
        ends = [n.onset_ticks + n.duration_ticks for n in self.all_notes()]
        last = max(ends, default=self.bars.start)
        if last > self.bars.start:
            self.bars.close(last, self.full_bar(), BarSign())
        marks = [self.marks[place] for place in sorted(self.marks)]
        for spine in sorted(self.by_spine, reverse=True):
            part = self.by_spine[spine]
            sheet = part.sheet
            sheet.bars, sheet.offsets = list(self.bars.records), list(self.bars.offsets)
            sheet.chords, sheet.marks = list(self.chords), list(marks)
            sheet.tempo = self.tempo
            into_bars(sheet)
            self.piece.parts.append(part)
        return self.piece

    def all_notes(self) -> list[WrittenNote]:
        """The notes of every part."""
        return [note for part in self.by_spine.values() for note in part.sheet.notes]


def into_bars(sheet: PartSheet) -> None:
    """Settle the bar of each note and sign by where the bars came to lie."""
    last = max(len(sheet.bars) - 1, 0)
    for note in sheet.notes:
        note.measure = min(note.measure, last)
    starts = [bar.onset_ticks for bar in sheet.bars] or [0]
    numbers = [bar.number for bar in sheet.bars] or [0]

    def number_at(place: int) -> int:
        return numbers[max(bisect_right(starts, place) - 1, 0)]

    sheet.chords = [replace(c, bar=number_at(c.onset_ticks)) for c in sheet.chords]
    sheet.marks = [replace(m, bar=number_at(m.onset_ticks)) for m in sheet.marks]


def name_part(part: KernPart, token: str) -> None:
    """Take the name of a part, its short name, or the code of its instrument."""
    if token.startswith('*I"'):
        part.name = one_line(token[3:])[:80]
    elif token.startswith("*I:"):
        part.name = part.name or one_line(token[3:]).strip("[] ").capitalize()[:80]
    elif token.startswith("*I'"):
        part.abbreviation = one_line(token[3:])[:40]
    elif token[2:3].islower():
        part.code = token[2:12]


def hang_syllable(note: WrittenNote, token: str, verse: int) -> None:
    """Put a syllable under a note; hyphens at its end join it to the next."""
    text = one_line(token).strip()
    # A bar of its own, or a line, holds the syllable before it.
    text = re.sub(r"\\([aouAOU])3", umlaut, text.lstrip("-").strip("|_"))
    if text.strip("-") and verse <= 20:
        note.lyrics = (*note.lyrics, (verse, text))


def umlaut(found: re.Match[str]) -> str:
    """The letter that older ``**silbe`` spines write as ``\\o3``."""
    return normalize("NFC", found[1] + "\u0308")
