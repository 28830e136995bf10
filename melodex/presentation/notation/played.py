"""Notes played on a keyboard, written as a phrase that can be read again.

A keyboard says pitches and nothing else, so what is written is ABC without lengths:
spelled in the key if one is named, and without a key otherwise.

References
----------
The abc music standard 2.1 (2011), section 4.1-4.2: pitch, octave marks, accidentals,
which hold until the bar ends.

Contents: played_abc.
"""

from __future__ import annotations

from collections.abc import Sequence

from melodex.errors import PhraseError
from melodex.melody import MODES, Key, fifths_from_name, note_name, spell
from melodex.presentation.notation.abc import MODES as ABC_MODES
from melodex.presentation.notation.abc import SIGNS

__all__ = ["played_abc"]

LETTERS = "FCGDAEB"


def played_abc(midi: Sequence[int], *, tonic: str = "", mode: str = "major") -> str:
    """Return played notes as ABC.

    Parameters
    ----------
    midi : sequence of int
        Pitches in semitones, middle C is 60.
    tonic : str
        Name of the tonic such as ``Bb``; empty where no key is known.
    mode : str
        A name in :data:`~melodex.melody.MODES`.

    Raises
    ------
    PhraseError
        If the tonic or the mode is none, or a pitch lies outside of 0 to 127.

    Examples
    --------
    >>> played_abc([65, 70, 71, 70, 77], tonic="F")
    'K:F F B =B _B f'
    >>> played_abc([60, 66, 77, 65])
    'K:none C ^F =f =F'
    """
    if any(not 0 <= pitch <= 127 for pitch in midi):
        raise PhraseError("a pitch lies outside of the keyboard", hint="0 to 127")
    key = stated(tonic, mode)
    signature = key.signature_fifths if key else 0
    held: dict[str, set[int]] = {}
    # The field says that this is ABC: letters alone could be names, or a contour.
    words = [f"K:{tonic}{ABC_MODES[mode]}" if key else "K:none"]
    for pitch in midi:
        name = note_name(pitch, spell(pitch, key.tonic_fifths if key else 0))
        letter, octave = name[0], int(name[1:].lstrip("#b"))
        alteration = name.count("#") - name[1:].count("b")
        # Readers differ on whether an accidental holds in other octaves: none is asked to.
        said = held.setdefault(letter, {printed(letter, signature)})
        said.add(alteration)
        sign = SIGNS[alteration] if len(said) > 1 else ""
        words.append(sign + at_octave(letter, octave))
    return " ".join(words)


def stated(tonic: str, mode: str) -> Key | None:
    """The key that was named, None for none."""
    if mode not in MODES:
        raise PhraseError(f"no mode is called {mode!r}", hint=f"one of {', '.join(MODES)}")
    if not tonic:
        return None
    try:
        key = Key(fifths_from_name(tonic), mode)
    except ValueError as error:
        raise PhraseError(f"{tonic!r} is no tonic", hint="such as F or Bb") from error
    if abs(key.signature_fifths) > 7:
        raise PhraseError(f"{key} has no key signature", hint="choose another tonic")
    return key


def printed(letter: str, signature_fifths: int) -> int:
    """What a key signature does to a letter: 1 for a sharp, -1 for a flat."""
    place = LETTERS.index(letter)
    if signature_fifths > place:
        return 1
    return -1 if -signature_fifths > 6 - place else 0


def at_octave(letter: str, octave: int) -> str:
    """A letter of ABC: ``C,`` is C3, ``C`` C4, ``c`` C5, ``c'`` C6."""
    if octave >= 5:
        return letter.lower() + "'" * (octave - 5)
    return letter + "," * (4 - octave)
