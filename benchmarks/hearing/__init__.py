"""Whether a line that is sung, whistled or played finds its tune.

``sounds`` makes the sound, of real tunes that music21 installs; ``recall`` asks for
them. Read first ``sounds``; it says what each kind of sound is.
"""
