"""Keys of a piece with chord symbols, bar by bar.

In: a melody and its chords. Out: key centres with their certainty, and whether it is a
blues. ``layout`` cuts the piece into bars; ``points`` and ``weights`` say what each bar
speaks for, ``confirmed``, ``returns``, ``relatives``, ``far`` and ``strains`` what its
sections do; ``chain`` finds the tonic of each bar given all others; ``centres`` adds
those that a ii V I confirms, ``vamps`` those of pieces that are nothing else; ``mode``
reads the mode after it, ``idioms`` whether it is a blues or on the phrygian scale.

Read first: ``tonics``, which puts them together.
"""
