"""What in the chords of a piece is worth pointing out, and why.

In: placed chords, with the melody on them and the places where the music rests.
Out: devices, each with its kind, its bars, what shows it and a sentence of reason.

``device`` is a find, with the kinds there are; ``rests`` says where the music comes to
rest; ``single_chords``, ``successions``, ``cadences`` and ``voices`` look for finds, and
``finding`` asks them all. Read first: ``device``, then ``finding``.
"""
