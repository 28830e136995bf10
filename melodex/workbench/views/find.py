"""Finding a phrase: typed, played, or taken from a tune; and what resembles it.

Contents: find, narrow, match, stave, warm_up.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from markupsafe import Markup
from starlette.responses import JSONResponse, Response

from melodex.errors import (
    AmbiguousPhraseError,
    AnalysisError,
    MelodexError,
    PhraseError,
)
from melodex.melody import MODES, Phrase
from melodex.reading.phrase.faults import spelled_out
from melodex.reading.phrase.reader import NOTATIONS, read_phrase
from melodex.tasks.gather.wish import Wish
from melodex.workbench.asking import (
    Ask,
    fault_of,
    fault_with_ways,
    rendered_page,
    rendered_part,
)
from melodex.workbench.bench import StoppableCorpus
from melodex.workbench.files import as_file
from melodex.workbench.ticked import passage_place, shown_again

if TYPE_CHECKING:
    from melodex.tasks.collection.holdings import Count
    from melodex.tasks.resemble import Match, Resemblance

__all__ = ["find", "match", "narrow", "searched", "set_names", "stave", "warm_up"]

USUAL_MATCHES, MOST_MATCHES = 10, 100  # on a page: a screen of staves, all that is ranked
NARROWING = ("collection", "mode", "metre", "tag", "part", "sung", "after", "before")
LISTED = ("collection", "mode", "metre", "tag", "part", "sung")
TONICS = ("C", "G", "D", "A", "E", "B", "F#", "F", "Bb", "Eb", "Ab", "Db", "Gb")
PLAYABLE_MODES = tuple(mode for mode in MODES if mode not in {"ionian", "aeolian"})


def warm_up() -> None:
    """Draw something: what draws is loaded, and this thread's engraver made."""
    from melodex.presentation import report  # noqa: F401
    from melodex.presentation.engraving.fragments import phrase_picture
    from melodex.tasks import resemble  # noqa: F401

    phrase_picture(read_phrase("1*2 2 3 5"))


def find(ask: Ask) -> Response:
    """The page to type a phrase on, with what resembles it if there is one."""
    corpus = ask.corpus_if_any()
    if ask.said("form") and corpus is not None:
        return as_file(ask, searched(ask, corpus), "resemblance")
    context: dict[str, Any] = {"found": None, "fault": None, "cards": (), "drawn": None}
    context |= {"heard": None, "narrowed": (), "readings": (), "others": ()}
    if asks_something(ask):
        try:
            context |= results(ask, corpus)
        except MelodexError as error:
            context["fault"] = fault_with_ways(ask, error)
            context["readings"] = readings_of(error)
    status = context["fault"].status if context["fault"] else 200
    return rendered_page(
        ask,
        "find.html",
        "Find a phrase",
        status=status,
        corpus_tunes=corpus.tune_count if corpus else None,
        # They take a moment, and the first page has to be there at once.
        choices=choices_of(ask, corpus) if context["found"] else None,
        sets=set_names(corpus),
        tonics=TONICS,
        modes=PLAYABLE_MODES,
        **context,
    )


def set_names(corpus: StoppableCorpus | None) -> list[str]:
    """Names of the teaching sets that there are."""
    from melodex.tasks.lesson.sets import list_lessons

    return [line.row.name for line in list_lessons(corpus)] if corpus else []


def asks_something(ask: Ask) -> bool:
    """Whether there is a phrase, or a tune to take one from."""
    return bool(ask.said("phrase") or ask.said("tune"))


def results(ask: Ask, corpus: StoppableCorpus | None) -> dict[str, Any]:
    """What the page shows of a search."""
    from melodex.presentation.engraving.fragments import phrase_picture

    found = searched(ask, corpus or ask.corpus())
    # A script that has drawn what was typed does not need it again.
    drawn = None if ask.said("drawn") else phrase_picture(found.phrase)
    return {
        "found": found,
        "drawn": Markup(drawn.svg) if drawn else None,
        "heard": player_of(found.phrase) if drawn else None,
        "cards": [card_of(found, each, opened=each.rank == 1) for each in found.matches],
        "narrowed": narrowing(ask).told(),
        "others": [(name, NOTATIONS[name]) for name in found.phrase.other_notations],
    }


def searched(ask: Ask, corpus: StoppableCorpus) -> Resemblance:
    """Search as the fields say; an answer just given is not worked out again."""
    key = tuple(
        ask.said(name)
        for name in ("phrase", "as", "tune", "bars", "notes", "self", "limit", *NARROWING)
    )
    found: Resemblance = ask.bench.remembered(key, lambda: search_anew(ask, corpus))
    return found


def search_anew(ask: Ask, corpus: StoppableCorpus) -> Resemblance:
    """Search as the fields say."""
    from melodex.tasks.gather.counts import tunes_outside
    from melodex.tasks.resemble import resemble

    return resemble(
        corpus,
        phrase_of(ask, corpus),
        limit=ask.number("limit", USUAL_MATCHES, least=1, most=MOST_MATCHES),
        include_self=bool(ask.said("self")),
        outside=tunes_outside(corpus, narrowing(ask)),
    )


def phrase_of(ask: Ask, corpus: StoppableCorpus) -> Phrase:
    """The phrase that is meant: typed, or some bars of a tune."""
    name = ask.said("tune")
    if ask.said("phrase"):
        from melodex.tasks.resemble import said_phrase

        return said_phrase(corpus, ask.said("phrase"), notation=ask.said("as"))
    bars, notes = ask.said("bars"), ask.said("notes")
    return ask.bench.passage(name, corpus, bars=bars, notes=notes).phrase()


def narrowing(ask: Ask) -> Wish:
    """Which tunes are to be searched."""
    return Wish(
        collection=ask.said("collection"),
        mode=ask.said("mode"),
        metre=ask.said("metre"),
        tag=ask.said("tag"),
        part=ask.said("part"),
        sung=bool(ask.said("sung")),
        after=year_of(ask.said("after")),
        before=year_of(ask.said("before")),
    )


def year_of(text: str) -> int | None:
    """A year, None where none is said."""
    if text and not re.fullmatch(r"[0-9]{1,4}", text):
        raise AnalysisError(f"{text!r} is no year", hint="write digits alone")
    return int(text) if text else None


Choices = dict[str, tuple["Count", ...]]


def narrow(ask: Ask) -> Response:
    """The fields that narrow a search, for a script that opens them."""
    choices = choices_of(ask, ask.corpus_if_any())
    html = rendered_part("narrow.html", choices=choices, said=ask.said)
    if ask.wants_data:
        return JSONResponse({"html": html})
    return rendered_page(
        ask, "narrowing.html", "Search only some tunes", fields=Markup(html)
    )


def choices_of(
    ask: Ask, corpus: StoppableCorpus | None, features: tuple[str, ...] = LISTED
) -> Choices:
    """What searches can be narrowed to, with the number of tunes of each."""
    from melodex.tasks.gather.counts import remaining

    if corpus is None:
        return dict.fromkeys(features, ())

    def counted() -> Choices:
        return remaining(corpus, Wish(), features=features).options

    options: Choices = ask.bench.remembered(("choices", *features), counted)
    return options


# One match


@dataclass(frozen=True, slots=True)
class Card:
    """What the list shows of a match; ``opened`` is its evidence, where it lies open."""

    match: Match
    facts: tuple[str, ...]
    line: tuple[Any, ...]
    opened: Markup | None


def card_of(found: Resemblance, match: Match, *, opened: bool) -> Card:
    """A match for the list."""
    from melodex.presentation.engraving.fragments import evidence_line
    from melodex.presentation.text.resemble import match_facts

    line: Sequence[Any] = ()
    if found.phrase.has_notes:
        line = evidence_line(
            found.asked_by(match).phrase.melody,
            match.passage.melody,
            match.likeness,
            match.passage.first_note,
        )
    evidence = evidence_of(found, match) if opened else None
    return Card(match, tuple(match_facts(found, match)), tuple(line), evidence)


def evidence_of(found: Resemblance, match: Match) -> Markup:
    """The notes of a match, drawn and playable."""
    from melodex.presentation.engraving.fragments import evidence_html
    from melodex.presentation.report.forms import match_section

    asked = found.asked_by(match)
    return Markup(evidence_html(match_section(asked.phrase, match, asked.most_points)))


def match_place(match: Match) -> tuple[str, str]:
    """Tune and bars of a match, as its page tells them."""
    return passage_place(match.passage)


def match(ask: Ask) -> Response:
    """The evidence of one match: a page, or a part of one for a script."""
    found = searched(ask, ask.corpus())
    rank = ask.said("rank")
    chosen = shown_again(rank, found.matches, match_place, "match", PhraseError)
    evidence = evidence_of(found, chosen)
    if ask.wants_data:
        return JSONResponse({"html": str(evidence)})
    return rendered_page(
        ask,
        "match.html",
        f"{chosen.rank}. {chosen.passage.label}",
        found=found,
        match=chosen,
        evidence=evidence,
    )


# The stave while one types


def stave(ask: Ask) -> Response:
    """What is typed or played, as notes; or what is wrong with it, and where."""
    text = ask.said("phrase")
    try:
        played = [int(pitch) for pitch in ask.said("played").split()[:512]]
        if played:
            text = continued(ask, text, played)
        phrase = read_phrase(text, notation=ask.said("as"), fewest=1)
    except (MelodexError, ValueError) as error:
        return JSONResponse(fault_in(text, error))
    return JSONResponse({"text": text, **drawn_phrase(phrase)})


def continued(ask: Ask, text: str, played: Sequence[int]) -> str:
    """The phrase with what was played behind it."""
    from melodex.presentation.notation.played import played_abc

    before: tuple[int, ...] = ()
    if text:
        phrase = read_phrase(text, notation=ask.said("as"), fewest=1)
        if not phrase.has_notes:
            raise PhraseError("not all its notes are known", hint="start anew")
        before = phrase.melody.midi
    mode = ask.said("mode") or "major"
    return played_abc([*before, *played], tonic=ask.said("tonic"), mode=mode)


def drawn_phrase(phrase: Phrase) -> dict[str, Any]:
    """A phrase drawn and in words."""
    from melodex.presentation.engraving.fragments import phrase_picture

    drawn = phrase_picture(phrase)
    melody = phrase.melody
    said = rendered_part(
        "said.html",
        phrase=phrase,
        count=len(melody),
        notation=NOTATIONS.get(phrase.notation, phrase.notation),
        notes=spelled_out(phrase),
    ).strip()
    player = str(player_of(phrase)) if drawn else ""
    others = [(name, NOTATIONS[name]) for name in phrase.other_notations]
    return {
        "svg": drawn.svg if drawn else "",
        "said": said,
        "player": player,
        "others": others,
    }


def player_of(phrase: Phrase) -> Markup:
    """What plays the phrase that is typed."""
    from melodex.presentation.engraving.fragments import sections_html
    from melodex.presentation.report.blocks import solo_player
    from melodex.presentation.report.page import Section

    player = solo_player(phrase.melody, "typed", "q", "the phrase")
    return Markup(sections_html([Section("", (player,))]))


def fault_in(text: str, error: Exception) -> dict[str, Any]:
    """What is wrong with a phrase: the place, the reason, and how else it can be read."""
    if not isinstance(error, MelodexError):
        return {"fault": {"what": "That was not played on a keyboard.", "advice": ""}}
    fault = fault_of(error)
    column = getattr(error, "column", None)
    return {
        "text": text,
        "fault": {
            "what": fault.what,
            "advice": fault.advice,
            "column": None if column is None else column - 1,
            "readings": [list(reading) for reading in readings_of(error)],
        },
    }


def readings_of(error: MelodexError) -> tuple[tuple[str, str], ...]:
    """How a phrase can be read, where there is more than one way."""
    if not isinstance(error, AmbiguousPhraseError):
        return ()
    return error.readings
