"""Keys: of the whole piece, through the piece, and modes that colour a passage.

Conventions: tonics are places on the line of fifths; nothing is said where nothing
can be, and a certainty goes with all that is. One reading serves all. Its parts: for
pieces with chord symbols ``song``; for single lines and chorales ``evidence`` and
``weights`` (what notes say), ``home``, ``local`` (the model by cells), ``cells``;
``overall`` and ``spans`` hold what is told; ``modal`` tells passages of another mode.

Read first: ``reading``, which puts them together.

Contents: Keys, read_keys, with_centres, KeyReading, KeySpan, ModalPassage,
modal_passages.
"""

from melodex.analysis.keys.modal import ModalPassage, modal_passages
from melodex.analysis.keys.overall import KeyReading
from melodex.analysis.keys.reading import Keys, read_keys, with_centres
from melodex.analysis.keys.spans import KeySpan

__all__ = [
    "KeyReading",
    "KeySpan",
    "Keys",
    "ModalPassage",
    "modal_passages",
    "read_keys",
    "with_centres",
]
