"""Phrases as musicians write them, each with the reading that was meant beside it.

They were written by hand before anything was tried, so that they say what is meant and
not what is read. Pitch is given by note names (octave 4 starts on middle C, whose A is
the 440 Hz of ISO 16:1975), in C where a phrase names no key; what counts is the steps
from note to note, since a search goes through every key. A length in quarter notes
follows a star and stands only where the phrase states a rhythm; lengths count as they
are to each other. A contour is ``^ v =``; a note of which nothing is known is ``?``, of
which only the length is known ``?*1``; ``r*1`` is a rest and ``..`` a gap of any length.
``ask`` means that whoever types it should be asked, or told what is wrong; ``A or B``
that both are meant by some. One meaning was mended afterwards: the octaves of
"feed bad cabbage" are those of ABC, where small letters lie above capitals. Names of
notes, syllables and lengths are common practice, no source; the examples of the ABC
standard are those of sections 4.1 to 4.20 of version 2.1, from memory.

Contents: Written, WRITTEN.
"""

from __future__ import annotations

from typing import NamedTuple

__all__ = ["WRITTEN", "Written"]


class Written(NamedTuple):
    """A phrase, the kind of notation it is in, what is meant, and ``--as`` if told."""

    phrase: str
    kind: str
    meant: str
    notation: str = ""


NAMES = """
G A Bb C D                    ==> G4 A4 Bb4 C5 D5
G A B♭ C D                    ==> G4 A4 Bb4 C5 D5
g a bb c d                    ==> G4 A4 Bb4 C5 D5
C4 E4 G4 C5                   ==> C4 E4 G4 C5
c4 e4 g4 c5                   ==> C4 E4 G4 C5
F# A C# B                     ==> F#4 A4 C#5 B4
F# A C#5 B                    ==> F#4 A4 C#5 B4
f# a c# b                     ==> F#4 A4 C#5 B4
F♯ A C♯ B                     ==> F#4 A4 C#5 B4
F♯4 A4 C♯5 B4                 ==> F#4 A4 C#5 B4
Eb F G Ab Bb                  ==> Eb4 F4 G4 Ab4 Bb4
E♭4 F4 G4 A♭4                 ==> Eb4 F4 G4 Ab4
E-flat F G A-flat             ==> Eb4 F4 G4 Ab4
Eflat F G Aflat               ==> Eb4 F4 G4 Ab4
E flat, F, G, A flat          ==> Eb4 F4 G4 Ab4
F sharp G A D                 ==> F#4 G4 A4 D5 or F#4 G4 A4 D4
Fsharp G# A B                 ==> F#4 G#4 A4 B4
C D E F G A B C               ==> C4 D4 E4 F4 G4 A4 B4 C5
C, D, E, F                    ==> C4 D4 E4 F4
C - D - E - F                 ==> C4 D4 E4 F4
C-D-E-F-G                     ==> C4 D4 E4 F4 G4
C D E F | G A B               ==> C4 D4 E4 F4 G4 A4 B4
Bb C D Eb F                   ==> Bb4 C5 D5 Eb5 F5
Bb3 C4 D4 Eb4 F4              ==> Bb3 C4 D4 Eb4 F4
C5 B4 A4 G4 F4                ==> C5 B4 A4 G4 F4
C5 B A G F                    ==> C5 B4 A4 G4 F4
C6 A5 F5 C5                   ==> C6 A5 F5 C5
E2 G2 B2 E3                   ==> E2 G2 B2 E3
C-1 E-1 G-1                   ==> C-1 E-1 G-1 or ask
Cx D# E                       ==> C##4 D#4 E4
C## D# E                      ==> C##4 D#4 E4
F𝄪 G♯ A♯                      ==> F##4 G#4 A#4
B𝄫 A♭ G                       ==> Bbb4 Ab4 G4
Bbb Ab G                      ==> Bbb4 Ab4 G4
D♮ E♭ F♯ G                    ==> D4 Eb4 F#4 G4
D natural E flat F sharp G    ==> D4 Eb4 F#4 G4
B natural C D                 ==> B4 C5 D5
C D Eb F G Ab B C             ==> C4 D4 Eb4 F4 G4 Ab4 B4 C5
C4 D4 E♭4 F♯4                 ==> C4 D4 Eb4 F#4
C4 D4  E♭4  F♯4 G4            ==> C4 D4 Eb4 F#4 G4
C4,D4,E4,F4                   ==> C4 D4 E4 F4
C4-D4-E4                      ==> C4 D4 E4
C4|D4|E4|                     ==> C4 D4 E4
[C4 D4 E4 F4]                 ==> C4 D4 E4 F4
(C4, D4, E4, F4)              ==> C4 D4 E4 F4
"C4 D4 E4 F4"                 ==> C4 D4 E4 F4
C4; D4; E4; F4                ==> C4 D4 E4 F4
C4 → E4 → G4                  ==> C4 E4 G4
C4 > E4 > G4                  ==> C4 E4 G4 or ask
C4 E4 G4 and C5               ==> C4 E4 G4 C5 or ask
C4*1 D4*1 E4*2                ==> C4*1 D4*1 E4*2
C4 q D4 q E4 h                ==> C4*1 D4*1 E4*2
Bb*1 C*1 D*2                  ==> Bb4*1 C5*1 D5*2
G4 A4 B♭4 C5                  ==> G4 A4 Bb4 C5
60 62 64 65 67                ==> C4 D4 E4 F4 G4
67, 65, 64, 62, 60            ==> G4 F4 E4 D4 C4
c' d' e' f'                   ==> C5 D5 E5 F5
c'' b' a' g'                  ==> C6 B5 A5 G5 or C5 B4 A4 G4 or ask
Ab G F E                      ==> Ab4 G4 F4 E4
A# B C# D#                    ==> A#4 B4 C#5 D#5
Gb F Eb Db                    ==> Gb4 F4 Eb4 Db4
E D C D E E E                 ==> E4 D4 C4 D4 E4 E4 E4
EDCDEEE                       ==> E4 D4 C4 D4 E4 E4 E4
C D E C D E                   ==> C4 D4 E4 C4 D4 E4
Dies: D E F D                 ==> D4 E4 F4 D4 or ask
D,E,F,G,                      ==> D4 E4 F4 G4 or ask
"""

GERMAN = """
Fis A Cis H                   ==> F#4 A4 C#5 B4
c d e f g a h c               ==> C4 D4 E4 F4 G4 A4 B4 C5
C D E F G A H C               ==> C4 D4 E4 F4 G4 A4 B4 C5
B A C H                       ==> Bb4 A4 C5 B4
b-a-c-h                       ==> Bb4 A4 C5 B4
Es F G As B                   ==> Eb4 F4 G4 Ab4 Bb4
fis gis ais h                 ==> F#4 G#4 A#4 B4
c' d' e' h'                   ==> C4 D4 E4 B4 or ask
Des Es Ges As                 ==> Db4 Eb4 Gb4 Ab4
a b c d                       ==> A4 Bb4 C5 D5 @german
A B C D                       ==> A4 Bb4 C5 D5 @german
B C D Es                      ==> Bb4 C5 D5 Eb5
H C D E                       ==> B4 C5 D5 E5
Heses As G                    ==> Bbb4 Ab4 G4 or ask
fis' a' cis'' h'              ==> F#4 A4 C#5 B4 or ask
"""

ABC = """
K:C CDEF                      ==> C4*1 D4*1 E4*1 F4*1
K:G GABc d2                   ==> G4*1 A4*1 B4*1 C5*1 D5*2
K:F c3 d | f2 e2              ==> C5*3 D5*1 F5*2 E5*2
CDEF GABc                     ==> C4*1 D4*1 E4*1 F4*1 G4*1 A4*1 B4*1 C5*1
K:D d2 f2 a2                  ==> D5*2 F#5*2 A5*2
^F A ^c B                     ==> F#4*1 A4*1 C#5*1 B4*1
_B c d _e                     ==> Bb4*1 C5*1 D5*1 Eb5*1
K:G F =F ^F                   ==> F#4*1 F4*1 F#4*1
K:Bb B c d e                  ==> Bb4*1 C5*1 D5*1 Eb5*1
M:3/4 L:1/4 K:C C E G | c3    ==> C4*1 E4*1 G4*1 C5*3
L:1/8 K:C c>d e<f             ==> C5*3 D5*1 E5*1 F5*3
K:C C/ D/ E F2                ==> C4*1 D4*1 E4*2 F4*4
K:C C/2 D/2 E                 ==> C4*1 D4*1 E4*2
K:C (3CDE F2                  ==> C4*1/3 D4*1/3 E4*1/3 F4*1
K:C C3/2 D/2 E                ==> C4*3/2 D4*1/2 E4*1
K:Am A B c ^g a               ==> A4*1 B4*1 C5*1 G#5*1 A5*1
K:Ddor D E F G                ==> D4*1 E4*1 F4*1 G4*1
K:AMix A c e g                ==> A4*1 C#5*1 E5*1 G5*1
K:C C-C D E                   ==> C4*2 D4*1 E4*1
K:C C z D z E                 ==> C4*1 r*1 D4*1 r*1 E4*1
K:C C, D, E,                  ==> C3*1 D3*1 E3*1
K:C c' d' e'                  ==> C6*1 D6*1 E6*1
X:1 K:C CDE                   ==> C4*1 D4*1 E4*1
K:C "C"CDE "G"GAB             ==> C4*1 D4*1 E4*1 G4*1 A4*1 B4*1
K:C {d}C D E                  ==> C4*1 D4*1 E4*1
K:C |: C D E :|               ==> C4*1 D4*1 E4*1
K:C [K:G] F G A               ==> F#4*1 G4*1 A4*1
c2 d2 e4                      ==> C5*2 D5*2 E5*4 or ask
G2 A2 B2 c2                   ==> G4*2 A4*2 B4*2 C5*2 or ask
z G A B                       ==> G4*1 A4*1 B4*1 or ask
dBGB dgfe                     ==> D5*1 B4*1 G4*1 B4*1 D5*1 G5*1 F5*1 E5*1
GFGA BcdB                     ==> G4*1 F4*1 G4*1 A4*1 B4*1 C5*1 D5*1 B4*1
|:dBGB dgfe:|                 ==> D5*1 B4*1 G4*1 B4*1 D5*1 G5*1 F5*1 E5*1
E>F G2 | A2                   ==> E4*3/2 F4*1/2 G4*2 A4*2
K:C C D E F G A B c K:C       ==> C4*1 D4*1 E4*1 F4*1 G4*1 A4*1 B4*1 C5*1
K:Q C D E                     ==> ask
K:C C D E (3                  ==> ask or C4*1 D4*1 E4*1
"""

ABC_STANDARD = """
C, D, E, F, | G, A, B, C      ==> C3 D3 E3 F3 G3 A3 B3 C4 or C4 D4 E4 F4 G4 A4 B4 C5
K:C C D E F|G A B c           ==> C4 D4 E4 F4 G4 A4 B4 C5
K:C c d e f|g a b c'          ==> C5 D5 E5 F5 G5 A5 B5 C6
K:C __A _A =A ^A ^^A          ==> Abb4 Ab4 A4 A#4 A##4
K:C A2 A A/2 A/4              ==> A4*2 A4*1 A4*1/2 A4*1/4
K:C A// A/ A                  ==> A4*1/4 A4*1/2 A4*1
K:C A>B c<d                   ==> A4*3 B4*1 C5*1 D5*3
K:C A>>B c<<d                 ==> A4*7 B4*1 C5*1 D5*7
K:C (3abc (2ab c2             ==> A5*2/3 B5*2/3 C5*2/3 A5*3/2 B5*3/2 C5*2 or ask
K:C abc-cba                   ==> A5*1 B5*1 C5*2 B5*1 A5*1
K:C a-|a b c                  ==> A5*2 B5*1 C5*1
K:C .a ~b Hc                  ==> A5*1 B5*1 C5*1
K:C !trill!a b c              ==> A5*1 B5*1 C5*1
"""

SOLFA = """
do re mi                      ==> C4 D4 E4
Do Re Mi Fa Sol La Ti Do      ==> C4 D4 E4 F4 G4 A4 B4 C5
do re mi fa so la ti do       ==> C4 D4 E4 F4 G4 A4 B4 C5
DO RE MI                      ==> C4 D4 E4
do-re-mi-fa                   ==> C4 D4 E4 F4
do, re, mi, fa                ==> C4 D4 E4 F4 or ask
do ti la sol                  ==> C5 B4 A4 G4
do ti do                      ==> C4 B3 C4
mi re do                      ==> E4 D4 C4
sol mi do                     ==> G4 E4 C4
sol la ti do'                 ==> G4 A4 B4 C5
do' ti la sol                 ==> C5 B4 A4 G4
sol, do re mi                 ==> G3 C4 D4 E4
do di re ri mi                ==> C4 C#4 D4 D#4 E4
mi me re ra do                ==> E4 Eb4 D4 Db4 C4
la te le sol                  ==> A4 Bb4 Ab4 G4 or ask
sol fi sol                    ==> G4 F#4 G4
la si la                      ==> A4 B4 A4 or A4 G#4 A4 or ask
ut ré mi                      ==> C4 D4 E4
do ré mi fa sol               ==> C4 D4 E4 F4 G4
do re mi*2                    ==> C4*1 D4*1 E4*2
do*1 re*1 mi*2                ==> C4*1 D4*1 E4*2
d r m f s                     ==> C4 D4 E4 F4 G4 or ask
d r m                         ==> C4 D4 E4 or ask
s l t d'                      ==> G4 A4 B4 C5 @tonic-solfa
do re mi fa sol la si do      ==> C4 D4 E4 F4 G4 A4 B4 C5
do do sol sol la la sol       ==> C4 C4 G4 G4 A4 A4 G4
dol re mi                     ==> ask
do re mee                     ==> ask
do# re fa#                    ==> C#4 D4 F#4 or ask
sib do re mib                 ==> Bb4 C5 D5 Eb5 or ask
do re mi @fixed               ==> C4 D4 E4 or ask
la do mi la                   ==> A4 C5 E5 A5 @fixed-do
doremi                        ==> C4 D4 E4 or ask
"""

DEGREES = """
1 2 3 4 5                     ==> C4 D4 E4 F4 G4
5 1' 7 6 5 3                  ==> G4 C5 B4 A4 G4 E4
5 1' 7 b6 5                   ==> G4 C5 B4 Ab4 G4
1 b3 4 #4 5                   ==> C4 Eb4 F4 F#4 G4
1 ♭3 4 ♯4 5                   ==> C4 Eb4 F4 F#4 G4
1 3b 5                        ==> C4 Eb4 G4
1 2 b3                        ==> C4 D4 Eb4
12345                         ==> C4 D4 E4 F4 G4
1 1 5 5 6 6 5                 ==> C4 C4 G4 G4 A4 A4 G4
1-2-3-5                       ==> C4 D4 E4 G4
1, 2, 3, 5                    ==> C4 D4 E4 G4
1,2,3,5                       ==> C4 D4 E4 G4
5, 1 2 3                      ==> G3 C4 D4 E4
5,1 2 3                       ==> G3 C4 D4 E4 or ask
1 7, 1                        ==> C4 B3 C4
1 7 1                         ==> C4 B3 C4 or C4 B4 C4
1 2 3 | 4 5 6                 ==> C4 D4 E4 F4 G4 A4
1*1 2*1 3*2                   ==> C4*1 D4*1 E4*2
5*1/2 6*1/2 5 3*2             ==> G4*1/2 A4*1/2 G4*1 E4*2
5*.5 6*.5 5*1 3*2             ==> G4*1/2 A4*1/2 G4*1 E4*2
5*1.5 6*0.5 5*2               ==> G4*3/2 A4*1/2 G4*2
5*3/2 6*1/2 5*2               ==> G4*3/2 A4*1/2 G4*2
5q 6e 5e 3h                   ==> G4*1 A4*1/2 G4*1/2 E4*2
5q. 6e 5h                     ==> G4*3/2 A4*1/2 G4*2
5:1 6:1/2 5:1/2 3:2           ==> G4*1 A4*1/2 G4*1/2 E4*2 or ask
1 quarter 2 eighth 3 eighth   ==> C4*1 D4*1/2 E4*1/2 or ask
8 7 6 5                       ==> C5 B4 A4 G4
1 3 5 8                       ==> C4 E4 G4 C5
1 2 3 9                       ==> C4 D4 E4 D5 or ask
^1 ^2 ^3                      ==> C4 D4 E4 or ask
1̂ 2̂ 3̂ 5̂                    ==> C4 D4 E4 G4 or ask
1.2.3.5                       ==> C4 D4 E4 G4 or ask
3 2 1, 3 2 1                  ==> E4 D4 C4 E4 D4 C4 or E4 D4 C3 E4 D4 C4 or ask
1 2 ♮3 4                      ==> C4 D4 E4 F4
1 bb7 6                       ==> C4 Bbb4 A4
1 flat3 4                     ==> C4 Eb4 F4
1 flat 3 4                    ==> C4 Eb4 F4
one two three                 ==> C4 D4 E4 or ask
first third fifth             ==> ask or C4 E4 G4
minor: 1 2 3 4 5              ==> C4 D4 Eb4 F4 G4 or ask
1 2 3 4 5 6 7 1               ==> C4 D4 E4 F4 G4 A4 B4 C5 or C4 D4 E4 F4 G4 A4 B4 C4
３ ２ １ ２                   ==> E4 D4 C4 D4
①②③                          ==> C4 D4 E4 or ask
1 2 3 0 5                     ==> ask or C4*1 D4*1 E4*1 r*1 G4*1
1 2 3 - 5                     ==> ask
1 2 x 5                       ==> C4 D4 ? G4 or ask
degree 3 5 3 1                ==> E4 G4 E4 C4
1 2 3 4 5 (in G)              ==> C4 D4 E4 F4 G4 or ask
"""

STEPS = """
+2 +2 +1                      ==> C4 D4 E4 F4
+2 +2 -4                      ==> C4 D4 E4 C4
-1 +2                         ==> C4 B3 C#4
-2 -2 -1                      ==> C4 Bb3 Ab3 G3
+2, +2, +1                    ==> C4 D4 E4 F4
+2 0 -2                       ==> C4 D4 D4 C4
0 +2 +4                       ==> C4 C4 D4 F#4 or ask
2 2 1 2                       ==> D4 D4 C4 D4 or C4 D4 E4 F4 G4
−2 −2 −1                      ==> C4 Bb3 Ab3 G3
–2 –2 –1                      ==> C4 Bb3 Ab3 G3
+2 -2 +12                     ==> C4 D4 C4 C5
+12 -12 +7                    ==> C4 C5 C4 G4
+2+2-4                        ==> C4 D4 E4 C4 or ask
+2 2 -4                       ==> C4 D4 E4 C4 or ask
2 2 -4                        ==> C4 D4 E4 C4 or ask
+0 +0 +0 -4                   ==> C4 C4 C4 C4 Ab3
M2 M2 m2                      ==> C4 D4 E4 F4 or ask
+M2 +M2 -M3                   ==> C4 D4 E4 C4 or ask
up 2 up 2 down 4              ==> C4 D4 E4 C4 or ask
up a third, down a second     ==> ask
+2*1 +2*1 -4*2                ==> ask or C4 D4*1 E4*1 C4*2
+ 2 + 2 - 4                   ==> C4 D4 E4 C4 or ask
+2 +2 +1 +2 +2 +2 +1          ==> C4 D4 E4 F4 G4 A4 B4 C5
+99 -99 +1                    ==> ask
+2.5 +1 +1                    ==> ask
＋2 ＋2 －4                    ==> C4 D4 E4 C4
"""

CONTOUR = """
u u d s                       ==> ^ ^ v =
U U D S                       ==> ^ ^ v =
uuds                          ==> ^ ^ v =
UUDS                          ==> ^ ^ v =
up up down same               ==> ^ ^ v =
Up, up, down, same            ==> ^ ^ v =
up up down level              ==> ^ ^ v = or ask
+ + - 0                       ==> ^ ^ v =
++-0                          ==> ^ ^ v =
+ + - =                       ==> ^ ^ v = or ask
+ + − 0                       ==> ^ ^ v =
+ + – 0                       ==> ^ ^ v =
/ / \\ -                      ==> ^ ^ v = or ask
/ / \\ /                      ==> ^ ^ v ^ or ask
↑ ↑ ↓ →                       ==> ^ ^ v =
↑↑↓↑                          ==> ^ ^ v ^
↗ ↗ ↘ →                       ==> ^ ^ v =
* u u d r                     ==> ^ ^ v = or ask
*UUDR                         ==> ^ ^ v = or ask
u u d r                       ==> ^ ^ v = or ask
u d u d u d                   ==> ^ v ^ v ^ v
up down up down               ==> ^ v ^ v
rise rise fall                ==> ^ ^ v or ask
higher lower same             ==> ^ v = or ask
u d                           ==> ^ v or ask
d d d                         ==> v v v or ask
d d u d                       ==> v v ^ v
s s d s u                     ==> = = v = ^ or ask
up up sideways                ==> ask
u-u-d-s                       ==> ^ ^ v =
contour: u u d                ==> ^ ^ v or ask
steigt steigt fällt           ==> ask
"""

RHYTHM = """
q q h                         ==> ?*1 ?*1 ?*2
q e e q h                     ==> ?*1 ?*1/2 ?*1/2 ?*1 ?*2
q. e q q                      ==> ?*3/2 ?*1/2 ?*1 ?*1
h q q w                       ==> ?*2 ?*1 ?*1 ?*4
e e q e e q                   ==> ?*1/2 ?*1/2 ?*1 ?*1/2 ?*1/2 ?*1
s s e q                       ==> ?*1/4 ?*1/4 ?*1/2 ?*1
Q Q H                         ==> ?*1 ?*1 ?*2
qqh                           ==> ?*1 ?*1 ?*2 or ask
quarter quarter half          ==> ?*1 ?*1 ?*2
quarter eighth eighth half    ==> ?*1 ?*1/2 ?*1/2 ?*2
dotted quarter eighth half    ==> ?*3/2 ?*1/2 ?*2
quarter, eighth, eighth       ==> ?*1 ?*1/2 ?*1/2
crotchet quaver quaver minim  ==> ?*1 ?*1/2 ?*1/2 ?*2
dotted crotchet quaver minim  ==> ?*3/2 ?*1/2 ?*2
crotchets: 1 1 2              ==> ?*1 ?*1 ?*2 or ask
semibreve minim minim         ==> ?*4 ?*2 ?*2
quaver semiquaver semiquaver  ==> ?*1/2 ?*1/4 ?*1/4
1/4 1/8 1/8 1/2               ==> ?*1 ?*1/2 ?*1/2 ?*2
1/4, 1/8, 1/8, 1/2            ==> ?*1 ?*1/2 ?*1/2 ?*2
3/8 1/8 1/4 1/4               ==> ?*3/2 ?*1/2 ?*1 ?*1
1/4. 1/8 1/2                  ==> ?*3/2 ?*1/2 ?*2
1 1 2 1 1 2                   ==> ?*1 ?*1 ?*2 ?*1 ?*1 ?*2 @rhythm
3 1 2 2                       ==> ?*3 ?*1 ?*2 ?*2 @rhythm
*1 *1 *2                      ==> ?*1 ?*1 ?*2
*1.5 *.5 *1                   ==> ?*3/2 ?*1/2 ?*1
♩ ♪ ♪ ♩                       ==> ?*1 ?*1/2 ?*1/2 ?*1
♩♪♪♩                          ==> ?*1 ?*1/2 ?*1/2 ?*1
♩. ♪ ♩ ♩                      ==> ?*3/2 ?*1/2 ?*1 ?*1
𝅗𝅥 ♩ ♩                         ==> ?*2 ?*1 ?*1
q q q q | h h                 ==> ?*1 ?*1 ?*1 ?*1 ?*2 ?*2
q r q q                       ==> ?*1 r*1 ?*1 ?*1 or ask
halves quarters               ==> ask
rhythm: q q h                 ==> ?*1 ?*1 ?*2
q q xyz                       ==> ask
triplet triplet triplet q     ==> ?*1/3 ?*1/3 ?*1/3 ?*1 or ask
long short short long         ==> ask
q q e. s q                    ==> ?*1 ?*1 ?*3/4 ?*1/4 ?*1
half note quarter note quarter note ==> ?*2 ?*1 ?*1
Viertel Achtel Achtel Halbe   ==> ask or ?*1 ?*1/2 ?*1/2 ?*2
"""

MIXED = """
5*1 ?*1 1'*2                  ==> G4*1 ?*1 C5*2
5 ? 1' 7                      ==> G4 ? C5 B4
5 1' ? ? 7 6                  ==> G4 C5 ? ? B4 A4
? 5 1' 7                      ==> ? G4 C5 B4 or ask
5 1' ... 7 6                  ==> G4 C5 .. B4 A4 or ask
5 1' … 7 6                    ==> G4 C5 .. B4 A4 or ask
C4 ? E4 F4                    ==> C4 ? E4 F4
C D ? F G                     ==> C4 D4 ? F4 G4
do re ? fa                    ==> C4 D4 ? F4
1 2 3 q q h                   ==> C4 D4 E4 ?*1 ?*1 ?*2 or ask
5*1 1'*1 ?*2 ?*1              ==> G4*1 C5*1 ?*2 ?*1
do 2 mi                       ==> ask
C4 5 u                        ==> ask
1 2 D E                       ==> ask
+2 +2 D                       ==> ask
u u +2                        ==> ask
do D mi                       ==> ask
C D E q q                     ==> ask
5 b6 H                        ==> ask
C4 do E4                      ==> ask
"""

PASTED = """
tune   C♯5 E5 C♯5 A4 C♯5      ==> C#5 E5 C#5 A4 C#5
phrase  E4 G4  E4 C4  E4      ==> E4 G4 E4 C4 E4
degree   3  5   3  1   3      ==> E4 G4 E4 C4 E4
degree  ♭3  5  ♭3  1  4  ♭6   ==> Eb4 G4 Eb4 C4 F4 Ab4
own    G4 B♭4 E♭5 B♭4         ==> G4 Bb4 Eb5 Bb4
A      C♯5 E5 C♯5 A4          ==> C#5 E5 C#5 A4
B      F4 A4  F4 D4           ==> F4 A4 F4 D4
3 5 3 1 3 1 4 6 4 3 1  (11 notes, read as scale degrees; 61 tunes searched) \
==> E4 G4 E4 C4 E4 C4 F4 A4 F4 E4 C4
1 2 3  (3 notes, read as scale degrees) ==> C4 D4 E4
degree   3  5   3  1\\n           ●  ●   ●  ●\\ndegree   3  5   3  1\\ntune   C♯5 E5 \
==> ask
tune   C♯5 E5 C♯5 A4\\n bar 1 2 ==> C#5 E5 C#5 A4 or ask
| 1 5 6 3 | 4 6 5             ==> C4 G4 A4 E4 F4 A4 G4
1  C major  4/4   2           ==> ask
I vi IV V                     ==> ask
Dm7 G7 Cmaj7                  ==> ask
C Am F G7                     ==> ask
<b>C4</b> <i>D4</i> E4        ==> ask or C4 D4 E4
<html><body><p>Notes: C D E</p></body></html> ==> ask
https://example.org/tune?notes=CDE ==> ask
The melody goes C, D, E and then back to C. ==> ask
X:1\\nT:Test\\nM:4/4\\nL:1/4\\nK:G\\nG A B c | d2 d2 |] ==> G4*1 A4*1 B4*1 C5*1 D5*2 D5*2
T:Air\\nK:D\\nd e f g         ==> D5*1 E5*1 F#5*1 G5*1
C4 D4\\nE4 F4                 ==> C4 D4 E4 F4
1 2 3\\n4 5 6                 ==> C4 D4 E4 F4 G4 A4
C4\\tD4\\tE4                  ==> C4 D4 E4
\u00a01\u00a02\u00a03         ==> C4 D4 E4
1\u200b 2\u200b 3             ==> C4 D4 E4 or ask
\ufeff1 2 3                   ==> C4 D4 E4
&#9837;3 4 5                  ==> ask
5&nbsp;1&nbsp;7               ==> ask
"""

BAD = """
                              ==> ask
?                             ==> ask
5                             ==> ask
5 1                           ==> ask or G4 C4
C4                            ==> ask
🎵 🎶 🎵                      ==> ask
5 1' 🎵 7                     ==> ask
😀😀😀😀                      ==> ask
1 2 3 😀                      ==> ask
دو ري مي                      ==> ask
\u202e1 2 3\u202c             ==> ask or C4 D4 E4
שיר חדש                       ==> ask
до ре ми                      ==> ask or C4 D4 E4
ド レ ミ                      ==> ask or C4 D4 E4
你好吗                        ==> ask
hello world                   ==> ask
the quick brown fox           ==> ask
yesterday                     ==> ask
happy birthday                ==> ask
Au clair de la lune           ==> ask
feed bad cabbage              ==> ask or F5 E5 E5 D5 B5 A5 D5 C5 A5 B5 B5 A5 G5 E5
abcdefgh                      ==> ask
1 2 3 4 5 6 7 8 9 10 11       ==> ask
1 2 3 -- drop table tune      ==> ask
'; drop table tune; --        ==> ask
../../etc/passwd              ==> ask
%s %s %s                      ==> ask
{{7*7}}                       ==> ask
\\x00\\x01\\x02               ==> ask
null                          ==> ask
NaN NaN NaN                   ==> ask
1e5 2e5 3e5                   ==> ask or C4*1/2 ..
99999999999999999999 1 2      ==> ask
5*0 1*0 2*0                   ==> ask
5*-1 1 2                      ==> ask
5*99999999 1 2                ==> ask
5*1/0 1 2                     ==> ask
5* 1* 2*                      ==> ask
*                             ==> ask
----                          ==> ask or v v v v
++++                          ==> ^ ^ ^ ^ or ask
0 0 0                         ==> = = = or ask
C9 D9 E9                      ==> C9 D9 E9 or ask
C12 D12 E12                   ==> ask
Hb C D                        ==> ask
E# F## Gbbb                   ==> ask
b b b                         ==> ask or B4 B4 B4 or Bb4 Bb4 Bb4
# # #                         ==> ask
G A Bv C                      ==> ask
C D E Fq                      ==> ask
C4 E4 G4 C5x                  ==> ask
3 5 3 1 3 1 4 6 4 3 l         ==> ask
5 1' 7 6 S 3                  ==> ask
do re mi fa soll              ==> ask
u u d k                       ==> ask
+2 +2 +a                      ==> ask
K:C C D E %                   ==> ask or C4*1 D4*1 E4*1
q q j                         ==> ask
"""


def lines_of(kind: str, text: str) -> list[Written]:
    """The phrases of one kind; ``\\n`` and ``\\t`` stand for a new line and a tab."""
    found = []
    for line in text.strip("\n").split("\n"):
        phrase, _, meant = line.partition("==>")
        meant, _, notation = meant.partition(" @")
        phrase = phrase.strip(" ").replace("\\n", "\n").replace("\\t", "\t")
        found.append(Written(phrase, kind, meant.strip(), notation.strip()))
    return found


LONG = (
    Written("5 1' 7 6 " * 1_111, "long", "ask"),
    Written("x" * 10_000, "long", "ask"),
    Written("C4 " * 3_334, "long", "ask"),
    Written("(" * 10_000, "long", "ask"),
    Written("♭" * 10_000, "long", "ask"),
    Written("u" * 10_000, "long", "ask"),
    Written("q " * 5_000, "long", "ask"),
    Written("🎵" * 10_000, "long", "ask"),
    Written("K:C " + "C" * 9_996, "long", "ask"),
    Written(" " * 10_000, "long", "ask"),
    Written("1 2 3" + " " * 9_995, "long", "C4 D4 E4"),
)

WRITTEN = (
    *lines_of("names", NAMES),
    *lines_of("german", GERMAN),
    *lines_of("abc", ABC),
    *lines_of("abc standard", ABC_STANDARD),
    *lines_of("solfa", SOLFA),
    *lines_of("degrees", DEGREES),
    *lines_of("steps", STEPS),
    *lines_of("contour", CONTOUR),
    *lines_of("rhythm", RHYTHM),
    *lines_of("mixed", MIXED),
    *lines_of("pasted", PASTED),
    *lines_of("bad", BAD),
    *LONG,
)
