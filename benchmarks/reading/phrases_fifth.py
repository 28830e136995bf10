"""A hundred more phrases, written by hand before it was looked how they are read.

They are what a teacher might paste or type who has never seen the program: letters with
octave marks, German and Romance names, numbered notation with dashes and rests, rhythm in
the words of five languages, chords and titles where a phrase belongs, tablature, lines that
a mail quotes, a whole tune that a field of one line has joined. The meaning beside them is
written as in :mod:`benchmarks.reading.phrases`; ``⏎`` stands for a new line. Names of
notes, syllables and lengths are common practice, no source.

When they were first counted, 89 of 112 were read as meant, 19 were asked back, and four
were wrong in silence: "G G D' D'" was read as going down (and two more with marks above),
and of "C E G, F A C" the comma was an octave. All are read as meant since but the last, of
which the other reading is offered.

Contents: FIFTH.
"""

from __future__ import annotations

from benchmarks.reading.phrases import Written
from benchmarks.reading.phrases_fourth import plain

__all__ = ["FIFTH"]

NAMES = """
C D E F G                         ==> C4 D4 E4 F4 G4
g a b c' d'                       ==> G4 A4 B4 C5 D5
Eb F G Bb c                       ==> Eb4 F4 G4 Bb4 C5
E♭4 F4 G4 B♭4 C5                  ==> Eb4 F4 G4 Bb4 C5
F# - G - A - B                    ==> F#4 G4 A4 B4
F#, G, A, B, C#                   ==> F#4 G4 A4 B4 C#5
c4 d4 e4 f4 | g2 g2               ==> ask or C5*4 D5*4 E5*4 F5*4 G5*2 G5*2
C E G, F A C                      ==> C4 E4 G4 F4 A4 C5
C D E E  F G\tA                   ==> C4 D4 E4 E4 F4 G4 A4
C D E F X G                       ==> ask
F sharp A C sharp                 ==> F#4 A4 C#5
B flat, C, D                      ==> Bb4 C5 D5
G G D' D' E' E' D'                ==> G4 G4 D5 D5 E5 E5 D5
D' G G                            ==> D5 G4 G4
C' C C' B                         ==> C5 C4 C5 B4
CDEFGAB                           ==> C4 D4 E4 F4 G4 A4 B4
GABcd                             ==> G4 A4 B4 C5 D5
F♯–A–C♯                           ==> F#4 A4 C#5
F♯ — A — C♯                       ==> F#4 A4 C#5
e5 d5 c5 b4 a4                    ==> E5 D5 C5 B4 A4
C4 q D4 e E4 e F4 h               ==> ask or C4*1 D4*1/2 E4*1/2 F4*2
C. D. E.                          ==> C4 D4 E4
"""
GERMAN = """
fis gis a h cis'                  ==> F#4 G#4 A4 B4 C#5
B A G F Es D                      ==> Bb4 A4 G4 F4 Eb4 D4 or ask
c d es f g as b c                 ==> C4 D4 Eb4 F4 G4 Ab4 Bb4 C5
C D E F G A H C                   ==> C4 D4 E4 F4 G4 A4 B4 C5
Cis Dis Eis                       ==> C#4 D#4 E#4
g, a, h, c d                      ==> G4 A4 B4 C5 D5
"""
SOLFA = """
do re mi fa sol la si do          ==> C4 D4 E4 F4 G4 A4 B4 C5
Do Ré Mi Fa Sol                   ==> C4 D4 E4 F4 G4
sol, do mi sol la sol             ==> G3 C4 E4 G4 A4 G4
d r m f s l t d'                  ==> C4 D4 E4 F4 G4 A4 B4 C5
s, d d m | s s m d                ==> G3 C4 C4 E4 G4 G4 E4 C4
do# re mi fa#                     ==> C#4 D4 E4 F#4
do re mib fa sol lab si do        ==> C4 D4 Eb4 F4 G4 Ab4 B4 C5
do diesis re mi bemolle           ==> C#4 D4 Eb4
fa dièse sol la si bémol          ==> F#4 G4 A4 Bb4
fa sostenido sol si bemol         ==> F#4 G4 Bb4
Sol4 La4 Si4 Do5                  ==> G4 A4 B4 C5
ut ré mi fa sol la                ==> C4 D4 E4 F4 G4 A4
la sib do re                      ==> A4 Bb4 C5 D5
La Si♭ Do Ré                      ==> A4 Bb4 C5 D5
re fa# la re'                     ==> D4 F#4 A4 D5
do re mi sool la                  ==> ask
so la so mi                       ==> G4 A4 G4 E4
di re ri mi                       ==> C#4 D4 D#4 E4
Mi Re Do Re Mi Mi Mi              ==> E4 D4 C4 D4 E4 E4 E4
do-re-mi-do                       ==> C4 D4 E4 C4
d1 r1 m1                          ==> ask or C5 D5 E5
d :r :m | s :- :m                 ==> ask or C4*1 D4*1 E4*1 G4*2 E4*1
"""
DEGREES = """
1 2 3 5 6 5 3 2 1                 ==> C4 D4 E4 G4 A4 G4 E4 D4 C4
1q 2e 3e 5h                       ==> C4*1 D4*1/2 E4*1/2 G4*2
1 2 b3 4 5 b6 7 8                 ==> C4 D4 Eb4 F4 G4 Ab4 B4 C5
1 1 5 5 6 6 5 -                   ==> C4*1 C4*1 G4*1 G4*1 A4*1 A4*1 G4*2
1 1 5 5 | 6 - 5 - | 4 4           ==> C4*1 C4*1 G4*1 G4*1 A4*2 G4*2 F4*1 F4*1
5 - - 3 2 1                       ==> G4*3 E4*1 D4*1 C4*1
5. 1 1 2 3                        ==> ask
5_ 5_ 6 5 1' 7                    ==> ask
0 0 5 5                           ==> ask
1-2-3-1-5                         ==> C4 D4 E4 C4 G4
1 - 2 - 3 - 5                     ==> C4 D4 E4 G4
1,2,3,1                           ==> C4 D4 E4 C4
1, 2, 3, 5                        ==> C4 D4 E4 G4
^3 ^2 ^1                          ==> E4 D4 C4
scale degrees 5 6 5 3             ==> G4 A4 G4 E4
5-6-5-3-1 (twice)                 ==> ask
2 2 1 2 2 2 1                     ==> D4 D4 C4 D4 D4 D4 C4
1 2 3 9 11                        ==> ask
12355321                          ==> C4 D4 E4 G4 G4 E4 D4 C4
1 3 5 | 1 3 5                     ==> C4 E4 G4 C4 E4 G4
5 1 1' 2' 3'                      ==> G4 C4 C5 D5 E5
3 2 1 2 3 3 3 rest 2 2 2          ==> ask
3 2 1 z 3 3 3                     ==> ask
5 ? 1 ? 3                         ==> G4 ? C4 ? E4
3b 2 1 7#                         ==> Eb4 D4 C4 B#4
+2 +2 +1 -5                       ==> C4 D4 E4 F4 C4
"""
CONTOUR = """
*RURURDD                          ==> = ^ = ^ = v v
*UUDDUR                           ==> ^ ^ v v ^ =
uurddu                            ==> ^ ^ = v v ^
up up down same                   ==> ^ ^ v =
↑ ↑ ↓ →                           ==> ^ ^ v =
"""
RHYTHM = """
crotchet crotchet quaver quaver minim    ==> ?*1 ?*1 ?*1/2 ?*1/2 ?*2
quarter quarter eighth eighth half       ==> ?*1 ?*1 ?*1/2 ?*1/2 ?*2
noire noire croche croche blanche        ==> ?*1 ?*1 ?*1/2 ?*1/2 ?*2
noire pointée croche double croche double croche ==> ?*3/2 ?*1/2 ?*1/4 ?*1/4
Viertel Achtel Achtel Halbe              ==> ?*1 ?*1/2 ?*1/2 ?*2
punktierte Viertel Achtel Halbe          ==> ?*3/2 ?*1/2 ?*2
semiminima croma croma minima            ==> ?*1 ?*1/2 ?*1/2 ?*2
negra con puntillo corchea negra         ==> ?*3/2 ?*1/2 ?*1
ta ta ti-ti ta                           ==> ?*1 ?*1 ?*1/2 ?*1/2 ?*1
1/4 1/4 1/8 1/8 1/2                      ==> ?*1 ?*1 ?*1/2 ?*1/2 ?*2
♩ ♩ ♫ ♩                                  ==> ?*1 ?*1 ?*1/2 ?*1/2 ?*1
q q e e h                                ==> ?*1 ?*1 ?*1/2 ?*1/2 ?*2
"""
ABC = """
X:1⏎T:Test⏎M:6/8⏎L:1/8⏎K:G⏎GAB d2B|    ==> G4*1/2 A4*1/2 B4*1/2 D5*1 B4*1/2
X:1 T:Test M:6/8 L:1/8 K:G GAB d2B|     ==> G4*1/2 A4*1/2 B4*1/2 D5*1 B4*1/2
T:A tune M:6/8 L:1/8 K:D dorian DEF G2A ==> D4*1/2 E4*1/2 F4*1/2 G4*1 A4*1/2
|: GAB d2B | dBA G3 :|                  ==> G4*1 A4*1 B4*1 D5*2 B4*1 D5*1 B4*1 A4*1 G4*3
^F G A _B c                             ==> F#4 G4 A4 Bb4 C5
"Am"A2 c2 | "F"f2 a2                    ==> A4 C5 F5 A5
G2 A2 B2 c4 | d4 c4                     ==> G4*1 A4*1 B4*1 C5*2 D5*2 C5*2
"""
ELSEWHERE = """
[Am] A C E [F] F A C              ==> ask
Am F C G                          ==> ask
I IV V I                          ==> ask
C#m7 D E                          ==> ask
Dm7, G7, Cmaj7                    ==> ask
Mary had a little lamb            ==> ask
e|--0--2--3--|⏎B|-----------|     ==> ask
> 5 6 5 3⏎> 2 1                   ==> G4 A4 G4 E4 D4 C4
💃 5 6 5                           ==> ask
ⅠⅡⅢ                               ==> ask
/ / \\\\ -                           ==> ask
long short short long             ==> ask
"""

FIFTH = [
    Written(plain(phrase), f"fifth: {kind}", meant.strip())
    for kind, text in (
        ("names", NAMES),
        ("german", GERMAN),
        ("solfa", SOLFA),
        ("degrees", DEGREES),
        ("contour", CONTOUR),
        ("rhythm", RHYTHM),
        ("abc", ABC),
        ("elsewhere", ELSEWHERE),
    )
    for phrase, meant in (line.split(" ==> ") for line in text.strip().splitlines())
]
"""In all notations, and what is none; ``kind`` says which."""
