"""What fuzzing starts from: real files of each kind, the signs that matter in them.

Tunes are those of the demo corpus and, from the collections that music21 installs,
some of Aird, O'Neill and Ryan; sheets those of its corpus that are small; MIDI files
and sets are written by melodex from the demo corpus. Nothing is copied: they are read
where they lie.

Contents: demo_corpus, seeds, SIGNS.
"""

from __future__ import annotations

import io
import json
import random
import re
import zipfile
from pathlib import Path
from urllib.parse import urlencode

from benchmarks.keeping import ROOT
from benchmarks.material import MUSIC21
from melodex.corpus.reader import Corpus
from melodex.melody import Melody
from melodex.presentation.lesson.pack import packed_set
from melodex.presentation.notation.midi import midi_bytes
from melodex.presentation.notation.musicxml.document import musicxml_text
from melodex.tasks.adding.add import add_paths
from melodex.tasks.lesson.keeping import found_by_hand, keep
from melodex.tasks.lesson.sets import open_lesson

__all__ = ["SIGNS", "demo_corpus", "seeds"]

DEMO = ROOT / "corpus_demo"
COLLECTIONS = ("airdsAirs", "oneills1850", "ryansMammoth")
TUNES_OF_EACH = 40
LARGEST_SHEET = 60_000
"""Bytes; a larger one is changed too seldom in a minute."""

SIGNS: dict[str, list[bytes]] = {
    "abc": [
        *b"X: T: K: M: L: Q: V: P: w: W: U: I: m: r: s: +: K:Fm M:6/8 L:1/16".split(),
        *b"[K:D] [M:3/4] [V:2] |: :| :: |] || |1 [2 ( ) (3 (5:4:3 (9:9:9 { } {/".split(),
        *b"[CEG] !trill! +CEG+ ^^ __ = _ ^ , ' / // 3/2 > >>> < - ~ . & \\ %%".split(),
        *b"%%begintext %%endtext Z99 z x y %%abc-charset %%melodex-voice Q:1/4=120".split(),
        *(b"\n", b"\n\n", b"\r\n", b"\xef\xbb\xbf", b"\xff\xfe", b"\x00", b'"Am"', b'"^x"'),
        *(b"99999999999", b"%%propagate-accidentals"),
    ],
    "musicxml": (
        b"<note> </note> <chord/> <grace/> <cue/> <rest/> <pitch> <step>C</step> "
        b"<octave>4</octave> <alter>-1</alter> <alter>0.5</alter> <duration>1</duration> "
        b"<backup> <forward> <divisions>0</divisions> <divisions>10080</divisions> "
        b"<beats>7</beats> <beat-type>3</beat-type> <fifths>-7</fifths> <senza-misura/> "
        b"<transpose><chromatic>-2</chromatic></transpose> <harmony> <measure> </measure> "
        b"<part> </part> <tie/> <repeat/> <ending/> <time-modification> <!DOCTYPE <!ENTITY "
        b"<![CDATA[ ]]> <!-- --> <?xml &amp; &#0; &x; -1 0 1e9 99999999999 NaN"
    ).split(),
    "midi": [
        *(b"MThd\x00\x00\x00\x06", b"MTrk", b"\x00\xff\x2f\x00", b"\xff\x51\x03"),
        *(b"\xff\x58\x04", b"\xff\x59\x02", b"\xff\xff\xff\x7f", b"\xf0", b"\xf7"),
        *(b"\x90\x3c\x40", b"\x80\x3c\x40", bytes(4), b"\x7f\xff", b"\xff\xff"),
    ],
    "phrase": (
        b"1 5 b3 #4 1' 7, 5*2 5*1/3 +2 -4 + - 0 | K:F c3 d f2 e2 X:1 M:3/4 L:1/8 ^ _ = "
        b"bb7 ##1 '''' ,,,, *0 *999999999 -999 (3 [CEG]"
    ).split(),
    "set": [b'"', b"null", b"true", b"-1", b"1e999", b"99999999999999999999", b"[]", b"{}"],
    "web": (
        b"GET POST HEAD / /find /tune /beside /inside /own /gather /sets /set /shelf ? & = "
        b"phrase= tune= bars= name= limit= form=json %00 %ff %F0%9F%8E%B5 ../ <script> ' "
        b"999999999999999999999 -1 1-4 4-1 host cookie content-type origin ;"
    ).split(),
}
SIGNS["mxl"] = [*SIGNS["musicxml"], b"PK\x03\x04", b"PK\x01\x02", b"PK\x05\x06", b"../"]
"""Pieces that a change puts in, by kind of input."""

PHRASES = (
    *("5 1 2 b3 2 1", "5 1' 2' b3' 2' 1'", "3 5 3 1 3 1 4 6 4 3", "5*2 1*1/2 2 3"),
    *("+2 +2 -4 0", "+ + - 0 +", "K:F c3 d | f2 e2", "C D E F G A B c", "b3 b2 b3"),
    *("X:1\nM:3/4\nK:Gm\nG2 A B2 c d3", "7 b6 5 4"),
)


def demo_corpus(folder: Path) -> Path:
    """The demo corpus with one teaching set in it, made in a folder."""
    path = folder / "fen.melodex"
    add_paths(path, [DEMO])
    with Corpus.open(path) as corpus:
        found = [
            found_by_hand(corpus, "Fog over the Basin", bars="3-6", reason="minor iv"),
            found_by_hand(corpus, "Rope and Pulley", bars="9-12"),
            found_by_hand(corpus, "Cut and Carry", bars="1-4"),
        ]
    keep(path, "Three", found, create=True)
    return path


def seeds(kind: str, corpus: Path) -> list[bytes]:
    """Real inputs of a kind.

    Parameters
    ----------
    kind : str
        A key of :data:`SIGNS`.
    corpus : Path
        From :func:`demo_corpus`.
    """
    if kind == "abc":
        return tunes()
    if kind in {"musicxml", "mxl"}:
        return sheets(corpus)
    if kind == "midi":
        return [midi_bytes([melody]) for melody in melodies(corpus)[::3]]
    if kind == "phrase":
        return [phrase.encode() for phrase in PHRASES]
    if kind == "set":
        return [set_text(corpus)]
    return requests(corpus)


def melodies(corpus: Path) -> list[Melody]:
    """Every tune of a corpus."""
    with Corpus.open(corpus) as opened:
        return list(opened.melodies(row.tune_id for row in opened.tunes()).values())


def tunes() -> list[bytes]:
    """ABC tunes one by one, and a file of the demo."""
    found = [path.read_bytes() for path in sorted(DEMO.rglob("*.abc"))[-1:]]
    draw = random.Random(3)
    for name in COLLECTIONS:
        texts = [path.read_bytes() for path in sorted((MUSIC21 / name).glob("*.abc"))]
        each = [t for text in texts for t in re.split(rb"\n\s*\n", text) if t[:2] == b"X:"]
        found += draw.sample(each, min(TUNES_OF_EACH, len(each)))
    return found


def sheets(corpus: Path) -> list[bytes]:
    """Small sheets of MusicXML, unpacked."""
    found = [musicxml_text(melody).encode() for melody in melodies(corpus)[::6]]
    for path in sorted(MUSIC21.rglob("*.mxl"))[::12]:
        with zipfile.ZipFile(path) as package:
            names = [n for n in package.namelist() if not n.startswith("META-INF")]
            text = package.read(names[0])
        if len(text) < LARGEST_SHEET:
            found.append(text)
    return found


def set_text(corpus: Path) -> bytes:
    """The description inside a teaching set of three passages."""
    with Corpus.open(corpus) as opened:
        packed = packed_set(open_lesson(opened, "Three"))
    with zipfile.ZipFile(io.BytesIO(packed)) as package:
        return json.dumps(json.loads(package.read("set.json"))).encode()


def requests(corpus: Path) -> list[bytes]:
    """Requests as pages of the workbench send them: a first line, fields beneath."""
    eel = {"tune": "The Eel Trap", "bars": "1-4"}
    asked: list[tuple[str, str, dict[str, str]]] = [
        ("GET", "/", {}),
        ("GET", "/find", {"phrase": "3 5 3 1 3 1 4 6", "limit": "3", "form": "json"}),
        ("GET", "/find", {"phrase": "3 5 3 1 3 1 4 6", "as": "degrees", "tonic": "F"}),
        ("GET", "/find/narrow", {"phrase": "3 5 3 1"}),
        ("GET", "/find/stave", {"phrase": "3 5 3 1 3", "mode": "minor", "clef": "bass"}),
        ("GET", "/find/match", {"phrase": "3 5 3 1 3 1 4 6", "rank": "1"}),
        ("GET", "/tunes", {"title": "the", "tag": "", "collection": "fen", "from": "0"}),
        ("GET", "/tune", eel),
        ("GET", "/hand", eel),
        ("GET", "/beside", {"a": "The Eel Trap", "b": "Marl Pit Hornpipe", "bars": "1-4"}),
        ("GET", "/inside", {**eel, "form": "json"}),
        ("GET", "/own", {"tune": "The Eel Trap", "threshold": "0.01", "except": "x"}),
        ("GET", "/own/finding", {"tune": "The Eel Trap", "position": "1"}),
        ("GET", "/gather", {"progression": "ii V I", "mode": "minor", "limit": "3"}),
        ("GET", "/gather", {"note-on-chord": "7 on iv", "metre": "4/4", "key": "C"}),
        ("GET", "/gather/left", {"section-length": "8"}),
        ("GET", "/gather/passage", eel),
        ("GET", "/sets", {}),
        ("GET", "/set", {"name": "Three"}),
        ("GET", "/set/passage", {"name": "Three", "position": "1"}),
        ("GET", "/set/order", {"name": "Three"}),
        ("GET", "/set/sheet", {"name": "Three", "sheet": "worksheet", "form": "html"}),
        ("GET", "/set/file", {"name": "Three"}),
        ("GET", "/shelf", {}),
        ("GET", "/shelf/copy", {}),
        ("GET", "/work", {"id": "x"}),
        ("GET", "/work/news", {"id": "x"}),
        ("GET", "/static/x/bench.js", {}),
        ("POST", "/keep", {**eel, "source": "tune", "into": "Two"}),
        ("POST", "/sets/new", {"name": "New", "topic": "t", "level": "l"}),
        ("POST", "/set/change", {"name": "Two", "mark": "y", "do": "note 1", "note": "n"}),
        ("POST", "/shelf/tag", {"tune": "The Eel Trap", "word": "w", "off": ""}),
        ("POST", "/shelf/remove", {"tune": "Nobody's Tune", "sure": "yes"}),
        ("POST", "/shelf/check", {}),
        ("POST", "/work/stop", {"id": "x"}),
        ("POST", "/enter", {"pass": "x", "to": "/"}),
    ]
    with Corpus.open(corpus) as opened:
        title = opened.tunes()[0].title
    asked.append(("GET", "/tune", {"tune": title, "form": "midi"}))
    return [f"{m} {path}\n{urlencode(f)}".encode() for m, path, f in asked]
