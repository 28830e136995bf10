"""Reference records of Humdrum: title, makers, year, rights.

Conventions: a record is ``!!!KEY: value``; a key may carry a language or a number
(``OTL@@DE``, ``COM1``), the first of each kind counts. Names written last name first are
turned. A movement is named after the work that it is from.

References
----------
Humdrum user guide, reference records: COM composer, LYR lyricist, OTL title, OPR title of
the larger work, OMV and OMD number and name of a movement, ODT date of composition, YEC
YEM and YER rights, OCY land, ARE region, AGN genre. From memory.

Contents: name_in_order, record_of, said_by.
"""

from __future__ import annotations

import html
import re
from typing import Any

from melodex.reading.bounded import one_line

__all__ = ["name_in_order", "record_of", "said_by"]

MOST_RECORDS = 500  # of a piece; encoders write some tens
RECORD = re.compile(r"!!!+\s*([A-Z][A-Za-z]{2,19})[\d-]{0,4}(?:@{1,2}[A-Z]{2,3})?:\s*(.*)")
YEAR = re.compile(r"(?<!\d)(1[2-9]\d\d|20\d\d)(?!\d)")
NAME = re.compile(r"[^,\d()]{2,60}, [^,\d()]{1,60}")


def record_of(line: str) -> tuple[str, str] | None:
    """Key and value of a reference record.

    Examples
    --------
    >>> record_of("!!!OTL@@DE: Die Lerche"), record_of("!! a remark")
    (('OTL', 'Die Lerche'), None)
    """
    found = RECORD.match(line[:2000])
    return (found[1], one_line(html.unescape(found[2]))) if found else None


def name_in_order(name: str) -> str:
    """A name with the first name first.

    Examples
    --------
    >>> name_in_order("Quill, Anna Maria"), name_in_order("Trad."), name_in_order("A, b, c")
    ('Anna Maria Quill', 'Trad.', 'A, b, c')
    """
    if not NAME.fullmatch(name):
        return name
    last, first = name.split(", ")
    return f"{first} {last}"


def said_by(records: list[tuple[str, str]]) -> dict[str, Any]:
    """What reference records say of a piece, as fields of its credits."""
    held: dict[str, list[str]] = {}
    for key, value in records[:MOST_RECORDS]:
        if value:
            held.setdefault(key, []).append(value)

    def first(*keys: str) -> str:
        return next((held[key][0] for key in keys if key in held), "")

    year = YEAR.search(first("ODT", "PDT"))
    return {
        "title": title_of(first)[:500],
        "composer": ", ".join(map(name_in_order, held.get("COM", [])))[:500],
        "lyricist": ", ".join(map(name_in_order, held.get("LYR", [])))[:500],
        "year": int(year[1]) if year else None,
        "rights": "; ".join(held.get("YEC", []) + held.get("YER", []))[:500],
        "origin": ", ".join(filter(None, (first("ARE"), first("OCY"))))[:500],
    }


def title_of(first: Any) -> str:
    """Title of a piece after that of the work that it is from, and its movement."""
    title, whole = first("OTL"), first("OPR")
    movement = " ".join(filter(None, (first("OMV"), first("OMD"))))
    if not title:
        return str(": ".join(filter(None, (whole or first("OPT"), movement))))
    named = [title]
    if movement and movement.casefold() not in title.casefold() and not movement.isdigit():
        named = [movement, title] if whole else [title, movement]
    if whole and whole.casefold() not in title.casefold():
        named.insert(0, whole)
    return ": ".join(named)
