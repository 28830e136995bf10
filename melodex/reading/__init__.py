"""A file or a typed phrase becomes a Melody."""
