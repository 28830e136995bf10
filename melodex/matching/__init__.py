"""A phrase and a corpus become ranked matches."""
