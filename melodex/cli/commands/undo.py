"""``melodex undo``: bring back what was taken out."""

from __future__ import annotations

from pathlib import Path

import click

from melodex.cli.output import Output, output_options, write


@click.command("undo")
@click.argument("which", required=False)
@output_options(["text", "json"])
@click.pass_obj
def command(corpus_path: Path, which: str | None, output: Output) -> None:
    """List what was done and can be undone, or undo it.

    WHICH is "last", or a number of that list. What was removed, replaced or changed in
    a teaching set is kept in the corpus for 30 days, the last ten changes longer, up
    to 64 MB, the oldest going first. Of a teaching set that one change is taken back, and
    what was done since stays. Undoing can be undone.

    \b
    Examples:
      $ melodex undo
      $ melodex undo --format json
    """
    from melodex.corpus.reader import Corpus
    from melodex.presentation.data import corpus as data_corpus
    from melodex.presentation.text import undo as text_undo
    from melodex.tasks.collection.undo import undo, what_was_done

    if which is None:
        with Corpus.open(corpus_path) as corpus:
            found = what_was_done(corpus)
        forms = {"text": text_undo.done_text, "json": data_corpus.done_json}
        write(forms[output.form](found), output)
        if found and output.form == "text":
            said = "'melodex undo last' undoes the first, 'melodex undo NUMBER' another"
            click.echo(said, err=True)
        return
    if which != "last" and not (which.isascii() and which.isdigit()):
        raise click.UsageError(f'WHICH is "last" or a number, not {which!r}')
    done = undo(corpus_path, None if which == "last" else min(int(which), 2**62))
    if output.form == "json":
        write(data_corpus.undone_json(done), output)
    else:
        click.echo(text_undo.undone_text(done), nl=False, err=True)
