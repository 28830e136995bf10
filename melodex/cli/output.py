"""Where results go: ``--format``, ``--output``, ``--paper``, ``--open``; who writes what.

Data goes to standard output, everything else to standard error. The ending of a file
names the form, unless ``--format`` does. What may be written
over, and how, is settled in ``saving``: a place that is not to be written is refused
before any work is done.

Contents: Output, output_options, force_option, present, write, terminal_style,
go_on.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, TypeVar, cast

import click

from melodex.errors import PresentationError
from melodex.records import dataclass

__all__ = [
    "Output",
    "force_option",
    "go_on",
    "output_options",
    "present",
    "terminal_style",
    "write",
]

Decorated = TypeVar("Decorated", bound=Callable[..., Any])


@dataclass(frozen=True, slots=True)
class Output:
    """What form a result takes and where it goes; no file means standard output.

    ``shown`` asks for the page to be opened, ``paper`` is ``a4`` or ``letter``;
    ``force`` lets a file be replaced that melodex did not write; ``tempo`` is that of
    sound, in quarters a minute, and ``chords`` are heard in it.
    """

    form: str
    file: Path | None
    shown: bool = False
    paper: str = "a4"
    force: bool = False
    tempo: float | None = None
    chords: bool = False


SUFFIXES = {
    ".mid": "midi",
    ".xml": "musicxml",
    ".htm": "html",
    **{
        f".{form}": form
        for form in ("html", "pdf", "svg", "png", "json", "csv", "musicxml", "abc", "midi")
    },
}
"""Endings of files that name a form."""

tempo_option = click.option(
    "--tempo",
    type=click.FloatRange(4, 1000),
    help="Quarters a minute, for midi; otherwise as the source says, or 100.",
)
"""For commands that write sound."""

force_option = click.option(
    "--force",
    is_flag=True,
    help="Replace a file that melodex did not write, or that is read-only.",
)


def output_options(forms: Sequence[str]) -> Callable[[Decorated], Decorated]:
    """Give a command the options of its output, as one argument ``output``."""

    def decorate(command: Decorated) -> Decorated:
        def gathered(
            *args: Any,
            form: str,
            file: Path | None,
            force: bool,
            shown: bool = False,
            paper: str = "a4",
            **rest: Any,
        ) -> Any:
            form = named_form(form, file, forms)
            output = settled(form, file, shown, paper, force)
            if output.file is not None:
                from melodex.cli.saving import refuse_place

                refuse_place(output.file, force=force)
            return command(*args, output=output, **rest)

        gathered.__doc__ = command.__doc__
        gathered.__dict__.update(command.__dict__)
        form = click.option(
            "--format",
            "form",
            type=click.Choice(list(forms)),
            default=forms[0],
            show_default=True,
            help="Format of the result; otherwise what the ending of --output says.",
        )
        file = click.option(
            "--output",
            "file",
            type=click.Path(path_type=Path, dir_okay=False),
            help="Write to this file instead of standard output.",
        )
        options = [form, file, force_option]
        if "html" in forms:
            options.append(
                click.option(
                    "--open",
                    "shown",
                    is_flag=True,
                    help="Write a page and open it in the browser.",
                )
            )
        if "pdf" in forms:
            options.append(
                click.option(
                    "--paper",
                    type=click.Choice(["a4", "letter"]),
                    default="a4",
                    show_default=True,
                    help="Paper size.",
                )
            )
        wrapped: Any = gathered
        for option in reversed(options):
            wrapped = option(wrapped)
        return cast(Decorated, wrapped)

    return decorate


def named_form(form: str, file: Path | None, forms: Sequence[str]) -> str:
    """The form that is asked for, or else the one that the ending of the file names."""
    given = click.get_current_context().get_parameter_source("form")
    if file is None or given is not click.core.ParameterSource.DEFAULT:
        return form
    named = SUFFIXES.get(file.suffix.lower(), form)
    return named if named in forms else form


def settled(form: str, file: Path | None, shown: bool, paper: str, force: bool) -> Output:
    """The output that the options ask for; a page to be opened needs a file."""
    if not shown:
        return Output(form, file, paper=paper, force=force)
    if file is None:
        from tempfile import mkdtemp

        file = Path(mkdtemp(prefix="melodex-")) / "page.html"
    return Output("html", file, shown=True, force=force)


def present(result: Any, output: Output) -> None:
    """Write the result of a task in the form that was asked for."""
    write(rendered(result, output), output)


def terminal_style(output: Output) -> Any:
    """What the place where a text goes can show."""
    from melodex.presentation.text.style import Style, style_for

    return style_for(sys.stdout) if output.file is None else Style()


def rendered(result: Any, output: Output) -> str | bytes:
    """A result as text or bytes; the module of its form is loaded only now."""
    if output.form == "text":
        from melodex.presentation.text import forms as text

        return text.as_text(result, terminal_style(output))
    if output.form in {"json", "csv"}:
        from melodex.presentation.data import forms as data

        return data.as_json(result) if output.form == "json" else data.as_csv(result)
    from melodex.presentation import pages

    return pages.rendered(
        result,
        output.form,
        paper=output.paper,
        tempo=output.tempo,
        chords=output.chords,
    )


def write(content: str | bytes, output: Output) -> None:
    """Send a text or bytes to a file or to standard output.

    Raises
    ------
    PresentationError
        If the file cannot be written, or bytes would go to a terminal.
    """
    if click.get_current_context().find_root().params.get("partial"):
        from melodex.cli.partly import with_remark

        if output.form == "text" and isinstance(content, str):
            content = with_remark(content)
    if output.file is not None:
        from melodex.cli.saving import save

        save(content, output.file, force=output.force)
        click.echo(f"wrote {output.file}", err=True)
        if output.shown:
            click.launch(output.file.absolute().as_uri())
    elif sys.stdout is None:
        raise PresentationError(
            "there is no standard output", hint="name a file with --output"
        )
    elif isinstance(content, str):
        click.echo(content, nl=False)
    elif sys.stdout.isatty():
        raise PresentationError(
            f"{output.form} is no text for a terminal", hint="name a file with --output"
        )
    else:
        sys.stdout.buffer.write(content)
        sys.stdout.buffer.flush()


def go_on(output: Output, text: str) -> None:
    """Say what can be asked next, where a person reads the answer in a terminal."""
    if output.form == "text" and output.file is None and sys.stdout.isatty():
        click.echo(f"To go on: {text}", err=True)
