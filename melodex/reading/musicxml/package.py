"""From bytes to a MusicXML tree: unpacking and parsing files that nobody vouches for.

Conventions: every limit is checked before the work that it limits. A document type is
allowed, since ordinary exports name one, and is never fetched; one that declares
anything by itself is refused: entities multiply, and an attribute given by default is
written into every element by the parser, megabytes for each byte. Nothing is written to
disk. Tags come back without a namespace, and timewise sheets come back partwise.

References
----------
MusicXML 4.0 (W3C Music Notation Community Group, 2021): compressed ``.mxl`` files and
their ``META-INF/container.xml``; the timewise and partwise document types.

Contents: MOST_BYTES, MOST_TAGS, MOST_DEPTH, MOST_ENTRIES, sheet_root.
"""

from __future__ import annotations

import gc
import io
import zipfile
import zlib
from pathlib import PurePosixPath
from typing import Any
from xml.etree.ElementTree import Element, ParseError, fromstring

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import DefusedXMLParser

from melodex.errors import HostileInputError, ReadingError

__all__ = ["MOST_BYTES", "MOST_DEPTH", "MOST_ENTRIES", "MOST_TAGS", "sheet_root"]

MOST_BYTES = 8 << 20
"""Packed or unpacked: all but 2 of the 654 sheets in music21's corpus are smaller."""

MOST_TAGS = 1_000_000
MOST_DEPTH = 64
"""MusicXML nests about ten deep."""

MOST_ENTRIES = 256
MOST_CONTAINER_BYTES = 1 << 16
"""A package of a score holds a sheet, its container and a picture or two; the container
names one file in some hundred bytes."""
CONTAINER = "META-INF/container.xml"
SHEET_TYPES = {"", "application/vnd.recordare.musicxml+xml", "text/xml", "application/xml"}
PLAIN_COMPRESSION = {zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED}


class RootReachedError(Exception):
    """The root element begins: every declaration stands before it."""


class PrologReader:
    """Takes what a parser finds, and stops it where the root element begins."""

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        """Stop the parser."""
        raise RootReachedError

    def close(self) -> None:
        """There was no root; the parser itself complains of that."""


def sheet_root(data: bytes, *, packed: bool) -> Element:
    """Return the root of a MusicXML file: ``score-partwise``, without namespaces.

    Parameters
    ----------
    data : bytes
        What the file holds.
    packed : bool
        Whether it is a compressed ``.mxl`` file.

    Raises
    ------
    HostileInputError
        If a limit is passed, or its document type declares anything.
    ReadingError
        If it is damaged, or no MusicXML.
    """
    root = parsed(unpacked(data) if packed else data)
    strip_namespaces(root)
    if root.tag == "score-partwise":
        return root
    if root.tag == "score-timewise":
        return partwise(root)
    if root.tag == "opus":
        raise ReadingError("this is a list of other files", hint="add those files instead")
    raise ReadingError(f"this is XML, but no MusicXML: its root is <{root.tag[:40]}>")


def parsed(data: bytes) -> Element:
    """Parse XML within the limits."""
    if len(data) > MOST_BYTES:
        raise HostileInputError(f"more than {MOST_BYTES >> 20} MB of XML", limit=MOST_BYTES)
    # An element with an attribute takes three times the memory of one without.
    if data.count(b"<") + 2 * data.count(b"=") > MOST_TAGS:
        raise HostileInputError(
            f"more than {MOST_TAGS} tags, or half as many attributes", limit=MOST_TAGS
        )
    try:
        refuse_declarations(data)
        root = tree_of(data)
    except ParseError as error:
        raise ReadingError(f"broken XML: {error}") from error
    except DefusedXmlException as error:
        raise HostileInputError("it names entities, which are not read") from error
    except (ValueError, LookupError) as error:
        raise ReadingError(f"its encoding cannot be read: {error}") from error
    check_depth(root)
    return root


def refuse_declarations(data: bytes) -> None:
    """Let defusedxml read up to the root element, where the last declaration is past.

    It parses in Python; what follows is left to the parser in C, which is three times
    as fast and meets no declaration any more.
    """
    parser: Any = DefusedXMLParser(target=PrologReader(), forbid_dtd=False)
    parser.parser.StartDoctypeDeclHandler = refuse_own_declarations
    try:
        parser.feed(data)
        parser.close()
    except RootReachedError:
        return


def refuse_own_declarations(
    name: str, system: str | None, public: str | None, has_own: bool
) -> None:
    """Refuse a document type that does not only name another, before it is read."""
    del name, system, public
    if has_own:
        raise HostileInputError(
            "its document type makes declarations of its own, which are not read",
            hint="take away what stands in [ ] after <!DOCTYPE, or export the file anew",
        )


def tree_of(data: bytes) -> Element:
    """Parse with the collector of cycles off: a tree has none, and looking costs half."""
    was_enabled = gc.isenabled()
    gc.disable()
    try:
        return fromstring(data)
    finally:
        if was_enabled:
            gc.enable()


def check_depth(root: Element) -> None:
    """Refuse elements that nest deeper than any sheet's."""
    level = [root]
    for _ in range(MOST_DEPTH):
        level = [child for element in level for child in element]
        if not level:
            return
    raise HostileInputError(
        f"the elements nest more than {MOST_DEPTH} deep", limit=MOST_DEPTH
    )


def strip_namespaces(root: Element) -> None:
    """Leave only local names, where the root has a namespace."""
    if not root.tag.startswith("{"):
        return
    for element in root.iter():
        element.tag = element.tag.rpartition("}")[2]


def partwise(timewise: Element) -> Element:
    """Turn measures that hold parts into parts that hold measures."""
    root = Element("score-partwise", timewise.attrib)
    parts: dict[str, Element] = {}
    for child in timewise:
        if child.tag != "measure":
            root.append(child)
            continue
        for part in child.findall("part"):
            name = part.get("id", "")
            measure = Element("measure", child.attrib)
            measure.extend(part)
            parts.setdefault(name, Element("part", {"id": name})).append(measure)
    root.extend(parts.values())
    return root


def unpacked(data: bytes) -> bytes:
    """The sheet inside a compressed file, as its container names it."""
    if len(data) > MOST_BYTES:
        raise HostileInputError(
            f"the file is larger than {MOST_BYTES >> 20} MB", limit=MOST_BYTES
        )
    # Counted before the directory is read: reading it takes time for each entry.
    if data.count(b"PK\x01\x02") > MOST_ENTRIES:
        raise HostileInputError(
            f"more than {MOST_ENTRIES} files are packed in it", limit=MOST_ENTRIES
        )
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as package:
            return entry(package, sheet_name(package), MOST_BYTES)
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError) as error:
        raise ReadingError(f"the compressed file is damaged: {error}") from error
    except (ValueError, NotImplementedError, RuntimeError, OverflowError) as error:
        raise ReadingError(f"the compressed file cannot be read: {error}") from error


def sheet_name(package: zipfile.ZipFile) -> str:
    """Name of the entry that holds the sheet."""
    names = package.namelist()
    if CONTAINER in names:
        container = parsed(entry(package, CONTAINER, MOST_CONTAINER_BYTES))
        strip_namespaces(container)
        for rootfile in container.iter("rootfile"):
            if rootfile.get("media-type", "") in SHEET_TYPES:
                return inside(rootfile.get("full-path", ""), names)
    # Some exports leave the container out.
    sheets = [
        name
        for name in names
        if name.lower().endswith((".musicxml", ".xml")) and not name.startswith("META-INF/")
    ]
    if not sheets:
        raise ReadingError("no MusicXML is packed in this file")
    return inside(sheets[0], names)


def inside(name: str, names: list[str]) -> str:
    """The name, if it stays inside the package and stands in it."""
    path = PurePosixPath(name)
    if path.is_absolute() or ".." in path.parts or "\\" in name:
        raise HostileInputError("its container points outside the file")
    if name not in names:
        raise ReadingError(f"its container names {name[:80]!r}, which is not in it")
    return name


def entry(package: zipfile.ZipFile, name: str, most_bytes: int) -> bytes:
    """Unpack one entry, unless it is, or says that it is, too large."""
    info = package.getinfo(name)
    too_large = HostileInputError(
        f"{name[:80]!r} in it is larger than {most_bytes / (1 << 20):.3g} MB unpacked",
        limit=most_bytes,
    )
    if info.flag_bits & 1:
        raise ReadingError("the compressed file is locked with a password")
    if info.compress_type not in PLAIN_COMPRESSION:
        raise ReadingError("it is packed in a way that MusicXML does not use")
    if info.file_size > most_bytes:
        raise too_large
    with package.open(info) as file:
        # The size in the directory may be a lie.
        data = file.read(most_bytes + 1)
    if len(data) > most_bytes:
        raise too_large
    return data
