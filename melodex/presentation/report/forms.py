"""Reports: the result of a task as a page that can be read, seen and heard.

Every report says first in words what was found, then shows the evidence. What a
task's page holds is decided here and in the modules beside; how a page looks stands
in :mod:`melodex.presentation.report.page`.

Contents: report_html, page_of, comparison_page, resemblance_page, match_picture.
"""

from __future__ import annotations

from melodex.errors import PresentationError
from melodex.melody import Phrase, bars_text
from melodex.melody.tune_id import leading
from melodex.presentation.engraving.layout import StaffPart
from melodex.presentation.engraving.pictures import engrave
from melodex.presentation.engraving.sides import shown_degrees
from melodex.presentation.notation.abc import abc_text, comparison_abc
from melodex.presentation.notation.midi import comparison_midi
from melodex.presentation.notation.musicxml.document import comparison_musicxml
from melodex.presentation.report.audit import audit_page
from melodex.presentation.report.blocks import (
    MIDI,
    Laid,
    common_key_words,
    expected_text,
    laid_out,
    midi_link,
    numerals_of,
    pairs_table,
    picture_of,
    player_of,
    rights_lines,
    solo_player,
)
from melodex.presentation.report.charts import coverage_strips, dot_plot
from melodex.presentation.report.describe import description_page, gathering_page
from melodex.presentation.report.holdings import CorpusMap, corpus_page, whole_audit_page
from melodex.presentation.report.page import (
    Block,
    Facts,
    Fold,
    Legend,
    Links,
    Page,
    Picture,
    Section,
    Text,
    page_html,
)
from melodex.presentation.report.score import score_page
from melodex.presentation.report.tune import tune_page
from melodex.tasks.audit.audit import Audit
from melodex.tasks.audit.whole import WholeAudit
from melodex.tasks.compare.compare import Comparison
from melodex.tasks.compare.sentences import interval_text, summarise
from melodex.tasks.compare.shared_passages import shared_passages
from melodex.tasks.describe.describe import Description
from melodex.tasks.describe.surroundings import Surroundings
from melodex.tasks.gather.gather import Gathering
from melodex.tasks.gather.music import GatheredMusic
from melodex.tasks.passage import Passage
from melodex.tasks.resemble import Match, Resemblance

__all__ = [
    "comparison_page",
    "match_picture",
    "page_of",
    "report_html",
    "resemblance_page",
]

MOST_ROWS_ON_PAPER = 60
"""Rows of a table that is still printed; our choice."""
MUSICXML = "application/vnd.recordare.musicxml+xml"


def report_html(result: object) -> str:
    """Return the result of a task as one self-contained HTML page.

    Parameters
    ----------
    result : Comparison, Resemblance, Audit, Description, Gathering or Page
        What a task returned, or a page made of it.

    Raises
    ------
    PresentationError
        If there is no page for such a result, or a passage cannot be engraved.
    """
    return page_html(page_of(result))


def page_of(result: object) -> Page:
    """Return the page of a task's result, to be written as HTML or PDF.

    Raises
    ------
    PresentationError
        As :func:`report_html`.
    """
    if isinstance(result, Page):
        return result
    if isinstance(result, Passage):
        return tune_page(result)
    if isinstance(result, Surroundings):
        return score_page(result)
    if isinstance(result, Comparison):
        return comparison_page(result)
    if isinstance(result, Resemblance):
        return resemblance_page(result)
    if isinstance(result, Audit):
        return audit_page(result)
    if isinstance(result, Description):
        return description_page(result)
    if isinstance(result, Gathering | GatheredMusic):
        return gathering_page(result)
    if isinstance(result, CorpusMap):
        return corpus_page(result)
    if isinstance(result, WholeAudit):
        return whole_audit_page(result)
    raise PresentationError(f"there is no page for a {type(result).__name__}")


# Compare


def comparison_page(comparison: Comparison) -> Page:
    """What two passages share, as a page."""
    a, b = comparison.a.melody, comparison.b.melody
    laid = laid_out(a, b, comparison.likeness, onto="b" if a.key.mode == "none" else "a")
    title = f"{comparison.a.label} and {comparison.b.label}"
    in_time: tuple[Block, ...] = (
        Legend(laid.relations),
        picture_of(laid, "t", "time", f"{title}, in time", common_key_words(laid)),
        player_of(laid, "listen", ("t", "c"), title),
        comparison_files(comparison),
    )
    columns = picture_of(
        laid, "c", "columns", f"{title}, in columns", "Partners stand over one another."
    )
    notes: tuple[Block, ...] = (columns, note_table(laid))
    shared = shared_passages(comparison)
    if not comparison.has_rhythm:
        listened = player_of(laid, "listen", ("c",), title)
        alone = (in_time[0], columns, listened, note_table(laid), in_time[-1])
        evidence: tuple[Section, ...] = (Section("Note by note", alone), *charts_of(laid))
    elif shared:
        folded = Fold("Show both in full", (*in_time[:2], *notes), on_paper=False)
        evidence = (
            *(shared_section(n, each) for n, each in enumerate(shared, start=1)),
            Section("Both in full", (folded, *in_time[2:])),
            *charts_of(laid),
        )
    else:
        evidence = (
            Section("In time", in_time),
            Section("Note by note", notes),
            *charts_of(laid),
        )
    rights = rights_lines(comparison.a.whole, comparison.b.whole)
    return Page(title, "comparison", comparison.summary, evidence, rights)


def shared_section(number: int, shared: Comparison) -> Section:
    """One passage of two long tunes that match there, with its sound."""
    a, b = shared.a.melody, shared.b.melody
    laid = laid_out(a, b, shared.likeness, onto="b" if a.key.mode == "none" else "a")
    prefix = f"s{number}"
    title = f"{shared.a.label} and {shared.b.label}"
    bars = f"A, {bars_text(*shared.a.bars)}; B, {bars_text(*shared.b.bars)}"
    blocks = (
        Legend(laid.relations),
        picture_of(laid, prefix, "time", title, common_key_words(laid)),
        player_of(laid, f"l{number}", (prefix,), title),
    )
    return Section(f"{number}. {bars}", blocks, whole=True)


def note_table(laid: Laid) -> Fold:
    """Every pair as a row; of long passages the paper is spared it."""
    table = pairs_table(laid)
    return Fold("As a table", (table,), on_paper=len(table.rows) <= MOST_ROWS_ON_PAPER)


def charts_of(laid: Laid) -> tuple[Section, Section]:
    """Coverage and dot plot of two melodies."""
    strips = coverage_strips((laid.a, laid.b), [part.relations for part in laid.parts])
    plot = dot_plot(
        laid.a,
        laid.b,
        laid.pairs,
        shift_fifths=laid.likeness.spelled_shift,
        degrees=(laid.parts[0].degrees, laid.parts[1].degrees),
    )
    same = "Squares: same degree."
    if not laid.likeness.same_function:
        same = "Squares: same note of the shape, filled where it is the same degree too."
    words = (
        f"{same} Open diamonds: same step, other inflection. A diagonal is "
        "a stretch in common; one beside the line, a figure that returns."
    )
    return (
        Section("How much is covered", (Picture(strips, "Coverage of both passages"),)),
        Section("Every note against every note", (Picture(plot, "Dot plot", words),)),
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


# Resemble


def resemblance_page(found: Resemblance) -> Page:
    """What a phrase resembles, as a page."""
    phrase = found.phrase
    tunes = f"{found.corpus_tunes:,} tune{'' if found.corpus_tunes == 1 else 's'}"
    count = len(found.matches)
    said = f"{count} place{'' if count == 1 else 's'} in {tunes} resemble the phrase."
    if not count:
        said = f"Nothing in {tunes} resembles the phrase."
    sections = [phrase_section(phrase)] if phrase.has_notes else []
    sections += [
        match_section(asked.phrase, match, asked.most_points)
        for match in found.matches
        if (asked := found.asked_by(match))
    ]
    return Page(
        f"What {phrase.text or 'the phrase'} resembles",
        "resemblance",
        (said, *found.foreword, *found.remarks),
        tuple(sections),
        rights_lines(*(match.passage.whole for match in found.matches)),
    )


def phrase_section(phrase: Phrase) -> Section:
    """The phrase alone."""
    part = StaffPart(phrase.melody, degrees=shown_degrees(phrase.melody))
    layout = "time" if phrase.has_rhythm else "columns"
    drawn = engrave([part], layout=layout, prefix="q", title="The phrase")
    player = solo_player(phrase.melody, "phrase", "q", "the phrase")
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
    if not phrase.has_notes:
        return Section(f"{match.rank}. {passage.label}", contour_blocks(phrase, match))
    laid = laid_match(phrase, match)
    timed = phrase.has_rhythm
    words = summarise(phrase.melody, passage.whole, match.likeness, has_rhythm=timed)
    return Section(
        f"{match.rank}. {passage.label}",
        (
            Text(words),
            Facts(match_facts(match, most_points)),
            Legend(laid.relations),
            match_picture(phrase, match),
            player_of(laid, f"l{match.rank}", (name,), passage.label),
            Fold("Note against note", (pairs_table(laid, first),), on_paper=False),
            *reasons(match),
            midi_link(passage, f"match-{match.rank}.mid"),
        ),
        note=f"tune {leading(match.tune_id)}",
    )


def laid_match(phrase: Phrase, match: Match) -> Laid:
    """The phrase over a match, in the key of the phrase where it has one."""
    return laid_out(
        phrase.melody,
        match.passage.melody,
        match.likeness,
        first_note=match.passage.first_note,
        onto="a" if phrase.has_tonic and phrase.melody.keys else "b",
    )


def match_picture(phrase: Phrase, match: Match) -> Picture:
    """The phrase over a match; of a contour only the tune has notes to show."""
    name, label = f"x{match.rank}", match.passage.label
    if not phrase.has_notes:
        melody = match.passage.melody
        numerals = numerals_of(melody)
        part = StaffPart(melody, degrees=shown_degrees(melody), numerals=numerals)
        return Picture(engrave([part], prefix=name, title=label).svg, f"Notes: {label}")
    layout = "time" if phrase.has_rhythm else "columns"
    laid = laid_match(phrase, match)
    return picture_of(laid, name, layout, f"the phrase and {label}", "")


def reasons(match: Match) -> tuple[Block, ...]:
    """How a match came by its place, where that was asked for."""
    if not match.explanation:
        return ()
    return (Fold("How it came by its place", (Text(match.explanation),)),)


def contour_blocks(phrase: Phrase, match: Match) -> tuple[Block, ...]:
    """A match of a contour, and its sound."""
    melody, label = match.passage.melody, match.passage.label
    player = solo_player(melody, f"l{match.rank}", f"x{match.rank}", label)
    return (match_picture(phrase, match), player)


def match_facts(match: Match, most_points: int) -> tuple[tuple[str, str], ...]:
    """Numbers of a match."""
    rows = [("Points", f"{match.points} of {most_points}")]
    move = interval_text(
        match.likeness.transposition_semitones, match.likeness.spelled_shift
    )
    rows.append(("From phrase to tune", move))
    if match.expected_by_chance is not None:
        rows.append(
            (
                "As good by chance",
                f"{expected_text(match.expected_by_chance)} in this corpus",
            )
        )
    if match.commonness:
        rows.append(("The shared figure", match.commonness))
    if match.also:
        rows.append(("In other lines", match.also_words))
    return tuple(rows)
