"""The command line: one file of ``commands`` for each, loaded only when it is called.

Each command parses, calls one function of ``tasks``, and hands the result to
``presentation``. Every error that melodex raises on purpose is caught once,
here: standard error, exit 1. Wrong usage exits 2; anything else is a fault of
ours and keeps its traceback. Read first: this file, then ``commands/resemble``.
"""

from __future__ import annotations

import gc
import importlib
import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from melodex import __version__
from melodex.cli.standard_output import name_faults, refuse_corpus_behind
from melodex.errors import MelodexError

__all__ = ["INTERRUPTED", "Melodex", "file_named", "main", "melodex"]

INTERRUPTED = 130
"""128 and the number of the signal, as shells count (POSIX, sh, 2.8.2)."""

COMMANDS = {
    "add": "read files and folders into the corpus",
    "audit": "where a tune of your own comes close to the corpus",
    "backup": "copy the corpus safely, even while it is in use",
    "check": "check the corpus for damage",
    "collection": "tag tunes, list duplicates, show what the corpus holds",
    "compare": "lay two passages side by side",
    "demo": "build the demo corpus and ask it five questions",
    "describe": "describe a piece: keys, form, harmony",
    "gather": "find pieces and passages that show a feature",
    "lesson": "make, arrange and print teaching sets",
    "list": "list the tunes of the corpus",
    "print": "print or export one tune or passage",
    "refresh": "read the folders of the corpus again",
    "remark": "write notes, sources and citations on a tune",
    "remove": "remove tunes from the corpus",
    "resemble": "find what a phrase resembles",
    "shards": "split a corpus into a folder of shards, and join them again",
    "show": "show one tune",
    "undo": "bring back what was removed, replaced or changed in a set",
    "workbench": "open the local page for the whole job",
}


class Melodex(click.Group):
    """The command group: loads a command's module when it is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names of all commands, in alphabetical order."""
        return sorted(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the module of one command and return the command."""
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"melodex.cli.commands.{cmd_name}")
        command: click.Command = module.command
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Find the command that is named first, or say which was meant."""
        is_unknown = bool(args) and args[0] not in COMMANDS and args[0][:1] != "-"
        # A shell that completes words asks too, of what is half written.
        if is_unknown and not ctx.resilient_parsing:
            from melodex.cli import hints

            if meant := hints.command_meant(args[0], COMMANDS):
                ctx.fail(f"No such command {args[0]!r}: did you mean 'melodex {meant}'?")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands without importing any of them."""
        with formatter.section("Commands"):
            formatter.write_dl(sorted(COMMANDS.items()))

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command and turn our own errors into a message and exit 1."""
        try:
            return super().invoke(ctx)
        except click.UsageError as error:
            from melodex.cli import hints

            raise hints.helped(error) from None
        except MelodexError as error:
            from melodex.cli import hints

            click.echo(f"melodex: {hints.said(error)}", err=True)
            ctx.exit(1)
        except KeyboardInterrupt:
            # Every change is one transaction, or says itself how far it came.
            said = "melodex: stopped; what was being changed is changed whole or not at all"
            click.echo(said, err=True)
            ctx.exit(INTERRUPTED)
        except BrokenPipeError:
            # The reader of a pipe has gone; Python would complain while closing.
            sys.stdout = open(os.devnull, "w", encoding="utf-8")  # noqa: PTH123, SIM115
            ctx.exit(1)


@click.group(cls=Melodex, context_settings={"help_option_names": ["-h", "--help"]})
@click.option(
    "--corpus",
    type=click.Path(path_type=Path),
    help="The corpus: a file, or a folder of shards [default: $MELODEX_CORPUS, then the "
    "user's data folder].",
)
@click.option(
    "--partial",
    is_flag=True,
    help="Go on without shards that are missing or damaged, and say so in the answer.",
)
@click.version_option(__version__, prog_name="melodex")
@click.pass_context
def melodex(ctx: click.Context, corpus: Path | None, partial: bool) -> None:
    """Where a phrase has been met before, and what the tunes share."""
    if partial:
        from melodex.cli.partly import go_on_without

        go_on_without(ctx)
    if corpus is None:
        from melodex.corpus.place import usual_place

        corpus = usual_place()
    refuse_corpus_behind(corpus)
    ctx.obj = corpus


ALLOCATIONS_BETWEEN_COLLECTIONS = 50_000
"""Objects made before the collector looks for rings; Python's own number is 700."""


WORKING_ON_A_FILE = {"audit", "compare", "describe", "print", "resemble"}
"""Commands that may be given a file in the place of a tune."""


def file_named(words: Sequence[str]) -> str:
    """The first file that a command line names in the place of a tune, or empty.

    Examples
    --------
    >>> file_named(["describe", "corpus_demo/own/own_song.abc"])
    'corpus_demo/own/own_song.abc'
    >>> file_named(["resemble", "5 4 3 2 1"])
    ''
    """
    if WORKING_ON_A_FILE.isdisjoint(words):
        return ""
    for word in words:
        # As an option takes it, and with the number of a tune.
        name = word.partition("=")[2] if word.startswith("--") else word
        for path in (name, name.rpartition("#")[0]):
            if path and "\0" not in path and os.path.isfile(path):  # noqa: PTH113
                return path
    return ""


def main() -> None:
    """Run the command line."""
    # Modules are never garbage, and a query makes next to none: looking through both
    # every 700 objects took a tenth of its time from cold.
    gc.freeze()
    gc.set_threshold(ALLOCATIONS_BETWEEN_COLLECTIONS)
    name_faults()
    name = file_named(sys.argv[1:])
    if name:
        from melodex.cli.bounded import run_apart

        sys.exit(run_apart(run, name))
    run()


def run() -> None:
    """Run the command of this process."""
    try:
        melodex(prog_name="melodex")
    except MelodexError as error:
        # Of help and the version, which are written before any command is invoked.
        click.echo(f"melodex: {error}", err=True)
        sys.exit(1)
