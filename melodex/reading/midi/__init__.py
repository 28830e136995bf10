"""A standard MIDI file becomes melodies.

In: bytes. Out: a ``FileReading``. ``file`` parses tracks and events, bounded; ``lines``
says which line is the melody, ``grid`` puts it on a grid, ``signs`` gathers what is said of
keys and metres, ``layout`` makes bars of it. Read first: ``reader``.
"""
