"""Chords worked out of the notes of a score.

In: all notes of a piece, and its bars. Out: its chords (``sounding``), and where printed
symbols say otherwise (``differences``). ``slices`` has what sounds when,
``manners`` how each note comes and goes, ``surroundings`` how likely the notes around make
each chord, ``path`` the best row of chords, ``basses`` what lies under them.

Read first: ``sounding``.
"""
