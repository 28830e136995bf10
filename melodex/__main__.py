"""``python -m melodex``, and what the installed command calls.

Contents: main.
"""

from __future__ import annotations

__all__ = ["main"]


def main() -> None:
    """Run the command line, which can be stopped while it is still being loaded."""
    try:
        from melodex.cli import main as run

        run()
    except KeyboardInterrupt:
        # Once a command runs, it says itself how far it came. Written without click,
        # which may be what was being loaded.
        import sys

        sys.stderr.write("melodex: stopped\n")
        raise SystemExit(130) from None


if __name__ == "__main__":
    main()
