"""Form: sections, phrases, figures that return, range and metre.

Conventions: bars carry printed numbers; sections and phrases say on what grounds they
were found. The parts: ``form_bars``, ``form_boundaries``, ``form_sections``,
``form_phrases``, ``form_figures``, ``form_range``, and the fitted numbers in
``form_weights``.

Contents: Section, sections, PhraseSpan, phrases, Figure, figures, Compass, compass,
metre_class.
"""

from melodex.analysis.form_figures import Figure, figures
from melodex.analysis.form_phrases import PhraseSpan, phrases
from melodex.analysis.form_range import Compass, compass, metre_class
from melodex.analysis.form_sections import Section, sections

__all__ = [
    "Compass",
    "Figure",
    "PhraseSpan",
    "Section",
    "compass",
    "figures",
    "metre_class",
    "phrases",
    "sections",
]
