"""Corpora for the speed benchmark: real tunes, and synthetic ones by the million.

Synthetic melodies are drawn from an order-2 Markov model of (interval, length
class) over the real tunes: a place in the real corpus with the same last two steps
is drawn, and the step that follows it there is taken. Into them are planted
mutated copies of some of them, so that there is something to find. All from a
seed.

Contents: real_tunes, synthetic_tunes, scattered, planted, packed, queries_from,
write_corpus.
"""

from __future__ import annotations

import hashlib
import json
import random
from dataclasses import replace
from pathlib import Path

import music21
import numpy as np

from melodex.corpus.chunks import (
    TUNES_PER_CHUNK,
    PackedChunk,
    TuneNotes,
    encode_notes,
)
from melodex.corpus.packing import pack
from melodex.matching.query import EncodedQuery
from melodex.melody import Bar, Credits, Melody
from melodex.reading.abc.reader import read_abc
from melodex.reading.decoding import decode

MUSIC21 = Path(music21.__file__).parent / "corpus"
"""The tunes that music21 installs; they are read where they are and never copied."""

LOWEST, HIGHEST = 48, 88
COPIES = 8
CHANGED = (0.1, 0.2, 0.3)


def abc_texts() -> list[tuple[str, str]]:
    """Every ABC file of the installed music21: name and text."""
    return [
        (path.relative_to(MUSIC21).as_posix(), decode(path.read_bytes()))
        for path in sorted(MUSIC21.rglob("*.abc"))
    ]


def real_tunes() -> list[TuneNotes]:
    """The tunes of music21's ABC collections, each once."""
    found: dict[str, TuneNotes] = {}
    for name, text in abc_texts():
        for tune in read_abc(text, name).tunes:
            if len(tune.melody):
                tune_id = tune.melody.content_id()
                found[tune_id] = TuneNotes(tune_id, *encode_notes(tune.melody))
    return list(found.values())


def synthetic_tunes(model: list[TuneNotes], notes: int, seed: int) -> list[TuneNotes]:
    """About so many notes in tunes as long as real ones, from the Markov model."""
    dice = np.random.default_rng(seed)
    steps, classes = steps_of(model)
    tokens = (steps.astype(np.int64) + 128) * 256 + (classes.astype(np.int64) + 128)
    pairs = tokens[:-1] * 65536 + tokens[1:]
    _, context = np.unique(pairs, return_inverse=True)
    by_context = np.argsort(context, kind="stable")
    starts = np.searchsorted(context[by_context], np.arange(context.max() + 2))
    lengths = np.asarray([len(tune.pitch) for tune in model])
    lengths = lengths[(lengths >= 12) & (lengths <= 600)]
    wanted = dice.choice(lengths, size=int(notes / lengths.mean()))
    wanted = -np.sort(-wanted)
    place = dice.integers(0, len(pairs) - 2, size=len(wanted))
    pitch = dice.integers(60, 76, size=len(wanted))
    rows = np.zeros((2, int(wanted[0]), len(wanted)), np.uint8)
    for row in range(int(wanted[0])):
        alive = int(np.searchsorted(-wanted, -row))
        place, pitch = place[:alive], pitch[:alive]
        pitch = pitch + steps[place + 1]
        pitch = np.where(pitch > HIGHEST, pitch - 12, pitch)
        pitch = np.where(pitch < LOWEST, pitch + 12, pitch)
        pitch = np.clip(pitch, LOWEST, HIGHEST)
        rows[0, row, :alive] = pitch
        rows[1, row, :alive] = classes[place + 1].astype(np.uint8)
        # The next place: any with the context that the step just taken leads to.
        here = context[np.minimum(place + 1, len(context) - 1)]
        spread = starts[here + 1] - starts[here]
        place = by_context[starts[here] + (dice.random(alive) * spread).astype(np.int64)]
        place = np.minimum(place, len(steps) - 3)
    ids = dice.permutation(2**24)[: len(wanted)]
    return [
        TuneNotes(
            f"{int(ids[n]) * 7919 + 1:012x}0000",
            rows[0, : wanted[n], n].tobytes(),
            rows[1, : wanted[n], n].tobytes(),
        )
        for n in range(len(wanted))
    ]


def scattered(tunes: list[TuneNotes]) -> list[TuneNotes]:
    """The same with ids over the whole range, as digests are: shards are ranges of ids."""
    return [
        replace(tune, tune_id=hashlib.sha256(tune.tune_id.encode("ascii")).hexdigest()[:16])
        for tune in tunes
    ]


def steps_of(model: list[TuneNotes]) -> tuple[np.ndarray, np.ndarray]:
    """Intervals and length classes of all real tunes, one after the other."""
    steps, classes = [], []
    for tune in model:
        pitch = np.frombuffer(tune.pitch, np.uint8).astype(np.int16)
        steps.append(np.clip(np.diff(pitch, prepend=pitch[0]), -24, 24))
        classes.append(np.frombuffer(tune.length_class, np.int8))
    return np.concatenate(steps).astype(np.int16), np.concatenate(classes)


def planted(tunes: list[TuneNotes], chosen: list[TuneNotes], seed: int) -> list[TuneNotes]:
    """The tunes, and mutated copies of the chosen ones in other keys in some of them."""
    dice = random.Random(seed)
    found = list(tunes)
    for tune in chosen:
        for copy in range(COPIES):
            at = dice.randrange(len(found))
            pitch, classes = mutated(tune, CHANGED[copy % len(CHANGED)], dice)
            host = found[at]
            found[at] = replace(
                host,
                pitch=host.pitch[:20] + pitch + host.pitch[20:],
                length_class=host.length_class[:20] + classes + host.length_class[20:],
            )
    return found


def mutated(tune: TuneNotes, share: float, dice: random.Random) -> tuple[bytes, bytes]:
    """A copy with notes changed, left out and put in, in another key."""
    move = dice.randint(-7, 7)
    pitches, classes = [], []
    for pitch, class_ in zip(tune.pitch, tune.length_class, strict=True):
        kind = dice.random() / share
        if kind < 0.25:
            continue
        change = dice.choice([-2, -1, 1, 2]) if kind < 0.75 else 0
        pitches.append(min(max(pitch + move + change, 0), 127))
        classes.append(class_)
        if 0.75 <= kind < 1:
            pitches.append(min(max(pitch + move + 1, 0), 127))
            classes.append(class_)
    return bytes(pitches), bytes(classes)


def packed(tunes: list[TuneNotes]) -> list[PackedChunk]:
    """Chunks as a corpus has them."""
    return [
        replace(pack(tunes[first : first + TUNES_PER_CHUNK]), number=number)
        for number, first in enumerate(range(0, len(tunes), TUNES_PER_CHUNK))
    ]


def queries_from(tunes: list[TuneNotes], notes: int, seed: int) -> list[EncodedQuery]:
    """A phrase of so many notes from each tune, in another key."""
    dice = random.Random(seed)
    found = []
    for tune in tunes:
        first = dice.randrange(len(tune.pitch) - notes + 1)
        part = slice(first, first + notes)
        move = dice.randint(-5, 5)
        pitch = bytes(min(max(p + move, 0), 127) for p in tune.pitch[part])
        found.append(EncodedQuery(pitch, tune.length_class[part]))
    return found


def melody_json(tune: TuneNotes) -> tuple[Melody, str]:
    """A synthetic tune as a corpus keeps it: quarters of 10,080 ticks, bars of four."""
    classes = [c - 256 if c > 127 else c for c in tune.length_class]
    durations = [
        max(round(10080 * 2 ** (c / 2)), 315) if c > -100 else 315 for c in classes
    ]
    onsets, onset = [], 0
    for duration in durations:
        onsets.append(onset)
        onset += duration
    count, bar = len(durations), 4 * 10080
    melody = Melody(
        midi=tuple(tune.pitch),
        fifths=tuple((7 * p + 5) % 12 - 5 for p in tune.pitch),
        onset_ticks=tuple(onsets),
        duration_ticks=tuple(durations),
        bar=tuple(1 + o // bar for o in onsets),
        beat_strength=(0.5,) * count,
        phrase=(0,) * count,
        bars=tuple(Bar(1 + k, k * bar, bar) for k in range(onset // bar + 1)),
        credits=Credits(title=f"Synthetic {tune.tune_id}"),
    )
    return melody, json.dumps(melody.to_dict(), separators=(",", ":"))


def write_corpus(path: Path, tunes: list[TuneNotes]) -> None:
    """A corpus file with synthetic tunes: rows of tunes and packed chunks, no facets."""
    from melodex.corpus.rows import tune_columns
    from melodex.corpus.writing.rows.packing import ChunkTable
    from melodex.corpus.writing.store import CorpusWriter

    with CorpusWriter.open(path) as writer:
        connection = writer.first.connection
        chunks = ChunkTable(connection)
        with writer.transaction():
            for tune in tunes:
                melody, text = melody_json(tune)
                row = {**tune_columns(melody), "tune_id": tune.tune_id, "melody": text}
                row.setdefault("facet_crc32", 0)
                connection.execute(
                    f"INSERT INTO tune ({', '.join(row)}) "
                    f"VALUES ({', '.join('?' * len(row))})",
                    list(row.values()),
                )
                chunks.add(tune)
            chunks.flush()
