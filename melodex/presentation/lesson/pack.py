"""A teaching set packed into one file; the format is told in ``tasks.lesson.file``.

Conventions: the same set gives the same bytes: entries carry the first date that a zip
file can hold.

Contents: packed_set.
"""

from __future__ import annotations

import io
import zipfile

from melodex.errors import PresentationError
from melodex.presentation.data.values import json_text
from melodex.presentation.lesson.sound import lesson_midi
from melodex.presentation.notation.musicxml.document import musicxml_text
from melodex.tasks.lesson.file import SET_ENTRY, set_data
from melodex.tasks.lesson.sets import Lesson

__all__ = ["packed_set"]

SOUND_ENTRY = "sound.mid"
FIRST_DATE = (1980, 1, 1, 0, 0, 0)
"""The earliest date of a ZIP entry, so that the same set gives the same bytes."""
FILE_MODE = 0o644
"""Permissions of an unpacked file: read by all, written by its owner."""


def packed_set(lesson: Lesson) -> bytes:
    """Return a set as a zip file of JSON, MusicXML and sound.

    Parameters
    ----------
    lesson : Lesson
        As opened.

    Raises
    ------
    PresentationError
        If the set is empty, or a passage cannot be written as MusicXML.
    """
    if not lesson.examples:
        raise PresentationError("the set has no passages yet", where=lesson.row.name)
    data = set_data(lesson)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as package:
        put(package, SET_ENTRY, json_text(data))
        for example, told in zip(lesson.examples, data["examples"], strict=True):
            sheet = musicxml_text(example.excerpt, excerpt=True)
            put(package, told["musicxml"], sheet)
        put(package, SOUND_ENTRY, lesson_midi(lesson))
    return out.getvalue()


def put(package: zipfile.ZipFile, name: str, content: str | bytes) -> None:
    """Put a text or sound into the archive, under no date and for everybody to read."""
    entry = zipfile.ZipInfo(name, FIRST_DATE)
    entry.compress_type = zipfile.ZIP_DEFLATED
    entry.external_attr = FILE_MODE << 16
    # What a system calls itself would make the bytes differ.
    entry.create_system = 3
    data = content.encode("utf-8") if isinstance(content, str) else content
    package.writestr(entry, data)
