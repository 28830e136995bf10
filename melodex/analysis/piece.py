"""A whole piece: everything that the analysis says of it, worked out once.

Conventions: as in the parts. What cannot be said is left empty; why, the parts say.

Contents: Analysis, analyse, sure_devices.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from melodex.analysis.form import (
    Compass,
    Figure,
    PhraseReturn,
    PhraseSpan,
    Section,
    compass,
    figures,
    metre_class,
    phrase_returns,
    phrases,
    sections,
)
from melodex.analysis.harmony.chords import DIMINISHED, parse_chords
from melodex.analysis.harmony.devices.device import Device
from melodex.analysis.harmony.devices.finding import Harmony, harmony
from melodex.analysis.harmony.devices.rests import are_phrases
from melodex.analysis.harmony.placed import CHORD_TONE, TENSION, PlacedChord
from melodex.analysis.keys import (
    KeyReading,
    Keys,
    KeySpan,
    ModalPassage,
    modal_passages,
    read_keys,
)
from melodex.analysis.keys.song.idioms import PHRYGIAN
from melodex.melody import Melody

__all__ = ["DOUBTED", "Analysis", "analyse", "sure_devices"]

LEAST_ALIKE = 0.25
"""Certainty from which V and vii° may stand for each other; our choice."""
THIRD = 4
"""From the root of V up to that of vii°, in fifths."""
DOUBTED = 0.5
"""Certainty below which a chord that was worked out is called uncertain; our choice."""


@dataclass(frozen=True, slots=True)
class Analysis:
    """What is in a piece.

    Parameters
    ----------
    key : KeyReading
        Of the whole, with its certainty, beside the printed one.
    spans : tuple of KeySpan
        Key centres through the piece.
    modal : tuple of ModalPassage
        Passages that another mode colours.
    harmony : Harmony
        Chords in their keys, melody notes on them, devices.
    sections : tuple of Section
    phrases : tuple of PhraseSpan
    returns : tuple of PhraseReturn
        The letter of each phrase, and which one it brings back.
    figures : tuple of Figure
        Figures that return.
    compass : Compass or None
        Range and peak.
    metre_class : str
        ``simple``, ``compound``, ``irregular``, ``mixed`` or ``free``.
    """

    key: KeyReading
    spans: tuple[KeySpan, ...]
    modal: tuple[ModalPassage, ...]
    harmony: Harmony
    sections: tuple[Section, ...]
    phrases: tuple[PhraseSpan, ...]
    returns: tuple[PhraseReturn, ...]
    figures: tuple[Figure, ...]
    compass: Compass | None
    metre_class: str


def analyse(melody: Melody, *, phrased: bool = True, keys: Keys | None = None) -> Analysis:
    """Say everything that the analysis can say of a melody.

    Parameters
    ----------
    melody : Melody
        Of any length, with or without chords, keys and bars.
    phrased : bool
        Whether to divide it into phrases too, which no table holds.
    keys : Keys, optional
        Those of the piece, where the melody is one of its lines; read here by default.
    """
    chords = list(parse_chords(symbol.text for symbol in melody.chords))
    keys = keys or read_keys(melody, chords=chords)
    # Cadences stand where phrases end; a tune without chords has none.
    breathing = phrases(melody) if phrased or chords else ()
    parts = sections(melody, centres=[span.onset_ticks for span in keys.spans])
    # What breathes within every bar are figures, not phrases that anybody would count.
    lasts = {phrase.last_note: phrase.how == "marked" for phrase in breathing}
    told = breathing if phrased and are_phrases(melody, lasts) else ()
    found = in_idiom(
        harmony(melody, keys.spans, phrases=breathing, sections=parts),
        keys.reading.idiom,
    )
    return Analysis(
        key=keys.reading,
        spans=keys.spans,
        modal=coloured(melody, keys, found),
        harmony=found,
        sections=parts,
        phrases=told,
        returns=phrase_returns(melody, told),
        figures=figures(melody),
        compass=compass(melody),
        metre_class=metre_class(melody),
    )


def coloured(melody: Melody, keys: Keys, found: Harmony) -> tuple[ModalPassage, ...]:
    """Passages in a mode, none where their notes are those of the idiom of the piece."""
    if keys.reading.idiom in {*PHRYGIAN, "blues"}:
        return ()
    return modal_passages(
        melody,
        spans=keys.spans,
        explained=explained_notes(found),
        under=notes_under(found) if melody.chords_worked_out else (),
    )


PASSING_THROUGH = frozenset(
    {
        "secondary dominant",
        "secondary leading tone",
        "related ii",
        "tritone substitute",
        "augmented sixth",
        "Neapolitan",
        "common-tone diminished",
        "passing diminished",
        "blues seventh",
    }
)
"""Roles of chords that account for notes beside the key: these are no colour of a mode."""


def explained_notes(found: Harmony) -> frozenset[int]:
    """Notes that belong to chords beside the key, by their index in the melody."""
    return frozenset(
        row.note
        for row in found.notes
        if row.kind in {CHORD_TONE, TENSION}
        and found.chords[row.chord].numeral.role in PASSING_THROUGH
    )


NOT_PHRYGIAN = {"borrowed chord", "modal mixture", "Neapolitan"}
"""What the chords of the phrygian dominant mode are not: they are the mode's own."""


def notes_under(found: Harmony) -> list[tuple[int, frozenset[int]]]:
    """Onset and notes of each chord that sounds under the melody."""
    return [(here.onset_ticks, frozenset(here.chord.note_fifths)) for here in found.chords]


def in_idiom(found: Harmony, idiom: str) -> Harmony:
    """Harmony without names for chords that belong to the idiom of the piece."""
    if idiom not in PHRYGIAN:
        return found
    kept = tuple(each for each in found.devices if each.kind not in NOT_PHRYGIAN)
    return replace(found, devices=kept)


def sure_devices(melody: Melody, found: Analysis) -> tuple[Device, ...]:
    """The devices of a piece but those that begin or end on a chord that is uncertain.

    Over chords that were worked out, what the melody has beside them passes through: it is
    no colour of theirs, as it may be of a printed symbol; and outside of a blues a seventh
    on I is no colour either, only a dominant that goes another way.
    """
    left_out = set()
    if melody.chords_worked_out:
        left_out = {"colour note"} if found.key.idiom else {"colour note", "blues seventh"}
    doubtful = {
        place
        for place, symbol in enumerate(melody.chords)
        if symbol.certainty < DOUBTED
        and not (
            symbol.certainty >= LEAST_ALIKE
            and leads_alike(found.harmony.chords[place], symbol.other)
        )
    }
    return tuple(
        device
        for device in found.harmony.devices
        if doubtful.isdisjoint(set(device.chords) - rooted(melody, device))
        and device.kind not in left_out
        and not (melody.chords_worked_out and is_far_substitute(device, found))
    )


def rooted(melody: Melody, device: Device) -> set[int]:
    """The chords of a cadence of which nothing but the third is doubted, as of a unison."""
    if device.kind != "authentic cadence":
        return set()
    found = set()
    for place in device.chords:
        symbol = melody.chords[place]
        here, *rivals = parse_chords([symbol.text, *filter(None, [symbol.other])])
        if any(here.root_fifths == rival.root_fifths for rival in rivals):
            found.add(place)
    return found


def leads_alike(here: PlacedChord, other: str) -> bool:
    """Whether an applied chord and its runner-up are V and vii° of one goal.

    As F#7/A# and A#dim are: what is doubted then is a note of it, and not what it does.
    """
    (rival,) = parse_chords([other]) if other else (None,)
    if rival is None or not here.numeral.role.startswith("secondary"):
        return False
    pairs = ((here.chord, rival), (rival, here.chord))
    return any(
        five.family in {"major", "dominant"}
        and seven.family in DIMINISHED
        and seven.root_fifths - five.root_fifths == THIRD
        for five, seven in pairs
    )


def is_far_substitute(device: Device, found: Analysis) -> bool:
    """Whether a tritone substitute leads neither to I nor to V, or stands on no root.

    Of notes that are played, such a chord only passes; one that does not go there is the
    dominant of a flat II.
    """
    if device.kind != "tritone substitute":
        return False
    here = found.harmony.chords[device.chords[0]]
    if not here.numeral.resolves:
        return True
    return here.numeral.goal_degree not in {0, 1} or not here.chord.is_over_its_root
