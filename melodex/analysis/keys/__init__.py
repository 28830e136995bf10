"""Keys: of the whole piece, through the piece, and modes that colour a passage.

Conventions: tonics are places on the line of fifths; nothing is said where nothing
can be, and a certainty goes with all that is. The parts: ``evidence`` and
``weights`` (what notes say), ``overall``, ``local`` (the model by
cells), ``spans``, ``modal``, ``profiles`` (published profiles).

Contents: KeyReading, global_key, KeySpan, key_spans, ModalPassage, modal_passages.
"""

from melodex.analysis.keys.modal import ModalPassage, modal_passages
from melodex.analysis.keys.overall import KeyReading, global_key
from melodex.analysis.keys.spans import KeySpan, key_spans

__all__ = [
    "KeyReading",
    "KeySpan",
    "ModalPassage",
    "global_key",
    "key_spans",
    "modal_passages",
]
