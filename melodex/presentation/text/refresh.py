"""What has changed in the folders of a corpus, and what was done, as text.

Contents: differences_text, refreshed_text.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from melodex.presentation.text.words import MOST_NAMED, many, shown

if TYPE_CHECKING:
    from melodex.tasks.adding.refresh import Differences, Refreshed

__all__ = ["differences_text", "refreshed_text"]


def differences_text(found: Differences) -> str:
    """What the folders hold that the corpus does not, and the other way round."""
    if not found.folders:
        return "no folder is known that this corpus was made from: name one\n"
    lines = [
        f"folder not there now, or empty or closed, left as it is: {shown(p)}"
        for p in found.missing
    ]
    for word, paths in (
        ("new", found.new),
        ("changed", found.changed),
        ("moved", [f"{old} -> {new}" for old, new in found.moved]),
        ("gone", found.gone),
    ):
        lines += named(word, paths)
    if found.gone_tunes:
        lines.append(f"{many(found.gone_tunes, 'tune')} left files that are still there")
    lines += [
        f"not read: {shown(refusal.source)}: {shown(refusal.reason)}"
        for refusal in found.refusals[:MOST_NAMED]
    ]
    lines.append(
        f"{many(len(found.folders), 'folder')}: {found.unchanged:,} files unchanged, "
        f"{len(found.new):,} new, {len(found.changed):,} changed, "
        f"{len(found.moved):,} moved, {len(found.gone):,} gone, "
        f"{len(found.refusals):,} not read"
    )
    return "".join(f"{line}\n" for line in lines)


def named(word: str, paths: Sequence[str]) -> list[str]:
    """Files of one kind, the first few of them."""
    lines = [f"{word}: {shown(path)}" for path in paths[:MOST_NAMED]]
    if len(paths) > MOST_NAMED:
        lines.append(f"{word}: and {len(paths) - MOST_NAMED:,} more")
    return lines


def refreshed_text(done: Refreshed, *, remove_gone: bool) -> str:
    """What was done."""
    added = sum(result.added for result in done.added)
    replaced = sum(result.replaced for result in done.added)
    refused = sum(len(result.refusals) for result in done.added)
    text = (
        f"done: {added:,} tunes added, {replaced:,} replaced, {done.removed:,} removed, "
        f"{refused:,} refused\n"
    )
    if done.differences.gone_places and not remove_gone:
        text += "what is gone from the folders was left in the corpus\n"
    if not done.can_be_undone:
        text += "what was taken out was too much to be kept, and cannot be brought back\n"
    elif replaced or done.removed:
        text += "what was taken out or replaced can be brought back\n"
    return text
