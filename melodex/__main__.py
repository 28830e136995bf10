"""``python -m melodex``."""

from melodex.cli import main

main()
