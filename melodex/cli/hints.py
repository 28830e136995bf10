"""What to try, in the words of the command line: commands and options.

Contents: said, HINTS, command_meant, helped.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable

import click

from melodex.errors import AmbiguousPhraseError, MelodexError, PhraseError

__all__ = ["HINTS", "command_meant", "helped", "said"]

HINTS = {
    "add any": "'melodex add' with any file of it works them out anew",
    "add tunes": "'melodex add FOLDER' puts tunes into it",
    "bring shard back": (
        "put it back, or make the shards anew with 'melodex shards split'"
    ),
    "bring folder back": "put back what 'melodex backup' has copied, the whole folder",
    "change folder": "name the folder that it stands in with --corpus",
    "check": "run 'melodex check' on the corpus",
    "check, unchanged": "'melodex check' names what is touched; nothing was changed",
    "check, then add": "run 'melodex check', then add the files of these tunes again",
    "file in folder": "name a file in it with --corpus",
    "find title": "'melodex list --title PART' finds tunes by a part of their title",
    "fold in": "'melodex check' on it folds the journal in; or name another file",
    "install cluster": "install melodex[cluster] on every machine",
    "name scheduler": "'dask scheduler' tells its address; name it with --scheduler",
    "shared folder": "--work names a folder that every machine sees under one name",
    "start workers": "'dask worker ADDRESS' starts one",
    "gather chords": "'melodex gather --progression' finds chords, in any key",
    "go on later": "the same command goes on with what --work has kept",
    "join, change, split": (
        "'melodex shards join FILE' makes one file; change that and split it again"
    ),
    "keep passages": "'melodex lesson keep' or --into puts some into it",
    "list changes": "'melodex undo' lists those that can be undone",
    "list sources": "'melodex list' shows sources and collections",
    "list tunes": "'melodex list' shows what is in the corpus",
    "look at set": "'melodex lesson show' says which have changed",
    "make corpus": "'melodex add FOLDER' makes one; --corpus names another file",
    "make set": "'melodex lesson new NAME' makes one",
    "make shards": "name a file in it, or a folder of 'melodex shards split'",
    "name feature": "name a feature, such as --device 'borrowed chord'",
    "name phrase": (
        'type a phrase, such as "5 1 7 6 5 3", or take one with --from and --bars'
    ),
    "name tune": "name it with --from, such as --from TUNE --bars 5-8",
    "other folder for shards": "name another folder",
    "other folder for work": "name another with --work",
    "other corpus": "name another file with --corpus",
    "other folder": "name another folder: melodex demo FOLDER",
    "read recordings": "save it as WAV, or install melodex[listen]",
    "repair": "'melodex check --repair' makes a new one of all that can be read",
    "repair tune": "'melodex check --repair' reads them again from the kept source",
    "replace": "name another file, or replace it with --force",
    "replace read-only": "replace it with --force",
    "update": "update melodex, or name another file with --corpus",
    "what is damaged": (
        "'melodex check' names what is touched; a backup helps where it cannot"
    ),
}
"""By the name of the remedy; see :data:`melodex.errors.REMEDIES`."""


OTHER_NAMES = {
    **dict.fromkeys(("find", "search", "match", "similar", "phrase", "where"), "resemble"),
    **dict.fromkeys(("analyse", "analyze", "inside", "look", "what"), "describe"),
    **dict.fromkeys(("side", "diff", "beside", "against"), "compare"),
    **dict.fromkeys(("set", "sets", "handout", "worksheet", "keep", "pack"), "lesson"),
    **dict.fromkeys(("page", "web", "browser", "open", "gui", "serve"), "workbench"),
    **dict.fromkeys(("import", "read", "index"), "add"),
    **dict.fromkeys(("delete", "rm", "drop"), "remove"),
    **dict.fromkeys(("export", "pdf", "save"), "print"),
    **dict.fromkeys(("ls", "tunes", "titles", "shelf"), "list"),
    **dict.fromkeys(("tag", "tags", "duplicates", "families"), "collection"),
    **dict.fromkeys(("info", "tune"), "show"),
    **dict.fromkeys(("note", "cite", "source"), "remark"),
    **dict.fromkeys(("plagiarism", "borrowed", "mine", "own"), "audit"),
    **dict.fromkeys(("kind", "key", "metre", "chords", "progression"), "gather"),
    "update": "refresh",
    "help": "--help",
}
"""What else the commands might be called; our choice."""

NAMING = ("words", "kind", "title", "name")
"""Options for a word that says not what it is, the likeliest first."""

EXTRA = "Got unexpected extra argument"


def said(error: MelodexError) -> str:
    """An error as the command line tells it: place, fault, and what to type instead."""
    if isinstance(error, AmbiguousPhraseError):
        options = ", ".join(f"--as {name}" for name, _ in error.readings)
        told = str(error).removesuffix(error.hint)
        return f"{told}say which with {options}"
    if error.remedy not in HINTS or (isinstance(error, PhraseError) and error.pointed):
        return str(error)
    place = f"{error.where}: " if error.where else ""
    return f"{place}{error.what} ({HINTS[error.remedy]})"


def command_meant(word: str, known: Iterable[str]) -> str:
    """The command that was probably meant, empty where none is like it.

    Examples
    --------
    >>> command_meant("search", ["resemble", "gather"])
    'resemble'
    >>> command_meant("gahter", ["resemble", "gather"])
    'gather'
    """
    if word[:1].isdigit():
        return 'resemble "..."'
    if word.lower() in OTHER_NAMES:
        return OTHER_NAMES[word.lower()]
    return next(iter(difflib.get_close_matches(word.lower(), list(known), n=1)), "")


def helped(error: click.UsageError) -> click.UsageError:
    """An error of usage; of words too many it says how they are written."""
    command = error.ctx.command if error.ctx else None
    if command is None or not error.message.startswith(EXTRA):
        return error
    if any(isinstance(each, click.Argument) for each in command.params):
        hint = 'put several words in quotes, such as "5 1 2 3" or "The Eel Trap"'
    else:
        options = {each.name for each in command.params}
        naming = next((f"--{name}" for name in NAMING if name in options), "")
        hint = f"say what it is with an option, such as {naming}" if naming else ""
    if hint:
        return click.UsageError(f"{error.message.rstrip('.')}; {hint}.", error.ctx)
    return error
