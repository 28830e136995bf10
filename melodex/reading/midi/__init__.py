"""A standard MIDI file becomes melodies.

In: bytes. Out: a ``FileReading``. ``file`` parses tracks and events, bounded;
``reader`` makes a melody of them. Read first: ``reader``.
"""
