"""The pages of a corpus: what it holds, how its tunes lie, what stands in it twice.

Contents: CorpusMap, corpus_page, whole_audit_page.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from melodex.melody.tune_id import leading
from melodex.presentation.map.corpus import counts_svg, likeness_svg
from melodex.presentation.map.pens import signed
from melodex.presentation.report.blocks import laid_out, picture_of, rights_lines
from melodex.presentation.report.page import (
    Block,
    Caution,
    Facts,
    Legend,
    Page,
    Picture,
    Section,
    Table,
    Text,
)
from melodex.presentation.text.audit_whole import repeated_by
from melodex.presentation.text.audit_whole import summary as audit_words
from melodex.tasks.audit.whole import ClosePair, WholeAudit
from melodex.tasks.collection.duplicates import Duplicates
from melodex.tasks.collection.holdings import ENOUGH_TUNES, Count, Holdings
from melodex.tasks.collection.likeness import LikenessMap
from melodex.tasks.compare.compare import compare
from melodex.tasks.compare.sentences import interval_text, summarise

__all__ = ["CorpusMap", "corpus_page", "likeness_picture", "panels_of", "whole_audit_page"]

LIKENESS_WORDS = (
    "Tunes that lie together share figures of four notes in any key, and mode and metre; "
    "far apart need not mean least alike."
)
MOST_PAIRS_DRAWN = 12
"""Pairs that a page draws; the others stand in its table."""


@dataclass(frozen=True, slots=True)
class CorpusMap:
    """What a corpus holds, and how its tunes lie to one another."""

    holdings: Holdings
    likeness: LikenessMap


def corpus_page(found: CorpusMap) -> Page:
    """What a corpus holds, as a page: counts, the plane of likeness, its tunes."""
    held, likeness = found.holdings, found.likeness
    sections: list[Section] = []
    panels = panels_of(held)
    if panels:
        picture = Picture(counts_svg(panels), "What the corpus holds, counted in tunes")
        sections.append(Section("What it holds", (picture,)))
    if likeness.points:
        picture = likeness_picture(likeness, lambda tune_id: f"#tune-{tune_id}")
        sections.append(Section("Tunes by likeness", (picture,)))
        sections += cluster_sections(likeness)
    summary = [f"{held.tune_count:,} tunes, {held.note_count:,} notes.", *thin_words(held)]
    return Page("The map of the corpus", "holdings", tuple(summary), tuple(sections))


def panels_of(held: Holdings) -> list[tuple[str, tuple[Count, ...]]]:
    """What is counted, those that have anything; decades in their order."""
    decades = tuple(sorted(held.decades, key=lambda count: count.value))
    panels = [
        ("Key", held.keys),
        ("Printed mode", held.modes),
        ("Metre", held.metres),
        ("Decade", decades),
        ("Maker", held.makers),
        ("Collection", held.collections),
        ("Device", held.devices),
        ("Kind", held.rhythms),
    ]
    return [(name, counts) for name, counts in panels if counts]


def thin_words(held: Holdings) -> list[str]:
    """What few tunes show."""
    return [
        f"{name} in fewer than {ENOUGH_TUNES} tunes: "
        + ", ".join(f"{count.value} ({count.tune_count or 'none'})" for count in counts)
        + "."
        for name, counts in (("Modes", held.thin_modes), ("Devices", held.thin_devices))
        if counts
    ]


def likeness_picture(found: LikenessMap, address: Callable[[str], str]) -> Picture:
    """The plane of likeness, with what it goes by."""
    drawn, in_all = len(found.points), found.corpus_tunes
    caption = LIKENESS_WORDS
    if drawn < in_all:
        caption += f" Drawn are {drawn:,} of {in_all:,} tunes, chosen by their ids."
    return Picture(likeness_svg(found, address), "Tunes by likeness", caption)


def cluster_sections(found: LikenessMap) -> list[Section]:
    """The tunes of each cluster, with the numbers of their points."""
    sections = []
    for number, cluster in enumerate(found.clusters):
        rows, anchors = [], []
        for place, point in enumerate(found.points, start=1):
            if point.cluster == number:
                row = point.row
                made = ", ".join(filter(None, (row.composer, str(row.year or ""))))
                cells = (
                    row.name,
                    made,
                    signed(row.key),
                    row.metre or "free",
                )
                rows.append((str(place), *cells, row.collection))
                anchors.append(f"tune-{row.tune_id}")
        head = ("No.", "Title", "By", "Key", "Metre", "Collection")
        table = Table(
            f"Tunes of the cluster {cluster.name}", head, tuple(rows), tuple(anchors)
        )
        many = f"{cluster.tunes} tune{'' if cluster.tunes == 1 else 's'}"
        sections.append(Section(signed(cluster.name), (table,), note=many))
    return sections


# What stands twice


def whole_audit_page(found: WholeAudit) -> Page:
    """What stands in a corpus twice, as a page."""
    sections = [Section("What this does not say", (Caution(found.cautions),))]
    if found.duplicates.groups:
        table = duplicates_table(found.duplicates)
        sections.append(Section("Near-duplicates", (table,)))
    sections += [pair_section(rank, pair) for rank, pair in enumerate(found.pairs, start=1)]
    sections.append(Section("To repeat it", (Text(tuple(repeated_by(found))),)))
    wholes = [side.whole for pair in found.pairs for side in (pair.one, pair.other)]
    title = f"What stands twice in {found.corpus_tunes:,} tunes"
    return Page(
        title, "audit", tuple(audit_words(found)), tuple(sections), rights_lines(*wholes)
    )


def duplicates_table(found: Duplicates) -> Table:
    """Groups of tunes that are nearly the same, one row for each tune."""
    rows = [
        (
            str(number),
            "same steps" if group.likeness == 1 else f"{group.likeness:.0%} of figures",
            row.name,
            signed(row.key) or "–",
            f"{row.source.rpartition('/')[2]} {row.number}".strip(),
            leading(row.tune_id),
        )
        for number, group in enumerate(found.groups, start=1)
        for row in group.tunes
    ]
    head = ("Group", "Alike", "Title", "Key", "File", "Id")
    return Table("Tunes that are the same, or nearly", head, tuple(rows))


def pair_section(rank: int, pair: ClosePair) -> Section:
    """Two tunes that share a passage; the first pairs are drawn."""
    move = pair.transposition_semitones
    fifths = pair.other.melody.fifths[0] - pair.one.melody.fifths[0]
    facts = Facts(
        (
            ("Notes that run alike", str(pair.notes)),
            ("They tell", f"{pair.bits:.0f} bits"),
            ("From one to the other", interval_text(move, fifths)),
            ("Rare figures shared", str(pair.shared_figures)),
        )
    )
    label = f"{pair.one.label} and {pair.other.label}"
    drawn = drawn_pair(rank, pair, label) if rank <= MOST_PAIRS_DRAWN else ()
    note = f"tunes {leading(pair.one.tune_id)} and {leading(pair.other.tune_id)}"
    return Section(f"{rank}. {label}", (facts, *drawn), note=note)


def drawn_pair(rank: int, pair: ClosePair, label: str) -> tuple[Block, ...]:
    """The passages of a pair, note against note."""
    a, b = pair.one.melody, pair.other.melody
    likeness = compare(pair.one, pair.other).likeness
    laid = laid_out(a, b, likeness, onto="b" if a.key.mode == "none" else "a")
    return (
        Text(summarise(a, b, likeness)),
        Legend(laid.relations),
        picture_of(laid, f"p{rank}", "time", label, ""),
    )
