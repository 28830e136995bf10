"""Text of an audit of a whole corpus: near-duplicates and close pairs.

Contents: whole_audit_text.
"""

from __future__ import annotations

from melodex.presentation.text import Style, paragraphs, wrapped
from melodex.presentation.text_audit import title_lines
from melodex.presentation.text_corpus import duplicates_text, shown
from melodex.tasks.audit_whole import ClosePair, WholeAudit
from melodex.tasks.compare import interval_text

__all__ = ["whole_audit_text"]


def whole_audit_text(found: WholeAudit, style: Style) -> str:
    """Write an audit of a whole corpus as text.

    Parameters
    ----------
    found : WholeAudit
        Of the task.
    style : Style
        What the terminal can show.
    """
    lines = [style.strong("Near-duplicates"), "", duplicates_text(found.duplicates)]
    lines += [style.strong("Close pairs"), ""]
    for rank, pair in enumerate(found.pairs, start=1):
        lines += [*pair_lines(rank, pair, style), ""]
    more = found.pairs_in_all - len(found.pairs)
    closing = [
        f"{found.pairs_in_all:,} pairs share passages of nine notes or more that are rare "
        f"here{f'; {more:,} are not shown' if more else ''}.",
        f"Compared were {found.corpus_tunes:,} tunes of {found.corpus_notes:,} notes, each "
        f"with each, melodex {found.version}.",
    ]
    if not found.pairs_in_all:
        closing[0] = "No two others share a rare passage of eleven notes or more."
    lines += paragraphs([*closing, *found.cautions], style)
    return "\n".join(lines) + "\n"


def pair_lines(rank: int, pair: ClosePair, style: Style) -> list[str]:
    """Where the two stand and what they share."""
    move = pair.transposition_semitones
    fifths = pair.other.melody.fifths[0] - pair.one.melody.fifths[0]
    return [
        *title_lines(f"{rank}  {shown(pair.one.label)}", style),
        *title_lines(f"   {shown(pair.other.label)}", style),
        *wrapped(
            [
                f"{pair.notes} notes run alike",
                f"{pair.bits:.0f} bits",
                interval_text(move, fifths),
                f"{pair.shared_figures} rare figures shared",
            ],
            style,
        ),
    ]
