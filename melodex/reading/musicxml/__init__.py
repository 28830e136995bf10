"""MusicXML, plain or compressed, becomes melodies.

In: bytes of untrusted files. Out: a ``FileReading``.

``package`` opens archives and XML safely; ``part`` walks the measures of a part,
by ``clock`` and ``bars``; ``note``, ``signs`` and ``harmony`` read one element each;
``line`` makes a melody of it.
Read first: ``reader``.
"""
