"""Chord symbols become numerals, cadences, devices and notes on chords.

In: the chord symbols of a melody and the keys that hold over them.
Out: chords (``chords``, ``quality``), each placed in its key with what the melody is on
it (``placed``), Roman numerals (``numerals``), cadences and other devices (``devices/``),
lines through chords (``lines``), progressions and the search for them (``progressions``,
``progression_search``, ``relations``). Where no symbols are printed, ``heard/`` works
chords out of notes.

Read first: ``chords``, then ``placed``. A numeral is spelled in ``numerals``.
"""
