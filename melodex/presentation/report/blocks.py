"""What the pages of several tasks have in common: two melodies, drawn and played.

Contents: Laid, laid_out, numerals_of, picture_of, player_of, solo_player, pairs_table,
midi_link, common_key_words, remark_sections, rights_lines, shown_title,
expected_text.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import PurePath

from melodex.analysis.harmony.placed import place_chords
from melodex.melody import (
    TICKS_PER_QUARTER,
    Melody,
    bars_text,
    degree_name,
    note_name,
    pitch_class_name,
)
from melodex.presentation.engraving.layout import StaffPart
from melodex.presentation.engraving.pictures import engrave
from melodex.presentation.engraving.sides import parts_of
from melodex.presentation.engraving.words import with_signs
from melodex.presentation.notation.midi import DEFAULT_TEMPO, midi_bytes
from melodex.presentation.report.page import Facts, Links, Picture, Player, Section, Table
from melodex.tasks.compare.likeness import RELATIONS, Likeness
from melodex.tasks.compare.sentences import interval_text
from melodex.tasks.passage import Passage

__all__ = [
    "Laid",
    "common_key_words",
    "expected_text",
    "laid_out",
    "midi_link",
    "numerals_of",
    "pairs_table",
    "picture_of",
    "player_of",
    "remark_sections",
    "rights_lines",
    "shown_title",
    "solo_player",
]

MIDI = "audio/midi"


@dataclass(frozen=True, slots=True)
class Laid:
    """Two melodies with what lies between them, ready to be drawn and played."""

    a: Melody
    b: Melody
    likeness: Likeness
    parts: tuple[StaffPart, StaffPart]
    pairs: tuple[tuple[int, int], ...]

    @property
    def relations(self) -> tuple[str, ...]:
        """The relations that occur, in their usual order."""
        seen = {r for part in self.parts for r in part.relations}
        return tuple(relation for relation in RELATIONS if relation in seen)


def laid_out(
    a: Melody, b: Melody, likeness: Likeness, *, first_note: int = 0, onto: str = "a"
) -> Laid:
    """Lay two melodies over one another in a common key.

    Parameters
    ----------
    a, b : Melody
        The passages.
    likeness : Likeness
        Note against note.
    first_note : int
        What to take from the ``tune`` indexes of the pairs.
    onto : str
        Whose key is kept, ``a`` or ``b``.
    """
    numerals = (numerals_of(a), numerals_of(b))
    parts, pairs = parts_of(
        a, b, likeness, first_note=first_note, onto=onto, numerals=numerals
    )
    return Laid(a, b, likeness, parts, pairs)


def numerals_of(melody: Melody) -> tuple[tuple[int, str], ...]:
    """Onset and Roman numeral of each chord that has one."""
    return tuple(
        (chord.onset_ticks, chord.numeral.text)
        for chord in place_chords(melody)
        if chord.numeral.text
    )


def picture_of(laid: Laid, prefix: str, layout: str, title: str, caption: str) -> Picture:
    """The engraved picture of two melodies."""
    drawn = engrave(laid.parts, pairs=laid.pairs, layout=layout, prefix=prefix, title=title)
    return Picture(drawn.svg, f"Notes: {title}", caption)


def player_of(laid: Laid, name: str, pictures: tuple[str, ...], label: str) -> Player:
    """The player of two melodies, which start so that their first partners meet."""
    first = next(iter(laid.pairs), (0, 0))
    meets = [
        quarters(melody.onset_ticks[note] - melody.onset_ticks[0])
        for melody, note in zip((laid.a, laid.b), first, strict=True)
    ]
    latest = max(meets)
    return Player(
        name,
        {"a": voice_of(laid.a), "b": voice_of(laid.b)},
        pictures,
        shift_semitones=-laid.likeness.transposition_semitones,
        lead_quarters=(latest - meets[0], latest - meets[1]),
        tempo_quarters_per_minute=tempo_of(laid.a, laid.b),
        label=label,
        tempos={"a": tempo_of(laid.a), "b": tempo_of(laid.b)},
    )


def voice_of(melody: Melody) -> list[list[float]]:
    """Pitch, onset from the first note and length of each note, in quarters."""
    start = melody.onset_ticks[0]
    return [
        [pitch, quarters(onset - start), quarters(length)]
        for pitch, onset, length in zip(
            melody.midi, melody.onset_ticks, melody.duration_ticks, strict=True
        )
    ]


def quarters(ticks: int) -> float:
    """Ticks as quarters, short enough to be written."""
    return round(ticks / TICKS_PER_QUARTER, 4)


def tempo_of(*melodies: Melody) -> float:
    """The first tempo that a source gives, within what the slider holds."""
    stated = next((t for m in melodies if (t := m.tempo_quarters_per_minute)), None)
    return min(220.0, max(40.0, stated or DEFAULT_TEMPO))


def pairs_table(laid: Laid, first_note: int = 0) -> Table:
    """Every pair as a row."""
    rows = []
    for pair in laid.likeness.pairs:
        tune = None if pair.tune is None else pair.tune - first_note
        rows.append(
            (
                *note_cells(laid.a, laid.parts[0].degrees, pair.query),
                pair.relation,
                *note_cells(laid.b, laid.parts[1].degrees, tune),
            )
        )
    head = ("A bar", "note", "degree", "relation", "B bar", "note", "degree")
    return Table("Note against note, each at its own pitch", head, tuple(rows))


def note_cells(
    melody: Melody, degrees: Sequence[int | None], index: int | None
) -> tuple[str, str, str]:
    """Bar, name and degree of a note."""
    if index is None:
        return ("–", "–", "–")
    name = note_name(melody.midi[index], melody.fifths[index])
    degree = degrees[index] if degrees else None
    shown = name[0] + with_signs(name[1:])
    return (
        str(melody.bar[index]),
        shown,
        "" if degree is None else with_signs(degree_name(degree)),
    )


def solo_player(melody: Melody, name: str, picture: str, label: str) -> Player:
    """The player of one melody."""
    return Player(
        name,
        {"a": voice_of(melody)},
        (picture,),
        tempo_quarters_per_minute=tempo_of(melody),
        label=label,
    )


def midi_link(passage: Passage, name: str) -> Links:
    """A passage as a MIDI file inside the page."""
    data = midi_bytes([passage.melody], names=[passage.label])
    return Links((("MIDI file", name, MIDI, data),))


def common_key_words(laid: Laid) -> str:
    """In which key the picture stands, and what was moved."""
    kept = laid.parts[0].melody if laid.a.key == laid.parts[0].melody.key else laid.b
    key = laid.parts[0].melody.key if laid.a.key.mode != "none" else kept.key
    move = interval_text(laid.likeness.transposition_semitones, laid.likeness.spelled_shift)
    if move == "at the same pitch":
        return "Both at their own pitch. Small numbers: the bars of the tune."
    tonic = pitch_class_name(key.tonic_fifths)
    where = "" if key.mode == "none" else f" on {tonic[0]}{with_signs(tonic[1:])}"
    return (
        f"Both drawn at a common pitch{where}; really B stands {move} from A. "
        "Small numbers: the bars of the tune."
    )


def shown_title(melody: Melody) -> str:
    """The title of a tune; where it has none, the name of its file."""
    return melody.credits.title or PurePath(melody.credits.source).stem or melody.title


def remark_sections(passage: Passage) -> tuple[Section, ...]:
    """What the musician wrote on a tune, as a section of its own; none without words."""
    rows = []
    for remark in passage.remarks:
        first, last = remark.first_bar, remark.last_bar
        bars = bars_text(first, last or first) if first is not None else ""
        rows.append((", ".join(filter(None, (remark.kind.title(), bars))), remark.text))
    return (Section("Remarks", (Facts(tuple(rows)),)),) if rows else ()


def rights_lines(*melodies: Melody) -> tuple[str, ...]:
    """Title, maker, source and rights of each tune shown, each tune once."""
    lines = []
    for melody in melodies:
        made = melody.credits
        words = [shown_title(melody), made.composer, made.collection, made.rights]
        lines.append(". ".join(word for word in words if word) + ".")
    return tuple(dict.fromkeys(lines))


def expected_text(expected: float) -> str:
    """A number expected by chance, no finer than it can be known."""
    return "under 0.001" if expected < 0.001 else f"{expected:.2g}"
