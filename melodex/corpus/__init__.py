"""Melodies and what is said of them, kept in one SQLite file."""
