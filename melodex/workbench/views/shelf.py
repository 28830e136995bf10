"""The shelf: what the corpus holds, adding to it, checking it, copying it.

Contents: shelf, map_of_corpus, families, find_kin, download, add, add_here, check, renew,
back_up, remove, tag, remark, take_back, warnings.
"""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Sequence
from functools import partial
from pathlib import Path

from markupsafe import Markup
from starlette.background import BackgroundTask
from starlette.responses import FileResponse, JSONResponse, RedirectResponse, Response

from melodex.corpus.reader import Corpus
from melodex.errors import CorpusError, MelodexError, PassageError, ReadingError
from melodex.presentation.text.words import clipped, many
from melodex.tasks.adding.add import AddResult
from melodex.tasks.adding.handed import HandedFile
from melodex.tasks.collection.holdings import (
    Holdings,
    holdings,
    remove_tunes,
    tag_tunes,
    warned_tunes,
)
from melodex.tasks.collection.remarks import remarks_on, take_off, write_remark
from melodex.tasks.collection.shards import join
from melodex.tasks.collection.upkeep import backup, has_old_features, journal_bytes
from melodex.tasks.lesson.undoing import Undoing
from melodex.workbench.asking import (
    Ask,
    Fault,
    address,
    fault_of,
    rendered_page,
)
from melodex.workbench.bench import Stop
from melodex.workbench.deeds import changing
from melodex.workbench.files import as_file
from melodex.workbench.views.changes import after
from melodex.workbench.work import (
    Work,
    adding,
    adding_handed,
    checking,
    copying,
    finding_families,
    renewing,
)

__all__ = [
    "add",
    "add_here",
    "back_up",
    "check",
    "download",
    "families",
    "find_kin",
    "map_of_corpus",
    "remark",
    "remove",
    "shelf",
    "tag",
    "take_back",
    "warnings",
]

TUNES_LISTED = 60  # on a page: two screens
FAMILIES_LISTED = 20  # on a page: some screens
ANY_WARNING = "SELECT 1 FROM read_warning LIMIT 1"


def shelf(ask: Ask) -> Response:
    """What the corpus holds, and what can be done with it."""
    found: Holdings | None = None
    corpus = None
    fault: Fault | None = None
    try:
        corpus = ask.corpus_if_any()
        if corpus is not None:
            found = ask.bench.remembered(("holdings",), lambda: holdings(corpus))
    except MelodexError as error:
        fault = fault_of(error)
    path = ask.bench.corpus_path.absolute()
    return rendered_page(
        ask,
        "shelf.html",
        "Shelf",
        found=found,
        fault=fault,
        has_old=bool(corpus and has_old_features(corpus)),
        has_warnings=bool(found and corpus and corpus.query(ANY_WARNING)),
        works=ask.bench.works.latest()[:8],
        corpus_path=str(path),
        journal_bytes=journal_bytes(path),
        copy_to=str(free_name(path)),
    )


def warnings(ask: Ask) -> Response:
    """What was not understood, tune by tune: of a piece of work, or of all tunes."""
    work = ask.bench.works.find(ask.said("work"))
    found = ask.bench.remembered(("warned",), partial(warned_tunes, ask.corpus()))
    if work is not None and isinstance(work.result, AddResult):
        meant = tunes_of(work.result)
        found = [tune for tune in found if tune.tune_id in meant]
    start = ask.number("from", 0, least=0, most=999_999)
    return rendered_page(
        ask,
        "warnings.html",
        "Not understood",
        warned=found[start : start + TUNES_LISTED],
        in_all=len(found),
        start=start,
        step=TUNES_LISTED,
    )


def tunes_of(result: AddResult) -> set[str]:
    """The ids of all tunes that adding has met."""
    return {
        tune_id
        for each in result.reports
        for tune_id in (*each.added, *each.unchanged, *(new for _, new in each.replaced))
    }


def map_of_corpus(ask: Ask) -> Response:
    """What the corpus holds as a picture, its tunes by likeness; points lead to music."""
    from melodex.presentation.engraving.fragments import sections_html
    from melodex.presentation.map.corpus import counts_svg
    from melodex.presentation.report.holdings import (
        CorpusMap,
        likeness_picture,
        panels_of,
    )
    from melodex.presentation.report.page import Picture, Section
    from melodex.tasks.collection.likeness import likeness_map

    corpus = ask.corpus()
    found = ask.bench.remembered(
        ("map",), lambda: CorpusMap(holdings(corpus), likeness_map(corpus))
    )
    if ask.said("form"):
        return as_file(ask, found, "map of the corpus")
    sections = []
    if found.likeness.points:
        picture = likeness_picture(
            found.likeness, lambda tune_id: address("/tune", tune=tune_id)
        )
        sections.append(Section("Tunes by likeness", (picture,)))
    if panels := panels_of(found.holdings):
        counts = Picture(counts_svg(panels), "What the corpus holds, counted in tunes")
        sections.append(Section("What it holds", (counts,)))
    evidence = Markup(sections_html(sections))
    return rendered_page(ask, "map.html", "The map of the corpus", evidence=evidence)


def families(ask: Ask) -> Response:
    """The tune families that were found last, each claim open to be looked at."""
    works = [w for w in ask.bench.works.latest() if w.kind == "families"]
    found = next((work.result for work in works if work.result is not None), None)
    start = ask.number("from", 0, least=0, most=999_999)
    return rendered_page(
        ask,
        "families.html",
        "Tune families",
        found=found,
        corpus_tunes=ask.corpus().tune_count,
        running=next((work for work in works if not work.state.is_over), None),
        start=start,
        step=FAMILIES_LISTED,
    )


def find_kin(ask: Ask) -> Response:
    """Begin to compare the tunes of the corpus with one another."""
    return only_once(ask, finding_families(ask.bench.corpus_path))


def free_name(path: Path) -> Path:
    """A name beside the corpus that no file has yet."""
    number = 1
    while (target := path.with_name(f"{path.stem}-copy-{number}{path.suffix}")).exists():
        number += 1
    return target


def started(ask: Ask, work: Work) -> Response:
    """Begin long work and show it."""
    ask.bench.works.start(work)
    if ask.wants_data:
        return JSONResponse({"address": address("/work", id=work.id)})
    return RedirectResponse(address("/work", id=work.id), 303)


def add(ask: Ask) -> Response:
    """Add files that the browser hands over."""
    uploads = [*ask.uploads("file"), *ask.uploads("folder")]
    if not uploads:
        raise ReadingError("no file was sent", hint="choose files, or a folder")
    folder = Path(tempfile.mkdtemp(dir=ask.bench.folder))
    files = []
    for place, upload in enumerate(uploads):
        kept_at = folder / str(place)
        with kept_at.open("wb") as target:
            shutil.copyfileobj(upload.file, target)
        files.append(HandedFile(upload.filename or f"file {place + 1}", kept_at))
    collection = ask.said("collection")
    return started(ask, adding_handed(ask.bench.corpus_path, files, collection, folder))


def add_here(ask: Ask) -> Response:
    """Add a file or folder of this machine, by its path."""
    if not ask.said("path"):
        raise ReadingError("no path is named", hint="such as /home/me/tunes")
    path = path_said(ask)
    if not path.is_absolute():
        raise ReadingError(
            "that path does not begin at the root", where=str(path), hint="write it in full"
        )
    try:
        is_there = path.exists()
    except OSError as error:
        raise ReadingError(
            f"that path cannot be looked at: {error.strerror}", where=clipped(str(path), 80)
        ) from error
    if not is_there:
        raise ReadingError("there is no such file or folder", where=str(path))
    return started(ask, adding(ask.bench.corpus_path, [path], ask.said("collection")))


def path_said(ask: Ask) -> Path:
    """A path of this machine, with the folder of whoever it names."""
    if "\0" in ask.said("path"):
        raise ReadingError("no path has the character 0 in it", hint="write it anew")
    path = Path(ask.said("path"))
    try:
        return path.expanduser()
    except RuntimeError as error:
        raise ReadingError(
            f"there is no user {path.parts[0][1:]} with a folder on this machine",
            hint="write it in full, from the root",
        ) from error


def check(ask: Ask) -> Response:
    """Check the corpus, and repair it if asked to."""
    return started(ask, checking(ask.bench.corpus_path, repair=ask.said("repair") == "yes"))


def renew(ask: Ask) -> Response:
    """Work the features of the corpus out anew."""
    return only_once(ask, renewing(ask.bench.corpus_path))


def only_once(ask: Ask, work: Work) -> Response:
    """Begin long work, or show the same that goes on already."""
    for each in ask.bench.works.latest():
        if each.kind == work.kind and not each.state.is_over:
            return RedirectResponse(address("/work", id=each.id), 303)
    return started(ask, work)


def back_up(ask: Ask) -> Response:
    """Write a copy of the corpus to a path of this machine."""
    target = path_said(ask)
    if not ask.said("path") or not target.is_absolute():
        raise CorpusError(
            "the copy needs a whole path", where=ask.said("path"), hint="write it in full"
        )
    return started(ask, copying(ask.bench.corpus_path, target))


def download(ask: Ask) -> Response:
    """Give a copy of the corpus to the browser; of shards the one file that they make."""
    path = ask.bench.corpus_path
    folder = Path(tempfile.mkdtemp(dir=ask.bench.folder))
    target = folder / (f"{path.name}.melodex" if path.is_dir() else path.name)
    try:
        if path.is_dir():
            join(path, target)
        else:
            backup(path, target)
    except MelodexError:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    done = BackgroundTask(shutil.rmtree, folder, ignore_errors=True)
    return FileResponse(
        target,
        media_type="application/vnd.sqlite3",
        filename=target.name,
        background=done,
    )


def remove(ask: Ask) -> Response:
    """Take one tune out of the corpus, if that was ticked too."""
    if not ask.said("sure"):
        raise PassageError("nothing was taken out", hint="tick the box to confirm")
    path = ask.bench.corpus_path
    with ask.bench.changing, changing(path, ask.bench.deeds) as doing:
        gone = remove_tunes(path, [ask.said("tune")]).removed[0]
        doing.words = f"Removed {gone.name}."
        doing.back = address("/tune", tune=gone.tune_id)
        doing.again = partial(removed_again, path, [gone.tune_id])
    did = doing.deed.id if doing.deed else ""
    return RedirectResponse(address("/tunes", gone=gone.name, did=did), 303)


def take_back(ask: Ask) -> Response:
    """Take out again what a piece of work has added."""
    work = ask.bench.works.find(ask.said("id"))
    if work is None or not isinstance(work.result, AddResult) or work.is_taken_back:
        raise PassageError("there is nothing of it to take out", hint="see the shelf")
    path = ask.bench.corpus_path
    names = [tune_id for report in work.result.reports for tune_id in report.added]
    with ask.bench.changing, changing(path, ask.bench.deeds) as doing:
        gone = remove_tunes(path, names)
        work.is_taken_back = True
        doing.words = f"Took out {many(len(gone.removed), 'tune')} again: {work.title}."
        doing.back = "/shelf"
        doing.again = partial(removed_again, path, names)
    return RedirectResponse(after(doing), 303)


def removed_again(path: Path, names: Sequence[str]) -> None:
    """Take tunes out once more; the corpus keeps them, and so what undoes it."""
    remove_tunes(path, names)


def tag(ask: Ask) -> Response:
    """Put a word on a tune, or take it off."""
    name, word, off = ask.said("tune"), ask.said("word"), bool(ask.said("off"))
    path = ask.bench.corpus_path
    with ask.bench.changing, changing(path, ask.bench.deeds) as doing:
        with ask.bench.open_corpus(Stop()) as corpus:
            had = word in corpus.tune(corpus.resolve(name)).tags
        tag_tunes(path, word, [name], take_off=off)
        doing.back = address("/tune", tune=name)
        if had == off:
            doing.words = f"{'Took off' if off else 'Put on'} the tag {word}."
            doing.undoing = partial(put_tag, path, word, name, take_off=not off)
    return RedirectResponse(after(doing), 303)


def remark(ask: Ask) -> Response:
    """Write a note, a source or a citation on a tune, or take one off."""
    path, name = ask.bench.corpus_path, ask.said("tune")
    off = ask.number("off", 0, least=0, most=999_999)
    with ask.bench.changing, changing(path, ask.bench.deeds) as doing:
        doing.back = address("/tune", tune=name) + "#remarks"
        if off:
            text = take_off(path, off)
            doing.words = "Took off a remark."
        else:
            found = write_remark(
                path,
                name,
                ask.said("text"),
                kind=ask.said("kind") or "note",
                bars=ask.said("bars"),
            )
            written = found.remarks[-1]
            text = written.text
            doing.words = f"Wrote a {written.kind} on {found.tune.name}."
            doing.undoing = partial(unwritten, path, name, text)
        doing.again = partial(unwritten, path, name, text)
    return RedirectResponse(after(doing), 303)


def unwritten(path: Path, name: str, text: str) -> None:
    """Take off the remark of these words that came last; the corpus keeps it."""
    with Corpus.open(path) as corpus:
        remarks = remarks_on(corpus, name).remarks
    there = [remark.number for remark in remarks if remark.text == text]
    if not there:
        raise CorpusError("that remark is off already", hint="see what was done")
    take_off(path, there[-1])


def put_tag(path: Path, word: str, name: str, *, take_off: bool) -> Undoing:
    """Put a word on a tune, or take it off; return what undoes that."""
    tag_tunes(path, word, [name], take_off=take_off)
    return partial(put_tag, path, word, name, take_off=not take_off)
