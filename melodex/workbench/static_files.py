"""Style sheets and scripts: which there are, what they hold, and their addresses.

Conventions: an address holds a mark of all of them, and changes when any of them does.
Scripts import one another by relative addresses, so that each is loaded once.

Contents: FILES, content_of, static_address.
"""

from __future__ import annotations

import hashlib
from functools import cache
from importlib import resources

__all__ = ["FILES", "content_of", "static_address"]

FILES = {
    "page.css": "melodex.presentation",
    "player.js": "melodex.presentation",
    "bench.css": "melodex.workbench",
    "bench.js": "melodex.workbench",
    "keeps.js": "melodex.workbench",
    "drafts.js": "melodex.workbench",
    "saved.js": "melodex.workbench",
    "sets.js": "melodex.workbench",
    "phrase.js": "melodex.workbench",
    "keys.js": "melodex.workbench",
    "bars.js": "melodex.workbench",
    "drops.js": "melodex.workbench",
    "files.js": "melodex.workbench",
    "listen.css": "melodex.workbench",
    "listen.js": "melodex.workbench",
    "questions.js": "melodex.workbench",
    "marking.js": "melodex.workbench",
    "microphone.js": "melodex.workbench",
    "points.js": "melodex.workbench",
    "recorder.js": "melodex.workbench",
}
"""Files that pages ask for, and the package that each is in."""


@cache
def content_of(name: str) -> bytes:
    """What one of the files holds."""
    return (resources.files(FILES[name]) / "static" / name).read_bytes()


@cache
def mark() -> str:
    """A mark of what all files hold."""
    digest = hashlib.sha256()
    for name in sorted(FILES):
        digest.update(name.encode() + b"\0" + content_of(name) + b"\0")
    return digest.hexdigest()[:12]


def static_address(name: str) -> str:
    """Return the address of one of the files.

    Raises
    ------
    KeyError
        If there is no such file.
    """
    assert FILES[name]
    return f"/static/{mark()}/{name}"
