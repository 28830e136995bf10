"""Sections of the standard forms, as a player would count them.

Beside the sheets of ``lead_sheets``, by their names; a form that is not named here is one
section of all its bars. All of it was gone through by eye; common practice, no source.
Where two readers could differ (a second half that opens like the first and goes on
otherwise, a strain that comes again a step higher with nothing marked), its letter is not
looked at: such sections stand in brackets.

Contents: SECTIONS.
"""

from __future__ import annotations

__all__ = ["SECTIONS"]

SECTIONS = {
    "steps and fifths": "A 8, A' 8",
    "ragtime wheel": "A 8, A 8",
    "applied dominants": "A 8, (8)",
    "rhythm changes": "A 8, A 8, B 8, A 8",
    "AABA": "A 8, A 8, B 8, A 8",
    "verse of seven, chorus of five": "Verse 7, Chorus 5, Verse 7, Chorus 5",
    "lift of a whole step": "A 8, A 8",
    "lift of a half step": "A 8, A 8",
    "lift of a whole step, nothing marked": "A 8, (8)",
    "relative verse and chorus": "Verse 8, Chorus 8",
    "relative verse that ends on its dominant": "Verse 8, Chorus 8, Verse 8",
    "relative chorus on I V vi IV": "A 16, A 16",
    "carol with a relative refrain": "Verse 16, Refrain 16",
    "four bars on V in sixteen": "A 8, B 8",
    "power chords on I, flat III and IV": "A 8, A' 8",
    "carol with a relative refrain, nothing marked": "A 16, B 16",
    "bridge in the relative major": "A 16, A' 8",
    "bridge on the third": "A 8, B 8, A 8",
    "parallel verse and chorus": "Verse 8, Chorus 8",
    "bridge on the dominant": "A 8, B 8, A 8",
    "bridge on the flat third": "A 8, B 8, A 8",
    "bridge on the flat third that has no V": "A 8, B 8, A 8",
    "bridge on the major sixth that has no V": "A 8, B 8, A 8",
    "chords of minor under a chorus that comes home": "A 8, B 8, A 8",
    "dorian vamps on two roots": "A 8, A 8",
    "lydian pedals on two roots": "A 8, A' 8",
    "flamenco cadence": "A 8, (8)",
    "sixteens that begin on vi": "A 8, B 8, A 8, B' 8",
    "trio in the key of IV": "A 16, B 16, Trio 16",
    "verse in the minor of iii": "Verse 16, Chorus 16",
    "chorus a step below its verse": "Verse 8, Chorus 8, Verse 8",
    "centres on either side of the fifth": "A 8, A' 8, B 8, A' 8",
    "bridge that begins on its I, a half step up": "A 8, B 8, A 8",
    "bridge on the major sixth with its flat seventh": "A 10, B 10, A 11",
    "suspended chords that are stayed on": "A 8, A 8, B 8, A 8",
    "phrygian dominant with a strain on iv": "A 8, A 8, B 8, C 8",
    "centres a third apart": "A 4, B 4, C 4, A 4",
}
