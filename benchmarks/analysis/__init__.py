"""How often are keys, chords and form right; and the fitting of their weights."""
