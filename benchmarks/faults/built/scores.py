"""Whole scores that cost: files in order, or nearly, with far too much of something.

Where ``broken`` breaks a format, these keep to it, as a program that writes
notation would, and put together what is allowed until it is expensive: voices, verses,
play orders, lengths without a common beat, parts and staves, encodings.
The same kind and number give the same input.

Contents: MAKERS.
"""

from __future__ import annotations

from collections.abc import Callable
from random import Random

from benchmarks.faults.built.broken import LONGEST, size

__all__ = ["MAKERS"]

STEPS = "CDEFGAB"
PRIMES = (3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 47, 53, 59, 61, 127, 1021)
CHORDS = ("C", "Am7", "F#m7b5", "Bb13#11", "Dsus4", "N.C.", "Eb/G", "G7alt", "H", "C/C/C")
KEYS = ("C", "G", "F#m", "Bb", "Ddor", "Amix", "Ephr", "C#", "Cb", "HP", "none", "G=c")
WORDS = ("la", "a-", "ve_", "*", "ki~na", "ß", "\u202eno", "long" * 9, "don't", "x\\-y")


def few(draw: Random, most: int) -> int:
    """A number that is mostly small."""
    return int(most ** draw.random())


# ABC


def crowded_abc(draw: Random) -> bytes:
    """Voices, verses, chords, graces and ornaments, all of them in order."""
    voices, bars, verses = few(draw, 60), few(draw, 120), few(draw, 40)
    heads = [
        f'V:{n} name="Voice {n}" clef={draw.choice(("bass", "treble"))}'
        for n in range(voices)
    ]
    dress = [
        draw.choice(
            (
                "",
                f'"{draw.choice(CHORDS)}"',
                '"^dolce"',
                "{gag}",
                "!trill!",
                "(3",
                "~",
                "H",
                ".",
                "{/b}",
                "[I:setbarnb 7]",
            )
        )
        for _ in range(6)
    ]
    out = ["X:1", "T:Too Many", "M:4/4", "L:1/8", *heads, f"K:{draw.choice(KEYS)}"]
    for bar in range(0, bars, 4):
        for voice in range(voices):
            row = "".join(
                draw.choice(dress)
                + draw.choice(STEPS)
                + draw.choice(("", "2", "-", ">"))
                + ("|" if n % 8 == 7 else "")
                for n in range(32)
            )
            out.append(f"[V:{voice}] {row}")
            if voice < 3 and not bar:
                said = " ".join(draw.choice(WORDS) for _ in range(32))
                out += [f"w: {said}"] * verses
    return "\n".join(out).encode()[:LONGEST]


def parted_abc(draw: Random) -> bytes:
    """Play orders within play orders, repeats within repeats, endings without end."""
    depth = few(draw, 2000)
    order = draw.choice(
        (
            "(" * depth + "A" + ")2" * depth,
            "A9" * depth,
            "(AB)99" * depth,
            "A." * depth + "B",
            "(" * depth,
            "AB" * depth,
        )
    )
    ends = ",".join(str(n) for n in range(1, few(draw, 3000)))
    parts = []
    for n in range(few(draw, 400)):
        kind = draw.choice(
            (
                "|:{0}:|",
                "|:{0}|1{0}:|2{0}|]",
                "|:|:{0}:|:|",
                "::{0}",
                "[1,2-" + str(n) + "{0}:|",
                "|:{0}|[" + ends + "{0}:|",
                "!segno!{0}!D.S.!|",
                "!coda!{0}!D.C.alcoda!|",
                "|]{0}||",
            )
        )
        letter = chr(65 + n % 26)
        parts.append(f"P:{letter}\n{kind.format('CDEF GABc')}")
    return f"X:1\nT:Order\nM:2/4\nL:1/16\nP:{order}\nK:D\n{chr(10).join(parts)}".encode()[
        :LONGEST
    ]


def length_abc(draw: Random) -> bytes:
    """Lengths that share no beat: fractions of primes, groups of any number, dots."""

    def one() -> str:
        over, under = draw.choice(PRIMES), draw.choice(PRIMES)
        return draw.choice(
            (
                f"C{over}/{under}",
                f"z1/{under}",
                f"D{over}",
                f"(3:{over}:4EFG",
                f"({draw.randint(2, 9)}CDEFGABcd",
                "C>>>D",
                "A<<<<B",
                "E////",
                f"[C{over}E1/{under}G]",
                f"[L:1/{under}]F",
                f"Z{over}|",
                f"[M:{over}/{2 ** draw.randrange(9)}]G",
                f"[Q:1/{under}={over}]",
            )
        )

    row = "".join(one() + draw.choice(("", "", "|")) for _ in range(draw.randint(1, 40)))
    again = size(draw) // len(row) + 1
    return f"X:1\nM:none\nL:1/8\nK:C\nC|{row * again}".encode()[:LONGEST]


def defined_abc(draw: Random) -> bytes:
    """Signs and figures defined by others, directives, fields that go on and on."""
    rows = []
    for n in range(few(draw, 300)):
        sign = chr(72 + n % 16)
        rows.append(
            draw.choice(
                (
                    f"U:{sign}=!{sign * few(draw, 40)}!",
                    f"m:~{sign}={sign}{sign}~{sign}",
                    f"m: n{n % 9} = n{(n + 1) % 9}n{(n + 2) % 9}",
                    "I:abc-charset latin-1",
                    f"%%score {'(' * few(draw, 90)}1{')' * 3}",
                    "I:linebreak $",
                    "I:decoration +",
                    "%%begintext\n"
                    + "x\n" * few(draw, 50)
                    + draw.choice(("", "%%endtext")),
                    "N:" + "y" * few(draw, 3000) + "\n+:" + "z" * few(draw, 3000),
                    f"T:{n}",
                    f"R:{'reel ' * few(draw, 40)}",
                    "%%percmap D pedal-hi-hat x",
                )
            )
        )
    music = "".join(
        draw.choice(
            (
                "~n",
                "HC",
                "n1",
                "JD",
                "uv",
                "+trill+E",
                "!lIt!F",
                "$",
                "\\\n",
                "%x\n",
                "y9",
                "`",
                "|",
            )
        )
        for _ in range(few(draw, 4000))
    )
    return ("X:1\n" + "\n".join(rows) + f"\nK:C\nCDEF|{music}").encode()[:LONGEST]


# MusicXML


def pitched(draw: Random, duration: object = 1, more: str = "") -> str:
    """A note; now and then one that no instrument has."""
    is_odd = draw.random() < 0.0005
    alter, octave = (0.5, 11) if is_odd else (draw.choice((-1, 0, 0, 0, 1)), 4)
    return (
        f"<note>{draw.choice(('', '', '', '<chord/>'))}<pitch><step>{draw.choice(STEPS)}"
        f"</step><alter>{alter}</alter><octave>{octave + draw.choice((-1, 0, 0, 1))}"
        f"</octave></pitch><duration>{duration}</duration>{more}</note>"
    )


def crowded_sheet(draw: Random) -> bytes:
    """Parts, staves and voices by the hundred, wound back and forward in every bar."""
    parts, bars, voices = few(draw, 150), few(draw, 60), few(draw, 40)
    heads = "".join(
        f'<score-part id="P{n}"><part-name>{"Oboe" * (n % 3)}</part-name></score-part>'
        for n in range(parts)
    )
    out = []
    for part in range(parts):
        measures = []
        for bar in range(bars):
            divisions = draw.choice((1, 4, 480, *PRIMES))
            inner = (
                f"<attributes><divisions>{divisions}</divisions><staves>{voices}</staves>"
                "</attributes>"
                if bar % 7 == 0 or draw.random() < 0.1
                else ""
            )
            for voice in range(1, voices + 1):
                more = f"<voice>{voice}</voice><staff>{voice % 4 + 1}</staff>"
                inner += pitched(draw, draw.choice((1, 2, divisions)), more) * draw.randint(
                    1, 4
                )
                back = draw.choice((1, 4, divisions))
                inner += f"<backup><duration>{back}</duration></backup>"
            measures.append(f'<measure number="{bar}">{inner}</measure>')
            if sum(map(len, measures)) > LONGEST // parts:
                break
        out.append(f'<part id="P{part}">{"".join(measures)}</part>')
    return (
        "<score-partwise><part-list>"
        + heads
        + "</part-list>"
        + "".join(out)
        + "</score-partwise>"
    ).encode()[: 2 * LONGEST]


def repeated_sheet(draw: Random) -> bytes:
    """Repeats, endings, signs and jumps, in order and out of it."""

    def bar(n: int) -> str:
        sign = draw.choice(("segno", "coda", "dalsegno", "dacapo", "tocoda", "fine"))
        worth = draw.choice(("yes", "A", "B", str(n)))
        ends = draw.choice(
            ("1", "2", "1,2", "1-9", "", "999", ",".join(map(str, range(n % 400))))
        )
        times = draw.choice(("2", "9", "4000000000", "-1"))
        end = draw.choice(("stop", "discontinue"))
        return (
            f'<measure number="{draw.choice((n, "X1", "", 0))}">'
            + draw.choice(
                (
                    '<barline location="left"><repeat direction="forward"/></barline>',
                    f'<barline><ending number="{ends}" type="start"/></barline>',
                    f'<direction><sound {sign}="{worth}"/></direction>',
                    f"<direction><direction-type><{sign}/></direction-type></direction>",
                    "",
                    "",
                )
            )
            + pitched(draw) * draw.randint(0, 4)
            + draw.choice(
                (
                    f'<barline><repeat direction="backward" times="{times}"/></barline>',
                    f'<barline><ending number="{ends}" type="{end}"/></barline>',
                    "<attributes><measure-style><measure-repeat type='start'>4"
                    "</measure-repeat></measure-style></attributes>",
                    f"<attributes><measure-style><multiple-rest>{times}</multiple-rest>"
                    "</measure-style></attributes>",
                    "",
                    "",
                )
            )
            + "</measure>"
        )

    bars = "".join(bar(n) for n in range(few(draw, 900)))
    return (
        "<score-partwise><part-list><score-part id='P'/></part-list><part id='P'>"
        + bars
        + "</part></score-partwise>"
    ).encode()[:LONGEST]


def dressed_sheet(draw: Random) -> bytes:
    """A good sheet in other clothes: by time, with prefixes, in another encoding, wordy."""
    bars = "".join(
        f"<measure number='{n}'><part id='P'>{pitched(draw) * 4}</part></measure>"
        for n in range(few(draw, 200))
    )
    filler = draw.choice(
        (
            "<!-- x -->",
            "<?pi y?>",
            "<![CDATA[z]]>",
            "&#x43;",
            "<a xmlns='u'/>",
            " \n",
            "&amp;",
            "<words>&#9;</words>",
            "<b " + " ".join(f"k{n}='v'" for n in range(few(draw, 5000))) + "/>",
        )
    )
    space = filler * (size(draw) // len(filler))
    text = (
        f"<score-timewise version='4.0'><part-list><score-part id='P'/></part-list>{space}"
        f"{bars}</score-timewise>"
    )
    if draw.random() < 0.4:
        text = text.replace("timewise", "partwise").replace(
            "<measure", "<part id='P'><measure", 1
        )
        text = text.replace("<part id='P'>" + "<note>", "<note>").replace(
            "</part></measure>", "</measure>"
        )
        text = text.replace("</score-p", "</part></score-p")
    if draw.random() < 0.2:
        text = (
            text.replace("<", "<m:")
            .replace("<m:/", "</m:")
            .replace("<m:score", "<m:score xmlns:m='http://m'", 1)
        )
    said = draw.choice(
        (
            "utf-8",
            "UTF-16",
            "iso-8859-1",
            "us-ascii",
            "utf-7",
            "ebcdic-cp-us",
            "windows-1252",
            "shift_jis",
            "x" * 300,
        )
    )
    really = draw.choice(("utf-8", "utf-8", "utf-16", "utf-16-be", "utf-32", "latin-1"))
    head = f"<?xml version='1.0' encoding='{said}'?>" if draw.random() < 0.8 else ""
    return (head + text).encode(really, "xmlcharrefreplace")[: 2 * LONGEST]


def timed_sheet(draw: Random) -> bytes:
    """Metres of sums, keys of single signs, groups within groups, moves and cues."""

    def extra() -> str:
        beats = "+".join(str(draw.choice(PRIMES)) for _ in range(few(draw, 60)))
        signs = "".join(
            f"<key-step>{s}</key-step><key-alter>1</key-alter>"
            for s in STEPS * few(draw, 9)
        )
        beat, move = draw.choice((1, 4, 64, 3)), draw.choice((-12, 2, 2, -3, 99))
        fifths = draw.choice((-7, 7, 11, -90))
        return (
            "<attributes>"
            + draw.choice(
                (
                    f"<time><beats>{beats}</beats><beat-type>{beat}</beat-type></time>",
                    "<time><senza-misura/></time>",
                    f"<key>{signs}</key>",
                    f"<transpose><chromatic>{move}</chromatic></transpose>",
                    f"<key><fifths>{fifths}</fifths><mode>locrian</mode></key>",
                    "<clef><sign>percussion</sign></clef>",
                    "<staff-details><staff-lines>0</staff-lines></staff-details>",
                )
            )
            + "</attributes>"
        )

    def more() -> str:
        many = draw.choice(PRIMES)
        return draw.choice(
            (
                "",
                "<dot/>" * few(draw, 30),
                "<type>1024th</type>",
                f"<time-modification><actual-notes>{many}</actual-notes><normal-notes>"
                f"{draw.choice(PRIMES)}</normal-notes></time-modification>",
                "<notations>"
                + "".join(
                    f"<tuplet number='{n}' type='{kind}'/>"
                    for n in range(1, few(draw, 12))
                    for kind in ("start", "stop")
                )
                + "</notations>",
                "<notations><tied type='start'/><slur type='start'/></notations>",
                "<lyric><syllabic>middle</syllabic><text>o</text><extend/></lyric>",
            )
        )

    bars = []
    for n in range(few(draw, 150)):
        inner = "".join(
            (extra() if draw.random() < 0.2 else "")
            + pitched(draw, draw.choice((1, 0, 3, 0.25, 10**9, *PRIMES)), more())
            for _ in range(few(draw, 60))
        )
        bars.append(f"<measure number='{n}'>{inner}</measure>")
    return (
        "<score-partwise><part-list><score-part id='P'/></part-list><part id='P'>"
        + "".join(bars)[:LONGEST].rpartition("</measure>")[0]
        + "</measure>"
        + "</part></score-partwise>"
    ).encode()


MAKERS: dict[str, Callable[[Random], bytes]] = {
    "abc crowded": crowded_abc,
    "abc parted": parted_abc,
    "abc lengths": length_abc,
    "abc defined": defined_abc,
    "sheets crowded": crowded_sheet,
    "sheets repeated": repeated_sheet,
    "sheets dressed": dressed_sheet,
    "sheets timed": timed_sheet,
}
"""What draws an input of each kind."""
