"""Scores that cost, written byte by byte: archives, Humdrum, MIDI, and what is no notation.

As :mod:`benchmarks.faults.built.scores`, of which this is the other half.

Contents: MAKERS.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable
from random import Random

from benchmarks.faults.built.broken import LONGEST, length, size
from benchmarks.faults.built.scores import few, pitched

__all__ = ["MAKERS"]


# Archives by hand: what a library that writes them would not do


def built_archive(draw: Random) -> bytes:
    """Entries that share their bytes, lie about their sizes, or have names of harm."""
    sheet = (
        "<score-partwise><part-list><score-part id='P'/></part-list><part id='P'><measure>"
        + pitched(draw) * 8
        + "</measure></part></score-partwise>"
    ).encode()
    if draw.random() < 0.2:
        sheet = sheet.replace(b"</part>", b" " * size(draw, 30_000_000) + b"</part>")
    name = draw.choice(
        (
            b"s.xml",
            b"s.xml",
            b"../s.xml",
            b"a\\s.xml",
            b"s\0.xml",
            b"\xff.xml",
            b"x" * few(draw, 60_000),
            b"/dev/zero",
            b"S.musicxml",
        )
    )
    root = (
        b"<container><rootfiles>"
        + b"".join(
            b"<rootfile full-path='"
            + draw.choice((name, b"s.xml", b"t.xml")).replace(b"\0", b"")
            + b"'/>"
            for _ in range(few(draw, 3000))
        )
        + b"</rootfiles></container>"
    )
    out, directory, count = bytearray(), bytearray(), 0
    entries = [(b"META-INF/container.xml", root), (name, sheet)]
    entries += [entries[-1]] * draw.choice((0, 0, 0, few(draw, 2000)))
    at = 0
    for entry, body in entries:
        packer = zlib.compressobj(9, zlib.DEFLATED, -15)
        packed = packer.compress(body) + packer.flush()
        flags = draw.choice((0,) * 20 + (1, 8, 0x800, 0x41))
        method = draw.choice((8,) * 20 + (0, 9, 97))
        said = draw.choice((len(body), len(body), len(body), 0, 7, 0xFFFFFFFF))
        rest = (flags, method, 0, 33, zlib.crc32(body), len(packed), said, len(entry))
        if len(out) < 3_000_000 and (count < 2 or draw.random() < 0.5):
            at = len(out)
            out += struct.pack("<4sHHHHHIIIHH", b"PK\3\4", 20, *rest, 0) + entry + packed
        directory += (
            struct.pack("<4sHHHHHHIIIHHHHHII", b"PK\1\2", 20, 20, *rest, 0, 0, 0, 0, 0, at)
            + entry
        )
        count += 1
    comment = draw.choice((b"", b"", b"PK\5\6" + bytes(18), b"c" * few(draw, 60_000)))
    said = draw.choice((count, count, count, 0, 65535))
    start = draw.choice((len(out), len(out), len(out), 0, 0xFFFFFFFF))
    end = struct.pack(
        "<4sHHHHIIH", b"PK\5\6", 0, 0, said, said, len(directory), start, len(comment)
    )
    return bytes(out + directory + end + comment)


# Humdrum


def scored_kern(draw: Random) -> bytes:
    """Spines by the hundred that part, change places and are played in an order."""
    spines = few(draw, 300)
    kinds = [
        "**kern"
        if n == 0 or draw.random() < 0.8
        else draw.choice(("**text", "**dynam", "**mxhm", "**silbe"))
        for n in range(spines)
    ]
    labels = "ABCDEFGH"
    order = ",".join(draw.choice(labels) for _ in range(few(draw, 4000)))
    lines = ["\t".join(kinds), "\t".join([f"*>[{order}]"] * spines)]
    now = list(kinds)
    for n in range(size(draw, 40_000) // spines + 2):
        kind = draw.random()
        if kind < 0.04 and len(now) < 600:
            at = draw.randrange(len(now))
            lines.append("\t".join("*^" if i == at else "*" for i in range(len(now))))
            now.insert(at, now[at])
        elif kind < 0.07 and len(now) > 1:
            at = draw.randrange(len(now) - 1)
            if now[at] == now[at + 1]:
                lines.append(
                    "\t".join("*v" if i in {at, at + 1} else "*" for i in range(len(now)))
                )
                del now[at]
        elif kind < 0.09 and len(now) > 1:
            at = draw.randrange(len(now) - 1)
            lines.append(
                "\t".join("*x" if i in {at, at + 1} else "*" for i in range(len(now)))
            )
            now[at], now[at + 1] = now[at + 1], now[at]
        elif kind < 0.2:
            word = draw.choice(
                (
                    f"={n}",
                    f"*>{draw.choice(labels)}",
                    "*k[f#c#]",
                    "*M7/8",
                    "*rscale:1/3",
                    "*tuplet",
                    "*Xtuplet",
                    "=||",
                    "*8va",
                    "*ITrd-1c-2",
                )
            )
            lines.append("\t".join([word] * len(now)))
        else:
            row = [
                draw.choice(
                    (
                        "4c",
                        "8ee-",
                        ".",
                        "[2g",
                        "4_g",
                        "4g]",
                        "6a",
                        "28b",
                        "r4",
                        "4c 4e 4g 4b-",
                        "qc",
                        "20%3d",
                    )
                )
                if k == "**kern"
                else draw.choice(("la", ".", "p", "-"))
                for k in now
            ]
            lines.append("\t".join(row))
    lines.append("\t".join(["*-"] * len(now)))
    return ("\n".join(lines) + "\n").encode()[: 2 * LONGEST]


# MIDI


def scored_midi(draw: Random) -> bytes:
    """Notes on top of each other, notes that never end, tempi and keys beyond number."""
    tracks = []
    for _ in range(few(draw, 400)):
        body, wait = bytearray(), draw.choice((0, 1, 24, 120, 121))
        low, high = sorted((draw.randrange(128), draw.randrange(128)))
        kind = draw.choice(
            (
                "stacked",
                "unended",
                "tempi",
                "keys",
                "metres",
                "words",
                "running",
                "trill",
                "bends",
            )
        )
        for n in range(few(draw, 2500)):
            pitch = low + n % (high - low + 1)
            channel = n % 16 if kind == "stacked" else 0
            after = length(wait if n % 5 == 0 or kind == "trill" else 0)
            if kind == "tempi":
                body += (
                    after + b"\xff\x51\x03" + (1 + n * 997 % 0xFFFFFF).to_bytes(3, "big")
                )
            elif kind == "keys":
                body += after + b"\xff\x59\x02" + bytes(((n % 15 - 7) & 0xFF, n & 1))
            elif kind == "metres":
                body += after + b"\xff\x58\x04" + bytes((n % 255 + 1, n % 9, 24, 8))
            elif kind == "words":
                body += after + b"\xff\x05" + length(few(draw, 90)) + b"y"
            elif kind == "bends":
                body += after + bytes((0xE0, n & 127, n % 127))
            elif kind == "running":
                body += (after + b"\x90" if n == 0 else after) + bytes((pitch, n % 2 * 64))
                continue
            body += b"\0" + bytes((0x90 | channel, pitch, 64))
            if kind not in {"unended", "stacked"} or draw.random() < 0.3:
                body += length(wait) + bytes((0x80 | channel, pitch, 0))
        body += b"\0\xff\x2f\0"
        tracks.append(b"MTrk" + struct.pack(">I", len(body)) + bytes(body))
        if sum(map(len, tracks)) > LONGEST:
            break
    division = draw.choice((24, 96, 480, 960, 15360) * 4 + (0xE250, 0xE728))
    form = draw.choice((1,) * 20 + (0, 2))
    return b"MThd" + struct.pack(">IHHH", 6, form, len(tracks), division) + b"".join(tracks)


# What other programs write, and what is no notation at all


def mei(draw: Random) -> bytes:
    """Layers, chords and tuplets within one another, by staves and measures."""

    def content(depth: int) -> str:
        kind = draw.random()
        if depth and kind < 0.3:
            name = draw.choice(
                ("beam", "tuplet num='3' numbase='2'", "chord dur='8'", "fTrem")
            )
            inner = "".join(content(depth - 1) for _ in range(draw.randint(1, 4)))
            return f"<{name}>{inner}</{name.split()[0]}>"
        return (
            f"<note pname='{draw.choice('abcdefg')}' oct='{draw.choice((3, 4, 5))}' "
            f"dur='{draw.choice((1, 2, 4, 8, 64, 'breve'))}' dots='{few(draw, 5)}'/>"
        )

    measures = "".join(
        f"<measure n='{n}'>"
        + "".join(
            f"<staff n='{s}'><layer n='1'>"
            + "".join(content(few(draw, 8)) for _ in range(few(draw, 12)))
            + "</layer></staff>"
            for s in range(1, few(draw, 6) + 1)
        )
        + draw.choice(("", "<tie startid='#a' endid='#b'/>", "<repeatMark/>"))
        + "</measure>"
        for n in range(few(draw, 60))
    )
    staves = "".join(
        f"<staffDef n='{n}' lines='5' clef.line='2' clef.shape='G'/>" for n in range(1, 7)
    )
    return (
        "<mei xmlns='http://www.music-encoding.org/ns/mei'><music><body><mdiv><score>"
        f"<scoreDef meter.count='4' meter.unit='4'><staffGrp>{staves}</staffGrp></scoreDef>"
        f"<section>{measures}</section></score></mdiv></body></music></mei>"
    ).encode()[:LONGEST]


def sound(draw: Random) -> bytes:
    """Sound that is no music: noise, clicks, no numbers, in odd frames and chunks."""
    rate = draw.choice((8000, 11025, 22050, 44100, 48000) * 4 + (8001, 191999, 0, 1 << 31))
    bits, form = draw.choice(
        ((16, 1), (8, 1), (24, 1), (32, 3), (64, 3)) * 4 + ((12, 1), (0, 1))
    )
    channels = draw.choice((1, 1, 2, 8) * 5 + (0, 65535))
    frames = few(draw, 120_000)
    wide = max(1, bits // 8) * max(1, min(channels, 8))
    kind = draw.choice(("noise", "clicks", "none", "square", "still"))
    if kind == "noise":
        data = draw.randbytes(frames * wide)
    elif kind == "none":
        data = struct.pack("<f", draw.choice((float("nan"), float("inf"), 1e38))) * (
            frames * wide // 4
        )
    elif kind == "square":
        turn = draw.choice((2, 50, 100, 999)) * wide
        data = (b"\x7f" * turn + b"\x80" * turn) * (frames * wide // (2 * turn) + 1)
    else:
        data = (b"\0" * 997 * wide + (b"\x7f" if kind == "clicks" else b"\0") * wide) * (
            frames // 998 + 1
        )
    fmt = struct.pack("<HHIIHH", form, channels & 0xFFFF, rate, 0, wide & 0xFFFF, bits)
    body = b"fmt " + struct.pack("<I", len(fmt)) + fmt
    for _ in range(few(draw, 1200) - 1 if draw.random() < 0.2 else 0):
        body += b"LIST" + struct.pack("<I", draw.choice((0, 0, 4, 0xFFFFFFFF))) + b""
    said = draw.choice((len(data), len(data), 0, 0xFFFFFFFF, len(data) // 2))
    body += b"data" + struct.pack("<I", said) + data
    return b"RIFF" + struct.pack("<I", draw.choice((len(body) + 4, 0))) + b"WAVE" + body


MAKERS: dict[str, Callable[[Random], bytes]] = {
    "archives built": built_archive,
    "kern scored": scored_kern,
    "midi scored": scored_midi,
    "mei": mei,
    "sound": sound,
}
"""What draws an input of each kind."""
