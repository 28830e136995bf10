"""The sets themselves: made, changed, listed, shown, copied, deleted."""

from __future__ import annotations

from pathlib import Path

import click

from melodex.cli.output import Output, output_options, write

__all__ = [
    "change_command",
    "copy_command",
    "delete_command",
    "list_command",
    "new_command",
    "show_command",
]


@click.command("new")
@click.argument("name")
@click.option("--topic", default="", help="Topic: what the set teaches.")
@click.option("--level", default="", help="Level: whom it is for.")
@click.option("--notes", default="", help="Notes of your own, printed on the handout.")
@click.pass_obj
def new_command(corpus_path: Path, name: str, topic: str, level: str, notes: str) -> None:
    """Make an empty set.

    \b
    Example:
      $ melodex lesson new "Echoes" --topic "One figure in many tunes" --level beginners
    """
    from melodex.tasks.lesson.sets import new_lesson

    row = new_lesson(corpus_path, name, topic=topic, level=level, notes=notes)
    click.echo(f"made the set {row.name!r}", err=True)


@click.command("change")
@click.argument("name")
@click.option("--name", "new_name", help="Another name.")
@click.option("--topic", help="Another topic; empty clears it.")
@click.option("--level", help="Another level.")
@click.option("--notes", help="Other notes.")
@click.pass_obj
def change_command(
    corpus_path: Path,
    name: str,
    new_name: str | None,
    topic: str | None,
    level: str | None,
    notes: str | None,
) -> None:
    """Change what a set is called and for.

    \b
    Example:
      $ melodex lesson change "Echoes" --level "second year"
    """
    from melodex.tasks.lesson.sets import alter_lesson

    row = alter_lesson(
        corpus_path, name, new_name=new_name, topic=topic, level=level, notes=notes
    )
    click.echo(f"changed the set {row.name!r}", err=True)


@click.command("list")
@output_options(["text", "json"])
@click.pass_obj
def list_command(corpus_path: Path, output: Output) -> None:
    """List the teaching sets.

    \b
    Example:
      $ melodex lesson list
    """
    from melodex.corpus.reader import Corpus
    from melodex.presentation.lesson import data as lesson_data
    from melodex.presentation.lesson import text as lesson_text
    from melodex.tasks.lesson.sets import list_lessons

    with Corpus.open(corpus_path) as corpus:
        found = list_lessons(corpus)
    forms = {"text": lesson_text.lessons_text, "json": lesson_data.lessons_json}
    write(forms[output.form](found), output)
    if not found:
        click.echo("'melodex lesson new NAME' makes one", err=True)


@click.command("show")
@click.argument("name")
@output_options(["text", "json"])
@click.pass_obj
def show_command(corpus_path: Path, name: str, output: Output) -> None:
    """Show a set: its passages, how hard they are, their rights, and what has changed.

    \b
    Example:
      $ melodex lesson show "Flat ninth"
    """
    from melodex.cli.output import terminal_style
    from melodex.corpus.reader import Corpus
    from melodex.presentation.lesson import data as lesson_data
    from melodex.presentation.lesson import text as lesson_text
    from melodex.tasks.lesson.sets import open_lesson

    with Corpus.open(corpus_path) as corpus:
        found = open_lesson(corpus, name, offer_nearest=True)
    if output.form == "json":
        write(lesson_data.lesson_json(found), output)
    else:
        write(lesson_text.lesson_text(found, terminal_style(output)), output)
    if any(example.state.nearest for example in found.examples):
        click.echo("'melodex lesson mend' takes what comes nearest", err=True)


@click.command("copy")
@click.argument("name")
@click.argument("new_name")
@click.pass_obj
def copy_command(corpus_path: Path, name: str, new_name: str) -> None:
    """Make another set with the same passages.

    \b
    Example:
      $ melodex lesson copy "Flat ninth" "Flat ninth, evening class"
    """
    from melodex.tasks.lesson.sets import copy_lesson

    row = copy_lesson(corpus_path, name, new_name)
    click.echo(f"made the set {row.name!r}", err=True)


@click.command("delete")
@click.argument("name")
@click.pass_obj
def delete_command(corpus_path: Path, name: str) -> None:
    """Delete a set; the tunes stay in the corpus.

    \b
    Example:
      $ melodex lesson delete "Echoes"
    """
    from melodex.tasks.lesson.sets import remove_lesson

    row = remove_lesson(corpus_path, name)
    click.echo(f"deleted the set {row.name!r}", err=True)
