"""Whether the answer keys of teaching sets are right.

``answers`` makes sets from the demo and from real tunes and has every key checked;
``checker`` says what each kind of question asks by its definition, with music21's
intervals, scales, keys and numerals and without what melodex worked out.
"""
