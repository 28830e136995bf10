"""melodex: where a phrase has been met before, and what the tunes share."""

__version__ = "0.1.0"
