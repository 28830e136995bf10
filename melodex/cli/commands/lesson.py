"""``melodex lesson``: teaching sets, from a find to a handout and a worksheet."""

from __future__ import annotations

from pathlib import Path

import click

from melodex.cli.output import Output, force_option, output_options, write

KINDS = (
    "degrees",
    "solfa",
    "chords",
    "note on chord",
    "motion",
    "find",
    "spot",
    "spelling",
    "intervals",
    "write another",
    "keys",
    "key change",
    "mode",
    "metre",
    "cadence",
    "section",
    "ending",
    "returning",
    "sequence",
    "transpose",
    "dictation",
    "hear",
    "sing",
    "shared notes",
    "compare",
    "relative",
)
CAUTION = "Check the rights of what you share; each passage carries what is known of them."


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


@command.command("new")
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


@command.command("change")
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


@command.command("list")
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


@command.command("show")
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


@command.command("keep")
@click.argument("name")
@click.argument("tune")
@click.option("--bars", help="Which bars of it, by printed number: 5 or 5-8.")
@click.option("--notes", help="Which notes of it, counted from 1: 9-20.")
@click.option("--why", default="", help="What it is an example of.")
@click.pass_obj
def keep_command(
    corpus_path: Path,
    name: str,
    tune: str,
    bars: str | None,
    notes: str | None,
    why: str,
) -> None:
    """Keep a passage by hand: tune and bars.

    \b
    Example:
      $ melodex lesson keep "Flat ninth" "Foghorn Samba" --bars 9-12
    """
    from melodex.corpus.reader import Corpus
    from melodex.presentation.lesson.text import kept_text
    from melodex.tasks.lesson.keeping import found_by_hand, keep

    with Corpus.open(corpus_path) as corpus:
        found = found_by_hand(corpus, tune, bars=bars, notes=notes, reason=why)
    click.echo(kept_text(keep(corpus_path, name, [found])), nl=False, err=True)


@command.command("note")
@click.argument("name")
@click.argument("position", type=int)
@click.argument("words", default="")
@click.pass_obj
def note_command(corpus_path: Path, name: str, position: int, words: str) -> None:
    """Write your own words beside passage POSITION; without words, take them away.

    \b
    Example:
      $ melodex lesson note "Flat ninth" 1 "Sing the bass first."
    """
    from melodex.tasks.lesson.sets import annotate

    lesson = annotate(corpus_path, name, position, words)
    click.echo(f"noted beside {lesson.examples[position - 1].title}", err=True)


@command.command("move")
@click.argument("name")
@click.argument("position", type=int)
@click.argument("to", type=int)
@click.pass_obj
def move_command(corpus_path: Path, name: str, position: int, to: int) -> None:
    """Move passage POSITION to another position.

    \b
    Example:
      $ melodex lesson move "Flat ninth" 3 1
    """
    from melodex.tasks.lesson.sets import move

    lesson = move(corpus_path, name, position, to)
    click.echo(f"{lesson.examples[to - 1].title} is passage {to} now", err=True)


@command.command("drop")
@click.argument("name")
@click.argument("positions", type=int, nargs=-1, required=True)
@click.pass_obj
def drop_command(corpus_path: Path, name: str, positions: tuple[int, ...]) -> None:
    """Take passages out of a set; their tunes stay in the corpus.

    \b
    Example:
      $ melodex lesson drop "Flat ninth" 2
    """
    from melodex.tasks.lesson.sets import drop

    lesson = drop(corpus_path, name, positions)
    click.echo(f"{len(lesson.examples)} passages are left", err=True)


@command.command("copy")
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


@command.command("arrange")
@click.argument("name")
@click.option("--apply", "is_applied", is_flag=True, help="Save this order.")
@output_options(["text", "json"])
@click.pass_obj
def arrange_command(corpus_path: Path, name: str, is_applied: bool, output: Output) -> None:
    """Suggest an order from easy to hard, and say why.

    Never two of one tune in a row if that can be had; among passages about as hard,
    one in another key or metre goes first; what is nearly the same is pointed out.

    \b
    Examples:
      $ melodex lesson arrange "Flat ninth"
      $ melodex lesson arrange "Flat ninth" --apply
    """
    from melodex.cli.output import terminal_style
    from melodex.corpus.reader import Corpus
    from melodex.presentation.lesson import data as lesson_data
    from melodex.presentation.lesson import text as lesson_text
    from melodex.tasks.lesson.order import apply_arrangement, arrange
    from melodex.tasks.lesson.sets import open_lesson

    with Corpus.open(corpus_path) as corpus:
        found = arrange(open_lesson(corpus, name))
    if is_applied:
        apply_arrangement(corpus_path, found)
    if output.form == "json":
        write(lesson_data.arrangement_json(found), output)
    else:
        write(lesson_text.arrangement_text(found, terminal_style(output)), output)
    if is_applied:
        click.echo("order saved", err=True)


@command.command("mend")
@click.argument("name")
@click.argument("positions", type=int, nargs=-1)
@click.pass_obj
def mend_command(corpus_path: Path, name: str, positions: tuple[int, ...]) -> None:
    """Take what comes nearest now in place of passages whose tune has changed.

    "melodex lesson show" says what is offered. Without POSITIONS all offers are taken.

    \b
    Example:
      $ melodex lesson mend "Flat ninth" 2
    """
    from melodex.tasks.lesson.keeping import take_nearest

    lesson = take_nearest(corpus_path, name, positions)
    click.echo(f"mended the set {lesson.row.name!r}", err=True)


@command.command("print")
@click.argument("name")
@click.option(
    "--sheet",
    type=click.Choice(["handout", "worksheet"]),
    default="handout",
    show_default=True,
    help="Fully labelled, or with questions instead of labels.",
)
@click.option(
    "--ask",
    "kinds",
    multiple=True,
    type=click.Choice(KINDS),
    metavar="KIND",
    help=f"Kind of question; may be repeated: {', '.join(KINDS)}.",
)
@click.option(
    "--level",
    type=click.Choice(["first", "second", "third"]),
    default="third",
    show_default=True,
    help="Ask nothing harder than this.",
)
@click.option(
    "--leave-out",
    "leave_out",
    multiple=True,
    metavar="QUESTION",
    help="Leave this question out, by its name in --format json; may be repeated.",
)
@click.option(
    "--plan",
    type=click.Path(path_type=Path, dir_okay=False, exists=True),
    help="Print the questions of this file, which 'lesson plan' wrote and you edited.",
)
@click.option(
    "--afresh",
    is_flag=True,
    help="Ask what suits the set, not the questions that were chosen on its page.",
)
@click.option(
    "--size",
    type=click.Choice(["usual", "large"]),
    default="usual",
    show_default=True,
    help="Staves of 7.25 or 8 mm, and blanks as much larger.",
)
@click.option(
    "--answers",
    type=click.Choice(["with", "without", "only", "checked"]),
    default="with",
    show_default=True,
    help="Print the answer key, on its own pages; or let an HTML page check answers.",
)
@click.option(
    "--key",
    default="own",
    show_default=True,
    help="Transpose all passages to this tonic: C, Bb ...",
)
@click.option(
    "--for",
    "instrument",
    type=click.Choice(["concert", "b-flat", "e-flat"]),
    default="concert",
    show_default=True,
    help="Transpose for these instruments.",
)
@click.option(
    "--clef",
    type=click.Choice(["own", "treble", "bass", "alto", "tenor"]),
    default="own",
    show_default=True,
    help="Clef, with the octave that suits it.",
)
@output_options(["html", "pdf", "midi", "json"])
@click.pass_obj
def print_command(
    corpus_path: Path,
    name: str,
    sheet: str,
    kinds: tuple[str, ...],
    level: str,
    leave_out: tuple[str, ...],
    plan: Path | None,
    afresh: bool,
    size: str,
    answers: str,
    key: str,
    instrument: str,
    clef: str,
    output: Output,
) -> None:
    """Print a handout, or a worksheet with its answer key; or hear all passages.

    A set that was gathered is asked about what it was gathered for. Every answer is
    reached in two ways; what is uncertain is not asked. Questions that were chosen on
    the page of the set are printed as they were chosen. MIDI holds all passages, one
    after another; of a worksheet those of its questions, for dictation.

    \b
    Examples:
      $ melodex lesson print "Flat ninth" --format pdf --output handout.pdf
      $ melodex lesson print "Flat ninth" --sheet worksheet --key C --output sheet.html
      $ melodex lesson print "Flat ninth" --sheet worksheet --answers checked \
          --output class.html
      $ melodex lesson print "Flat ninth" --format midi --output flat-ninth.mid
    """
    from melodex.corpus.reader import Corpus
    from melodex.presentation.lesson.printing import printed
    from melodex.presentation.lesson.setting import SheetSetting
    from melodex.tasks.lesson.choosing import choice_of
    from melodex.tasks.lesson.plan import planned
    from melodex.tasks.lesson.questions import worksheet
    from melodex.tasks.lesson.sets import open_lesson

    setting = SheetSetting(key, instrument, clef)
    with Corpus.open(corpus_path) as corpus:
        lesson = open_lesson(corpus, name)
        asked = None
        if sheet == "worksheet":
            is_plain = not (kinds or leave_out or plan or afresh) and level == "third"
            if lesson.plan and is_plain:
                asked = choice_of(corpus, lesson).sheet
            else:
                asked = worksheet(corpus, lesson, kinds, level=level, leave_out=leave_out)
        if asked is not None and plan is not None:
            asked = planned(asked, read_words(plan), str(plan))
    content = printed(
        lesson,
        asked,
        output.form,
        setting=setting,
        answers=answers,
        paper=output.paper,
        size=size,
    )
    write(content, output)


def read_words(file: Path) -> str:
    """The text of a file that a person edited."""
    from melodex.errors import LessonError

    try:
        return file.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        raise LessonError(
            f"cannot be read: {error}", where=str(file), hint="save it as UTF-8 text"
        ) from error


@command.command("plan")
@click.argument("name")
@click.option("--ask", "kinds", multiple=True, type=click.Choice(KINDS), metavar="KIND")
@output_options(["text"])
@click.pass_obj
def plan_command(
    corpus_path: Path, name: str, kinds: tuple[str, ...], output: Output
) -> None:
    """Write the questions of a worksheet as a text to edit.

    Reorder its lines, delete what you do not want, reword headings and tasks, add words
    of your own; then print it with --plan. The same plan gives the same sheet.

    \b
    Examples:
      $ melodex lesson plan "Flat ninth" --output flat-ninth.txt
      $ melodex lesson print "Flat ninth" --sheet worksheet --plan flat-ninth.txt
    """
    from melodex.corpus.reader import Corpus
    from melodex.tasks.lesson.plan import plan_text
    from melodex.tasks.lesson.questions import worksheet
    from melodex.tasks.lesson.sets import open_lesson

    with Corpus.open(corpus_path) as corpus:
        asked = worksheet(corpus, open_lesson(corpus, name), kinds)
    write(plan_text(asked), output)


@command.command("mark")
@click.argument("name")
@click.argument("position", type=int)
@click.argument("recording", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--in-key", is_flag=True, help="Mark the key too; any octave is right.")
@output_options(["text", "json"])
@click.pass_obj
def mark_command(
    corpus_path: Path,
    name: str,
    position: int,
    recording: Path,
    in_key: bool,
    output: Output,
) -> None:
    """Mark passage POSITION as it was sung, whistled or played in a RECORDING.

    Note against note: what is right, on another pitch, left out or put in, and which
    lengths are out of time. It may be sung in any key, and at any tempo.

    \b
    Examples:
      $ melodex lesson mark "Flat ninth" 1 sung.wav
      $ melodex lesson mark "Flat ninth" 1 sung.wav --in-key
    """
    from melodex.cli.output import terminal_style
    from melodex.corpus.reader import Corpus
    from melodex.presentation.lesson.marking import marking_json, marking_text
    from melodex.tasks.recording.marking import mark_passage

    with Corpus.open(corpus_path) as corpus:
        found = mark_passage(corpus, name, position, str(recording), in_key=in_key)
    if output.form == "json":
        write(marking_json(found), output)
    else:
        write(marking_text(found, terminal_style(output)), output)


@command.command("pack")
@click.argument("name")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@force_option
@click.pass_obj
def pack_command(corpus_path: Path, name: str, file: Path, force: bool) -> None:
    """Pack a set into one file, to take it along or share it.

    FILE becomes a zip archive of JSON, MusicXML and sound (MIDI). It holds the passages
    alone, each with its maker and what is known of its rights, not the tunes they are from.

    \b
    Example:
      $ melodex lesson pack "Flat ninth" flat-ninth.zip
    """
    from melodex.cli.saving import refuse_place, save
    from melodex.corpus.reader import Corpus
    from melodex.presentation.lesson.pack import packed_set
    from melodex.tasks.lesson.sets import open_lesson

    refuse_place(file, force=force)
    with Corpus.open(corpus_path) as corpus:
        lesson = open_lesson(corpus, name)
    save(packed_set(lesson), file, force=force)
    click.echo(f"wrote {file}", err=True)
    for remark in (*lesson.remarks, CAUTION):
        click.echo(remark, err=True)


@command.command("unpack")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@click.option("--as", "name", default="", help="Another name for the set here.")
@click.pass_obj
def unpack_command(corpus_path: Path, file: Path, name: str) -> None:
    """Put a packed set into the corpus.

    \b
    Example:
      $ melodex lesson unpack flat-ninth.zip --as "Flat ninth, shared"
    """
    from melodex.corpus.reader import Corpus
    from melodex.tasks.lesson.file import differences, unpack_file

    row, count = unpack_file(corpus_path, file, name=name)
    click.echo(f"made the set {row.name!r} of {count} passages", err=True)
    with Corpus.open(corpus_path) as corpus:
        for told in differences(corpus, row.name):
            click.echo(told, err=True)
    click.echo(CAUTION, err=True)


@command.command("delete")
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
