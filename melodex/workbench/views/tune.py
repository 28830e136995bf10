"""Tunes: finding one, its music with bars to choose, and what is asked of it.

Contents: tunes, tune, at_hand, drop, around, beside, small, inside, loudness,
refuse_endless.
"""

from __future__ import annotations

import json
from typing import Any

from markupsafe import Markup
from starlette.responses import JSONResponse, RedirectResponse, Response

from melodex.errors import EmptyMelodyError, PassageError, ReadingError
from melodex.melody import Melody
from melodex.presentation.doors import Doors, open_doors
from melodex.reading.bounded import one_line
from melodex.reading.recording.waveform import MOST_FILE_BYTES
from melodex.tasks.collection.holdings import list_tunes, show_tune
from melodex.tasks.compare.compare import compare
from melodex.tasks.describe.describe import Description, describe, with_recording
from melodex.tasks.describe.echoes import Answers, answers_in_piece
from melodex.tasks.describe.reduction import reduction_of
from melodex.tasks.describe.surroundings import surroundings_of
from melodex.tasks.passage import Passage, texture_of, typed_passage
from melodex.workbench.asking import Ask, address, fitting, rendered_page
from melodex.workbench.bench import StoppableCorpus
from melodex.workbench.files import as_file
from melodex.workbench.views.find import set_names

__all__ = [
    "around",
    "at_hand",
    "beside",
    "doors_of",
    "drop",
    "inside",
    "loudness",
    "refuse_endless",
    "small",
    "tune",
    "tunes",
]

TUNES_LISTED = 60
SMALL_BARS = 4
SMALL_SIZE = 0.62
"""How large the page shows it (``bench.css``)."""
MOST_NOTES_DRAWN = 1500
"""A tune of so many notes is drawn in some seconds."""


def tunes(ask: Ask) -> Response:
    """Tunes of the corpus by title, collection or tag."""
    corpus = ask.corpus()
    start = ask.number("from", 0, least=0, most=999_999)
    listing = list_tunes(
        corpus,
        title=ask.said("title"),
        collection=ask.said("collection"),
        tag=ask.said("tag"),
        order=ask.said("sort"),
        limit=start + TUNES_LISTED,
    )
    if ask.wants_data:
        rows = [[row.tune_id, row.title, row.composer] for row in listing.tunes[start:]]
        return JSONResponse({"tunes": rows, "matching": listing.matching})
    return rendered_page(
        ask, "tunes.html", "Tunes", listing=listing, start=start, step=TUNES_LISTED
    )


def tune(ask: Ask) -> Response:
    """The music of one tune, with bars to choose and what can be done with them."""
    name = ask.said("tune")
    corpus = ask.corpus_if_any()
    if not name:
        raise PassageError("no tune is named", hint="choose one on the shelf")
    passage = ask.bench.passage(name, corpus, fewest=0)
    if not len(passage.whole):
        # A sheet of chords has no bars of music to choose: what is in it is told.
        return RedirectResponse(address("/inside", tune=name), 303)
    if ask.said("form"):
        bars = ask.said("bars")
        chosen = ask.bench.passage(name, corpus, bars=bars, fewest=1) if bars else passage
        return as_file(ask, chosen, chosen.label if bars else passage.whole.title)
    detail = show_tune(ask.corpus(), passage.tune_id) if passage.in_corpus else None
    return rendered_page(
        ask,
        "tune.html",
        passage.whole.title,
        name=passage.tune_id if passage.in_corpus else name,
        passage=passage,
        detail=detail,
        music=music_of(passage.whole),
        sets=set_names(ask.corpus_if_any()),
    )


def music_of(melody: Melody) -> dict[str, Any] | None:
    """A tune drawn, where its bars lie, and what plays it; None if it is too long."""
    if len(melody) > MOST_NOTES_DRAWN:
        return None
    from melodex.presentation.engraving.fragments import (
        bar_areas,
        sections_html,
        tune_picture,
    )
    from melodex.presentation.report.blocks import solo_player
    from melodex.presentation.report.page import Section

    drawn = tune_picture(melody)
    areas = [
        [area.bar, area.left, area.top, area.width, area.height]
        for area in bar_areas(drawn)
    ]
    player = solo_player(melody, "tune", "tune", melody.title)
    return {
        "svg": Markup(drawn.svg),
        "areas": json.dumps(areas),
        "note_bars": json.dumps(melody.bar),
        "player": Markup(sections_html([Section("", (player,))])),
    }


# Files that are dropped


def drop(ask: Ask) -> Response:
    """Take a file and show what is in it."""
    files = ask.uploads("file")
    if not files:
        raise ReadingError("no file was sent", hint="choose one and send it again")
    taken = ask.bench.take_files((f.filename or "", f.file.read()) for f in files[:8])
    first, to = taken[0], ask.said("to")
    if to not in {"/inside", "/own", "/tune", "/beside"}:
        to = "/tune"
    if len(taken) == 1 and len(first.melodies) == 1 and not first.refusals:
        field = "a" if to == "/beside" else "tune"
        return RedirectResponse(address(to, **{field: first.address_of(0)}), 303)
    return RedirectResponse(address("/hand", file=first.id, to=to), 303)


def at_hand(ask: Ask) -> Response:
    """The tunes of a file that was dropped, and what of it could not be read."""
    file = ask.bench.at_hand.get(ask.said("file"))
    if file is None:
        raise ReadingError("that file is no longer at hand", hint="drop it here again")
    return rendered_page(
        ask, "hand.html", file.name, file=file, to=ask.said("to") or "/tune"
    )


# What is asked of tunes


def around(ask: Ask) -> Response:
    """A passage of a tune of the corpus with the other lines of its piece."""
    name, bars = ask.said("tune"), ask.said("bars")
    if not name:
        raise PassageError("no tune is named", hint="choose one on the shelf")
    corpus = ask.corpus()
    passage = ask.bench.passage(name, corpus, bars=bars, fewest=1)
    if not passage.in_corpus:
        raise PassageError(
            "the lines around a passage are shown of tunes of the corpus",
            where=passage.whole.title,
            hint="add the file, or use print --around",
        )
    lines = ask.said("lines") or "sounding"
    found = surroundings_of(passage, name, corpus, lines=lines)
    if ask.said("form"):
        return as_file(ask, found, found.label)
    return rendered_page(
        ask,
        "around.html",
        found.label,
        found=found,
        lines=lines,
        bars=bars,
        name=passage.tune_id,
        answered=answered(passage, name, corpus),
        **report_of(found),
    )


def answered(passage: Passage, name: str, corpus: StoppableCorpus) -> Answers | None:
    """Where other lines answer a passage; None where it is no figure."""
    try:
        return answers_in_piece(passage, name, corpus)
    except (EmptyMelodyError, PassageError):
        # Too few notes to be answered, or too many for a figure.
        return None


def beside(ask: Ask) -> Response:
    """Two passages side by side."""
    corpus = ask.corpus_if_any()
    titles = {side: ask.bench.title_at_hand(ask.said(side)) for side in "ab"}
    is_asked = all(ask.said(side) or ask.said(f"{side}-phrase") for side in "ab")
    if not is_asked:
        empty: dict[str, Any] = {"found": None, "sets": (), "titles": titles}
        return rendered_page(ask, "beside.html", "Side by side", **empty)
    a, b = (side_of(ask, corpus, side) for side in "ab")
    move = ask.number("move", 1000, least=-127, most=1000)
    found = compare(a, b, transposition_semitones=None if move == 1000 else move)
    title = f"{a.label} and {b.label}"
    if ask.said("form"):
        return as_file(ask, found, title)
    return rendered_page(
        ask,
        "beside.html",
        title,
        found=found,
        titles=titles,
        sets=set_names(ask.corpus_if_any()),
        **report_of(found),
    )


def side_of(ask: Ask, corpus: StoppableCorpus | None, side: str) -> Passage:
    """One of two passages: some bars or notes of a tune, or a phrase that was typed."""
    typed = ask.said(f"{side}-phrase")
    if typed:
        return typed_passage(typed, ask.said("as"))
    bars, notes = ask.said(f"{side}-bars"), ask.said(f"{side}-notes")
    return ask.bench.passage(ask.said(side), corpus, bars=bars, notes=notes)


def small(ask: Ask) -> Response:
    """A passage drawn small, for a row of a list; of a long one its first bars."""
    first, _, last = ask.said("bars").partition("-")
    if last.isdecimal() and first.isdecimal():
        last = str(min(int(last), int(first) + SMALL_BARS - 1))
    bars = f"{first}-{last}" if last else first
    key = ("small", ask.said("tune"), bars, str(ask.widest))

    def drawn() -> str:
        from melodex.presentation.engraving.fragments import small_picture

        found = ask.bench.passage(ask.said("tune"), ask.corpus(), bars=bars, fewest=1)
        prefix = f"s{found.tune_id}{found.first_note}"
        # What is shown smaller has room for more bars in one system.
        room = None if ask.widest is None else int(ask.widest / SMALL_SIZE)
        with fitting(room):
            return small_picture(found.melody, prefix, found.label).svg

    return JSONResponse({"svg": ask.bench.remembered(key, drawn)})


def report_of(result: object) -> dict[str, Any]:
    """Sentences, evidence and rights of the report of a result."""
    from melodex.presentation.engraving.fragments import sections_html, texts_of
    from melodex.presentation.report.forms import page_of

    page = page_of(result)
    return {
        "sentences": texts_of(page.summary),
        "evidence": Markup(sections_html(page.sections)),
        "rights": page.rights,
    }


def inside(ask: Ask) -> Response:
    """What is in a piece."""
    name = ask.said("tune")
    corpus = ask.corpus_if_any()
    if not name:
        return rendered_page(ask, "inside.html", "Look inside", found=None, at_hand="")
    passage = ask.bench.passage(name, corpus, fewest=0)
    refuse_endless(passage)
    texture = ask.bench.texture_at_hand(name)
    if texture is None and corpus is not None:
        texture = texture_of(passage, corpus)
    found = describe(passage, corpus, texture)
    if ask.said("reduced"):
        return as_file(ask, reduction_of(found, texture), f"{passage.whole.title} reduced")
    if ask.said("form"):
        return as_file(ask, found, passage.whole.title)
    return inside_page(ask, name, found)


def loudness(ask: Ask) -> Response:
    """What is in a piece, with the loudness of a recording that was sent under it."""
    name = ask.said("tune")
    corpus = ask.corpus_if_any()
    sent = ask.uploads("sound")
    if not name or not sent:
        raise ReadingError("no recording was sent", hint="choose a sound file")
    passage = ask.bench.passage(name, corpus, fewest=1)
    refuse_endless(passage)
    found = describe(passage, corpus, ask.bench.texture_at_hand(name))
    data = sent[0].file.read(MOST_FILE_BYTES + 1)
    called = one_line(sent[0].filename or "the recording")
    return inside_page(ask, name, with_recording(found, data, called, ask.said("at")))


def inside_page(ask: Ask, name: str, found: Description) -> Response:
    """The page of a piece that was looked into."""
    passage = found.passage
    kept = passage.tune_id if passage.in_corpus else name
    with open_doors(doors_of(kept)):
        report = report_of(found)
    return rendered_page(
        ask,
        "inside.html",
        passage.whole.title,
        found=found,
        at_hand=ask.bench.title_at_hand(name),
        kinds=kinds_in(found),
        name=kept,
        has_chords=any(here.chord.sounds for here in found.analysis.harmony.chords),
        **report,
    )


def doors_of(name: str) -> Doors:
    """Where the bars and the chords of a picture of a tune lead."""
    return Doors(
        lambda bar: address("/tune", tune=name, bars=f"{bar}-{bar}"),
        lambda chord: address("/gather", progression=chord),
    )


def kinds_in(found: Description) -> list[tuple[str, int | None, list[str]]]:
    """What a piece shows, each kind once: how many tunes do, and in which bars it does."""
    kinds: dict[str, tuple[int | None, list[str]]] = {}
    for each in found.finds:
        span = f"{each.first_bar}-{each.last_bar}"
        spans = kinds.setdefault(each.kind, (each.tunes, []))[1]
        if span not in spans:
            spans.append(span)
    return [(kind, tunes, spans) for kind, (tunes, spans) in kinds.items()]


def refuse_endless(passage: Passage) -> None:
    """Refuse what would take minutes to draw."""
    if len(passage.melody) > MOST_NOTES_DRAWN:
        raise PassageError(
            f"{len(passage.melody):,} notes are too many for a page",
            where=passage.whole.title,
            hint=f"{MOST_NOTES_DRAWN:,} are the most; use the command line for it",
        )
