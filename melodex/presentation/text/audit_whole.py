"""Text of an audit of a whole corpus: near-duplicates and close pairs.

Contents: whole_audit_text.
"""

from __future__ import annotations

from melodex.melody.tune_id import leading
from melodex.presentation.text.audit import left_out_text, title_lines
from melodex.presentation.text.corpus import groups_text
from melodex.presentation.text.style import Style, paragraphs, wrapped
from melodex.presentation.text.words import many, shown
from melodex.tasks.audit.whole import ClosePair, WholeAudit
from melodex.tasks.compare.sentences import interval_text
from melodex.tasks.passage import Passage

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
    lines = [
        style.strong(
            f"{many(found.corpus_tunes, 'tune')} of {found.corpus_notes:,} notes, "
            "each with each"
        ),
        "",
        *paragraphs(summary(found), style),
        "",
    ]
    if found.duplicates.groups:
        lines += [style.strong("Near-duplicates"), ""]
        lines += groups_text(found.duplicates).splitlines()
    if found.pairs:
        lines += [style.strong("Close pairs"), ""]
    for rank, pair in enumerate(found.pairs, start=1):
        lines += [*pair_lines(rank, pair, style), ""]
    if found.duplicates.groups or found.pairs:
        # With ids, since twins tend to have one title.
        lines += paragraphs([f"To see two side by side, compare {example(found)}."], style)
    lines += paragraphs([*repeated_by(found), *found.cautions], style)
    return "\n".join(lines) + "\n"


def summary(found: WholeAudit) -> list[str]:
    """The answer in sentences."""
    groups = found.duplicates.groups
    left = found.groups_in_all - len(groups)
    shared = f"at least {found.duplicates.least:.0%} of their figures of nine notes"
    twins = (
        f"{many(found.groups_in_all, 'group')} of near-duplicates: the same steps in any "
        f"key, or {shared} shared" + (f"; {left:,} are not shown." if left else ".")
        if groups
        else f"No two tunes are near-duplicates, with {shared} shared."
    )
    more = found.pairs_in_all - len(found.pairs)
    pairs = (
        f"{many(found.pairs_in_all, 'further pair')} with several rare figures of nine "
        "notes in common" + (not_shown(more, len(found.pairs)) if more else ".")
        if found.pairs_in_all
        else "No two others share a rare passage of eleven notes or more."
    )
    return [twins, pairs]


def not_shown(more: int, listed: int) -> str:
    """What is said of pairs that are left out."""
    return (
        f": the most telling are listed, {more:,} are not shown."
        if listed
        else ", none of them shown: the limit is reached before them."
    )


def example(found: WholeAudit) -> str:
    """The ids of the first two tunes that are alike."""
    if found.duplicates.groups:
        return " and ".join(
            leading(row.tune_id) for row in found.duplicates.groups[0].tunes[:2]
        )
    pair = found.pairs[0]
    return f"{leading(pair.one.tune_id)} and {leading(pair.other.tune_id)}"


def repeated_by(found: WholeAudit) -> list[str]:
    """What has to be known to repeat the audit."""
    return [
        f"Compared by figures in any key, melodex {found.version}, digest of the corpus "
        f"{found.corpus_digest}{left_out_text(found.excluded)}."
    ]


def pair_lines(rank: int, pair: ClosePair, style: Style) -> list[str]:
    """Where the two stand and what they share."""
    move = pair.transposition_semitones
    fifths = pair.other.melody.fifths[0] - pair.one.melody.fifths[0]
    return [
        *title_lines(f"{rank}  {stands(pair.one)}", style),
        *title_lines(f"   {stands(pair.other)}", style),
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


def stands(passage: Passage) -> str:
    """A passage, and what tells its tune from others of the same title."""
    whose = passage.whole.credits
    file = f"{whose.source.rpartition('/')[2]} {whose.number}".strip()
    return shown(f"{passage.label} ({file}; tune {leading(passage.tune_id)})")
