"""A tree of XML as text that every reader of XML takes.

A title can hold any sign that a file had: what XML cannot carry is left out, since a
picture or a page with it would be refused as a whole.

References
----------
Extensible Markup Language (XML) 1.0, fifth edition, section 2.2 (Char).

Contents: xml_text.
"""

from __future__ import annotations

import re
from xml.etree.ElementTree import Element, tostring

__all__ = ["xml_text"]

NO_CHAR = r"[^\t\n\r\x20-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]"


def xml_text(root: Element) -> str:
    """Write an element and all in it, without the signs that XML has no place for."""
    return re.sub(NO_CHAR, "", tostring(root, encoding="unicode"))
