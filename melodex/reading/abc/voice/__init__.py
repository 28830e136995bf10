"""The music of one voice: from the characters of its lines to what sounds.

In: lines of music of one voice, and what the fields say of key, metre and unit length.
Out: columns of notes, bars, chords, marks, graces, tuplets and dynamics.

``tokens`` parts a line, ``music`` says what each token means, ``notes`` writes down what
sounds; ``pitch``, ``time`` and ``bars`` know where these stand, ``signs`` what is to be
played how, ``words`` lays syllables under notes. Read first: ``music``.
"""
