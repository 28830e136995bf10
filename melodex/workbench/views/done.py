"""What was done, and undoing it.

Contents: done, told, undo, let_go.
"""

from __future__ import annotations

from starlette.responses import JSONResponse, RedirectResponse, Response

from melodex.errors import CorpusError
from melodex.presentation.text.undo import SET_WORDS
from melodex.presentation.text.words import many
from melodex.tasks.collection.held import held_words, let_go_of
from melodex.tasks.collection.undo import Done, what_was_done
from melodex.tasks.collection.undo import undo as undo_change
from melodex.workbench.asking import Ask, address, rendered_page
from melodex.workbench.bench import Stop
from melodex.workbench.deeds import Deed, Doing, changing, deleting, undo_deed
from melodex.workbench.views.changes import after

__all__ = ["done", "let_go", "undo"]

UNDONE = "Undone: "
KINDS = {
    "remove": "Removed",
    "replace": "Read again",
    "set": "Changed the set",
    "remark": "Took off a remark on",
    "undo": "Undid a change of",
}


def done(ask: Ask) -> Response:
    """What was done in this run, and before it, the last first."""
    deeds = ask.bench.deeds.latest()
    known = {n for d in deeds if d.number for n in range(d.number, d.last_number + 1)}
    corpus = ask.corpus_if_any()
    earlier = what_was_done(corpus) if corpus else ()
    rows = [(told(each), each) for each in earlier if each.number not in known]
    held = held_words(corpus) if corpus else ()
    return rendered_page(
        ask, "done.html", "What was done", deeds=deeds, earlier=rows, held=held
    )


def told(change: Done) -> str:
    """A change that another program or an earlier run has made, in a sentence."""
    names = ", ".join(change.titles)
    more = change.tune_count - len(change.titles)
    done = SET_WORDS.get(change.what, "").capitalize()
    done = done or KINDS.get(change.kind, change.kind)
    return f"{done} {names}" + (f" and {more} more." if more > 0 else ".")


def put_back(ask: Ask, number: int, doing: Doing) -> None:
    """Undo a change by its number, and say what came of it."""
    path = ask.bench.corpus_path
    with ask.bench.open_corpus(Stop()) as corpus:
        found = [told(each) for each in what_was_done(corpus) if each.number == number]
    back = undo_change(path, number)
    said = [turned(words) for words in found] or ["Undone."]
    if back.stayed:
        said.append(f"It was changed since, and stays: {', '.join(back.stayed)}.")
    if back.whole:
        said.append("What was done to the set since went with it: undo this to have it.")
    if back.left:
        many_tunes = many(len(back.left), "tune")
        said.append(f"{many_tunes} could not go back, as another stands in their place.")
    doing.words, doing.undoing = " ".join(said), deleting(path, back.gone)
    # What undoes that takes the page of the set away.
    doing.kind = "made" if back.gone else ""
    doing.back = address("/set", name=back.sets[0]) if back.sets else "/done"


def undo(ask: Ask) -> Response:
    """Undo a deed of this run, or a change by its number."""
    bench = ask.bench
    deed = bench.deeds.find(ask.said("deed"))
    number = ask.number("number", 0, least=0, most=999_999)
    if deed is None and not number:
        raise CorpusError("that is not known here", hint="the list says what was done")
    with bench.changing, changing(bench.corpus_path, bench.deeds) as doing:
        if deed is not None:
            doing.undoing = undo_deed(bench.corpus_path, deed)
            doing.words, doing.back = turned(deed.words), back_of(deed)
            doing.again = deed.again
        else:
            put_back(ask, number, doing)
        bench.words.put_back(bench.corpus_path)
    if ask.wants_data:
        number_of_deed = doing.deed.id if doing.deed else None
        return JSONResponse({"said": doing.words, "deed": number_of_deed})
    return RedirectResponse(after(doing), 303)


def let_go(ask: Ask) -> Response:
    """Hold some words no more that have no place."""
    bench = ask.bench
    name, page, key = (ask.fields.get(field, "") for field in ("name", "page", "key"))
    with bench.changing, changing(bench.corpus_path, bench.deeds) as doing:
        place = (name, page.replace("\r\n", "\n"), key)
        doing.undoing = let_go_of(bench.corpus_path, {place})
        doing.words, doing.back = f"Let go of words for the set {name}.", "/done"
    return RedirectResponse(after(doing), 303)


def turned(words: str) -> str:
    """What was undone; what is undone twice is done again."""
    done = words.removeprefix(UNDONE)
    return done if done != words else f"{UNDONE}{words}"


def back_of(deed: Deed) -> str:
    """Where to go: a page of what was made is gone with it."""
    return "/sets" if deed.kind == "made" else deed.back
