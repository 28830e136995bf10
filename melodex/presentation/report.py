"""Reports: the result of a task as a page that can be read, seen and heard.

Every report says first in words what was found, then shows the evidence. What a
task's page holds is decided here; how a page looks stands in
:mod:`melodex.presentation.report_page`.

Contents: report_html, comparison_page, resemblance_page, comparison_section, player_of.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from melodex.analysis.harmony import place_chords
from melodex.errors import PresentationError
from melodex.melody import TICKS_PER_QUARTER, Melody, Phrase, degree_name, note_name
from melodex.presentation.abc import abc_text, comparison_abc
from melodex.presentation.engraving import engrave, parts_of, shown_degrees
from melodex.presentation.engraving_layout import StaffPart
from melodex.presentation.engraving_mei import with_signs
from melodex.presentation.midi import DEFAULT_TEMPO, comparison_midi, midi_bytes
from melodex.presentation.musicxml import comparison_musicxml
from melodex.presentation.report_charts import coverage_strips, dot_plot
from melodex.presentation.report_page import (
    Block,
    Facts,
    Fold,
    Legend,
    Links,
    Page,
    Picture,
    Player,
    Section,
    Table,
    Text,
    page_html,
)
from melodex.tasks.compare import RELATIONS, Comparison, Likeness, interval_text, summarise
from melodex.tasks.resemble import Match, Resemblance

__all__ = [
    "Laid",
    "comparison_page",
    "laid_out",
    "numerals_of",
    "player_of",
    "report_html",
    "resemblance_page",
    "rights_lines",
]

MIDI, MUSICXML = "audio/midi", "application/vnd.recordare.musicxml+xml"


def report_html(result: object) -> str:
    """Return the result of a task as one self-contained HTML page.

    Parameters
    ----------
    result : Comparison or Resemblance
        What a task returned.

    Raises
    ------
    PresentationError
        If there is no page for such a result, or a passage cannot be engraved.
    """
    if isinstance(result, Comparison):
        return page_html(comparison_page(result))
    if isinstance(result, Resemblance):
        return page_html(resemblance_page(result))
    raise PresentationError(f"there is no page for a {type(result).__name__}")


# Two melodies over one another


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


# Compare


def comparison_page(comparison: Comparison) -> Page:
    """What two passages share, as a page."""
    a, b = comparison.a.melody, comparison.b.melody
    laid = laid_out(a, b, comparison.likeness, onto="b" if a.key.mode == "none" else "a")
    title = f"{comparison.a.label} and {comparison.b.label}"
    degrees = (laid.parts[0].degrees, laid.parts[1].degrees)
    in_time: tuple[Block, ...] = (
        Legend(laid.relations),
        picture_of(laid, "t", "time", f"{title}, in time", common_key_words(laid)),
        player_of(laid, "listen", ("t", "c"), title),
        Links(
            (
                ("MIDI file", "comparison.mid", MIDI, comparison_midi(comparison)),
                (
                    "MusicXML",
                    "comparison.musicxml",
                    MUSICXML,
                    comparison_musicxml(comparison).encode(),
                ),
                (
                    "ABC",
                    "comparison.abc",
                    "text/vnd.abc",
                    comparison_abc(comparison).encode(),
                ),
            )
        ),
    )
    columns = picture_of(
        laid, "c", "columns", f"{title}, in columns", "Partners stand over one another."
    )
    strips = coverage_strips((a, b), [part.relations for part in laid.parts])
    plot = dot_plot(
        a, b, laid.pairs, shift_fifths=comparison.likeness.spelled_shift, degrees=degrees
    )
    return Page(
        title,
        "comparison",
        comparison.summary,
        (
            Section("In time", in_time),
            Section("Note by note", (columns, Fold("As a table", (pairs_table(laid),)))),
            Section("How much is covered", (Picture(strips, "Coverage of both passages"),)),
            Section(
                "Every note against every note",
                (
                    Picture(
                        plot,
                        "Dot plot",
                        "Squares: same degree. Open diamonds: same step, other "
                        "inflection. A diagonal is a stretch in common; one beside the "
                        "line, a figure that returns.",
                    ),
                ),
            ),
        ),
        rights_lines(comparison.a.whole, comparison.b.whole),
    )


def comparison_files(comparison: Comparison) -> Links:
    """A comparison for a sequencer, a notation editor and a text editor."""
    sheet, abc = comparison_musicxml(comparison), comparison_abc(comparison)
    return Links(
        (
            ("MIDI file", "comparison.mid", MIDI, comparison_midi(comparison)),
            ("MusicXML", "comparison.musicxml", MUSICXML, sheet.encode()),
            ("ABC", "comparison.abc", "text/vnd.abc", abc.encode()),
        )
    )


def common_key_words(laid: Laid) -> str:
    """In which key the picture stands, and what was moved."""
    kept = laid.parts[0].melody if laid.a.key == laid.parts[0].melody.key else laid.b
    key = laid.parts[0].melody.key if laid.a.key.mode != "none" else kept.key
    move = interval_text(laid.likeness.transposition_semitones, laid.likeness.spelled_shift)
    if move == "at the same pitch":
        return "Both at their own pitch. Small numbers: the bars of the tune."
    where = "" if key.mode == "none" else f" on {str(key).split()[0]}"
    return (
        f"Both drawn at a common pitch{where}; really B stands {move} from A. "
        "Small numbers: the bars of the tune."
    )


def rights_lines(*melodies: Melody) -> tuple[str, ...]:
    """Title, maker, source and rights of each tune shown, each tune once."""
    lines = []
    for melody in melodies:
        made = melody.credits
        words = [melody.title, made.composer, made.collection, made.rights]
        lines.append(". ".join(word for word in words if word) + ".")
    return tuple(dict.fromkeys(lines))


# Resemble


def resemblance_page(found: Resemblance) -> Page:
    """What a phrase resembles, as a page."""
    phrase = found.phrase
    tunes = f"{found.corpus_tunes:,} tune{'' if found.corpus_tunes == 1 else 's'}"
    count = len(found.matches)
    said = f"{count} place{'' if count == 1 else 's'} in {tunes} resemble the phrase."
    if not count:
        said = f"Nothing in {tunes} resembles the phrase."
    sections = [phrase_section(phrase)] if phrase.notation != "contour" else []
    sections += [match_section(phrase, match, found.most_points) for match in found.matches]
    return Page(
        f"What {phrase.text or 'the phrase'} resembles",
        "resemblance",
        (said, *found.remarks),
        tuple(sections),
        rights_lines(*(match.passage.whole for match in found.matches)),
    )


def phrase_section(phrase: Phrase) -> Section:
    """The phrase alone."""
    part = StaffPart(phrase.melody, degrees=shown_degrees(phrase.melody))
    layout = "time" if phrase.has_rhythm else "columns"
    drawn = engrave([part], layout=layout, prefix="q", title="The phrase")
    player = Player(
        "phrase",
        {"a": voice_of(phrase.melody)},
        ("q",),
        tempo_quarters_per_minute=tempo_of(phrase.melody),
        label="the phrase",
    )
    blocks: tuple[Block, ...] = (Picture(drawn.svg, "Notes: the phrase"), player)
    if phrase.has_rhythm:
        text = abc_text(phrase.melody, excerpt=True)
        blocks = (
            *blocks,
            Fold("As ABC", (Text(tuple(text.splitlines())),), on_paper=False),
        )
    return Section("The phrase", blocks)


def match_section(phrase: Phrase, match: Match, most_points: int) -> Section:
    """One match: words, facts, picture, sound."""
    passage = match.passage
    first = passage.first_note
    name = f"x{match.rank}"
    if phrase.notation == "contour":
        return Section(f"{match.rank}. {passage.label}", contour_blocks(match, name))
    laid = laid_out(
        phrase.melody,
        passage.melody,
        match.likeness,
        first_note=first,
        onto="a" if phrase.has_tonic and phrase.melody.keys else "b",
    )
    layout = "time" if phrase.has_rhythm else "columns"
    words = summarise(phrase.melody, passage.whole, match.likeness)
    midi = midi_bytes([passage.melody], names=[passage.label])
    return Section(
        f"{match.rank}. {passage.label}",
        (
            Text((*words, *match.explanation)),
            Facts(match_facts(match, most_points)),
            Legend(laid.relations),
            picture_of(laid, name, layout, f"the phrase and {passage.label}", ""),
            player_of(laid, f"l{match.rank}", (name,), passage.label),
            Fold("Note against note", (pairs_table(laid, first),), on_paper=False),
            Links((("MIDI file", f"match-{match.rank}.mid", MIDI, midi),)),
        ),
        note=f"tune {match.tune_id}",
    )


def contour_blocks(match: Match, name: str) -> tuple[Block, ...]:
    """A match of a contour: only the tune has notes to show."""
    melody = match.passage.melody
    part = StaffPart(melody, degrees=shown_degrees(melody), numerals=numerals_of(melody))
    drawn = engrave([part], prefix=name, title=match.passage.label)
    player = Player(
        f"l{match.rank}",
        {"a": voice_of(melody)},
        (name,),
        tempo_quarters_per_minute=tempo_of(melody),
        label=match.passage.label,
    )
    return (Picture(drawn.svg, f"Notes: {match.passage.label}"), player)


def match_facts(match: Match, most_points: int) -> tuple[tuple[str, str], ...]:
    """Numbers of a match."""
    rows = [("Points", f"{match.points} of {most_points}")]
    move = interval_text(
        match.likeness.transposition_semitones, match.likeness.spelled_shift
    )
    rows.append(("From phrase to tune", move))
    if match.expected_by_chance is not None:
        rows.append(("As good by chance", f"{match.expected_by_chance:.2g} in this corpus"))
    if match.commonness:
        rows.append(("The shared figure", match.commonness))
    return tuple(rows)
