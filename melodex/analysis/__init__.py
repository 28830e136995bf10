"""A Melody becomes what a musician would say of it."""
