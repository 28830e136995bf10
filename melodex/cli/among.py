"""Which tunes of the corpus are searched: options that several commands share.

Contents: among_options, left_out.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus

__all__ = ["among_options", "left_out"]


def among_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Give a command the options that say among which tunes it looks."""
    for name, help_text in (
        ("--without", "Leave out tunes that meet these wishes."),
        (
            "--within",
            "Only tunes, or lines, that meet these wishes: 'kind jig; key D', 'part bass'.",
        ),
    ):
        command = click.option(name, default="", metavar="WISHES", help=help_text)(command)
    return command


def left_out(corpus: Corpus, within: str, without: str) -> frozenset[str]:
    """The ids of tunes that are not to be looked at, line by line."""
    if not within and not without:
        return frozenset()
    # A search from cold loads nothing of this.
    from melodex.tasks.gather.counts import tunes_left_out

    return tunes_left_out(corpus, within, without)
