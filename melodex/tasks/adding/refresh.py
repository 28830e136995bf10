"""Reading again the folders that a corpus was made from, and saying what has changed.

Conventions: a folder is known from when it was added. First everything is compared and
nothing changed; then new and changed files are added as they were before. A file that
is gone while a new one holds the same tunes has moved. What is gone is left in the
corpus, unless it is told to go.

Contents: Differences, Refreshed, differences, refresh.
"""

from __future__ import annotations

import os
from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path

from melodex.corpus.reader import Corpus
from melodex.corpus.rows import place_path, storable
from melodex.corpus.shards.merging import in_order
from melodex.corpus.writing.removing import HeldPlace, remove_these_places
from melodex.corpus.writing.rows.places import RemoveReport
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import ReadingError
from melodex.reading import Choice, Refusal, read_path
from melodex.reading.apart import Apart
from melodex.tasks.adding.add import AddResult, add_paths
from melodex.tasks.adding.walking import files_of, is_folder

__all__ = ["Differences", "Refreshed", "differences", "refresh"]

Held = dict[tuple[str, int, int], str]
"""Tune ids of a file, by number, occurrence and line."""


@dataclass(frozen=True, slots=True)
class Way:
    """How a file is added: its collection, and which line is the melody."""

    collection: str
    choice: Choice


@dataclass(slots=True)
class Differences:
    """What the folders hold that the corpus does not, and the other way round.

    Parameters
    ----------
    folders : tuple of str
        That the corpus was made from.
    missing : tuple of str
        Those of them that are not there now, that may not be looked into, or that hold
        nothing at all, as where a disk is not mounted; nothing of them is called gone.
    unchanged : int
        Files as they were.
    new, changed, gone : list of str
        Whole paths of files.
    moved : list of (str, str)
        From where, and where to.
    gone_tunes : int
        Tunes that left a file which is still there.
    refusals : list of Refusal
        Files that cannot be read now; their tunes are left.
    """

    folders: tuple[str, ...]
    missing: tuple[str, ...] = ()
    unchanged: int = 0
    new: list[str] = field(default_factory=list)
    changed: list[str] = field(default_factory=list)
    gone: list[str] = field(default_factory=list)
    moved: list[tuple[str, str]] = field(default_factory=list)
    gone_tunes: int = 0
    refusals: list[Refusal] = field(default_factory=list)
    ways: dict[str, Way] = field(default_factory=dict)
    newly_named: dict[str, Way] = field(default_factory=dict)
    gone_places: list[HeldPlace] = field(default_factory=list)
    moved_places: list[HeldPlace] = field(default_factory=list)

    @property
    def is_in_step(self) -> bool:
        """Whether there is nothing to do."""
        found = self.new, self.changed, self.moved, self.gone_places, self.gone
        return not any(found) and not self.newly_named


@dataclass(frozen=True, slots=True)
class Refreshed:
    """What was done: what was added, and how many tunes went."""

    differences: Differences
    added: tuple[AddResult, ...] = ()
    removed: int = 0
    can_be_undone: bool = True
    """False where what was removed was too much to be kept."""


def differences(
    corpus_path: Path,
    progress: Callable[[int, int], None] | None = None,
    *,
    named: Iterable[Path] = (),
) -> Differences:
    """Compare the folders of a corpus with what it holds; nothing is changed.

    Parameters
    ----------
    corpus_path : Path
        The corpus.
    progress : callable, optional
        Called with files done and files in all.
    named : iterable of Path
        Folders that the corpus was made from too, before it kept which; what is new in
        them goes into the collection that is called like its folder.

    Raises
    ------
    CorpusError
        If there is no corpus.
    """
    with Corpus.open(corpus_path) as corpus:
        rows = corpus.query(
            "SELECT path, collection, part, voice, chord_note, lines FROM folder "
            "ORDER BY path"
        )
        folders = {row[0]: Way(row[1], Choice.kept(*row[2:])) for row in rows}
        places = corpus.query(
            "SELECT place.id, file, number, occurrence, line, tune.tune_id, "
            "collection.name, place.part, place.voice, place.chord_note, place.lines "
            "FROM place "
            "JOIN tune ON tune.id = place.tune "
            "JOIN collection ON collection.id = place.collection WHERE place.id > 0 "
            "ORDER BY place.id",
            merge=in_order(0),
        )
    given = (place_path(str(path)) for path in named)
    newly_named = {path: Way("", Choice()) for path in given if path not in folders}
    folders |= newly_named
    missing = tuple(path for path in folders if not holds_anything(Path(path)))
    found = Differences(tuple(folders), missing, newly_named=newly_named)
    held: dict[str, Held] = defaultdict(dict)
    numbers: dict[str, dict[tuple[str, int, int], HeldPlace]] = defaultdict(dict)
    for number, file, name, occurrence, line, tune_id, collection, *choice in places:
        if folder_of(file, folders) and not folder_of(file, missing):
            held[file][name, occurrence, line] = tune_id
            numbers[file][name, occurrence, line] = (number, file, tune_id)
            found.ways[file] = Way(collection, Choice.kept(*choice))
    there = {
        place_path(str(file)): file
        for file in files_of(Path(path) for path in folders if path not in missing)
    }
    arrived: dict[str, Held] = {}
    with Apart() as apart:
        for done, (path, file) in enumerate(there.items()):
            way = found.ways.setdefault(path, folders[folder_of(path, folders)])
            try:
                known = frozenset(held.get(path, {}).values())
                now, refusals = apart.do(held_now, file, way.choice, known)
            except ReadingError as error:
                now, refusals = {}, [Refusal.of(error, path)]
            if now:
                before = held.get(path)
                compare_file(
                    found, path, now, bool(refusals), before, arrived, numbers[path]
                )
            else:
                found.refusals += refusals
            if progress:
                progress(done + 1, len(there))
    # What lies in a folder that may not be looked into now may be there all the same.
    closed = [path for path, file in there.items() if is_folder(file)]
    for path in sorted(held.keys() - there.keys()):
        if not folder_of(path, closed):
            place_gone(found, path, held[path], arrived, list(numbers[path].values()))
    return found


def holds_anything(folder: Path) -> bool:
    """Whether a path is a folder in which there is something."""
    try:
        with os.scandir(folder) as entries:
            return any(True for _ in entries)
    except (OSError, ValueError):
        return False


def folder_of(file: str, folders: Iterable[str]) -> str:
    """The innermost of some folders that a file lies in; empty for none."""
    around = [path for path in folders if file.startswith(path.rstrip("/") + "/")]
    return max(around, key=len, default="")


def compare_file(
    found: Differences,
    path: str,
    now: Held,
    has_refused: bool,
    held: Held | None,
    arrived: dict[str, Held],
    numbers: dict[tuple[str, int, int], HeldPlace],
) -> None:
    """Say what has become of a file that is there and can be read."""
    if held is None:
        found.new.append(path)
        arrived[path] = now
        return
    lost = [key for key in held if key not in now]
    if any(held.get(key) != tune_id for key, tune_id in now.items()):
        found.changed.append(path)
    elif not lost:
        found.unchanged += 1
    # A tune that cannot be read now is not gone.
    if lost and not has_refused:
        found.gone_tunes += len(lost)
        found.gone_places += [numbers[key] for key in lost]


def held_now(
    file: Path, choice: Choice, known: frozenset[str] = frozenset()
) -> tuple[Held, list[Refusal]]:
    """The tunes of a file as they would be added, and what was refused.

    One that is known by the id it had when the part's name counted goes by that.
    """
    reading = read_path(file, choice)
    now: Held = {}
    seen: dict[str, int] = defaultdict(int)
    for read in reading.tunes:
        if len(read.melody):
            number = storable(read.melody.credits.number)
            seen[number] += read.line.is_main
            by_name = read.melody.with_credits(part=read.line.part).earlier_id()
            tune_id = by_name if by_name in known else read.melody.content_id()
            now[number, seen[number], read.line.position] = tune_id
    return now, list(reading.refusals)


def place_gone(
    found: Differences,
    path: str,
    held: Held,
    arrived: dict[str, Held],
    places: list[HeldPlace],
) -> None:
    """A file that is no longer there: moved where a new one holds the same, or gone."""
    wanted = sorted(held.values())
    for new in list(arrived):
        if sorted(arrived[new].values()) == wanted:
            del arrived[new]
            found.new.remove(new)
            found.moved.append((path, new))
            found.ways[new] = found.ways[path]
            found.moved_places += places
            return
    found.gone.append(path)
    found.gone_places += places


def refresh(
    corpus_path: Path, found: Differences, *, remove_gone: bool = False, workers: int = 1
) -> Refreshed:
    """Bring a corpus in step with its folders.

    Parameters
    ----------
    corpus_path : Path
        The corpus.
    found : Differences
        What :func:`differences` found.
    remove_gone : bool
        Whether what is gone from the folders goes from the corpus too.
    workers : int
        How many processes may read at once.

    Raises
    ------
    CorpusError
        If the corpus cannot be written.
    """
    by_way: dict[Way, list[Path]] = defaultdict(list)
    for path in [*found.new, *found.changed, *(new for _, new in found.moved)]:
        by_way[found.ways[path]].append(Path(path))
    added = []
    for way, paths in by_way.items():
        added.append(
            add_paths(
                corpus_path,
                paths,
                collection=way.collection,
                choice=way.choice,
                workers=workers,
            )
        )
        if added[-1].interrupted:
            return Refreshed(found, tuple(added))
    # What has moved stands in its new place by now, and keeps its tags.
    gone = found.gone_places if remove_gone else []
    report = RemoveReport()
    if gone or found.moved_places or found.newly_named:
        with CorpusWriter.open(corpus_path, create=False) as writer:
            for path, way in found.newly_named.items():
                writer.note_folder(path, way.collection, way.choice)
            if gone or found.moved_places:
                report = remove_these_places(writer, gone, found.moved_places)
    is_kept = report.change is None or report.change.is_whole
    return Refreshed(found, tuple(added), len(report.removed), is_kept)
