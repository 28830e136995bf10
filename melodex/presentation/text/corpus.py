"""Text for a terminal: what is in a corpus and what became of it.

Conventions: columns are aligned by the width that signs take in a terminal; a
sign that would steer the terminal is shown as a question mark, since titles come
from files of strangers. What goes to standard error ends without a full stop
where it names a place.

Contents: listing_text, detail_text, adding_text, removal_text, check_text, shards_text,
joined_text, backup_text, tagging_text, counts_text, holdings_text,
duplicates_text, groups_text, shown, table.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import TYPE_CHECKING

from melodex.melody import KeyChange, Melody, bars_text, degree_name, note_name
from melodex.melody.tune_id import leading
from melodex.presentation.text.words import WIDEST_TITLE, clipped, many, shown, table, width

if TYPE_CHECKING:
    from melodex.corpus.care.remains import RepairReport
    from melodex.corpus.tunes.particulars import RemarkRow
    from melodex.corpus.tunes.tune_rows import LineRow, TuneRow
    from melodex.tasks.adding.add import AddResult
    from melodex.tasks.collection.duplicates import Duplicates
    from melodex.tasks.collection.holdings import (
        Count,
        Holdings,
        Listing,
        Removal,
        Tagging,
        TuneDetail,
        Warned,
    )
    from melodex.tasks.collection.remarks import Remarked
    from melodex.tasks.collection.shards import Joined, ShardList
    from melodex.tasks.collection.upkeep import BackupResult, CheckResult

__all__ = [
    "adding_text",
    "backup_text",
    "check_text",
    "counts_text",
    "detail_text",
    "duplicates_text",
    "groups_text",
    "holdings_text",
    "joined_text",
    "listing_text",
    "removal_text",
    "shards_text",
    "tagging_text",
]

MOST_NAMED = 20
MOST_COUNTS = 12
"""Tunes that are named and counts that are shown before "and ... more"; our choice."""


def listing_text(listing: Listing) -> str:
    """Tunes in columns, and how many there are."""
    if not listing.tunes:
        return f"no tune fits; the corpus holds {many(listing.corpus_tunes, 'tune')}\n"
    rows = [
        (
            leading(row.tune_id),
            clipped(shown(titled(row)), WIDEST_TITLE),
            row.key or "-",
            row.metre or "free",
            str(row.bar_count),
            str(row.note_count),
            row.collection,
            f"{row.source} {row.number}".strip(),
        )
        for row in listing.tunes
    ]
    head = ("tune", "title", "key", "metre", "bars", "notes", "collection", "source")
    last = many(listing.matching, "tune")
    if len(listing.tunes) < listing.matching:
        last = f"{len(listing.tunes):,} of {last} shown"
    if listing.matching < listing.corpus_tunes:
        last += f"; the corpus holds {listing.corpus_tunes:,}"
    return f"{table(head, rows, (4, 5))}{last}\n"


def titled(row: TuneRow) -> str:
    """What a row of a list says: the title, and how many lines a piece has."""
    if row.line_count == 1:
        return row.name
    return f"{row.name} ({row.line_count} lines)"


def detail_text(detail: TuneDetail, columns: int = 80) -> str:
    """One tune: what is known of it, where it stands, and its notes with degrees."""
    parts = [facts_text(detail), places_text(detail)]
    if len(detail.lines) > 1:
        parts.append(lines_text(detail.lines))
    if detail.remarks:
        parts.append("\n".join(["written on it", *remark_lines(detail.remarks)]) + "\n")
    if detail.warnings:
        lines = [
            f"  {shown(w.source)} {w.number}{spot(w.line, w.column)}: {shown(w.text)}"
            for w in detail.warnings
        ]
        parts.append("\n".join(["not understood", *lines]) + "\n")
    if len(detail.melody):
        parts.append("notes\n" + notes_text(detail.melody, columns))
    else:
        parts.append("no notes; its description has its chords\n")
    return "\n".join(parts)


def lines_text(lines: Sequence[LineRow]) -> str:
    """The lines of a piece, each with its part and range."""
    rows = []
    for row in lines:
        line = row.line
        facts = [line.instrument if line.instrument != line.part else "", line.clef]
        if line.transposition_semitones:
            facts.append(f"sounds {line.transposition_semitones:+} semitones")
        if line.sung_syllables:
            facts.append("sung")
        if line.is_main:
            facts.append("main line")
        facts += [f"doubled by {name}" for name in line.doubled_by]
        rows.append(
            (
                str(line.position),
                shown(line.name or "-"),
                f"{row.lowest} to {row.highest}",
                str(row.note_count),
                leading(row.tune_id),
                shown(", ".join(filter(None, facts))),
            )
        )
    head = ("line", "part", "range", "notes", "tune", "")
    return f"lines\n{table(head, rows, (0, 3))}"


def remarked_text(found: Remarked) -> str:
    """What is written about a tune."""
    lines = remark_lines(found.remarks) or ["  nothing is written on it"]
    return (
        "\n".join([f"{shown(found.tune.name)}  {leading(found.tune.tune_id)}", *lines])
        + "\n"
    )


def remark_lines(remarks: Sequence[RemarkRow]) -> list[str]:
    """Each remark with its number, kind and bars."""
    lines = []
    for row in remarks:
        bars = ""
        if row.first_bar is not None and row.last_bar is not None:
            bars = f", {bars_text(row.first_bar, row.last_bar)}"
        said = " ".join(shown(line) for line in row.text.splitlines())
        lines.append(f"  {row.number}  {row.kind}{bars}: {said}")
    return lines


def warned_text(warned: Sequence[Warned]) -> str:
    """What was not understood, tune by tune."""
    lines = []
    for tune in warned:
        where = f"{tune.source} {tune.number}".strip()
        lines.append(shown(f"{tune.name} ({where}; tune {leading(tune.tune_id)})"))
        for w in tune.warnings:
            lines.append(
                f"  {spot(w.line, w.column).lstrip(', ') or 'whole tune'}: {shown(w.text)}"
            )
    return "\n".join(lines or ["everything was understood"]) + "\n"


def spot(line: int, column: int) -> str:
    """Line and column as far as they are known."""
    return (f", line {line}" if line else "") + (f", column {column}" if column else "")


def range_names(melody: Melody) -> list[str]:
    """The lowest and the highest note by name; none of a sheet of chords."""
    if not melody.midi:
        return []
    low = melody.midi.index(min(melody.midi))
    high = melody.midi.index(max(melody.midi))
    return [note_name(melody.midi[at], melody.fifths[at]) for at in (low, high)]


def facts_text(detail: TuneDetail) -> str:
    """What is known of a tune, a line each; what is not known is left out."""
    row, by, melody = detail.row, detail.melody.credits, detail.melody
    names = range_names(melody)
    facts = {
        "tune": row.tune_id,
        "composer": by.composer,
        "lyricist": by.lyricist,
        "year": "" if row.year is None else str(row.year),
        "kind": by.rhythm,
        "origin": by.origin,
        "part": by.part,
        "line": melody.line.words,
        "key": keys_text(melody.centres) or row.key or "none can be said",
        "printed": printed_text(melody),
        "metre": " then ".join(dict.fromkeys(str(c.metre or "free") for c in melody.metres))
        or "free",
        "size": f"{many(row.bar_count, 'bar')}, {many(row.note_count, 'note')}",
        "range": " to ".join(names),
        "tags": ", ".join(row.tags),
        "rights": row.rights or "not known",
    }
    lines = [f"  {name:<9} {shown(fact)}" for name, fact in facts.items() if fact]
    return "\n".join([shown(row.name), *lines]) + "\n"


def keys_text(changes: Sequence[KeyChange]) -> str:
    """Keys one after the other, each named once."""
    return " then ".join(dict.fromkeys(str(c.key) for c in changes))


def printed_text(melody: Melody) -> str:
    """What is printed where that is not what the tune is in; empty where it is."""
    printed, read = (
        list(dict.fromkeys((c.key.tonic_fifths, c.key.signature_fifths) for c in changes))
        for changes in (melody.keys, melody.centres)
    )
    if not read or printed == read:
        return ""
    return keys_text(melody.keys) or "no key"


def places_text(detail: TuneDetail) -> str:
    """Where a tune was read."""
    lines = []
    for place in detail.places:
        twice = (
            f" (its tune {place.occurrence} of that number)" if place.occurrence > 1 else ""
        )
        number = f", number {place.number}" if place.number else ""
        lines.append(
            f"  {shown(place.source)}{shown(number)}{twice}, in {shown(place.collection)}"
        )
    return "\n".join(["read from", *lines]) + "\n"


def notes_text(melody: Melody, columns: int) -> str:
    """Notes over their degrees, bar by bar, broken into lines of a width."""
    lines: list[str] = []
    top, bottom = "", ""
    for number, names, degrees in bars_of(melody):
        cells = [max(width(a), width(b)) for a, b in zip(names, degrees, strict=True)]
        upper = " ".join(a.ljust(c) for a, c in zip(names, cells, strict=True))
        lower = " ".join(b.ljust(c) for b, c in zip(degrees, cells, strict=True))
        head = f"{number:>4} "
        if top and len(top) + len(upper) + 8 > columns:
            lines += [top.rstrip(), bottom.rstrip(), ""]
            top, bottom = "", ""
        top += ("  " if top else "") + head + upper
        bottom += ("  " if bottom else "") + " " * len(head) + lower
    return "\n".join([*lines, top.rstrip(), bottom.rstrip()]) + "\n"


def bars_of(melody: Melody) -> list[tuple[int, list[str], list[str]]]:
    """Number, note names and degrees of each stretch of one bar."""
    found: list[tuple[int, list[str], list[str]]] = []
    for at, degree in enumerate(melody.degrees()):
        if not found or found[-1][0] != melody.bar[at]:
            found.append((melody.bar[at], [], []))
        found[-1][1].append(note_name(melody.midi[at], melody.fifths[at]))
        found[-1][2].append("." if degree is None else degree_name(degree))
    return found


def adding_text(result: AddResult) -> str:
    """What became of the files that were added."""
    lines = [f"refused: {shown(str(refusal))}" for refusal in result.refusals]
    if result.interrupted:
        done = f"{result.files_done:,} of {many(result.files_total, 'file')} done"
        lines.append(f"stopped: {done}; add the same again to go on")
    counts = [
        f"{result.added:,} added",
        f"{result.unchanged:,} unchanged",
        f"{result.replaced:,} replaced",
        f"{len(result.refusals):,} refused",
    ]
    lines.append(f"{many(result.files, 'file')}: {', '.join(counts)}")
    if result.gone_on:
        before = many(result.gone_on, "file")
        lines.append(f"{before} more from before it was stopped, not read again")
    if result.further:
        lines.append(f"{many(result.further, 'further line')} of their pieces added")
    if result.warnings:
        things = "thing was" if result.warnings == 1 else "things were"
        lines.append(f"{result.warnings:,} {things} not understood or left aside:")
    return "\n".join(lines) + "\n"


def removal_text(removal: Removal) -> str:
    """What was taken out."""
    rows = removal.removed[:MOST_NAMED]
    lines = [f"  {leading(row.tune_id)}  {shown(row.name)}" for row in rows]
    if len(removal.removed) > MOST_NAMED:
        lines.append(f"  and {len(removal.removed) - MOST_NAMED:,} more")
    text = f"removed {many(len(removal.removed), 'tune')}\n"
    if removal.removed or removal.kept:
        lines.append(
            "undoing it brings them back"
            if removal.can_be_undone
            else "this was too much to be kept: it cannot be undone"
        )
    if removal.kept:
        lines.append(f"kept {many(len(removal.kept), 'tune')} also in other files")
    return text + "".join(f"{line}\n" for line in lines)


def check_text(result: CheckResult) -> str:
    """What a check found."""
    report = result.report
    lines = [
        f"{shown(str(result.path))}: {many(report.tune_count, 'tune')}, "
        f"{many(report.note_count, 'note')}, {many(report.place_count, 'place')}, "
        f"{report.byte_count:,} bytes, schema {report.schema_version}",
        f"searched with the {result.engine} engine",
    ]
    if report.journal_bytes:
        lines.append(beside_text(report.journal_bytes))
    if result.repair:
        lines += repair_lines(result.repair)
    if not report.faults:
        return "\n".join([*lines, "no damage found"]) + "\n"
    lines.append(f"{many(len(report.faults), 'fault')}:")
    for fault in report.faults:
        tunes = ", ".join(fault.tune_ids[:MOST_NAMED])
        more = (
            f" and {len(fault.tune_ids) - MOST_NAMED:,} more"
            if fault.tune_ids[MOST_NAMED:]
            else ""
        )
        lines.append(f"  {shown(fault.what)}" + (f" [{tunes}{more}]" if tunes else ""))
    lines.append(f"{many(len(report.touched), 'tune')} touched:")
    for tune_id in report.touched[:MOST_NAMED]:
        lines.append(f"  {tune_id}  {shown(result.titles.get(tune_id, '')) or 'untitled'}")
    if len(report.touched) > MOST_NAMED:
        lines.append(f"  and {len(report.touched) - MOST_NAMED:,} more")
    return "\n".join(lines) + "\n"


def shards_text(found: ShardList) -> str:
    """Shards in columns, and what is wrong with any."""
    rows = [
        [
            f"{state.number}",
            state.shard.file,
            f"{state.shard.tunes:,}",
            f"{state.shard.notes:,}",
            f"{state.shard.bytes:,}",
        ]
        for state in found.states
    ]
    laid = table(("", "file", "tunes", "notes", "bytes"), rows, right=(0, 2, 3, 4))
    tunes = sum(state.shard.tunes for state in found.states)
    last = [f"{many(len(found.states), 'shard')}, {many(tunes, 'tune')}"]
    faults = [shown(state.fault) for state in found.states if state.fault]
    return "".join(f"{line}\n" for line in [laid.rstrip("\n"), *last, *faults])


def joined_text(made: Joined) -> str:
    """That one file was made of shards."""
    tunes = many(made.tune_count, "tune")
    return f"{tunes} joined in {shown(str(made.path))}, {made.byte_count:,} bytes\n"


def repair_lines(repair: RepairReport) -> list[str]:
    """What a repair did."""
    kind = "folder" if repair.damaged.is_dir() else "file"
    lines = [
        f"made anew: {many(repair.kept, 'tune')} were whole, "
        f"{len(repair.read_again):,} read again from the kept source, "
        f"{len(repair.lost):,} lost",
        f"the damaged {kind} is kept as {shown(str(repair.damaged))}",
    ]
    lines += [f"  lost: tune {tune_id}" for tune_id in repair.lost]
    return lines + [f"  left out: {shown(what)}" for what in repair.left_out]


def backup_text(result: BackupResult) -> str:
    """Where a copy is and what it holds."""
    said = (
        f"{shown(str(result.path))}: {many(result.tune_count, 'tune')}, "
        f"{result.byte_count:,} bytes\n"
    )
    return said + (f"{beside_text(result.journal_bytes)}\n" if result.journal_bytes else "")


def beside_text(journal_bytes: int) -> str:
    """What is to be known while a journal stands beside the corpus."""
    return (
        f"the corpus file alone is not whole now: {journal_bytes:,} bytes stand in a "
        "journal beside it; copy it as a backup, or when nobody is at work"
    )


def tagging_text(tagging: Tagging) -> str:
    """What a word was put on."""
    verb = "taken off" if tagging.taken_off else "put on"
    already = tagging.tune_count - tagging.changed
    rest = f"; {already:,} were so already" if already else ""
    return f"{shown(tagging.name)!r} {verb} {many(tagging.changed, 'tune')}{rest}\n"


def counts_text(name: str, counts: Sequence[Count]) -> str:
    """Values and how many tunes share each."""
    rows = [(count.value or "none", f"{count.tune_count:,}") for count in counts]
    return table((name, "tunes"), rows, (1,))


def holdings_text(holdings: Holdings) -> str:
    """What a corpus holds, and what of it is thin."""
    # A search shows its matches without counting anything.
    from melodex.tasks.collection.holdings import ENOUGH_TUNES

    parts = [f"{many(holdings.tune_count, 'tune')}, {many(holdings.note_count, 'note')}\n"]
    for name, counts in (
        ("collection", holdings.collections),
        ("printed mode", holdings.modes),
        ("metre", holdings.metres),
        ("kind", holdings.rhythms),
        ("decade", holdings.decades),
        ("tag", holdings.tags),
        ("device", holdings.devices),
    ):
        if not counts:
            continue
        text = counts_text(name, counts[:MOST_COUNTS])
        if len(counts) > MOST_COUNTS:
            text += f"and {len(counts) - MOST_COUNTS:,} more\n"
        parts.append(text)
    parts += [
        thin_lines(f"{name} in fewer than {ENOUGH_TUNES} tunes: ", counts)
        for name, counts in (
            ("Modes", holdings.thin_modes),
            ("Devices", holdings.thin_devices),
        )
        if counts
    ]
    return "\n".join(parts)


def thin_lines(start: str, counts: Sequence[Count]) -> str:
    """Values and how many tunes show them, on lines that fit a terminal."""
    listed = ", ".join(f"{count.value} ({count.tune_count or 'none'})" for count in counts)
    import textwrap

    return textwrap.fill(start + listed, 80, subsequent_indent="  ") + "\n"


def duplicates_text(duplicates: Duplicates) -> str:
    """Groups of tunes that are alike, with where they stand."""
    tunes = sum(len(group.tunes) for group in duplicates.groups)
    return groups_text(duplicates) + (
        f"{many(len(duplicates.groups), 'group')} with {many(tunes, 'tune')} "
        f"of {duplicates.corpus_tunes:,}\n"
    )


def groups_text(duplicates: Duplicates) -> str:
    """Groups of tunes that are alike, an empty line after each.

    Long paths to one shelf would hide what differs: a folder that holds all the
    files is named once, at the end.
    """
    rows = [row for group in duplicates.groups for row in group.tunes]
    folder = common_folder([row.source for row in rows])
    lines = []
    for group in duplicates.groups:
        alike = f"{group.likeness:.0%} of figures shared"
        lines.append(f"{'same steps' if group.likeness == 1 else alike}:")
        cells = [
            (
                f"  {leading(row.tune_id)}",
                row.name,
                row.key or "-",
                f"{row.source.removeprefix(folder)} {row.number}".strip(),
            )
            for row in group.tunes
        ]
        lines += [*table(("", "", "", ""), cells).splitlines()[1:], ""]
    if folder:
        lines += [f"All these files are in {shown(folder)}", ""]
    return "".join(f"{line}\n" for line in lines)


def common_folder(sources: Sequence[str]) -> str:
    """The folder that holds all of some files, its last slash included, or nothing."""
    start = os.path.commonprefix(sources)  # noqa: RUF071 (cut at a slash below)
    return start[: start.rfind("/") + 1]
