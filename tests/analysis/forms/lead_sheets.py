"""Standard progressions and forms written out as lead sheets, and what a player would say.

Every sheet is written for this table; the progressions and what is said of them are
common practice, no source. Sheets stand in C, or in the key that is easiest to read, and
are moved to twelve keys. Bars are parted by ``|``, ``[A]`` before a bar is a printed mark,
``%`` is the bar before it once more.

Columns: ``centres`` are first bar, last bar and key. Other columns may be added by name;
what is empty is not looked at.

Contents: Form, FORMS, STEPS, melody_of, moved.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from melodex.analysis.harmony.chords import parse_chord
from melodex.analysis.keys.song.idioms import FLAMENCO, FREYGISH
from melodex.melody import (
    MODES,
    TICKS_PER_QUARTER,
    Bar,
    ChordSymbol,
    Key,
    KeyChange,
    Melody,
    Metre,
    MetreChange,
    SectionMark,
    fifths_from_name,
    pitch_class_name,
)

STEPS = tuple(range(-5, 7))
"""Moves on the line of fifths that bring C to the twelve usual tonics."""
LOWEST, HIGHEST = -8, 9
"""Chord roots beyond these are written as their neighbours on the keyboard."""


@dataclass(frozen=True)
class Form:
    """A lead sheet and what there is to say of it."""

    name: str
    chords: str
    centres: tuple[tuple[int, int, str], ...]
    idiom: str = ""
    printed: str = ""
    beats: int = 4


def one(name: str, chords: str, key: str, **more: str) -> Form:
    """A form in one key throughout."""
    return Form(name, chords, ((1, len(bars_of(chords)), key),), **more)  # type: ignore[arg-type]


def bars_of(chords: str) -> list[tuple[str, list[str]]]:
    """Mark and chord symbols of each bar."""
    bars: list[tuple[str, list[str]]] = []
    for cell in chords.split("|"):
        mark = re.match(r"\s*\[([^]]*)\]", cell)
        texts = cell[mark.end() :].split() if mark else cell.split()
        texts = bars[-1][1] if texts == ["%"] else texts
        bars.append((mark[1] if mark else "", texts))
    return bars


def moved(text: str, step: int) -> str:
    """A chord symbol in another key, spelled as a player would."""
    chord = parse_chord(text)
    bass = "" if chord.bass_fifths is None else f"/{named(chord.bass_fifths + step)}"
    return f"{named(chord.root_fifths + step)}{chord.quality_text}{bass}"


def named(fifths: int) -> str:
    """A root by name, respelled where its signs would be too many."""
    if fifths < LOWEST:
        fifths += 12
    elif fifths > HIGHEST:
        fifths -= 12
    return pitch_class_name(fifths)


def key_named(text: str, step: int = 0) -> Key:
    """A key such as ``Bb major``, moved."""
    tonic, mode = text.split()
    return Key(fifths_from_name(tonic) + step, mode)


def melody_of(form: Form, step: int = 0) -> Melody:
    """The sheet as a melody without notes, in another key."""
    length = form.beats * TICKS_PER_QUARTER
    symbols, bars, marks = [], [], []
    for number, (mark, texts) in enumerate(bars_of(form.chords), start=1):
        onset = (number - 1) * length
        bars.append(Bar(number, onset, length))
        if mark:
            marks.append(SectionMark(mark, number, onset))
        for place, text in enumerate(texts):
            at = onset + place * length // len(texts)
            symbols.append(ChordSymbol(moved(text, step), number, at))
    keys: tuple[KeyChange, ...] = ()
    if form.printed:
        key = key_named(form.printed, step)
        assert key.mode in MODES
        keys = (KeyChange(0, key, key.signature_fifths),)
    return Melody(
        bars=tuple(bars),
        chords=tuple(symbols),
        marks=tuple(marks),
        keys=keys,
        metres=(MetreChange(0, Metre(form.beats, 4)),),
    )


TURN = "C A7|Dm7 G7|Em7 A7|Dm7 G7|C C7|F Fm|C G7"
PLAIN = "C|Am|Dm|G7|C|Am|F G7|C"

FORMS = (
    # Blues
    one("blues in triads", "C|C|C|C|F|F|C|C|G|F|C|G", "C major", idiom="blues"),
    one("blues", "C7|C7|C7|C7|F7|F7|C7|C7|G7|F7|C7|C7", "C major", idiom="blues"),
    one(
        "blues, quick change",
        "C7|F7|C7|C7|F7|F7|C7|C7|G7|F7|C7|G7",
        "C major",
        idiom="blues",
    ),
    one(
        "jazz blues",
        "C7|F7|C7|Gm7 C7|F7|F#dim7|C7|Em7b5 A7|Dm7|G7|C7 A7|Dm7 G7",
        "C major",
        idiom="blues",
    ),
    one(
        "minor blues",
        "Cm7|Fm7|Cm7|Cm7|Fm7|Fm7|Cm7|Cm7|Ab7|G7|Cm7|G7",
        "C minor",
        idiom="minor blues",
    ),
    one(
        "minor blues with a ii V",
        "Cm6|Fm7|Cm6|Cm7|Fm7|Fm7|Cm6|Cm6|Dm7b5|G7|Cm6|Dm7b5 G7",
        "C minor",
        idiom="minor blues",
    ),
    one(
        "minor blues in fast time",
        "Cm|Cm|Cm|Cm|Cm|Cm|C7|C7|Fm|Fm|Fm|Fm|Cm|Cm|Cm|Cm|Ab7|Ab7|G7|G7|Cm|Cm|G7|G7",
        "C minor",
        idiom="minor blues",
    ),
    one("eight-bar blues", "C7|G7|F7|F7|C7|G7|C7|G7", "C major", idiom="blues"),
    # One key
    one("three chords", "C|F|G7|C|C|F|G7|C", "C major"),
    one("I V vi IV", "C|G|Am|F|C|G|Am|F|C", "C major"),
    one("I vi IV V", "C|Am|F|G|C|Am|F|G|C", "C major"),
    one("I vi ii V", "Cmaj7|Am7|Dm7|G7|Cmaj7|Am7|Dm7|G7|Cmaj7", "C major"),
    one("falling bass", "C|G/B|Am|C/G|F|C/E|Dm7|G7|C", "C major"),
    one("steps and fifths", "C|G|Am|Em|F|C|F|G|C|G|Am|Em|F|C|F G|C", "C major"),
    one("ii V I", "Dm7|G7|Cmaj7|Cmaj7|Dm7|G7|C6|C6", "C major"),
    one("ii V i", "Dm7b5|G7|Cm|Cm|Dm7b5|G7|Cm|Cm", "C minor"),
    one("tritone substitute", "Cmaj7|Am7|Dm7|Db7|Cmaj7|Am7|Dm7 Db7|Cmaj7", "C major"),
    one("minor with its dominant", "Am|E7|Am|E7|Am|Dm|E7|Am", "A minor"),
    one("minor plagal vamp", "Am|Dm|Am|Dm|Am|Dm|Am|Am", "A minor"),
    one("Neapolitan", "Cm|Fm|Cm|G7|Cm|Db/F|G7|Cm", "C minor"),
    one("Picardy third", "Cm|Fm|G7|Cm|Ab|Fm|G7|C", "C minor"),
    one("i flat VII flat VI V", "Am|G|F|E|Am|G|F|E|Am", "A minor"),
    one("ragtime wheel", "C|E7|A7|A7|D7|G7|C|G7|C|E7|A7|A7|D7|G7|C|C", "C major"),
    one("applied dominants", "C|C7|F|D7|G|E7|Am|D7 G7|C|C7|F|Fm|C|G7|C|C", "C major"),
    one(
        "four bars on V in sixteen",
        "D|G|D|A|A|Bm|E7|A|D|G|D|Em|D|A7|D|D",
        "D major",
    ),
    one(
        "power chords on I, flat III and IV",
        "A5|C5|D5|A5|A5|C5|D5|A5|A5|C5|G5|D5|A5|C5|D5|A5",
        "A minor",
    ),
    one("plagal vamp", "C|F|C|F|C|F|C|F|C", "C major"),
    one("common-tone diminished", "C|Cdim7|C|G7|C|Cdim7|C G7|C", "C major"),
    one("passing diminished", "C|C#dim7|Dm7|D#dim7|C/E|A7|Dm7 G7|C", "C major"),
    one("minor iv", "C|F|Fm|C|C|F|Fm|C", "C major"),
    one("backdoor", "Cmaj7|Fm7|Bb7|Cmaj7", "C major"),
    one(
        "backdoor in a longer tune",
        "Cmaj7|Dm7 G7|Cmaj7|Fm7 Bb7|Cmaj7|A7|Dm7 G7|C6",
        "C major",
    ),
    one("flat VI flat VII I", "C|F|G|C|C|Ab|Bb|C", "C major"),
    one("I flat III IV", "C|Eb|F|C|C|Eb|F|C", "C major"),
    one("tonic pedal", "C|F/C|Fm/C|C|C|G7/C|F/C|C", "C major"),
    one("line in minor", "Am|Am(maj7)|Am7|Am6|Dm|Dm|E7|Am", "A minor"),
    one("line in major", "C|Cmaj7|C7|F|Fm|C|G7|C", "C major"),
    one("rising line in major", "C|C+|C6|C7|F|Fm|C G7|C", "C major"),
    one("deceptive ending", "C|Am|F|G7|C|F|G7|Am", "C major"),
    one("suspended ending", "C|F|Fm6|C|F|G7|C|G7sus4", "C major"),
    one("ii V of ii and of IV", "C|Em7b5 A7|Dm7|Gm7 C7|F|Fm|C|Dm7 G7|C", "C major"),
    one("chain of ii V", "Em7|A7|Dm7|G7|Em7|A7|Dm7 G7|Cmaj7", "C major"),
    one(
        "falling chain of ii V",
        "Cmaj7|Bm7b5 E7|Am7 D7|Gm7 C7|F7|Em7 A7|Dm7 G7|C6",
        "C major",
    ),
    one("quick cycle of thirds", "Cmaj7 Eb7|Abmaj7 B7|Emaj7 G7|Cmaj7", "C major"),
    one("one chord", "Dm7|Dm7|Dm7|Dm7|Dm7|Dm7|Dm7|Dm7", "D minor"),
    # Modes
    one("I flat VII IV", "C|Bb|F|C|C|Bb|F|C", "C mixolydian"),
    one("mixolydian vamp", "C|Bb|C|Bb|C|Bb|C|C", "C mixolydian"),
    one("mixolydian with minor v", "C|Gm|C|Gm|F|C|Gm|C", "C mixolydian"),
    one("dorian vamp", "Dm7|G7|Dm7|G7|Dm7|G7|Dm7|Dm7", "D dorian"),
    one("dorian i IV", "Am|D|Am|D|Am|D|Am|D", "A dorian"),
    one("aeolian vamp", "Am|F|G|Am|Am|F|G|Am", "A minor"),
    one("aeolian with minor v", "Am|Em|F|G|Am|Em|F G|Am", "A minor"),
    one("phrygian vamp", "Em|F|Em|F|Em|F|Em|Em", "E phrygian"),
    # Sections
    one(
        "rhythm changes",
        f"[A]{TURN}|C G7|[A]{TURN}|C|[B]E7|E7|A7|A7|D7|D7|G7|G7|[A]{TURN}|C",
        "C major",
    ),
    one(
        "AABA",
        f"[A]{PLAIN}|[A]{PLAIN}|[B]F|Fm|C|A7|D7|D7|G7|G7|[A]{PLAIN}",
        "C major",
    ),
    one(
        "verse of seven, chorus of five",
        "[Verse]C|F|C|G|Am|F|G|[Chorus]F|C|G|F|C|[Verse]C|F|C|G|Am|F|G|[Chorus]F|C|G|F|C",
        "C major",
    ),
    Form(
        "lift of a whole step",
        "[A]C|Am|F|G7|C|Am|F|G7|[A]D|Bm|G|A7|D|Bm|G A7|D",
        ((1, 8, "C major"), (9, 16, "D major")),
    ),
    Form(
        "lift of a half step",
        "[A]C|Am|Dm|G7|C|Am|Dm|G7|[A]Db|Bbm|Ebm|Ab7|Db|Bbm|Ebm Ab7|Db",
        ((1, 8, "C major"), (9, 16, "Db major")),
    ),
    Form(
        "lift of a whole step, nothing marked",
        "C|F|G|C|C|F|G|C|D|G|A7|D|D|G|A7|D",
        ((1, 8, "C major"), (9, 16, "D major")),
    ),
    Form(
        "relative verse and chorus",
        "[Verse]Am|Dm|E7|Am|Am|Dm|E7|Am|[Chorus]C|F|G7|C|C|F|G7|C",
        ((1, 8, "A minor"), (9, 16, "C major")),
    ),
    Form(
        "relative verse that ends on its dominant",
        "[Verse]Am|Dm|E7|Am|F|Dm|E7|E7|[Chorus]C|F|G7|C|C|F|G7|C"
        "|[Verse]Am|Dm|E7|Am|F|Dm|E7|Am",
        ((1, 8, "A minor"), (9, 16, "C major"), (17, 24, "A minor")),
    ),
    Form(
        "relative chorus on I V vi IV",
        "Am|G|F|E7|Am|G|F|E7|C|G|Am|F|C|G|F|G|Am|G|F|E7|Am|G|F|E7|C|G|Am|F|C|G|F G|C",
        (
            (1, 8, "A minor"),
            (9, 16, "C major"),
            (17, 24, "A minor"),
            (25, 32, "C major"),
        ),
    ),
    Form(
        "carol with a relative refrain",
        "[Verse]Em|B7|Em|Em|Em|B7|Em|Em|D|D|G|G|Am|B7|Em|D7"
        "|[Refrain]G|G|C|G|G|G|C|G|G|D|C|D7|G|C|G|G",
        ((1, 16, "E minor"), (17, 32, "G major")),
    ),
    Form(
        "carol with a relative refrain, nothing marked",
        "Em|Em|B7|Em|Em|Em|B7|Em|Em|D|G|D7|Am|Em B7|Em|D7"
        "|G|C|G|G|G|C|G|G|Em|C|G D7|Em|G|C|G|G",
        ((1, 16, "E minor"), (17, 32, "G major")),
    ),
    Form(
        "bridge in the relative major",
        "Dm|A7|Dm|A7|Gm|Dm|E7|A7|F|C7|F|C7|Bb|F|G7|C7|Dm|A7|Dm|A7|Gm|Dm|A7|Dm",
        ((1, 8, "D minor"), (9, 16, "F major"), (17, 24, "D minor")),
    ),
    Form(
        "parallel verse and chorus",
        "[Verse]Am|Dm|E7|Am|Am|Dm|E7|Am|[Chorus]A|D|E7|A|A|D|E7|A",
        ((1, 8, "A minor"), (9, 16, "A major")),
    ),
    Form(
        "bridge on the dominant",
        "[A]C|F|G7|C|C|F|G7|C|[B]G|C|D7|G|G|C|D7|G|[A]C|F|G7|C|C|F|G7|C",
        ((1, 8, "C major"), (9, 16, "G major"), (17, 24, "C major")),
    ),
    Form(
        "bridge on the flat third",
        "[A]C|Am7|Dm7|G7|C|Am7|Dm7 G7|C|[B]Ebmaj7|Cm7|Fm7|Bb7|Ebmaj7|Cm7|Fm7 Bb7|Eb"
        "|[A]C|Am7|Dm7|G7|C|Am7|Dm7 G7|C",
        ((1, 8, "C major"), (9, 16, "Eb major"), (17, 24, "C major")),
    ),
    Form(
        "centres a third apart",
        "[A]Dm7 G7|C|Dm7 G7|C|[B]Bbm7 Eb7|Ab|Bbm7 Eb7|Ab|[C]F#m7 B7|E|F#m7 B7|E"
        "|[A]Dm7 G7|C|Dm7 G7|C",
        ((1, 4, "C major"), (5, 8, "Ab major"), (9, 12, "E major"), (13, 16, "C major")),
    ),
    Form(
        "bridge on the flat third that has no V",
        "[A]C|Am|F|G|C|Am|F G|C|[B]Eb|Ab|Eb|Ab|Eb|Cm|Ab|G|[A]C|Am|F|G|C|Am|F G|C",
        ((1, 8, "C major"), (9, 15, "Eb major"), (16, 24, "C major")),
    ),
    Form(
        "bridge on the major sixth that has no V",
        "[A]C|Am|Dm|G|C|Am|Dm G|C|[B]A|D|A|D|A|F#m|D|G7|[A]C|Am|Dm|G|C|Am|Dm G|C",
        ((1, 8, "C major"), (9, 15, "A major"), (16, 24, "C major")),
    ),
    one(
        "chords of minor under a chorus that comes home",
        "[A]C|F|G|C|C|F|G|C|[B]Eb|Bb|F|C|Eb|Bb|F|C|[A]C|F|G|C|C|F|G|C",
        "C major",
    ),
    Form(
        "dorian vamps on two roots",
        "Cm7|F7|Cm7|F7|Bbm7|Eb7|Bbm7|Eb7|Cm7|F7|Cm7|F7|Bbm7|Eb7|Bbm7|Eb7",
        (
            (1, 4, "C dorian"),
            (5, 8, "Bb dorian"),
            (9, 12, "C dorian"),
            (13, 16, "Bb dorian"),
        ),
    ),
    Form(
        "lydian pedals on two roots",
        "Fmaj7|G/F|Fmaj7|G/F|Fmaj7|G/F|Fmaj7|Fmaj7"
        "|Abmaj7|Bb/Ab|Abmaj7|Bb/Ab|Abmaj7|Bb/Ab|Abmaj7|Abmaj7",
        ((1, 8, "F lydian"), (9, 16, "Ab lydian")),
    ),
    one(
        "blues on power chords",
        "E5|E5|E5|E7|A5|A7|E5|E5|B7|A7|E5|B7",
        "E major",
        idiom="blues",
    ),
    one(
        "phrygian dominant",
        "D|D|Gm|D|Cm|Eb|D|D|Gm|Gm|D|D|Cm|Eb|D|D",
        "D major",
        idiom=FREYGISH,
    ),
    one(
        "flamenco cadence",
        "E|F|E|E|Am|G|F|E|E|F|G|F|Am|G|F|E",
        "E major",
        idiom=FLAMENCO,
    ),
    # Centres that a ii V I confirms
    Form(
        "four bars on the flat second",
        "Cm7|Ab7|Dm7b5|G7|Cm7|Fm7|Dm7b5 G7|Cm7|Ebm7|Ab7|Dbmaj7|Dbmaj7|Dm7b5|G7|Cm6|Cm6",
        ((1, 8, "C minor"), (9, 12, "Db major"), (13, 16, "C minor")),
    ),
    Form(
        "centres that fall by whole tones",
        "Cmaj7|Dm7 G7|Cmaj7|Cmaj7|Cm7|F7|Bbmaj7|Bbmaj7|Bbm7|Eb7|Abmaj7|Abmaj7"
        "|Dm7|G7|Cmaj7|C6",
        ((1, 4, "C major"), (5, 8, "Bb major"), (9, 12, "Ab major"), (13, 16, "C major")),
    ),
    Form(
        "cycle of thirds, two bars each",
        "Cmaj7|Dm7 G7|Cmaj7|F#m7 B7|Emaj7|Bbm7 Eb7|Abmaj7|F#m7 B7|Emaj7|Dm7 G7|Cmaj7|C6",
        (
            (1, 3, "C major"),
            (4, 5, "E major"),
            (6, 7, "Ab major"),
            (8, 9, "E major"),
            (10, 12, "C major"),
        ),
    ),
    Form(
        "bridge on the third",
        "[A]C|Am|Dm|G7|C|Am|Dm7 G7|C|[B]E|C#m|F#m|B7|E|C#m|F#m B7|G7"
        "|[A]C|Am|Dm|G7|C|Am|Dm7 G7|C",
        ((1, 8, "C major"), (9, 15, "E major"), (16, 24, "C major")),
    ),
    one(
        "ii V I of IV and of V stay in the key",
        "Cmaj7|Gm7 C7|Fmaj7|Fmaj7|Am7 D7|Gmaj7|Dm7 G7|Cmaj7",
        "C major",
    ),
    one(
        "a bar of the flat sixth is no centre",
        "Cmaj7|Am7|Bbm7 Eb7|Abmaj7|Dm7|G7|C6|C6",
        "C major",
    ),
    # Sections in keys of their own
    one(
        "sixteens that begin on vi",
        "Am7|Dm7|G7|C C7|F|Bm7b5|E7|Am7 A7|Dm7|G7|C|Am7|Dm7|G7|C6|Bm7b5 E7"
        "|Am7|Dm7|G7|C C7|F|Bm7b5|E7|Am7 A7|Dm7|G7|Em7b5|A7|Dm7|G7|C6|C6",
        "C major",
    ),
    Form(
        "trio in the key of IV",
        "[A]F|F|C7|F|F|G7|C7|C7|F|F|C7|F|Bb|F|C7|F"
        "|[B]Dm|A7|Dm|A7|Dm|G7|C7|C7|F|F|C7|F|Bb|F|C7|F"
        "|[Trio]Bb|Bb|F7|Bb|Eb|Bb|C7|F7|Bb|Bb|F7|G7|Cm|Bb|F7|Bb",
        ((1, 32, "F major"), (33, 48, "Bb major")),
        printed="F major",
    ),
    Form(
        "verse in the minor of iii",
        "[Verse]Em|B7|Em|B7|Em|Am|F#7|B7|Em|B7|Em|Am|D7|G|Dm7|G7"
        "|[Chorus]C|Am|Dm7|G7|C|C7|F|Fm|C|A7|Dm7|G7|C|F|G7|C",
        ((1, 13, "E minor"), (14, 32, "C major")),
    ),
    Form(
        "chorus a step below its verse",
        "[Verse]B|G#m7|C#m7|F#7|B|G#m7|C#m7|E7|[Chorus]A|A/C#|D|D|A|A/C#|D|F#7"
        "|[Verse]B|G#m7|C#m7|F#7|B|G#m7|C#m7 F#7|B",
        ((1, 8, "B major"), (9, 15, "A major"), (16, 24, "B major")),
    ),
    Form(
        "centres on either side of the fifth",
        "Fm7|Bbm7|Eb7|Abmaj7|Dbmaj7|Dm7 G7|Cmaj7|Cmaj7"
        "|Cm7|Fm7|Bb7|Ebmaj7|Abmaj7|Am7b5 D7|Gmaj7|Gmaj7"
        "|Am7|D7|Gmaj7|Gmaj7|F#m7b5|B7|Emaj7|C7"
        "|Fm7|Bbm7|Eb7|Abmaj7|Bbm7|Eb7|Abmaj7|Abmaj7",
        (
            (1, 5, "Ab major"),
            (6, 8, "C major"),
            (9, 13, "Eb major"),
            (14, 20, "G major"),
            (21, 23, "E major"),
            (24, 32, "Ab major"),
        ),
    ),
    Form(
        "bridge that begins on its I, a half step up",
        "[A]Ebm7|Ebm7 Ab7|Dbmaj7|Fm7|Ebm7|Bbm7 Eb7|Ebm7 Ab7|Db6 A7"
        "|[B]Dmaj7|Em7 A7|F#m7 Bm7|Em7 A7|Dm7 G7|Cmaj7|Dm7 G7|C7 Ab7"
        "|[A]Ebm7|Ebm7 Ab7|Dbmaj7|Fm7|Ebm7|Bbm7 Eb7|Ebm7 Ab7|Db6",
        (
            (1, 8, "Db major"),
            (9, 12, "D major"),
            (13, 15, "C major"),
            (16, 24, "Db major"),
        ),
    ),
    Form(
        "bridge on the major sixth with its flat seventh",
        "[A]C|Cmaj7|C7|F|D7|G|Am Am(maj7)|Am7 D7|F|Eb G/D"
        "|[B]A|A|C#m/G#|F#m7 A/E|D G|A|A|C#m/G#|F#m7 A/E|D G"
        "|[A]C|Cmaj7|C7|F|D7|G|Am Am(maj7)|Am7 D7|F|Eb G/D|C",
        ((1, 10, "C major"), (11, 20, "A major"), (21, 31, "C major")),
    ),
    Form(
        "suspended chords that are stayed on",
        "D7sus4|%|%|%|F7sus4|%|%|%|D7sus4|%|%|%|F7sus4|%|%|%|Eb7sus4|%|%|%|Dbm7|%|%|%"
        "|D7sus4|%|%|%|F7sus4|%|%|%",
        (
            (1, 4, "D mixolydian"),
            (5, 8, "F mixolydian"),
            (9, 12, "D mixolydian"),
            (13, 16, "F mixolydian"),
            (17, 20, "Eb mixolydian"),
            (21, 24, "Db minor"),
            (25, 28, "D mixolydian"),
            (29, 32, "F mixolydian"),
        ),
    ),
    Form(
        "phrygian dominant with a strain on iv",
        "[A]D|D|Gm|D|Cm|Cm|D|D|[A]D|D|Gm|D|Cm|Cm|D|D"
        "|[B]Gm|Gm|Cm|Gm|F|Bb|Cm D|Gm|[C]D|Eb|D|Cm|D|Eb|Cm|D",
        ((1, 16, "D major"), (17, 24, "G minor"), (25, 32, "D major")),
        idiom=FREYGISH,
    ),
    # What is printed
    one(
        "I flat VII IV, mode printed",
        "A|G|D|A|A|G|D|A",
        "A mixolydian",
        printed="A mixolydian",
    ),
    one(
        "section that rests on I, ends suspended",
        "C|Fm6|C|F|Dm7|G7|C|G7sus4",
        "C major",
        printed="C major",
    ),
    one(
        "dorian with a step up",
        "Dm7|Dm7|Ebm7|Ebm7|Dm7|Dm7|G7|Dm7",
        "D dorian",
        printed="D dorian",
    ),
)
