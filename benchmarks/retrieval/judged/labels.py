"""Judge which tunes of music21's ABC collections are kin, and write it down.

Run:  python -m benchmarks.retrieval.judged.labels

What is read: every ABC file in the installed music21's corpus, with melodex's own
reader. Tunes of fewer than :data:`FEWEST_NOTES` notes are left out, and of tunes with
the same steps and the same ratios of lengths all but the first.

A *label family* shares a label: any of the titles of a tune (dance names, articles,
signs and what stands in brackets taken off), or in the Essen collection the number of
the song without the letter of its variant. Labels that name a kind of tune only, or
that more than :data:`MOST_IN_FAMILY` tunes share, are left out.

A *checked family* is what is left of one when kinship is asked of the notes: two
tunes are kin where their best whole alignment (plain costs) has a probability of less
than :data:`KIN_CHANCE` for unrelated tunes as long: points of pairs drawn at random
follow P(s) = 1 - exp(-K m n exp(-lambda s)) (Karlin and Altschul 1990), with lambda and
K from mean and variance of lambda s - ln(m n) over :data:`RANDOM_PAIRS` of them. Tunes
that are kin to none of their label are left out, and so is kinship by words alone,
by bass, by form, and between tunes of different titles. This favours alignment over
other methods; the label families do not, but about half of their pairs share a title
and no music. So both are kept, and a gain is asked for on both.

Half: by hash of the first label of the family; ``tuning`` may be fitted on,
``reporting`` is for the figures.

Contents: labels_of, judged_tunes, label_families, Unrelated, main.
"""

from __future__ import annotations

import hashlib
import json
import math
import re
import unicodedata
from collections import defaultdict
from dataclasses import dataclass
from fractions import Fraction
from itertools import combinations, pairwise
from pathlib import Path
from random import Random
from statistics import mean, stdev
from typing import Any

import music21

from benchmarks.material import MUSIC21
from melodex.corpus.chunks import encode_notes
from melodex.matching.engine.choice import engine
from melodex.matching.query import encode_query
from melodex.melody import Melody, Phrase
from melodex.reading import read_path
from melodex.settings import AlignmentCosts

__all__ = ["JUDGEMENTS", "PLAIN", "JudgedTune", "judged_tunes", "labels_of", "main"]

JUDGEMENTS = Path(__file__).parent / "families.json"
FEWEST_NOTES = 16
MOST_IN_FAMILY = 12
KIN_CHANCE = 1e-3
"""Of a few thousand pairs of one label, a few would pass it by chance."""
RANDOM_PAIRS = 4000
PLAIN = AlignmentCosts((4, 3, 2, 3), (-1, -2, -3, -2), (-2, -3, -4, -3), -4)
"""The first costs, before any fitting; pinned, so that judgements stay as they are."""

KIND_WORDS = """
air allegro andante anglaise aria ballad chorus clog cotillion country dance double duet
fling gavot gavotte giga gigue grand hornpipe jig largo lesson march menuet minuet
moderato new old polka prelude quadrille quick quickstep reel rondo scotch set single
slip slow song step strathspey theme tune untitled variation variations waltz highland
irish german french english favourite favorite medley lied kinderlied kinderreim
wiegenlied ballade tanz walzer laendler marsch polonaise ronde branle no in of the a an
and to for by from second first third part setting version
"""
GENERIC = frozenset(KIND_WORDS.split())
ARTICLES = frozenset({"the", "a", "an", "der", "die", "das", "ein", "eine"})
DANCES = frozenset(
    {"reel", "jig", "hornpipe", "strathspey", "march", "waltz", "polka", "quickstep"}
)
TITLE = re.compile(rb"(?m)^T:[ \t]*(.*)$")
NUMBER = re.compile(rb"(?m)^N:[ \t]*([A-Z]+\d+)[A-Z]?\s*$")


@dataclass(frozen=True, slots=True)
class JudgedTune:
    """A tune, where it stands below music21's corpus folder, and its labels."""

    source: str
    number: str
    melody: Melody
    labels: tuple[str, ...]


def plain_title(title: str) -> str:
    """A title with case, accents, brackets, articles and dance names taken off."""
    text = unicodedata.normalize("NFKD", title.lower())
    text = "".join(c for c in text if not unicodedata.combining(c))
    text = re.sub(r"\(.*?\)|\[.*?\]", " ", text).replace("'", "")
    words = re.findall(r"[a-z0-9]+", text)
    while words and (words[0] in ARTICLES or words[0] == "o"):
        words = words[1:]
    while words and (words[-1] in ARTICLES or words[-1] in DANCES or words[-1].isdigit()):
        words = words[:-1]
    return " ".join(words)


def labels_of(kept: bytes, source: str) -> tuple[str, ...]:
    """Labels of a tune from its ABC text, those that name only a kind left out."""
    titles = [
        plain_title(found.decode("utf-8", "replace")) for found in TITLE.findall(kept)
    ]
    labels = [
        title
        for title in dict.fromkeys(titles)
        if len(title) >= 5 and not all(w in GENERIC or w.isdigit() for w in title.split())
    ]
    numbers = NUMBER.findall(kept) if source.startswith("essenFolksong/") else []
    return (*labels, *(f"essen {number.decode()}" for number in numbers[:1]))


def music_of(melody: Melody) -> tuple[Any, ...]:
    """Steps and ratios of lengths: equal for two tunes whose music is the same."""
    steps = tuple(b - a for a, b in pairwise(melody.midi))
    first = melody.duration_ticks[0] or 1
    return steps, tuple(Fraction(ticks, first) for ticks in melody.duration_ticks)


def judged_tunes() -> list[JudgedTune]:
    """All tunes of the collections, each music once, in the order of the files."""
    found: dict[tuple[Any, ...], JudgedTune] = {}
    for path in sorted(MUSIC21.rglob("*.abc")):
        source = path.relative_to(MUSIC21).as_posix()
        for tune in read_path(path).tunes:
            melody = tune.melody
            if len(melody) >= FEWEST_NOTES:
                labels = labels_of(tune.kept, source)
                found.setdefault(
                    music_of(melody),
                    JudgedTune(source, melody.credits.number, melody, labels),
                )
    return list(found.values())


def label_families(tunes: list[JudgedTune]) -> dict[str, list[int]]:
    """Tunes by label, joined where they share a tune; the first label names them."""
    by_label: dict[str, list[int]] = defaultdict(list)
    for place, tune in enumerate(tunes):
        for label in tune.labels:
            by_label[label].append(place)
    shared = {k: v for k, v in by_label.items() if 2 <= len(v) <= MOST_IN_FAMILY}
    groups = joined(pair for v in shared.values() for pair in pairwise(v))
    names: dict[int, list[str]] = defaultdict(list)
    for label, places in shared.items():
        names[places[0]].append(label)
    return {
        min(label for place in group for label in names[place]): group
        for group in groups
        if len(group) <= MOST_IN_FAMILY
    }


def joined(pairs: Any) -> list[list[int]]:
    """Connected groups of what pairs hold together."""
    root: dict[int, int] = {}

    def top(item: int) -> int:
        while root.setdefault(item, item) != item:
            item = root[item]
        return item

    for one, other in pairs:
        root[max(top(one), top(other))] = min(top(one), top(other))
    groups: dict[int, list[int]] = defaultdict(list)
    for item in sorted(root):
        groups[top(item)].append(item)
    return list(groups.values())


@dataclass(frozen=True, slots=True)
class Unrelated:
    """What chance brings two whole tunes: lambda, and the logarithm of K."""

    decay: float
    log_size: float

    @classmethod
    def measured(cls, tunes: list[JudgedTune]) -> Unrelated:
        """From pairs drawn at random, by moments."""
        dice = Random(1)
        pairs = [dice.sample(range(len(tunes)), 2) for _ in range(RANDOM_PAIRS)]
        found = [
            (points_of(tunes[i], tunes[j]), room_of(tunes[i], tunes[j])) for i, j in pairs
        ]
        decay = 0.25
        for _ in range(20):
            rest = [points - room / decay for points, room in found]
            decay = math.pi / math.sqrt(6) / stdev(rest)
        # A Gumbel distribution has its mean at its mode plus Euler's constant.
        return cls(decay, decay * mean(rest) - 0.5772156649)

    def chance(self, one: JudgedTune, other: JudgedTune) -> float:
        """Probability that unrelated tunes as long have as many points."""
        expected = self.log_size + room_of(one, other) - self.decay * points_of(one, other)
        return -math.expm1(-math.exp(min(expected, 30.0)))


def points_of(one: JudgedTune, other: JudgedTune) -> int:
    """Points of the best alignment of two whole tunes."""
    query = encode_query(Phrase(one.melody, "passage"))
    return engine().best([encode_notes(other.melody)], query, PLAIN)[0][0]


def room_of(one: JudgedTune, other: JudgedTune) -> float:
    """Logarithm of the number of pairs of notes."""
    return math.log(len(one.melody) * len(other.melody))


def kin_within(
    group: list[int], tunes: list[JudgedTune], unrelated: Unrelated
) -> list[list[int]]:
    """The groups of kin in a label family."""
    return joined(
        (i, j)
        for i, j in combinations(group, 2)
        if unrelated.chance(tunes[i], tunes[j]) < KIN_CHANCE
    )


def half_of(label: str) -> str:
    """The half that a label belongs to."""
    return "tuning" if hashlib.sha256(label.encode()).digest()[0] % 2 else "reporting"


def kind_of(sources: list[str]) -> str:
    """``essen``, ``folk`` (any other), or ``mixed``."""
    essen = [source.startswith("essenFolksong/") for source in sources]
    return "essen" if all(essen) else "mixed" if any(essen) else "folk"


def main() -> None:
    """Judge, and write the judgements."""
    from benchmarks.retrieval.corpus import judged_corpus

    tunes, _ = judged_corpus()
    unrelated = Unrelated.measured(tunes)
    families = []
    for label, group in sorted(label_families(tunes).items()):
        places = {i: [tunes[i].source, tunes[i].number] for i in group}
        families.append(
            {
                "half": half_of(label),
                "kind": kind_of([tunes[i].source for i in group]),
                "tunes": list(places.values()),
                "checked": [
                    [group.index(i) for i in kin]
                    for kin in kin_within(group, tunes, unrelated)
                ],
            }
        )
    data = {
        "made_by": "benchmarks/retrieval/judged/labels.py",
        "corpus": f"ABC files of music21 {music21.__version__}",
        "tunes": len(tunes),
        "kin_chance": KIN_CHANCE,
        "note": "tunes: source below music21's corpus folder, X: number; "
        "checked: groups of indexes into tunes whose kinship the notes confirm",
        "families": families,
    }
    lines = json.dumps(data, ensure_ascii=False).replace('{"half"', '\n{"half"')
    JUDGEMENTS.write_text(lines + "\n", encoding="utf-8")
    checked = sum(len(family["checked"]) for family in families)
    asked = sum(len(g) * (len(g) - 1) // 2 for g in (f["tunes"] for f in families))
    print(f"{asked} pairs of one label")
    print(f"lambda {unrelated.decay:.4f}, ln K {unrelated.log_size:.3f}")
    print(f"{len(tunes)} tunes, {len(families)} label families, {checked} checked")


if __name__ == "__main__":
    main()
