"""Tune families among a hundred thousand tunes: what it costs, and what was planted.

The tunes of music21's ABC files stand as they are; of some of them copies are put beside
them, in another key, with a tenth, a fifth or three tenths of the notes changed, left out
or put in; the rest are synthetic tunes, of which none is meant to be kin to anything. All
are added with ``melodex add``; then ``melodex collection families --all`` runs as a person
runs it, and is watched. Of each copy it is asked whether it stands in one family with the
tune that it was made of; of each synthetic tune whether it stands in any. That two
synthetic tunes are kin by accident is possible, and counted as false.

Run:  python -m benchmarks.retrieval.judged.planted_families FOLDER [--tunes 100000]
          [--copies 3000] [--workers 2] [--keep NAME]
"""

from __future__ import annotations

import json
import random
import resource
import subprocess
import sys
from collections import Counter, defaultdict
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from benchmarks.faults.load import Watched, tune_count
from benchmarks.keeping import about, asker, keep
from benchmarks.material import (
    CHANGED,
    MUSIC21,
    abc_texts,
    mutated,
    real_tunes,
    synthetic_tunes,
)
from melodex.corpus.chunks import TuneNotes
from melodex.melody.tune_id import leading

SEED = 24
TUNES_PER_FILE = 200
LONG_ENOUGH = 40
"""Notes of a tune that copies are made of: of a shorter one a third changed is another."""

UNITS_PER_QUARTER, UNITS_PER_BAR = 4, 16
LETTERS = ["C", "^C", "D", "^D", "E", "F", "^F", "G", "^G", "A", "^A", "B"]
"""From C to B, sharps throughout: the spelling is not looked at here."""

COPY, INVENTED = "Copy", "Invented"
"""How the titles begin of what is no tune of music21's."""


def abc_of(tune: TuneNotes, title: str, number: int) -> str:
    """A tune of pitches and classes of length as ABC, in bars of four quarters."""
    bars, words, room = [], [], UNITS_PER_BAR
    for pitch, class_ in zip(tune.pitch, tune.length_class, strict=True):
        half_octaves = class_ - 256 if class_ > 127 else class_
        units = max(1, min(64, round(UNITS_PER_QUARTER * 2 ** (half_octaves / 2))))
        letter = written(pitch)
        while units:
            here = min(units, room)
            units, room = units - here, room - here
            words.append(f"{letter}{here}{'-' if units else ''}")
            if not room:
                bars.append(" ".join(words))
                words, room = [], UNITS_PER_BAR
    bars.append(" ".join(words))
    lines = "|\n".join("|".join(bars[k : k + 8]) for k in range(0, len(bars), 8))
    return f"X:{number}\nT:{title}\nM:4/4\nL:1/16\nK:C\n{lines}|]\n"


def written(pitch: int) -> str:
    """A MIDI pitch as a note of ABC, where C is 60."""
    octave, class_ = divmod(pitch, 12)
    marks = "'" * (octave - 5) if octave > 5 else "," * (5 - octave)
    accidental = LETTERS[class_]
    return (accidental if accidental.startswith("^") else f"={accidental}") + marks


def copies_of(model: Sequence[TuneNotes], count: int) -> Iterator[tuple[str, TuneNotes]]:
    """Titles and changed copies, each of a tune of its own."""
    dice = random.Random(SEED)
    long = [tune for tune in model if len(tune.pitch) >= LONG_ENOUGH]
    for number, tune in enumerate(dice.sample(long, count)):
        share = CHANGED[number % len(CHANGED)]
        yield (
            f"{COPY} {share} {tune.tune_id}",
            TuneNotes(tune.tune_id, *mutated(tune, share, dice)),
        )


def write_files(folder: Path, tunes: int, copies: int) -> int:
    """Write what music21 has not, in files of many; how many tunes music21 has."""
    model = real_tunes()
    invented = tunes - len(model) - copies
    notes = sum(len(tune.pitch) for tune in model) / len(model)
    drawn = synthetic_tunes(model, int(1.1 * invented * notes), SEED)[:invented]
    random.Random(SEED).shuffle(drawn)
    written = [*copies_of(model, copies)]
    written += [(f"{INVENTED} {number}", tune) for number, tune in enumerate(drawn)]
    folder.mkdir(parents=True)
    for first in range(0, len(written), TUNES_PER_FILE):
        part = enumerate(written[first : first + TUNES_PER_FILE], 1)
        texts = (abc_of(tune, title, number) for number, (title, tune) in part)
        (folder / f"{first:06}.abc").write_text("\n".join(texts), encoding="utf-8")
    return len(model)


def added(corpus: Path, folder: Path) -> dict[str, Any]:
    """Add music21's ABC files and those that were written."""
    sources = sorted({str(MUSIC21 / Path(name).parts[0]) for name, _ in abc_texts()})
    subprocess.run(
        [sys.executable, "-m", "melodex", "--corpus", str(corpus), "add", *sources],
        check=False,  # Other formats in these folders are not all read.
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    return Watched("--corpus", str(corpus), "add", str(folder)).end()


def found(corpus: Path, workers: int) -> tuple[dict[str, Any], dict[str, Any]]:
    """What ``collection families`` says, and what it took."""
    told = corpus.with_suffix(".json")
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    words = ["collection", "families", "--all", "--output", str(told), "--force"]
    if workers > 1:
        words += ["--workers", str(workers)]
    taken = Watched("--corpus", str(corpus), *words).end()
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    used = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    taken["seconds of all processors"] = round(used, 1)
    return json.loads(told.read_text(encoding="utf-8")), taken


def judged(told: dict[str, Any]) -> dict[str, Any]:
    """How many copies stand with their tune, and how many invented tunes with anybody."""
    families = told["families"]
    family_of: dict[str, int] = {}
    of_copy: dict[str, tuple[str, int]] = {}
    kinds: Counter[str] = Counter()
    for number, family in enumerate(families):
        for member in family["members"]:
            tune = member["tune"]
            title = tune["title"]
            kind = title.split()[0] if title.startswith((COPY, INVENTED)) else "music21's"
            kinds[kind] += 1
            family_of[leading(tune["tune_id"])] = number
            if kind == COPY:
                of_copy[title] = leading(title.split()[2]), number
    together: dict[str, int] = defaultdict(int)
    for title, (source, number) in of_copy.items():
        together[title.split()[1]] += family_of.get(source) == number
    return {
        "families": len(families),
        "tunes in families, by kind": dict(kinds),
        "copies that stand with their tune, by the share changed": dict(together),
    }


def main() -> None:
    """Build what is not there yet, look for families, judge."""
    parser = asker(__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--tunes", type=int, default=100_000)
    parser.add_argument("--copies", type=int, default=3_000)
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    corpus, files = asked.folder / "many.melodex", asked.folder / "files"
    figures: dict[str, Any] = about("music21", "numpy", "scipy")
    if not corpus.exists():
        figures["tunes of music21"] = write_files(files, asked.tunes, asked.copies)
        figures["adding what was written"] = added(corpus, files)
    figures["tunes in the corpus"] = tune_count(corpus)
    figures["copies planted, of each share"] = asked.copies // len(CHANGED)
    told, figures["collection families --all"] = found(corpus, asked.workers)
    figures |= judged(told)
    print(json.dumps(figures, indent=1))
    keep(asked.keep, {"planted-families.json": figures})


if __name__ == "__main__":
    main()
