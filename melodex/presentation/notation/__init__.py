"""Melodies as files of other programs: ABC, MusicXML, MIDI.

In: melodies, passages, comparisons. Out: text or bytes that a notation program or a
player opens.

``writing`` turns ticks into written notes, ``tuplets`` cuts a bar into note values and
tuplets, ``values`` knows those, ``pitch`` turns spelled pitches into names; ``abc``,
``musicxml`` and ``midi`` write the formats, and ``played`` reads what was played on the
local page. Read first: ``writing``.
"""
