"""Keys: of the whole piece, through the piece, and modes that colour a passage.

Conventions: tonics are places on the line of fifths; nothing is said where nothing
can be, and a certainty goes with all that is. The parts: ``keys_evidence`` and
``keys_weights`` (what notes say), ``keys_global``, ``keys_local`` (the model by
cells), ``keys_spans``, ``keys_modal``, ``keys_profiles`` (published profiles).

Contents: KeyReading, global_key, KeySpan, key_spans, ModalPassage, modal_passages.
"""

from melodex.analysis.keys_global import KeyReading, global_key
from melodex.analysis.keys_modal import ModalPassage, modal_passages
from melodex.analysis.keys_spans import KeySpan, key_spans

__all__ = [
    "KeyReading",
    "KeySpan",
    "ModalPassage",
    "global_key",
    "key_spans",
    "modal_passages",
]
