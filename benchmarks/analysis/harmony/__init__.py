"""How often chords, numerals and what voices do are right, printed or heard."""
