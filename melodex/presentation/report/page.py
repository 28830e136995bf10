"""The page kit: what a report is made of, and how it becomes one HTML file.

A page is plain data: a title, sentences, and sections of blocks. It is written by
one template with autoescape, so that a title with markup in it stays a title. The
file needs no network; its content policy allows only its own script and style, by
their sha256 hashes.

Conventions: only a picture's ``svg`` is taken as markup, and that must come from
our own drawing modules.

Contents: Page, Section, Text, Facts, Table, Picture, Fold, Player, Legend, Blanks,
Links, Caution, Answering, page_html, with_partial_remark.
"""

from __future__ import annotations

import base64
import hashlib
import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cache
from importlib import resources
from typing import Any, ClassVar

from melodex.corpus.shards.absent import partial_remark
from melodex.melody import MODES
from melodex.presentation.engraving.marks import (
    shared_glyphs,
    shared_signs,
)

__all__ = [
    "Answering",
    "Blanks",
    "Caution",
    "Facts",
    "Fold",
    "Legend",
    "Links",
    "Page",
    "Picture",
    "Player",
    "Section",
    "Table",
    "Text",
    "page_html",
    "with_partial_remark",
]


@dataclass(frozen=True, slots=True)
class Text:
    """Paragraphs."""

    kind: ClassVar[str] = "text"
    paragraphs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Caution:
    """Sentences that must not be overlooked."""

    kind: ClassVar[str] = "caution"
    paragraphs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Facts:
    """Names and what they are."""

    kind: ClassVar[str] = "facts"
    rows: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Table:
    """A table; a cell that names a relation gets its sign before it.

    ``anchors`` are ids for the rows, where something on the page leads to them.
    """

    kind: ClassVar[str] = "table"
    caption: str
    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    anchors: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Picture:
    """An SVG drawn by us, with a caption and a name for those who scroll it."""

    kind: ClassVar[str] = "picture"
    svg: str
    label: str
    caption: str = ""
    mm_a_pixel: float = 0.0
    """Size on paper; 0 for as wide as the page where the picture is full."""


@dataclass(frozen=True, slots=True)
class Legend:
    """The relations with their shapes, those that occur."""

    kind: ClassVar[str] = "legend"
    relations: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Blanks:
    """Lines to write on, each with words before it; ``in_row`` puts them side by side."""

    kind: ClassVar[str] = "blanks"
    words: tuple[str, ...]
    in_row: bool = False


@dataclass(frozen=True, slots=True)
class Answering:
    """Fields to type an answer into, which the page itself checks; not for paper.

    Parameters
    ----------
    name : str
        Unique on the page.
    fields : tuple of (str, tuple of str)
        What stands before each field, and what is right in it.
    choices : tuple of str
        To choose from, where the answer is one of few.
    why : str
        What is said once it was checked.
    is_open : bool
        Whether only a person can say what is right: then the key is shown beside it.
    """

    kind: ClassVar[str] = "answering"
    name: str
    fields: tuple[tuple[str, tuple[str, ...]], ...]
    choices: tuple[str, ...] = ()
    why: str = ""
    is_open: bool = False

    @property
    def data(self) -> dict[str, Any]:
        """What the script needs to know."""
        return {
            "right": [list(accepted) for _, accepted in self.fields],
            "why": self.why,
            "open": self.is_open,
        }


@dataclass(frozen=True, slots=True)
class Links:
    """Files carried inside the page: label, file name, media type, content."""

    kind: ClassVar[str] = "links"
    files: tuple[tuple[str, str, str, bytes], ...]

    @property
    def addresses(self) -> list[tuple[str, str, str]]:
        """Label, file name and data address of each."""
        return [
            (label, name, f"data:{media};base64,{base64.b64encode(content).decode()}")
            for label, name, media, content in self.files
        ]


@dataclass(frozen=True, slots=True)
class Player:
    """Buttons that play one or two melodies.

    Parameters
    ----------
    name : str
        Unique on the page.
    voices : mapping
        ``a`` and perhaps ``b``: lists of ``[midi, onset, length]`` in quarters.
    pictures : tuple of str
        Prefixes of the pictures whose notes are lit.
    shift_semitones : int
        What to add to B to bring it to A's pitch.
    lead_quarters : tuple of float
        What to wait before A and before B so that their first partners meet.
    tempo_quarters_per_minute : float
        Where the slider stands at first.
    label : str
        What is played, in words.
    tempos : mapping
        By voice, the tempo that it has when it is heard alone.
    """

    kind: ClassVar[str] = "player"
    name: str
    voices: Mapping[str, list[list[float]]]
    pictures: tuple[str, ...] = ()
    shift_semitones: int = 0
    lead_quarters: tuple[float, float] = (0.0, 0.0)
    tempo_quarters_per_minute: float = 100.0
    label: str = ""
    tempos: Mapping[str, float] = field(default_factory=dict)

    @property
    def data(self) -> dict[str, Any]:
        """What the script needs to know."""
        return {
            "voices": dict(self.voices),
            "pictures": list(self.pictures),
            "shift": self.shift_semitones,
            "lead": list(self.lead_quarters),
            "tempos": dict(self.tempos),
        }


@dataclass(frozen=True, slots=True)
class Fold:
    """Blocks behind a heading that opens; on paper they lie open, or are left out."""

    kind: ClassVar[str] = "fold"
    heading: str
    blocks: tuple[Block, ...]
    on_paper: bool = True


Block = (
    Text
    | Caution
    | Facts
    | Table
    | Picture
    | Legend
    | Blanks
    | Links
    | Player
    | Fold
    | Answering
)


@dataclass(frozen=True, slots=True)
class Section:
    """A heading and the blocks under it; ``note`` stands beside the heading.

    An empty heading stands for none. ``new_page`` starts it on a page of its own when
    printed; ``whole`` keeps it on one page where it fits; ``numbered_apart`` counts the
    pages from 1 again, under a name of their own.
    """

    heading: str
    blocks: tuple[Block, ...]
    note: str = ""
    new_page: bool = False
    whole: bool = False
    numbered_apart: str = ""


@dataclass(frozen=True, slots=True)
class Page:
    """A whole report.

    Parameters
    ----------
    title : str
        What it is about.
    kicker : str
        What kind of report it is, in a word or two.
    summary : tuple of str
        Sentences, the main thing first.
    sections : tuple of Section
        The evidence.
    rights : tuple of str
        Whose the excerpts are, a line for each.
    """

    title: str
    kicker: str
    summary: tuple[str, ...]
    sections: tuple[Section, ...]
    rights: tuple[str, ...] = field(default=())


def with_partial_remark(page: Page) -> Page:
    """A page that says first without which shards an answer goes on, if without any."""
    remark = partial_remark()
    return replace(page, summary=(remark, *page.summary)) if remark else page


def page_html(page: Page) -> str:
    """Return a page as one self-contained HTML file.

    The same page gives the same bytes.

    References
    ----------
    Content Security Policy Level 3 (W3C): hash sources for inline script and style.
    """
    page = with_partial_remark(page)
    style, script = static_text("page.css"), static_text("player.js")
    blocks = blocks_in(page.sections)
    answers = {b.name: b.data for b in blocks if isinstance(b, Answering)}
    if answers:
        script = f"{script}\n{static_text('answering.js')}"
    players = {b.name: b.data for b in blocks if isinstance(b, Player)}
    pictures = [b.svg for b in blocks if isinstance(b, Picture)]
    drawn, glyphs = shared_glyphs(pictures)
    policy = "; ".join(
        (
            "default-src 'none'",
            f"script-src '{sha256_source(script)}'"
            if players or answers
            else "script-src 'none'",
            f"style-src '{sha256_source(style)}'",
            "img-src data:",
            "base-uri 'none'",
            "form-action 'none'",
        )
    )
    return str(
        template("page.html.j2").render(
            page=page,
            policy=policy,
            style=style,
            script=script if players or answers else "",
            answers=inert_json(answers) if answers else "",
            answer_count=sum(
                len(each["right"]) for each in answers.values() if not each["open"]
            ),
            players=inert_json(players),
            drawn=dict(zip(pictures, drawn, strict=True)),
            glyphs=glyphs,
        )
    )


def blocks_in(sections: Sequence[Section]) -> list[Block]:
    """All blocks of some sections, folded ones too."""
    waiting: list[Block] = [block for section in sections for block in section.blocks]
    found: list[Block] = []
    while waiting:
        block = waiting.pop(0)
        found.append(block)
        if isinstance(block, Fold):
            waiting.extend(block.blocks)
    return found


def sha256_source(text: str) -> str:
    """The hash source of an inline script or style."""
    digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
    return f"sha256-{digest}"


def inert_json(data: object) -> str:
    """JSON that cannot close the element it stands in."""
    text = json.dumps(data, separators=(",", ":"), sort_keys=True)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


KEY_NAME = re.compile(rf"\b([A-G])(b+|#+)(?= (?:{'|'.join(MODES)})\b)")


def with_key_signs(sentence: str) -> str:
    """A sentence with real signs in the names of keys: ``B♭ minor``."""

    def signed(found: re.Match[str]) -> str:
        return found[1] + found[2].replace("b", "♭").replace("#", "♯")

    return KEY_NAME.sub(signed, sentence)


def unbroken(heading: str) -> str:
    """A heading in which bars 1-16 are not parted by a line break."""
    return re.sub(r"(?<=\d)-(?=\d)", "\u2011", heading)


@cache
def static_text(name: str) -> str:
    """A file of ``static/``."""
    home = resources.files("melodex.presentation") / "static" / name
    return home.read_text("utf-8").strip()


@cache
def template(name: str) -> Any:
    """A template of ``templates/``."""
    import jinja2
    from markupsafe import Markup

    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("melodex.presentation", "templates"),
        autoescape=True,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=jinja2.StrictUndefined,
    )
    environment.filters["markup"] = Markup
    environment.filters["spoken"] = with_key_signs
    environment.filters["unbroken"] = unbroken
    signs, shapes = shared_signs()
    environment.globals["signs"] = {name: Markup(sign) for name, sign in signs.items()}
    environment.globals["shapes"] = Markup(shapes)
    return environment.get_template(name)
