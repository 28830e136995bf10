"""Writing a result to a file that the musician names, and harming no other.

Conventions: a file that is there already is replaced without a question only if
melodex wrote it and nobody has changed it since: the SHA-256 of what was written last
is kept in the user's state folder (XDG Base Directory Specification 0.8,
``$XDG_STATE_HOME``), digests alone, no names. Any other file, and one that may not be
written, is replaced with ``force``. A corpus is never replaced.

Contents: refuse_place, save.
"""

from __future__ import annotations

import hashlib
import os
import stat
from contextlib import suppress
from pathlib import Path

from melodex.corpus.care.guarding import refuse_corpus
from melodex.errors import REMEDIES, PresentationError
from melodex.files import final_place, is_special, write_whole

__all__ = ["refuse_place", "save"]

MOST_KEPT = 10_000
"""Digests; twice as many are cut back to so many."""

LINE = 65
"""Bytes of one: 64 hexadecimal digits and the end of the line."""


def refuse_place(file: Path, corpus: Path | None = None, *, force: bool = False) -> None:
    """Refuse a file that a result may not replace, before any work is done.

    Parameters
    ----------
    file : Path
        Where a result is to go.
    corpus : Path, optional
        The corpus that is in use, whether it is there yet or not.
    force : bool
        Whether a file of another may be replaced.

    Raises
    ------
    CorpusError
        If it is a corpus or belongs to one.
    PresentationError
        If it is a folder, or another's and ``force`` is not set.
    """
    refuse_corpus(file, corpus)
    if file.is_dir():
        raise PresentationError(
            "this is a folder", where=str(file), hint="name a file in it"
        )
    if force or is_special(file) or not file.exists():
        return
    place = final_place(file)
    if is_read_only(place):
        raise PresentationError(
            "this file is read-only", where=str(file), hint=REMEDIES["replace read-only"]
        )
    if place.stat().st_size and digest_of(place.read_bytes()) not in digests():
        raise PresentationError(
            "there is a file already, and it is not as melodex wrote it",
            where=str(file),
            hint=REMEDIES["replace"],
        )


def is_read_only(place: Path) -> bool:
    """Whether nobody may write to a file, or we may not; root may write to any."""
    return not place.stat().st_mode & (stat.S_IWUSR | stat.S_IWGRP | stat.S_IWOTH) or (
        not os.access(place, os.W_OK)
    )


def save(
    content: str | bytes, file: Path, corpus: Path | None = None, *, force: bool = False
) -> None:
    """Write a file whole or not at all.

    Parameters
    ----------
    content : str or bytes
        Text is written as UTF-8.
    file, corpus, force
        As for :func:`refuse_place`.

    Raises
    ------
    CorpusError
        If it is a corpus or belongs to one.
    PresentationError
        If it may not be replaced or cannot be written.
    """
    data = content.encode() if isinstance(content, str) else content
    try:
        refuse_place(file, corpus, force=force)
        write_whole(data, file, replace=True)
    except BrokenPipeError:
        raise
    except OSError as error:
        raise PresentationError(
            f"it cannot be written: {error.strerror}",
            where=str(file),
            hint="choose another place",
        ) from error
    if not is_special(file):
        remember(digest_of(data))


def digest_of(data: bytes) -> str:
    """SHA-256 in hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


def ledger() -> Path:
    """Where the digests of what was written are kept."""
    from platformdirs import user_state_path

    return user_state_path("melodex", appauthor=False) / "written"


def digests() -> set[str]:
    """Digests of what was written; none where they cannot be read."""
    try:
        return set(ledger().read_text("ascii").split())
    except (OSError, ValueError):
        return set()


def remember(digest: str) -> None:
    """Keep a digest; where that cannot be, the next replacing needs ``force``."""
    with suppress(OSError):
        file = ledger()
        file.parent.mkdir(parents=True, exist_ok=True)
        # One short write at the end of a file is whole, whoever else writes.
        with file.open("ab", buffering=0) as kept:
            kept.write(f"{digest}\n".encode())
        if file.stat().st_size > 2 * MOST_KEPT * LINE:
            write_whole(file.read_bytes()[-MOST_KEPT * LINE :], file)
