"""A recording of one line, sung, whistled or played, becomes notes.

What goes in is the bytes of a sound file; what comes out is a
:class:`~melodex.reading.recording.record.Recording`: the notes with times, tuning and a
confidence each, in as many readings as the sound allows, and phrases to look for. To be
read first is ``reader``, then in the order of the work:

``waveform`` (with ``limits``, ``wav``, ``coded`` and ``resampling``) makes one channel at
16 kHz of a file; ``tracking`` says what a tracker of pitch is and ``yin`` is one;
``segments`` cuts the pitch into notes; ``tuning`` says which semitones they are;
``rhythm`` says how long they are to each other; ``judging`` refuses what is no line.

Nothing here is loaded unless a recording is read. A recording is never kept.
"""
