"""``melodex workbench``: the local page for the whole job."""

from __future__ import annotations

import click


@click.command("workbench")
@click.option(
    "--port",
    type=click.IntRange(1, 65535),
    help="Port [default: 8642, or any free one if that is taken].",
)
@click.option(
    "--open/--no-open", "shown", default=True, help="Open the page in the browser."
)
@click.pass_context
def command(ctx: click.Context, port: int | None, shown: bool) -> None:
    """Open a page on this machine on which the whole job can be done.

    The page can be reached from this machine alone, by whoever has the address that is
    printed: it carries a key that is made anew each time. Press Ctrl-C to stop it.

    \b
    Example:
      $ melodex workbench
    """
    from melodex.workbench.serving import serve

    def ready(address: str, opens_once: str) -> None:
        click.echo(f"The workbench is at {address}", err=True)
        click.echo("Press Ctrl-C to stop it.", err=True)
        if shown:
            # Other users can read the command line of the browser: no key goes there.
            click.launch(opens_once)

    partial = bool(ctx.find_root().params.get("partial"))
    serve(ctx.obj, port=port, partial=partial, ready=ready)
