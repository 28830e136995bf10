"""Inputs that mean harm, drawn from nothing but a kind and a number.

Where ``fuzz_seeds`` starts from real files, these are built: one construct of a format
grown until it dominates the file, constructs tangled with one another, structures that
lie about themselves. The same kind and number give the same input, so that a number is
all that has to be kept of one that does harm.

Contents: MAKERS.
"""

from __future__ import annotations

import io
import json
import struct
import zipfile
import zlib
from collections.abc import Callable
from random import Random

__all__ = ["MAKERS"]

LONGEST = 200_000
"""Characters of a grown input; most are far shorter."""

NUMBERS = (
    *("0", "1", "-1", "2", "3", "7", "127", "128", "255", "65535", "-65536"),
    *("2147483648", "-2147483649", "9223372036854775808", "1e9", "1e400", "0.1", "1/3"),
    *("0/1", "1/0", "NaN", "inf", "९", "٣", "½", "9" * 400, "0" * 400 + "1"),
)
WORDS = (
    *("", " ", "a", "The Eel Trap", "🎵", "e\u0301" * 40, "\u202e", "\x00", "\x1b[2J", "-"),
    *('"', "'", "*", "AND", "OR NOT", "NEAR(", "a*", '"a" "b', "^a", "{a b}:c", "a:b", "%"),
    *("_" * 50, "ß", "İ", "ﬃ", "..", "/", "x" * 5000, "\ud800", "\ufeff", "\r\n"),
)


def size(draw: Random, most: int = LONGEST) -> int:
    """How much of something: mostly little, now and then a great deal."""
    return int(most ** (draw.random() * (1.0 if draw.random() < 0.1 else 0.75)))


def number(draw: Random) -> str:
    """A number at one end or another, or a small one."""
    return draw.choice(NUMBERS) if draw.random() < 0.5 else str(draw.randint(-9, 99))


# ABC

ABC_PIECES = (
    *(
        "C",
        "c'",
        "^^F,,",
        "__B",
        "=e",
        "z",
        "Z4",
        "x",
        "y",
        "C2",
        "D/",
        "E3/2",
        "F//",
        "G>A",
    ),
    *(
        "A<<B",
        "[CEG]",
        "[CE",
        "]",
        "(",
        ")",
        "(3abc",
        "(5:2:9",
        "(9",
        "(3:",
        "{g}",
        "{/fg",
        "}",
    ),
    *(
        "|",
        "||",
        "|]",
        "|:",
        ":|",
        "::",
        "[1",
        "|2",
        "[1,3-5",
        '["x"',
        "&",
        "&&",
        "$",
        "-",
        "`",
    ),
    *(
        '"Am7b5"',
        '"C/"',
        '"^up',
        '"',
        '"_down"',
        '"@1,2 x"',
        "!trill!",
        "!",
        "!fermata!",
        "+",
    ),
    *(
        ".",
        "~",
        "H",
        "T",
        "u",
        "v",
        "[K:F#m]",
        "[K:]",
        "[M:7/8]",
        "[M:",
        "[L:1/64]",
        "[V:2]",
    ),
    *(
        "[P:A]",
        "[Q:1/4=0]",
        "[r:x]",
        "[I:a",
        "\\",
        "\\\n",
        "\n",
        "\n\n",
        "%",
        "%%",
        "\t",
        "\r",
    ),
    *(
        "\nw: a-b_c*d~e|\n",
        "\nW: x\n",
        "\ns: ! ! \n",
        "\nK:C\n",
        "\nX:2\n",
        "\nV:1\n",
        "\nP:AB\n",
    ),
    *(
        "\nm: ~n = n/2m/2\n",
        "\nU: u = !x!\n",
        "\n%%begintext\n",
        "\n%%MIDI x\n",
        "\n+:more\n",
    ),
)
"""What music of ABC is made of, whole and broken."""

ABC_FIELDS = (
    "T:",
    "C:",
    "M:",
    "L:",
    "K:",
    "Q:",
    "P:",
    "V:",
    "R:",
    "O:",
    "B:",
    "N:",
    "w:",
    "Z:",
)


def abc_head(draw: Random) -> str:
    """The head of a tune, mostly one that can be read."""
    if draw.random() < 0.7:
        metre = draw.choice(("4/4", "6/8", "C|", "none", "5/4"))
        return f"X:1\nT:Tune\nM:{metre}\nL:1/8\nK:D\n"
    fields = [draw.choice(ABC_FIELDS) + tangle(draw, 3) for _ in range(draw.randint(0, 9))]
    return "\n".join(
        [f"X:{number(draw)}", *fields, f"K:{draw.choice((*WORDS, 'HP', 'C'))}", ""]
    )


def tangle(draw: Random, pieces: int) -> str:
    """Pieces one after the other, numbers and words among them."""
    out = []
    for _ in range(pieces):
        kind = draw.random()
        some = ABC_PIECES if kind < 0.85 else NUMBERS if kind < 0.95 else WORDS
        out.append(draw.choice(some))
    return draw.choice(("", " ")).join(out)


def grown_abc(draw: Random) -> bytes:
    """A tune in which one short row of pieces comes again and again."""
    row = tangle(draw, draw.randint(1, 3))
    many = size(draw) // max(1, len(row)) + 1
    parts = [abc_head(draw), tangle(draw, 4), row * many, tangle(draw, 4)]
    if draw.random() < 0.3:
        parts.insert(1, draw.choice(ABC_FIELDS) + row * (many // 2) + "\n")
    return "".join(parts).encode("utf-8", "surrogatepass")[:LONGEST]


def tangled_abc(draw: Random) -> bytes:
    """A tune in which everything meets everything."""
    text = abc_head(draw) + tangle(draw, size(draw, 4000))
    return text.encode(draw.choice(("utf-8", "utf-16", "utf-8")), "surrogatepass")


def abc_book(draw: Random) -> bytes:
    """A book of very many, very odd or half-begun tunes."""
    one = draw.choice(
        ("X:1\n", "X:1\nK:C\n", "X:1\nK:C\nCDEF|\n\n", "\n\nT:a\n", "X:1\rK:C\rc")
    )
    other = abc_head(draw) + tangle(draw, draw.randint(0, 20)) + "\n\n"
    text = "".join(draw.choice((one, one, other)) for _ in range(size(draw, 3000)))
    return (tangle(draw, 2) + text).encode("utf-8", "surrogatepass")


# MusicXML

LEAVES = (
    *("step", "octave", "alter", "duration", "voice", "type", "dot", "staff", "divisions"),
    *(
        "fifths",
        "mode",
        "beats",
        "beat-type",
        "chord",
        "rest",
        "grace",
        "cue",
        "tie",
        "text",
    ),
    *("root-step", "root-alter", "kind", "bass-step", "degree-value", "words", "rehearsal"),
    *("chromatic", "octave-change", "actual-notes", "normal-notes", "syllabic", "fermata"),
)
BRANCHES = (
    *("note", "pitch", "attributes", "key", "time", "harmony", "root", "bass", "degree"),
    *("backup", "forward", "barline", "repeat", "ending", "direction", "direction-type"),
    *("lyric", "notations", "tied", "time-modification", "transpose", "sound", "unpitched"),
)
NOTE = (
    "<note><pitch><step>{}</step><octave>4</octave></pitch><duration>{}</duration>"
    "<voice>{}</voice>{}</note>"
)


def element(draw: Random, depth: int) -> str:
    """An element with what it should not hold."""
    if depth <= 0 or draw.random() < 0.4:
        name = draw.choice(LEAVES)
        return f"<{name}>{draw.choice((number(draw), 'C', 'start', 'stop', ''))}</{name}>"
    name = draw.choice(BRANCHES)
    inner = "".join(element(draw, depth - 1) for _ in range(draw.randint(0, 5)))
    given = draw.choice(
        ("", ' type="start"', ' number="1,2"', f' number="{draw.random()}"')
    )
    return f"<{name}{given}>{inner}</{name}>"


def note(draw: Random) -> str:
    """A note, mostly a good one."""
    inner = element(draw, 2) if draw.random() < 0.5 else ""
    long = draw.choice(("1", "2", number(draw)))
    return NOTE.format(draw.choice("CDEFGABH"), long, draw.choice("1123"), inner)


def sheet(bars: str) -> bytes:
    """A sheet of one part."""
    text = (
        '<?xml version="1.0"?><score-partwise><part-list><score-part id="P1">'
        "<part-name>a</part-name></score-part></part-list>"
        f'<part id="P1">{bars}</part></score-partwise>'
    )
    return "".join(sign for sign in text if sign >= " ").encode("utf-8", "replace")


def grown_sheet(draw: Random) -> bytes:
    """A sheet in which one element, or one with a note, comes again and again."""
    row = element(draw, draw.randint(1, 3)) + draw.choice(("", note(draw)))
    many = size(draw) // len(row) + 1
    cut = draw.choice(("", "", "</measure><measure>"))
    first = "<attributes><divisions>2</divisions></attributes>" + note(draw) * 4
    return sheet(f"<measure>{first}</measure><measure>{(row + cut) * many}</measure>")


def tangled_sheet(draw: Random) -> bytes:
    """A sheet of random trees, some very deep, some cut off."""
    bars = []
    for _ in range(draw.randint(1, 12)):
        inner = "".join(
            note(draw) if draw.random() < 0.5 else element(draw, 4)
            for _ in range(draw.randint(0, 30))
        )
        bars.append(f'<measure number="{number(draw)[:9]}">{inner}</measure>')
    deep = size(draw, 20_000) if draw.random() < 0.1 else 0
    data = sheet("".join(bars) + "<note>" * deep + "</note>" * deep)
    if draw.random() < 0.1:
        data = data[: draw.randrange(len(data))]
    if draw.random() < 0.05:
        data = data.replace(b"<score", b'<!DOCTYPE a [<!ENTITY b "cccccccc">]><score', 1)
    return data


def archive(draw: Random) -> bytes:
    """An archive that holds too much, too little, itself, or what it does not say."""
    root = draw.choice(
        (
            "a.xml",
            "a.xml",
            "a.xml",
            "b.xml",
            "../a.xml",
            "/etc/passwd",
            "a/./a.xml",
            "",
            "A.XML",
        )
    )
    container = (
        f'<container><rootfiles><rootfile full-path="{root}"/></rootfiles></container>'
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", draw.choice((0, 8, 8, 8, 12, 14))) as package:
        if draw.random() < 0.9:
            package.writestr("META-INF/container.xml", container)
        for _ in range(draw.choice((1, 1, 1, 2, size(draw, 500)))):
            inner = sheet(f"<measure>{note(draw) * 8}</measure>")
            inner = inner if draw.random() < 0.6 else tangled_sheet(draw)
            if draw.random() < 0.15:
                inner = inner.replace(
                    b"</part>", b" " * size(draw, 20_000_000) + b"</part>"
                )
            package.writestr(
                zipfile.ZipInfo(draw.choice(("a.xml", "b.xml", root or "c"))), inner
            )
    data = bytearray(out.getvalue())
    for _ in range(draw.choice((0, 0, 1, 4))):
        # The sizes, the method, the name: mostly the directory at the end is hit.
        data[-1 - draw.randrange(min(len(data), 200))] = draw.choice((0, 1, 8, 127, 255))
    return bytes(data)


# Humdrum

KERN_TOKENS = (
    *(
        "4c",
        "8d",
        "16ee-",
        "2.f#",
        "4r",
        "[4g",
        "4g]",
        "4_g",
        "cq",
        "8.qa",
        "4c 4e 4g",
        ".",
    ),
    *("*", "*^", "*v", "*x", "*+", "*-", "*clefG2", "*k[f#]", "*k[]", "*M3/4", "*M0/1"),
    *("*C:", "*f#:", "*>A", "*>[A,B,A]", "*Trd1c2", "*MM120", '*I"Violin', "*staff1"),
    *(
        "=",
        "=1",
        "=2-",
        "=:|!|:",
        "==",
        "!",
        "! x",
        "!!",
        "!!!OTL: x",
        "1%7c",
        "3%5d",
        "0e",
    ),
    *(
        "00f",
        "4....g",
        "4c;",
        "(4c",
        "4c)",
        "7cc",
        "11dd",
        "13ee",
        "999999999c",
        "4C",
        "4h",
    ),
)
"""Tokens of spines, whole and broken."""


def kern_line(draw: Random, spines: int) -> str:
    """A line of so many tokens; now and then of another number."""
    spines += draw.choice((0, 0, 0, 0, 0, 0, 0, 0, 0, 1, -1)) if draw.random() < 0.1 else 0
    if draw.random() < 0.6:
        return "\t".join(draw.choice(KERN_TOKENS[:12]) for _ in range(max(spines, 1)))
    some = draw.choice((*KERN_TOKENS, number(draw) + "c"))
    return "\t".join([some] * max(spines, 1))


def grown_kern(draw: Random) -> bytes:
    """Spines in which a few lines come again and again, as parting and joining may."""
    spines = draw.choice((1, 1, 2, 4, 40))
    rows = [kern_line(draw, spines) for _ in range(draw.randint(1, 4))]
    if spines == 1 and draw.random() < 0.4:
        rows = ["*^", f"{draw.choice(KERN_TOKENS[:6])}\t4e", "*v\t*v", *rows]
    many = size(draw) // (sum(map(len, rows)) + len(rows)) + 1
    if draw.random() < 0.3:
        # Lengths that have no beat in common.
        rows, many = [f"{2 * n + 3}c" for n in range(size(draw, 20_000))], 1
        spines = 1
    head, end = "\t".join(["**kern"] * spines), "\t".join(["*-"] * spines)
    return "\n".join([head, *rows * many, end, ""]).encode()[: 2 * LONGEST]


def tangled_kern(draw: Random) -> bytes:
    """Spines that split, join, change places and end as they like."""
    kinds = ("**kern", "**kern", "**text", "**dynam", "**mxhm", "**recip", "kern")
    spines = draw.randint(1, 6)
    lines = ["\t".join(draw.choice(kinds) for _ in range(spines))]
    lines += [kern_line(draw, spines) for _ in range(size(draw, 2000))]
    return "\n".join([*lines, "\t".join(["*-"] * spines), ""]).encode("utf-8", "replace")


def voices(draw: Random) -> bytes:
    """Very many voices of a few notes, all of them different, or long ones off the beat."""
    many = size(draw, 12_000)
    lines = []
    for voice in range(many):
        notes = "".join("CDEFGABcdefgab"[(voice // 14**n + n) % 14] for n in range(4))
        shift = f"z/{draw.choice((2, 3, 7, 64))}" if draw.random() < 0.5 else ""
        lines.append(f"V:{voice}\n{shift}{notes}{draw.choice(('|', '', '8|'))}")
    return (abc_head(draw) + "\n".join(lines)).encode("utf-8", "surrogatepass")[:LONGEST]


def one_bar(draw: Random) -> bytes:
    """Notes beyond number without a bar line, or bar lines without a note between."""
    row = draw.choice(("CDEFGABc", "C|", "|", "z8|", "[CEG]", "{de}C", "C|:", "(3CDE"))
    many = size(draw) // len(row) + 1
    words = "\nw: " + "la " * (many // 2) if draw.random() < 0.3 else ""
    return (abc_head(draw) + "CDEF|" + row * many + words).encode("utf-8", "surrogatepass")[
        :LONGEST
    ]


def empty_measures(draw: Random) -> bytes:
    """Measures without a note, parts without end, a part that is named again and again."""
    empty = draw.choice(("<measure/>", "<measure><attributes/></measure>", "<measure> x"))
    empty += "" if empty.endswith("/>") or "</" in empty else "</measure>"
    good = f"<measure>{note(draw) * 4}</measure>"
    return sheet(empty * (size(draw) // len(empty) + 1) + good)


# MIDI


def length(value: int) -> bytes:
    """A number of variable length (Standard MIDI Files 1.0)."""
    out = [value & 127]
    while value := value >> 7:
        out.append(value & 127 | 128)
    return bytes(reversed(out))


def event(draw: Random) -> bytes:
    """One event with the time before it."""
    some = (0, 0, 0, 1, 60, 120, 240, 480, 960)
    wait = draw.choice(some if draw.random() < 0.99 else (1 << 16, 1 << 20, (1 << 28) - 1))
    kind = draw.random()
    if kind < 0.7:
        status = draw.choice((0x80, 0x90, 0x90, 0x91, 0x99, 0xB0, 0xC0, 0xE0))
        said = bytes((status, draw.randint(36, 84), draw.choice((0, 64, 127))))
        said = said[: 2 if status == 0xC0 else 3][draw.random() < 0.05 :]
    elif kind < 0.9:
        what = draw.choice((1, 3, 6, 0x2F, 0x51, 0x54, 0x58, 0x59, 0x7F))
        body = bytes(
            draw.choice((0, 1, 2, 7, 24, 255)) for _ in range(draw.choice((0, 2, 3, 4)))
        )
        said = (
            bytes((0xFF, what))
            + length(draw.choice((len(body), len(body), 1 << 21)))
            + body
        )
    else:
        said = draw.choice(
            (b"\xf0\x02\x00\xf7", b"\xf7\x00", b"\xf8", b"\x40\x40", b"\xff")
        )
    return length(wait) + said


def midi(draw: Random) -> bytes:
    """A file whose tracks repeat a few events very often, or say that they are longer."""
    tracks = []
    for _ in range(draw.choice((1, 1, 2, 3, size(draw, 300)))):
        row = b"".join(event(draw) for _ in range(draw.randint(1, 40)))
        body = row * (size(draw) // len(row) // 3 + 1) + b"\x00\xff\x2f\x00"
        said = draw.choice((len(body), len(body), len(body), 0, 1 << 31))
        tracks.append(b"MTrk" + struct.pack(">I", said) + body)
    division = draw.choice((96, 96, 480, 480, 480, 480, 1, 0, 0x7FFF, 0xE728))
    head = struct.pack(
        ">IHHH", 6, draw.choice((0, 1, 1, 1, 1, 2, 9)), len(tracks), division
    )
    return (b"MThd" + head + b"".join(tracks))[: 4 * LONGEST]


# What is typed


def phrase(draw: Random) -> bytes:
    """A phrase in no notation, or in all of them."""
    signs = (
        *(
            "1",
            "5'",
            "b3",
            "#4,",
            "7*1/3",
            "C4",
            "F#",
            "Bb5",
            "Fis",
            "do",
            "ti",
            "+2",
            "-12",
            "+",
        ),
        *(
            "-",
            "0",
            "u",
            "d",
            "s",
            "K:F",
            "|",
            "M:3/4",
            "L:1/8",
            "(3",
            "[",
            "]",
            "*",
            "/",
            "'",
            ",",
        ),
        *(*NUMBERS, *WORDS),
    )
    if draw.random() < 0.5:
        # Mostly of one notation, so that it is read.
        start = draw.choice((0, 5, 11, 13))
        some = signs[start : start + draw.choice((1, 2, 4))]
        odd = draw.choice(signs) if draw.random() < 0.2 else some[0]
        row = " ".join([*(draw.choice(some) for _ in range(draw.randint(4, 30))), odd])
    else:
        row = draw.choice(("", " ")).join(draw.choice(signs) for _ in range(5))
    again = size(draw, 20_000) // (len(row) + 1) + 1 if draw.random() < 0.3 else 1
    return draw.choice(("", " ")).join([row] * again).encode("utf-8", "surrogatepass")


def words(draw: Random) -> bytes:
    """Words by which tunes are looked for."""
    some = (*WORDS, *NUMBERS, "reel", "C", "Jory", "NOT", "(", ")", "+", "title", ":")
    row = " ".join(draw.choice(some) for _ in range(draw.randint(1, 12)))
    return (row * draw.choice((1, 1, 1, size(draw, 200)))).encode("utf-8", "surrogatepass")


def options(draw: Random) -> bytes:
    """Numbers from which a command with options is drawn."""
    return draw.randbytes(64)


# Sets and corpora


def value(draw: Random, depth: int = 3) -> object:
    """A value of JSON."""
    kind = draw.random()
    if depth and kind < 0.15:
        return [value(draw, depth - 1) for _ in range(draw.randint(0, 5))]
    if depth and kind < 0.3:
        return {draw.choice(WORDS[:12]): value(draw, depth - 1) for _ in range(3)}
    plain = (0, -1, 1 << 70, 1e308, 0.5, True, None, "", "C", "0" * 64, float("nan"))
    return draw.choice((*plain, draw.choice(WORDS)))


def changed(draw: Random, told: object) -> object:
    """A value of JSON with one place of it changed, wherever it lies."""
    if isinstance(told, dict) and told and draw.random() < 0.9:
        key = draw.choice(list(told))
        return {**told, key: changed(draw, told[key])}
    if isinstance(told, list) and told and draw.random() < 0.9:
        place = draw.randrange(len(told))
        return [*told[:place], changed(draw, told[place]), *told[place + 1 :]]
    if isinstance(told, list) and draw.random() < 0.5:
        return (told or [0]) * size(draw, 2000)
    return value(draw)


def packed_set(draw: Random, good: bytes) -> bytes:
    """A packed set that is wrong in one to three places, or whose archive lies."""
    told: object = json.loads(good)
    for _ in range(draw.randint(1, 3)):
        told = changed(draw, told)
    text = json.dumps(told).encode()
    if draw.random() < 0.1:
        text = draw.choice(
            (b"[" * size(draw), b'{"a":' * size(draw), text[: len(text) // 2])
        )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", 8) as package:
        for name in ["set.json"] * draw.choice((1, 1, 1, 2)):
            package.writestr(
                zipfile.ZipInfo(name), text + b" " * draw.choice((0, size(draw)))
            )
    data = out.getvalue()
    return data if draw.random() < 0.9 else data + zlib.compress(data)


MAKERS: dict[str, Callable[[Random], bytes]] = {
    "abc grown": grown_abc,
    "abc tangled": tangled_abc,
    "abc books": abc_book,
    "sheets grown": grown_sheet,
    "sheets tangled": tangled_sheet,
    "archives": archive,
    "sheets empty": empty_measures,
    "abc voices": voices,
    "abc bars": one_bar,
    "kern grown": grown_kern,
    "kern tangled": tangled_kern,
    "midi": midi,
    "phrases": phrase,
    "words": words,
    "options": options,
    "corpora": options,
}
"""What draws an input of each kind; sets start from a good one, see ``packed_set``."""
