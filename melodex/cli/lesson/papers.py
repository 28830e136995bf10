"""A set on paper and in a file: printed, planned, marked, packed, unpacked."""

from __future__ import annotations

from pathlib import Path

import click

from melodex.cli.output import Output, force_option, output_options, write

__all__ = [
    "KINDS",
    "mark_command",
    "pack_command",
    "plan_command",
    "print_command",
    "unpack_command",
]

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


@click.command("print")
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


@click.command("plan")
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


@click.command("mark")
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


@click.command("pack")
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


@click.command("unpack")
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
