"""What the tests of analysis share: the slow twins and the lead sheets beside them."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "plain"))
sys.path.insert(0, str(Path(__file__).parent / "forms"))
