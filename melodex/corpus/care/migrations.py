"""Bringing a corpus of an older schema up to date, with a backup made first.

Conventions: ``STEPS[n]`` turns schema n into schema n + 1, inside a transaction
that all steps share; a corpus killed midway is as it was before. A step is
written once and never changed.

Contents: STEPS, upgrade, backup_path.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

from melodex.corpus import schema
from melodex.corpus.faults import faults_named

__all__ = ["STEPS", "backup_path", "upgrade"]

STEPS: dict[int, Callable[[sqlite3.Connection], None]] = {}
"""Schema 1 is the first; each later one adds the step that leads to it."""

WAIT_SECONDS = 30.0


def upgrade(path: Path) -> Path | None:
    """Bring a corpus up to the schema of this version.

    Returns
    -------
    Path or None
        The backup of the corpus as it was, or None where nothing was to be done.

    Raises
    ------
    CorpusError
        If the file or a backup beside it cannot be written.
    BusyCorpusError
        If another process holds the corpus for too long.
    """
    from melodex.corpus.care.copying import copy_corpus

    with faults_named(path):
        connection = sqlite3.connect(
            path.absolute(), timeout=WAIT_SECONDS, isolation_level=None
        )
        try:
            connection.execute("BEGIN IMMEDIATE")
            # Another process may have done it while we waited.
            version = schema.state_of(connection, path)
            if not 0 < version < schema.SCHEMA_VERSION:
                connection.execute("ROLLBACK")
                return None
            backup = backup_path(path, version)
            copy_corpus(path, backup, kept_beside=True)
            try:
                for step in range(version, schema.SCHEMA_VERSION):
                    STEPS[step](connection)
                connection.execute(f"PRAGMA user_version = {schema.SCHEMA_VERSION}")
            except KeyboardInterrupt:
                # The corpus is as it was: nobody needs the backup, or one for each try.
                connection.execute("ROLLBACK")
                backup.unlink()
                raise
            connection.execute("COMMIT")
        finally:
            # Closing with an open transaction rolls it back.
            connection.close()
    return backup


def backup_path(path: Path, version: int) -> Path:
    """Where the backup goes: beside the corpus, over nothing that is there."""
    number = 1
    while True:
        name = f"{path.name}.schema-{version}" + (f".{number}" if number > 1 else "")
        if not (path.parent / name).exists():
            return path.parent / name
        number += 1
