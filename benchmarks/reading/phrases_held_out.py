"""A second hundred phrases, written by hand before it was looked how they are read.

They were written in one go, as a chorister, a fiddler, a jazz player, an organist who says
H, a pupil of solfège and a teacher of dictation would type them. When they were first
counted, 95 of 103 were read as meant, 6 asked back and 2 wrong in silence: a gap of dots
was passed over (it is asked about now), and of the triplet ``(3abc`` the meaning was
written down wrongly here (small letters of ABC rise from c, so that c lies below a); it was
mended. The meaning beside them is written as in :mod:`benchmarks.reading.phrases`. Names of
notes, syllables and lengths are common practice, no source.

Contents: HELD_OUT.
"""

from __future__ import annotations

from benchmarks.reading.phrases import Written

__all__ = ["HELD_OUT"]

NAMES = """
D F# A F# D                     ==> D4 F#4 A4 F#4 D4
d f# a d' a f# d                ==> D4 F#4 A4 D5 A4 F#4 D4
B-flat D F B-flat               ==> Bb4 D5 F5 Bb5
Ab Bb C Db Eb                   ==> Ab4 Bb4 C5 Db5 Eb5
G4, B4, D5, G5                  ==> G4 B4 D5 G5
E5 D#5 E5 D#5 E5 B4 D5 C5 A4    ==> E5 D#5 E5 D#5 E5 B4 D5 C5 A4
e d# e d# e b d c a             ==> E5 D#5 E5 D#5 E5 B4 D5 C5 A4
E E F G G F E D                 ==> E4 E4 F4 G4 G4 F4 E4 D4
EEFGGFED                        ==> E4 E4 F4 G4 G4 F4 E4 D4
E-E-F-G-G-F-E-D                 ==> E4 E4 F4 G4 G4 F4 E4 D4
C C G G A A G                   ==> C4 C4 G4 G4 A4 A4 G4
G3 C4 E4 G4 C5                  ==> G3 C4 E4 G4 C5
F♯ G A B♭ A                     ==> F#4 G4 A4 Bb4 A4
C# E G# B                       ==> C#4 E4 G#4 B4
Db F Ab C                       ==> Db4 F4 Ab4 C5
Fx G# A                         ==> F##4 G#4 A4 or ask
F## G# A                        ==> F##4 G#4 A4
Bbb Ab G                        ==> Bbb4 Ab4 G4
A B C# D E F# G# A              ==> A4 B4 C#5 D5 E5 F#5 G#5 A5
C natural D E flat              ==> C4 D4 Eb4
D, E, F sharp, G                ==> D4 E4 F#4 G4
(C E G)                         ==> C4 E4 G4
"A C E"                         ==> A4 C5 E5
B3 E4 F#4 G4                    ==> B3 E4 F#4 G4
A2 C3 E3 A3                     ==> A2 C3 E3 A3
C4/q E4/q G4/h                  ==> C4*1 E4*1 G4*2 or ask
G4 A4 B4 C5 | D5                ==> G4 A4 B4 C5 D5
D A D5                          ==> D4 A4 D5
"""
GERMAN = """
H C D E                         ==> B4 C5 D5 E5
cis d e fis                     ==> C#4 D4 E4 F#4
B A C H                         ==> Bb4 A4 C5 B4
D Es F G As                     ==> D4 Eb4 F4 G4 Ab4
fis' gis' a' h'                 ==> F#4 G#4 A4 B4
"""
ABC = """
G2 AB c2 BA                     ==> G4*1 A4*.5 B4*.5 C5*1 B4*.5 A4*.5
d>e f2 | e>d c2                 ==> D5*.75 E5*.25 F5*1 E5*.75 D5*.25 C5*1
K:D A | d2 fe d2 A              ==> A4*.5 D5*1 F#5*.5 E5*.5 D5*1 A4*.5
[K:G] G A B c                   ==> G4*1 A4*1 B4*1 C5*1
(3abc d2                        ==> A5*1/3 B5*1/3 C5*1/3 D5*1
c/2d/2 e f                      ==> C5*.5 D5*.5 E5*1 F5*1
"Am"A2 c "E"B2 ^G               ==> A4*2 C5*1 B4*2 G#4*1
|: G3 ABc :|                    ==> G4*3 A4*1 B4*1 C5*1
z2 G2 c2 e2                     ==> G4*2 C5*2 E5*2
{g}f2 e2 d4                     ==> F5*2 E5*2 D5*4
_B A G _E                       ==> Bb4 A4 G4 Eb4
D2F2A2 d4                       ==> D4*2 F4*2 A4*2 D5*4
"""
SOLFA = """
do do sol sol la la sol         ==> C4 C4 G4 G4 A4 A4 G4
sol do re mi                    ==> G3 C4 D4 E4
do mi sol do'                   ==> C4 E4 G4 C5
mi fa# sol                      ==> E4 F#4 G4
Do Re Mi Fa Sol La Si Do        ==> C4 D4 E4 F4 G4 A4 B4 C5
d r m f s                       ==> C4 D4 E4 F4 G4
s, d r m                        ==> G3 C4 D4 E4
la ti do re mi                  ==> A3 B3 C4 D4 E4
do re me fa so                  ==> C4 D4 Eb4 F4 G4
sol-mi-sol-mi                   ==> G4 E4 G4 E4
doh ray me fah soh              ==> C4 D4 E4 F4 G4
do, re, mi, do                  ==> C4 D4 E4 C4
DO RE MI                        ==> C4 D4 E4
re fa la do                     ==> D4 F4 A4 C5
"""
DEGREES = """
1 1 5 5 6 6 5                   ==> C4 C4 G4 G4 A4 A4 G4
3 2 1 2 3 3 3                   ==> E4 D4 C4 D4 E4 E4 E4
1-2-3-1                         ==> C4 D4 E4 C4
5, 1 2 3                        ==> G3 C4 D4 E4
1 b3 4 b5 5 b7 1'               ==> C4 Eb4 F4 Gb4 G4 Bb4 C5
1 ♭3 4 ♭5 5                     ==> C4 Eb4 F4 Gb4 G4
3 4 5 5 4 3 2 1                 ==> E4 F4 G4 G4 F4 E4 D4 C4
1 2 b3 5                        ==> C4 D4 Eb4 G4
1 #4 5                          ==> C4 F#4 G4
5q 5e 6e 5q 1'q 7h              ==> G4*1 G4*.5 A4*.5 G4*1 C5*1 B4*2
1^ 7 6 5                        ==> C5 B4 A4 G4 or ask
123 1 123 1                     ==> C4 D4 E4 C4 C4 D4 E4 C4
5 6 7 1' 2' 3'                  ==> G4 A4 B4 C5 D5 E5
^1 ^2 ^3                        ==> C4 D4 E4 or ask
scale degrees 1 3 5             ==> C4 E4 G4 or ask
1, 3, 5, 3, 1                   ==> C4 E4 G4 E4 C4
"""
STEPS = """
+2 +2 +1 -5                     ==> C4 D4 E4 F4 C4
+7 -7 +7                        ==> C4 G4 C4 G4
0 0 +4 -2                       ==> C4 C4 C4 E4 D4
+1, -1, +1                      ==> C4 C#4 C4 C#4
-1 -2 -2 +5                     ==> C4 B3 A3 G3 C4
+12 -12                         ==> C4 C5 C4
+3 +3 +3                        ==> C4 Eb4 Gb4 A4
"""
CONTOUR = """
up up down down                 ==> ^ ^ v v
U U D S                         ==> ^ ^ v =
uuddsu                          ==> ^ ^ v v = ^
up down same up                 ==> ^ v = ^
/ / \\ -                         ==> ^ ^ v = or ask
↑ ↑ ↓ →                         ==> ^ ^ v =
+ - + +                         ==> ^ v ^ ^
up, up, down                    ==> ^ ^ v
"""
RHYTHM = """
q q e e q                       ==> ?*1 ?*1 ?*.5 ?*.5 ?*1
h q q w                         ==> ?*2 ?*1 ?*1 ?*4
q. e q. e                       ==> ?*1.5 ?*.5 ?*1.5 ?*.5
crotchet crotchet minim         ==> ?*1 ?*1 ?*2
quaver quaver crotchet          ==> ?*.5 ?*.5 ?*1
ta ta ti-ti ta                  ==> ?*1 ?*1 ?*.5 ?*.5 ?*1
♩ ♪ ♪ ♩                         ==> ?*1 ?*.5 ?*.5 ?*1
dotted quarter eighth half      ==> ?*1.5 ?*.5 ?*2
1/4 1/8 1/8 1/2                 ==> ?*1 ?*.5 ?*.5 ?*2
"""
MIXED = """
5 ? ? 1'                        ==> G4 ? ? C5
C4 D4 ... G4                    ==> ask
1 2 3 do                        ==> ask
C E Q                           ==> ask
"""


HELD_OUT = [
    Written(phrase.strip(), "held out", meant.strip())
    for text in (NAMES, GERMAN, ABC, SOLFA, DEGREES, STEPS, CONTOUR, RHYTHM, MIXED)
    for phrase, meant in (line.split("==>") for line in text.strip().splitlines())
]
"""In all notations; ``kind`` says only that they are of this hundred."""
