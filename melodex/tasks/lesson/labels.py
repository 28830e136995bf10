"""What is said of a passage in a teaching set: degrees, numerals, keys, finds.

Conventions: labels are those that ``describe`` gives to the whole tune, cut to the
passage: a passage of four bars alone would often seem to be in another key. They are
kept with the passage, so that it can be printed when its tune is gone.

Contents: KeyLabel, FindLabel, Topic, Labels, labels_of, labels_text, read_labels,
excerpt_digest, with_line_named.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from melodex.analysis.degrees import degrees
from melodex.analysis.keys import KeySpan
from melodex.melody import Key, Melody
from melodex.tasks.describe.describe import describe
from melodex.tasks.passage import Passage

__all__ = [
    "FindLabel",
    "KeyLabel",
    "Labels",
    "Topic",
    "excerpt_digest",
    "labels_of",
    "labels_text",
    "read_labels",
    "with_line_named",
]


@dataclass(frozen=True, slots=True)
class KeyLabel:
    """A key that holds from a place in the passage on.

    ``how`` says how it is reached; ``printed`` whether the source prints another key
    there.
    """

    onset_ticks: int
    bar: int
    tonic_fifths: int
    mode: str
    how: str
    printed: bool

    @property
    def key(self) -> Key:
        """Tonic and mode together."""
        return Key(self.tonic_fifths, self.mode)


@dataclass(frozen=True, slots=True)
class FindLabel:
    """Something worth telling that lies in the passage."""

    kind: str
    first_bar: int
    last_bar: int
    sentence: str


@dataclass(frozen=True, slots=True)
class Topic:
    """What a passage was gathered for, so that questions can be about it.

    Parameters
    ----------
    kind : str
        Name of the wish, such as ``note_on_chord``.
    asked : str
        What was wished for, such as ``b9 on V``.
    spans : tuple of (int, int)
        First and last bar of each place where it stands.
    """

    kind: str
    asked: str
    spans: tuple[tuple[int, int], ...]

    @property
    def words(self) -> str:
        """The wish in words."""
        return ": ".join(part for part in (self.kind.replace("_", " "), self.asked) if part)

    @property
    def heading(self) -> str:
        """The same as the topic of a set, the case of numerals kept."""
        return self.words[:1].upper() + self.words[1:]


@dataclass(frozen=True, slots=True)
class Labels:
    """What is said of a passage of n notes.

    Parameters
    ----------
    degrees : tuple of (int or None), of shape (n,)
        Fifths from the tonic that holds; None without a key.
    numerals : tuple of str
        One for each chord symbol of the passage; empty where none can be said.
    keys : tuple of KeyLabel
        The first holds at the first note.
    finds : tuple of FindLabel
        Those that lie in the passage whole.
    certainty : float
        Of the least sure of its keys, 0 to 1.
    topic : Topic or None
        What the passage was gathered for.
    """

    degrees: tuple[int | None, ...]
    numerals: tuple[str, ...]
    keys: tuple[KeyLabel, ...] = ()
    finds: tuple[FindLabel, ...] = ()
    certainty: float = 0.0
    topic: Topic | None = None


def labels_of(whole: Melody, first_note: int, last_note: int) -> Labels:
    """Return what ``describe`` says of some notes of a tune.

    Parameters
    ----------
    whole : Melody
        The tune.
    first_note, last_note : int
        Indexes from 0, both included.
    """
    told = describe(Passage(whole, whole, 0, "", False))
    excerpt = whole.excerpt(first_note, last_note)
    named = {
        symbol: placed.numeral.text
        for symbol, placed in zip(whole.chords, told.analysis.harmony.chords, strict=True)
    }
    spans = touching(told.analysis.spans, excerpt)
    bars = excerpt.bar[0], excerpt.bar[-1]
    return Labels(
        degrees=degrees(excerpt, told.analysis.spans or None),
        numerals=tuple(named[symbol] for symbol in excerpt.chords),
        keys=tuple(key_label(span, whole, excerpt) for span in spans),
        finds=tuple(
            FindLabel(find.kind, find.first_bar, find.last_bar, find.sentence)
            for find in told.finds
            if bars[0] <= find.first_bar and find.last_bar <= bars[1]
        ),
        certainty=min((round(span.certainty, 6) for span in spans), default=0.0),
    )


def touching(spans: tuple[KeySpan, ...], excerpt: Melody) -> list[KeySpan]:
    """The spans in which a note of a passage starts."""
    starts = excerpt.onset_ticks
    inside = [s for s in spans if any(s.onset_ticks <= o < s.end_ticks for o in starts)]
    return inside or list(spans[:1])


def key_label(span: KeySpan, whole: Melody, excerpt: Melody) -> KeyLabel:
    """A span as the passage sees it."""
    start = excerpt.onset_ticks[0]
    inside = span.onset_ticks > start
    return KeyLabel(
        onset_ticks=max(span.onset_ticks, start),
        bar=span.first_bar if inside else excerpt.bar[0],
        tonic_fifths=span.tonic_fifths,
        mode=span.mode,
        how=span.how if inside else "start",
        printed=any(change.onset_ticks == span.onset_ticks for change in whole.keys),
    )


def with_line_named(excerpt: Melody) -> Melody:
    """A passage whose credits say which line of its piece it is of, if of several.

    So a set says it, and a packed one takes it along.
    """
    return excerpt.with_credits(part=excerpt.line.words) if excerpt.line.words else excerpt


def excerpt_digest(excerpt: Melody) -> str:
    """Return the SHA-256 of the notes of a passage, wherever it stands in its tune.

    Pitch, spelling, and time from the first note count; bars, chords and title do not.
    """
    start = excerpt.onset_ticks[0] if len(excerpt) else 0
    notes = [
        list(excerpt.midi),
        list(excerpt.fifths),
        [onset - start for onset in excerpt.onset_ticks],
        list(excerpt.duration_ticks),
    ]
    return hashlib.sha256(json.dumps(notes, separators=(",", ":")).encode()).hexdigest()


def labels_text(labels: Labels) -> str:
    """Return labels as JSON that :func:`read_labels` reads back."""
    data = asdict(labels)
    if labels.topic is None:
        del data["topic"]
    return json.dumps(data, sort_keys=True, separators=(",", ":"))


def read_labels(data: Mapping[str, Any]) -> Labels:
    """Rebuild labels from their JSON.

    Raises
    ------
    KeyError, TypeError
        If the data is not what :func:`labels_text` makes.
    """
    return Labels(
        degrees=tuple(data["degrees"]),
        numerals=tuple(data["numerals"]),
        keys=tuple(KeyLabel(**each) for each in data["keys"]),
        finds=tuple(FindLabel(**each) for each in data["finds"]),
        certainty=data["certainty"],
        topic=read_topic(data.get("topic")),
    )


def read_topic(data: Mapping[str, Any] | None) -> Topic | None:
    """What a passage was gathered for, as far as it is known."""
    if data is None:
        return None
    spans = tuple((first, last) for first, last in data["spans"])
    return Topic(data["kind"], data["asked"], spans)
