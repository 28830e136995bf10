"""Gathering: wishes, how many tunes each further wish would leave, and what is found.

Contents: gathering, left, passage, gathered.
"""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

from markupsafe import Markup
from starlette.responses import JSONResponse, Response

from melodex.errors import AnalysisError, MelodexError, PassageError
from melodex.tasks.gather.counts import Remaining, remaining, understood
from melodex.tasks.gather.gather import Gathering, Wish, gather
from melodex.tasks.gather.music import with_music
from melodex.workbench.asking import Ask, fault_of, rendered_page
from melodex.workbench.bench import StoppableCorpus
from melodex.workbench.files import as_file
from melodex.workbench.views.find import set_names

__all__ = ["gathered", "gathering", "left", "passage", "wish_of"]

USUAL_EXAMPLES, MOST_EXAMPLES = 40, 1000
NUMBERS = ("key_centres", "section_bars", "after", "before")
FLAGS = ("exact_progression", "odd_sections", "nearly", "sung")
CHOSEN = (
    ("device", "Harmonic device"),
    ("mode", "Mode"),
    ("modal", "Coloured by another mode"),
    ("metre", "Metre"),
    ("key_centres", "At least this many key centres"),
    ("key_change", "The key changes"),
    ("section_bars", "A section of this many bars"),
    ("returning", "A figure that returns"),
    ("decade", "Decade"),
    ("collection", "Collection"),
    ("tag", "Tag"),
)
"""Wishes with a list of values, and what they are called."""


def wish_of(ask: Ask) -> Wish:
    """What is asked for, from the fields."""
    values: dict[str, Any] = {}
    for name in Wish.__slots__:
        text = ask.said(name)
        if name in FLAGS:
            values[name] = bool(text)
        elif name not in NUMBERS:
            values[name] = text
        elif re.fullmatch(r"\d{1,5}", text):
            values[name] = int(text)
    return replace(Wish(), **values)


def refuse_mistyped(ask: Ask) -> None:
    """Say which number is none, so that no wish is passed over."""
    for name in NUMBERS:
        text = ask.said(name)
        if text and not re.fullmatch(r"\d{1,5}", text):
            words = {"after": "From year", "before": "To year"}
            what = words.get(name, name.replace("_", " ").capitalize())
            raise AnalysisError(
                f"{what}: {text!r} is no whole number", hint="write digits alone"
            )


def gathered(ask: Ask, corpus: StoppableCorpus) -> Gathering:
    """Gather as the fields say."""
    wish = wish_of(ask)
    limit = ask.number("limit", USUAL_EXAMPLES, least=1, most=MOST_EXAMPLES)
    key = ("gathering", repr(wish), str(limit))
    found: Gathering = ask.bench.remembered(key, lambda: gather(corpus, wish, limit=limit))
    return found


def gathering(ask: Ask) -> Response:
    """The wishes, and the passages that meet them."""
    corpus = ask.corpus()
    wish = wish_of(ask)
    context: dict[str, Any] = {"found": None, "fault": None}
    counted = None
    try:
        refuse_mistyped(ask)
        if wish.told():
            context["found"] = gathered(ask, corpus)
            if ask.said("form"):
                found = context["found"]
                if ask.said("form") in {"html", "pdf"}:
                    found = with_music(corpus, found)
                return as_file(ask, found, "; ".join(wish.told()))
        counted = counts_of(ask, corpus, wish)
    except MelodexError as error:
        context["fault"] = fault_of(error)
        counted = counts_of(ask, corpus, understood(corpus, wish))
    return rendered_page(
        ask,
        "gather.html",
        "Gather",
        status=context["fault"].status if context["fault"] else 200,
        wish=wish,
        counted=counted,
        chosen=CHOSEN,
        sets=set_names(corpus),
        **context,
    )


def counts_of(ask: Ask, corpus: StoppableCorpus, wish: Wish) -> Remaining:
    """How many tunes are left, and would be with one wish more."""
    key = ("left", repr(wish))
    found: Remaining = ask.bench.remembered(key, lambda: remaining(corpus, wish))
    return found


def left(ask: Ask) -> Response:
    """How many tunes the wishes leave, for a script that asks while one chooses."""
    counted = counts_of(ask, ask.corpus(), wish_of(ask))
    options = {
        feature: [[count.value, count.tune_count] for count in counts]
        for feature, counts in counted.options.items()
    }
    return JSONResponse(
        {"tunes": counted.tunes, "of": counted.corpus_tunes, "options": options}
    )


def passage(ask: Ask) -> Response:
    """The notes of a passage that was gathered."""
    from melodex.presentation.engraving.fragments import sections_html
    from melodex.presentation.engraving.pictures import engrave_melody
    from melodex.presentation.report.blocks import numerals_of, solo_player
    from melodex.presentation.report.page import Picture, Section

    name, bars = ask.said("tune"), ask.said("bars")
    found = ask.bench.passage(name, ask.corpus(), bars=bars, fewest=1)
    prefix = f"g{found.tune_id}{found.first_note}"
    drawn = engrave_melody(
        found.melody,
        numerals=numerals_of(found.melody),
        excerpt=True,
        prefix=prefix,
        title=found.label,
    )
    player = solo_player(found.melody, f"play-{prefix}", prefix, found.label)
    section = Section("", (Picture(drawn.svg, f"Notes: {found.label}"), player))
    html = sections_html([section], level=3)
    if ask.wants_data:
        return JSONResponse({"html": html})
    if not name:
        raise PassageError("no tune is named")
    return rendered_page(
        ask, "passage.html", found.label, passage=found, evidence=Markup(html)
    )
