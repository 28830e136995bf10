"""A passage with the lines around it: a small score, in every form.

Conventions: the line that has the passage is named behind a » and its notes stand in
boxes, so that no colour is needed to see it. All pitches sound, unless each line is to
stand as its player reads it.

Contents: SCORE_FORMS, score_as, score_page.
"""

from __future__ import annotations

import re
from itertools import chain

from melodex.errors import PresentationError
from melodex.melody import Melody
from melodex.presentation.engraving.layout import StaffPart
from melodex.presentation.engraving.pictures import EngravedSvg, engrave_score
from melodex.presentation.notation.written import written
from melodex.presentation.report.blocks import (
    MIDI,
    quarters,
    rights_lines,
    shown_title,
    tempo_of,
)
from melodex.presentation.report.page import Links, Page, Picture, Player, Section
from melodex.presentation.report.tune import makers, with_head
from melodex.tasks.describe.surroundings import Surroundings

__all__ = ["SCORE_FORMS", "score_as", "score_page"]

SCORE_FORMS = ("svg", "musicxml", "midi")
MUSICXML = "application/vnd.recordare.musicxml+xml"
MARK = "» "


def score_as(found: Surroundings, form: str, *, tempo: float | None = None) -> str | bytes:
    """A passage with the lines around it in one of the :data:`SCORE_FORMS`.

    Raises
    ------
    PresentationError
        If it cannot be written.
    """
    if form == "svg":
        return with_head(drawn(found), found.passage) + "\n"
    if form == "midi":
        return sound_of(found, tempo)
    if form == "musicxml":
        from melodex.presentation.notation.musicxml.document import score_musicxml

        names = [line.name for line in found.lines]
        return score_musicxml(parts_of(found), names, found.passage.label)
    raise PresentationError(
        f"there is no {form} form of a score", hint=", ".join(SCORE_FORMS)
    )


def parts_of(found: Surroundings) -> list[StaffPart]:
    """The lines as staves, the one of the passage marked."""
    return [
        StaffPart(
            written(line.melody, line.sounds_semitones)
            if len(line.melody)
            else line.melody,
            (MARK if at == found.own else "") + short(line.name),
            chords=at == 0 and not line.melody.chords_worked_out,
            excerpt=False,
            clef=clef_of(line.clef, line.melody),
            lyrics=bool(line.melody.lyrics),
            boxed=frozenset(line.matched),
            sounds_semitones=line.sounds_semitones,
        )
        for at, line in enumerate(found.lines)
    ]


def short(name: str) -> str:
    """The name of a line as it fits before a stave."""
    return re.sub(r"note (\d+) of chords", r"chord note \1", name)


HIGHEST_IN_BASS = 66
"""Mean pitch, up to which a line stays in a bass clef: some three ledger lines above it."""


def clef_of(name: str, melody: Melody) -> tuple[str, int, int] | None:
    """The clef of a viola, an old voice part or a left hand; others go by the range."""
    if name in {"C1", "C2", "C3", "C4", "C5"}:
        return "C", int(name[1]), 0
    is_low = len(melody) > 0 and sum(melody.midi) <= HIGHEST_IN_BASS * len(melody)
    return ("F", 4, 0) if name == "F4" and is_low else None


def drawn(found: Surroundings, prefix: str = "score") -> EngravedSvg:
    """The score as a picture."""
    return engrave_score(parts_of(found), prefix=prefix, title=found.label)


def sound_of(found: Surroundings, tempo: float | None = None) -> bytes:
    """The score as a MIDI file, a track for each line."""
    from melodex.presentation.notation.midi import midi_bytes

    sounding = [line for line in found.lines if len(line.melody)]
    return midi_bytes(
        [line.melody for line in sounding],
        tempo_quarters_per_minute=tempo,
        names=[line.name for line in sounding],
    )


def score_page(found: Surroundings) -> Page:
    """A passage with the lines around it as a page with its sound."""
    picture = Picture(drawn(found).svg, f"Notes: {found.label}")
    label = found.passage.label
    sheet = str(score_as(found, "musicxml")).encode()
    files = Links(
        (
            ("MIDI file", "score.mid", MIDI, sound_of(found)),
            ("MusicXML", "score.musicxml", MUSICXML, sheet),
        )
    )
    blocks = (picture, player_of_all(found, label), files)
    lines = (*makers(found.passage), found.sentence)
    melody = found.passage.melody
    sections = (Section("", blocks),)
    return Page(shown_title(melody), "passage", lines, sections, rights_lines(melody))


def player_of_all(found: Surroundings, label: str) -> Player:
    """What plays all lines together."""
    start = min(line.melody.onset_ticks[0] for line in found.lines if len(line.melody))
    notes = sorted(
        (quarters(onset - start), midi, quarters(length))
        for midi, onset, length in chain.from_iterable(
            zip(
                line.melody.midi,
                line.melody.onset_ticks,
                line.melody.duration_ticks,
                strict=True,
            )
            for line in found.lines
        )
    )
    tempo = tempo_of(*(line.melody for line in found.lines))
    voice = [[midi, onset, length] for onset, midi, length in notes]
    return Player(
        "score-player",
        {"a": voice},
        (),
        tempo_quarters_per_minute=tempo,
        label=f"{label}, all lines",
    )
