"""How often sections and phrases are right, and the fits."""
