"""``melodex lesson``: teaching sets, from a find to a handout and a worksheet."""

from __future__ import annotations

import click

from melodex.cli.lesson import papers, passages, sets


@click.group("lesson")
def command() -> None:
    """Keep passages in teaching sets, arrange them, print and share them.

    Passages come into a set from a search (--into on resemble, gather and audit) or
    by hand. They are tied to what they hold: renaming or adding a file again changes
    nothing, and a passage says when its tune has changed or is gone.

    \b
    Examples:
      $ melodex gather --note-on-chord "b9 on V" --limit 6 --into "Flat ninth"
      $ melodex lesson show "Flat ninth"
      $ melodex lesson print "Flat ninth" --output flat-ninth.pdf --format pdf
    """


for part in (
    sets.change_command,
    sets.copy_command,
    sets.delete_command,
    sets.list_command,
    sets.new_command,
    sets.show_command,
    passages.arrange_command,
    passages.drop_command,
    passages.keep_command,
    passages.mend_command,
    passages.move_command,
    passages.note_command,
    papers.mark_command,
    papers.pack_command,
    papers.plan_command,
    papers.print_command,
    papers.unpack_command,
):
    command.add_command(part)
