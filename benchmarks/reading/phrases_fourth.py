"""Some seventy more phrases, written by hand before it was looked how they are read.

They were written notation by notation, with what hands do to each: signs of other
alphabets and keyboards, octaves left out after the first note, lengths beside degrees, two
notations in one line, what is copied from a page, a table or a chat, emoji, and writing
that runs from right to left. The meaning beside them is written as in
:mod:`benchmarks.reading.phrases`; ``⏎`` stands for a new line. Names of notes, syllables
and lengths are common practice, no source.

When they were first counted, 81 of 83 were read as meant, one was asked back (degrees in
groups that dashes join) and one wrong in silence: of ``G4/A4/B4/D5`` the strokes were
halves of ABC. Both are read since; so are small numbers below the line, wide letters, hats
over degrees, two eighths under a beam, and marks of the direction of writing, which were
refused.

Contents: FOURTH.
"""

from __future__ import annotations

from benchmarks.reading.phrases import Written

__all__ = ["FOURTH"]

NAMES = """
Bb4 D5 C5 Bb4 F4                  ==> Bb4 D5 C5 Bb4 F4
Bb4 D C Bb F                      ==> Bb4 D5 C5 Bb4 F4 or Bb4 D4 C4 Bb4 F4 or ask
F♯3, A3, D4, F♯4                  ==> F#3 A3 D4 F#4
F#3-A3-D4-F#4                     ==> F#3 A3 D4 F#4
A♭4 G4 F♯4 G4                     ==> Ab4 G4 F#4 G4
Cb5 Bb4 Ab4                       ==> Cb5 Bb4 Ab4
C♯₄ E₄ G♯₄ C♯₅                    ==> C#4 E4 G#4 C#5
(G4 A4 B4) (D5)                   ==> ask or G4 A4 B4 D5
G4/A4/B4/D5                       ==> ask or G4 A4 B4 D5
B-flat C D E-flat                 ==> Bb4 C5 D5 Eb5
G sharp A B C sharp               ==> G#4 A4 B4 C#5
C, E, G, then back to E           ==> ask
"""
GERMAN = """
Es D Es C As                      ==> Eb4 D4 Eb4 C4 Ab3 or Eb4 D4 Eb4 C4 Ab4
H C D Dis E                       ==> B4 C5 D5 D#5 E5
c' h a gis a                      ==> C5 B4 A4 G#4 A4
fis' e' d' cis' h a h cis'        ==> F#5 E5 D5 C#5 B4 A4 B4 C#5
"""
SOLFA = """
do mi so mi do                    ==> C4 E4 G4 E4 C4
d m s d' s m d                    ==> C4 E4 G4 C5 G4 E4 C4
do di re ri mi                    ==> C4 C#4 D4 D#4 E4
mi me re ra do                    ==> E4 Eb4 D4 Db4 C4
la, do re mi                      ==> A3 C4 D4 E4
Do Re Mi Fa Sol La Si Do          ==> C4 D4 E4 F4 G4 A4 B4 C5
do4 re4 mi4 sol4                  ==> C4 D4 E4 G4 or ask
ré mi fa♯ sol la                  ==> D4 E4 F#4 G4 A4
do# re# mi                        ==> C#4 D#4 E4
so so la so do' ti                ==> G4 G4 A4 G4 C5 B4
"""
DEGREES = """
1*1 1*1 5*1 5*1 6*1 6*1 5*2       ==> C4*1 C4*1 G4*1 G4*1 A4*1 A4*1 G4*2
5e 3q 5e 3q                       ==> G4*.5 E4*1 G4*.5 E4*1
1 2 b3 4 5 b6 7 1'                ==> C4 D4 Eb4 F4 G4 Ab4 B4 C5
8 7 6 5                           ==> C5 B4 A4 G4
5, 1 3 5 1'                       ==> G3 C4 E4 G4 C5
^1 ^2 ^3                          ==> C4 D4 E4 or ask
1̂ 2̂ 3̂ 5̂                           ==> C4 D4 E4 G4
in G: 1 3 5 3                     ==> C4 E4 G4 E4 or ask
1-2-3-1 1-2-3-1                   ==> C4 D4 E4 C4 C4 D4 E4 C4
5. 6. 1 2                         ==> G3 A3 C4 D4 or ask
"""
STEPS = """
+2 +2 +1 +2                       ==> C4 D4 E4 F4 G4
-1 -2 -2 +5                       ==> C4 B3 A3 G3 C4
up 2 up 2 down 4                  ==> C4 D4 E4 C4 or ask
+4,+3,+5                          ==> C4 E4 G4 C5
−2 −2 +4                          ==> C4 Bb3 Ab3 C4
"""
CONTOUR = """
up down up up same                ==> ^ v ^ ^ =
U D U U S                         ==> ^ v ^ ^ =
↑ ↓ ↑ ↑ →                         ==> ^ v ^ ^ = or ask
/ \\ / / -                         ==> ^ v ^ ^ = or ask
uudsu                             ==> ^ ^ v = ^
higher higher lower               ==> ^ ^ v or ask
"""
RHYTHM = """
q q h | q q h                     ==> ?*1 ?*1 ?*2 ?*1 ?*1 ?*2
quaver quaver crotchet            ==> ?*.5 ?*.5 ?*1
eighth eighth quarter             ==> ?*.5 ?*.5 ?*1
q. e q r:q                        ==> ask or ?*1.5 ?*.5 ?*1
♫ ♩ ♫ ♩                           ==> ?*.5 ?*.5 ?*1 ?*.5 ?*.5 ?*1
x x xx x                          ==> ask
1/4 1/8 1/8 1/4.                  ==> ask or ?*1 ?*.5 ?*.5 ?*1.5
"""
ABC = """
K:Em B2 GB e2 B2                  ==> B4*2 G4*1 B4*1 E5*2 B4*2
[M:6/8]G3 A3|B3 d3                ==> G4*3 A4*3 B4*3 D5*3
X:1⏎T:Two Bars⏎M:2/4⏎L:1/8⏎K:D⏎D2F2|A4|] ==> D4*2 F#4*2 A4*4
^F =F _E D                        ==> F#4*1 F4*1 Eb4*1 D4*1
c/2d/2 e f2                       ==> C5*.5 D5*.5 E5*1 F5*2
{g}f2 e2 (3dcB A2                 ==> F5*2 E5*2 D5*2/3 C5*2/3 B4*2/3 A4*2
"""
PASTED = """
phrase 3 5 3 1⏎tune 3 5 3 1        ==> ask or E4 G4 E4 C4
3 5 3 1 (4 notes, read as scale degrees, no rhythm given) ==> ask or E4 G4 E4 C4
G4 A4 B4 (3 notes, read as note names, no rhythm given) ==> ask or G4 A4 B4
Read it as note names: C4 D4 E4   ==> ask or C4 D4 E4
<p>Here are the notes: <b>C D E</b></p> ==> ask
1. C D E⏎2. F G A                  ==> ask
| C | Am | F | G |                ==> ask or C4 A4 F4 G4
Intro: Em C G D                   ==> ask
http://127.0.0.1:8000/find?phrase=1+2+3 ==> ask
"""
MIXED = """
C4 re mi F4                       ==> ask
1 2 mi fa 5                       ==> ask or C4 D4 E4 F4 G4
C4*1 D4*1 q q                     ==> ask or C4*1 D4*1 ?*1 ?*1
+2 +2 D4                          ==> ask
u d C4                            ==> ask
1 2 3 x 5                         ==> ask or C4 D4 E4 ? G4
"""
SIGNS = """
🎹 C4 E4 G4                        ==> ask or C4 E4 G4
C4 😀 E4                           ==> ask or C4 ? E4
דו רה מי                          ==> ask
שלום C D E                        ==> ask
ド レ ミ                            ==> ask or C4 D4 E4
до ре ми фа соль                  ==> ask or C4 D4 E4 F4 G4
Ｃ４　Ｄ４　Ｅ４                    ==> C4 D4 E4
C D E\u200fF G                     ==> C4 D4 E4 F4 G4
"""


def plain(phrase: str) -> str:
    """A phrase as it was typed, of several lines where it says so."""
    signs = {"⏎": "\n", "\\\\": "\\"}
    for sign, meant in signs.items():
        phrase = phrase.replace(sign, meant)
    return phrase.strip()


FOURTH = [
    Written(plain(phrase), f"fourth: {kind}", meant.strip())
    for kind, text in (
        ("names", NAMES),
        ("german", GERMAN),
        ("solfa", SOLFA),
        ("degrees", DEGREES),
        ("steps", STEPS),
        ("contour", CONTOUR),
        ("rhythm", RHYTHM),
        ("abc", ABC),
        ("pasted", PASTED),
        ("mixed", MIXED),
        ("signs", SIGNS),
    )
    for phrase, meant in (line.split(" ==> ") for line in text.strip().splitlines())
]
"""In all notations; ``kind`` says which."""
