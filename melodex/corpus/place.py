"""Where the corpus lies that is meant when none is named.

Contents: usual_place.
"""

from __future__ import annotations

import os
from pathlib import Path

__all__ = ["usual_place"]


def usual_place() -> Path:
    """Return ``$MELODEX_CORPUS``, or a file in the user's data folder."""
    named = os.environ.get("MELODEX_CORPUS")
    if named:
        return Path(named)
    from platformdirs import user_data_path

    return user_data_path("melodex", appauthor=False) / "corpus.melodex"
