"""One module for each thing a musician asks."""
