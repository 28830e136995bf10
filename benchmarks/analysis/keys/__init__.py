"""How often keys are right, of lines, of art music, of songs; and the fits."""
