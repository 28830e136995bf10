"""Over one file and over shards: do answers have the same bytes?

A corpus of the ABC collections of the installed music21 package is split into 1, 2, 3, 4
and 7 shards. One file and each folder are asked the same phrases, audits, gatherings,
near-duplicates, families, pairs of the whole, lists, and whether chance is calibrated, and
the bytes of the JSON are compared with those of the one file; shards are also asked by two
processes that hold them and compare all with all, opened in turned order, joined again,
built from the files straight, and changed until they hold what the one file holds: half of
the files are added to shards of the others, a file is taken out and the change undone.

Run:  python -m benchmarks.shards.equality [--phrases 200] [--audits 40] [--keep NAME]
"""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from benchmarks.chance.same_answer import WISHES, answers, written
from benchmarks.keeping import about, asker, keep
from melodex.corpus.reader import Corpus
from melodex.matching.dealing.dealer import Dealer, Processes
from melodex.matching.dealing.exchange import Exchange
from melodex.matching.dealing.held import Shards, places_of
from melodex.presentation.data import corpus as data
from melodex.presentation.data.calibration import calibration_json
from melodex.presentation.data.forms import as_json
from melodex.tasks.adding.add import add_paths
from melodex.tasks.audit.whole import audit_whole
from melodex.tasks.collection.calibration import calibrate_chance
from melodex.tasks.collection.duplicates import find_duplicates
from melodex.tasks.collection.families import find_families
from melodex.tasks.collection.holdings import holdings, list_tunes, remove_from
from melodex.tasks.collection.shards import join, split
from melodex.tasks.collection.undo import undo
from melodex.tasks.gather.gather import gather

COUNTS = (1, 2, 3, 4, 7)
DEALT = ", dealt"


def asked(
    corpus: Corpus, phrases: int, audits: int, dealer: Dealer | None = None
) -> Iterator[tuple[str, str]]:
    """Every question and the JSON of its answer, by whoever works."""
    shards = Shards(dealer, places_of(corpus, dealer.workers)) if dealer else None
    yield from answers(corpus, phrases, audits, shards)
    for number, wish in enumerate(WISHES):
        yield f"whole gathering {number}", as_json(gather(corpus, wish, shards=shards))
    with tempfile.TemporaryDirectory() as work:
        who = Exchange(dealer, Path(work)) if dealer else None
        yield "duplicates", data.duplicates_json(find_duplicates(corpus, exchange=who))
        yield "families", data.families_json(find_families(corpus, exchange=who))
        yield "whole audit", data.whole_audit_json(audit_whole(corpus, exchange=who))
        yield "chance", calibration_json(calibrate_chance(corpus, phrases=10, exchange=who))
    yield "holdings", data.holdings_json(holdings(corpus))
    yield "list", data.listing_json(list_tunes(corpus))


class Turned(Corpus):
    """A corpus whose shards are looked at in turned order."""

    def refresh(self) -> None:
        """As in a corpus."""
        self.parts = list(reversed(self.parts))
        super().refresh()


def changed(folder: Path, files: list[Path], count: int) -> None:
    """Shards that come to hold what the one file holds by being changed."""
    half = len(files) // 2
    add_paths(folder / "half.melodex", files[:half])
    split(folder / "half.melodex", folder / "changed", count)
    add_paths(folder / "changed", files[half:])
    remove_from(folder / "changed", source=str(files[0]))
    undo(folder / "changed")


def compared(
    folder: Path, whole: Path, files: list[Path], phrases: int, audits: int
) -> list[dict[str, Any]]:
    """What each number of shards differs in from one file."""
    found: list[dict[str, Any]] = []
    first: dict[str, str] = {}
    ways: list[tuple[str, type[Corpus], Path]] = [("one file", Corpus, whole)]
    two = Processes(2)
    for count in COUNTS:
        split(whole, folder / f"in-{count}", count)
        ways.append((f"{count} shards", Corpus, folder / f"in-{count}"))
    ways.append(("7 shards, turned", Turned, folder / "in-7"))
    ways += [(f"{count} shards{DEALT}", Corpus, folder / f"in-{count}") for count in (2, 7)]
    join(folder / "in-7", folder / "joined.melodex")
    ways.append(("7 shards, joined", Corpus, folder / "joined.melodex"))
    add_paths(folder / "built", files, shards=4)
    ways.append(("4 shards, built", Corpus, folder / "built"))
    changed(folder, files, 3)
    ways.append(("3 shards, changed", Corpus, folder / "changed"))
    for name, kind, path in ways:
        start = time.monotonic()
        dealer = two if name.endswith(DEALT) else None
        with kind.open(path) as corpus:
            told = dict(asked(corpus, phrases, audits, dealer))
            tunes = corpus.tune_count
        first = first or told
        different = [each for each in first if first[each] != told.get(each)]
        row = {"way": name, "tunes": tunes, "answers": len(told), "different": different}
        found.append({**row, "seconds": round(time.monotonic() - start, 1)})
        print(found[-1], flush=True)
    two.close()
    return found


def summary(run: dict[str, Any]) -> str:
    """The run in words."""
    lines = [run["command"], ""]
    for row in run["ways"]:
        lines.append(
            f"{row['way']:18} {row['tunes']:6} tunes, {row['answers']} answers, "
            f"{len(row['different'])} different"
        )
    return "\n".join(lines) + "\n"


def main() -> None:
    """Measure, print, and keep what was asked for."""
    parser = asker(__doc__)
    parser.add_argument("--phrases", type=int, default=200)
    parser.add_argument("--audits", type=int, default=40)
    parser.add_argument("--share", type=int, default=1)
    said = parser.parse_args()
    run = about("music21")
    with tempfile.TemporaryDirectory() as name:
        os.chdir(name)
        whole = Path(name) / "whole.melodex"
        files = written(Path(name), said.share)
        add_paths(whole, files)
        run["ways"] = compared(Path(name), whole, files, said.phrases, said.audits)
    print(summary(run))
    keep(said.keep, {"equality.json": run, "summary.txt": summary(run)})


if __name__ == "__main__":
    main()
