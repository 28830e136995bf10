"""Answers without shards that are missing or damaged, where ``--partial`` asks for it.

Contents: go_on_without, with_remark.
"""

from __future__ import annotations

import click

from melodex.corpus.shards.absent import going_on_without, partial_remark

__all__ = ["go_on_without", "with_remark"]


def go_on_without(ctx: click.Context) -> None:
    """Let a command go on without shards; at its end say without which."""
    ctx.with_resource(going_on_without())
    ctx.call_on_close(lambda: tell(partial_remark()))


def tell(remark: str) -> None:
    """Say on standard error what the answer is without, whatever form it has."""
    if remark:
        click.echo(f"melodex: {remark}", err=True)


def with_remark(text: str) -> str:
    """A text that says first without which shards it answers."""
    remark = partial_remark()
    return f"{remark}\n\n{text}" if remark else text
