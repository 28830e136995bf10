"""Form: sections, phrases, figures that return, range and metre.

Conventions: bars carry printed numbers; sections and phrases say on what grounds they
were found. The parts: ``words`` over the music, ``endings`` and ``bars`` say what is
printed; ``boundaries`` (tunes), ``songs`` and ``segments`` (songs) and ``content`` say
where sections start without; ``letters`` and ``sections`` name them; ``phrases``,
``figures``, ``compass``. Fitted numbers are in ``weights`` and ``song_weights``.
Read first: ``bars``, then ``sections``.

Contents: Section, sections, PhraseSpan, phrases, PhraseReturn, phrase_returns, Figure,
figures, Compass, compass, metre_class.
"""

from melodex.analysis.form.compass import Compass, compass, metre_class
from melodex.analysis.form.figures import Figure, figures
from melodex.analysis.form.letters import PhraseReturn, phrase_returns
from melodex.analysis.form.phrases import PhraseSpan, phrases
from melodex.analysis.form.sections import Section, sections

__all__ = [
    "Compass",
    "Figure",
    "PhraseReturn",
    "PhraseSpan",
    "Section",
    "compass",
    "figures",
    "metre_class",
    "phrase_returns",
    "phrases",
    "sections",
]
