"""Numerals, cadences and devices of the standard forms, as a player would write them.

Beside the sheets of ``lead_sheets``, by their names: numerals in bars parted by ``|``, then
cadences and telling devices with their bars. All of it was gone through by eye, form by
form; common practice, no source.

Contents: HARMONY.
"""

from __future__ import annotations

__all__ = ["HARMONY"]

HARMONY: dict[str, tuple[str, str]] = {
    "blues in triads": (
        "I|I|I|I|IV|IV|I|I|V|IV|I|V",
        "plagal cadence 6-7",
    ),
    "blues": (
        "I7|I7|I7|I7|IV7|IV7|I7|I7|V7|IV7|I7|I7",
        "",
    ),
    "blues, quick change": (
        "I7|IV7|I7|I7|IV7|IV7|I7|I7|V7|IV7|I7|V7",
        "",
    ),
    "jazz blues": (
        "I7|IV7|I7|ii7/IV V7/IV|IV7|#iv°7|I7|iiø7/ii V7/ii|ii7|V7|I7 V7/ii|ii7 V7",
        "related ii 4-4, common-tone diminished 6-6, related ii 8-8, turnaround 11-12",
    ),
    "minor blues": (
        "i7|iv7|i7|i7|iv7|iv7|i7|i7|bVI7|V7|i7|V7",
        "plagal cadence 2-3, plagal cadence 6-7, tritone substitute 9-9",
    ),
    "minor blues with a ii V": (
        "i(add6)|iv7|i(add6)|i7|iv7|iv7|i(add6)|i(add6)|iiø7|V7|i(add6)|iiø7 V7",
        "plagal cadence 6-7",
    ),
    "eight-bar blues": (
        "I7|V7|IV7|IV7|I7|V7|I7|V7",
        "",
    ),
    "three chords": (
        "I|IV|V7|I|I|IV|V7|I",
        "authentic cadence 3-4, authentic cadence 7-8",
    ),
    "I V vi IV": (
        "I|V|vi|IV|I|V|vi|IV|I",
        "plagal cadence 8-9",
    ),
    "I vi IV V": (
        "I|vi|IV|V|I|vi|IV|V|I",
        "authentic cadence 8-9",
    ),
    "I vi ii V": (
        "Imaj7|vi7|ii7|V7|Imaj7|vi7|ii7|V7|Imaj7",
        "authentic cadence 8-9",
    ),
    "falling bass": (
        "I|V6|vi|I64|IV|I6|ii7|V7|I",
        "authentic cadence 8-9",
    ),
    "steps and fifths": (
        "I|V|vi|iii|IV|I|IV|V|I|V|vi|iii|IV|I|IV V|I",
        "half cadence 7-8, authentic cadence 15-16",
    ),
    "ii V I": (
        "ii7|V7|Imaj7|Imaj7|ii7|V7|I(add6)|I(add6)",
        "authentic cadence 2-3, authentic cadence 6-7",
    ),
    "ii V i": (
        "iiø7|V7|i|i|iiø7|V7|i|i",
        "authentic cadence 2-3, authentic cadence 6-7",
    ),
    "tritone substitute": (
        "Imaj7|vi7|ii7|bII7|Imaj7|vi7|ii7 bII7|Imaj7",
        "tritone substitute 4-4, tritone substitute 7-7, authentic cadence 7-8",
    ),
    "minor with its dominant": (
        "i|V7|i|V7|i|iv|V7|i",
        "authentic cadence 7-8",
    ),
    "minor plagal vamp": (
        "i|iv|i|iv|i|iv|i|i",
        "plagal cadence 6-7",
    ),
    "Neapolitan": (
        "i|iv|i|V7|i|bII6|V7|i",
        "Neapolitan 6-6, authentic cadence 7-8",
    ),
    "Picardy third": (
        "i|iv|V7|i|bVI|iv|V7|I",
        "Picardy third 7-8",
    ),
    "i flat VII flat VI V": (
        "i|bVII|bVI|V|i|bVII|bVI|V|i",
        "authentic cadence 8-9",
    ),
    "ragtime wheel": (
        "I|V7/vi|V7/ii|V7/ii|V7/V|V7|I|V7|I|V7/vi|V7/ii|V7/ii|V7/V|V7|I|I",
        "authentic cadence 6-7, authentic cadence 14-15",
    ),
    "applied dominants": (
        "I|V7/IV|IV|V7/V|V|V7/vi|vi|V7/V V7|I|V7/IV|IV|iv|I|V7|I|I",
        "inner line by half step 10-13, authentic cadence 14-15",
    ),
    "plagal vamp": (
        "I|IV|I|IV|I|IV|I|IV|I",
        "plagal cadence 8-9",
    ),
    "common-tone diminished": (
        "I|i°7|I|V7|I|i°7|I V7|I",
        "common-tone diminished 2-2, common-tone diminished 6-6, authentic cadence 7-8",
    ),
    "passing diminished": (
        "I|vii°7/ii|ii7|#ii°7|I6|V7/ii|ii7 V7|I",
        "secondary leading tone 2-2, common-tone diminished 4-4, authentic cadence 7-8",
    ),
    "minor iv": (
        "I|IV|iv|I|I|IV|iv|I",
        "minor plagal cadence 3-4, minor plagal cadence 7-8",
    ),
    "backdoor": (
        "Imaj7|iv7|bVII7|Imaj7",
        "backdoor cadence 2-4",
    ),
    "backdoor in a longer tune": (
        "Imaj7|ii7 V7|Imaj7|iv7 bVII7|Imaj7|V7/ii|ii7 V7|I(add6)",
        "authentic cadence 2-3, backdoor cadence 4-5, authentic cadence 7-8",
    ),
    "flat VI flat VII I": (
        "I|IV|V|I|I|bVI|bVII|I",
        "authentic cadence 3-4, flat VII to I 7-8",
    ),
    "I flat III IV": (
        "I|bIII|IV|I|I|bIII|IV|I",
        "plagal cadence 3-4, plagal cadence 7-8",
    ),
    "tonic pedal": (
        "I|IV64|iv64|I|I|V7 over 1|IV64|I",
        "minor plagal cadence 3-4, plagal cadence 7-8",
    ),
    "line in minor": (
        "i|i(maj7)|i7|i(add6)|iv|iv|V7|i",
        "inner line over one root 1-7, authentic cadence 7-8",
    ),
    "line in major": (
        "I|Imaj7|V7/IV|IV|iv|I|V7|I",
        "inner line over one root 1-6, authentic cadence 7-8",
    ),
    "rising line in major": (
        "I|I+|I(add6)|V7/IV|IV|iv|I V7|I",
        "inner line over one root 1-4, inner line by half step 4-7, authentic cadence 7-8",
    ),
    "deceptive ending": (
        "I|vi|IV|V7|I|IV|V7|vi",
        "deceptive cadence 7-8",
    ),
    "suspended ending": (
        "I|IV|iv(add6)|I|IV|V7|I|V7sus4",
        "suspended ending 8-8",
    ),
    "ii V of ii and of IV": (
        "I|iiø7/ii V7/ii|ii7|ii7/IV V7/IV|IV|iv|I|ii7 V7|I",
        "related ii 2-2, related ii 4-4, inner line by half step 4-7, "
        "authentic cadence 8-9",
    ),
    "chain of ii V": (
        "iii7|V7/ii|ii7|V7|iii7|V7/ii|ii7 V7|Imaj7",
        "authentic cadence 7-8",
    ),
    "falling chain of ii V": (
        "Imaj7|iiø7/vi V7/vi|vi7 V7/V|ii7/IV V7/IV|IV7|iii7 V7/ii|ii7 V7|I(add6)",
        "related ii 2-2, related ii 4-4, tritone substitute 5-5, turnaround 6-7, "
        "authentic cadence 7-8",
    ),
    "quick cycle of thirds": (
        "Imaj7 V7/bVI|bVImaj7 V7/III|IIImaj7 V7|Imaj7",
        "authentic cadence 3-4",
    ),
    "one chord": (
        "i7|i7|i7|i7|i7|i7|i7|i7",
        "",
    ),
    "I flat VII IV": (
        "I|bVII|IV|I|I|bVII|IV|I",
        "plagal cadence 3-4, plagal cadence 7-8",
    ),
    "mixolydian vamp": (
        "I|bVII|I|bVII|I|bVII|I|I",
        "flat VII to I 2-3, flat VII to I 4-5, flat VII to I 6-7",
    ),
    "mixolydian with minor v": (
        "I|v|I|v|IV|I|v|I",
        "",
    ),
    "dorian vamp": (
        "i7|IV7|i7|IV7|i7|IV7|i7|i7",
        "",
    ),
    "dorian i IV": (
        "i|IV|i|IV|i|IV|i|IV",
        "",
    ),
    "aeolian vamp": (
        "i|bVI|bVII|i|i|bVI|bVII|i",
        "",
    ),
    "aeolian with minor v": (
        "i|v|bVI|bVII|i|v|bVI bVII|i",
        "",
    ),
    "phrygian vamp": (
        "i|bII|i|bII|i|bII|i|i",
        "",
    ),
    "rhythm changes": (
        "I V7/ii|ii7 V7|iii7 V7/ii|ii7 V7|I V7/IV|IV iv|I V7|I V7|I V7/ii|ii7 V7|"
        "iii7 V7/ii|ii7 V7|I V7/IV|IV iv|I V7|I|V7/vi|V7/vi|V7/ii|V7/ii|V7/V|V7/V|V7|"
        "V7|I V7/ii|ii7 V7|iii7 V7/ii|ii7 V7|I V7/IV|IV iv|I V7|I",
        "turnaround 3-4, inner line by half step 5-7, authentic cadence 7-8, "
        "turnaround 11-12, inner line by half step 13-15, authentic cadence 15-16, "
        "half cadence 22-23, turnaround 27-28, inner line by half step 29-31, "
        "authentic cadence 31-32",
    ),
    "AABA": (
        "I|vi|ii|V7|I|vi|IV V7|I|I|vi|ii|V7|I|vi|IV V7|I|IV|iv|I|V7/ii|V7/V|V7/V|V7|V7|"
        "I|vi|ii|V7|I|vi|IV V7|I",
        "authentic cadence 7-8, authentic cadence 15-16, half cadence 22-23, "
        "authentic cadence 31-32",
    ),
    "verse of seven, chorus of five": (
        "I|IV|I|V|vi|IV|V|IV|I|V|IV|I|I|IV|I|V|vi|IV|V|IV|I|V|IV|I",
        "half cadence 6-7, plagal cadence 11-12, half cadence 18-19, plagal cadence 23-24",
    ),
    "lift of a whole step": (
        "I|vi|IV|V7|I|vi|IV|V7|I|vi|IV|V7|I|vi|IV V7|I",
        "half cadence 7-8, authentic cadence 15-16",
    ),
    "lift of a half step": (
        "I|vi|ii|V7|I|vi|ii|V7|I|vi|ii|V7|I|vi|ii V7|I",
        "authentic cadence 15-16",
    ),
    "lift of a whole step, nothing marked": (
        "I|IV|V|I|I|IV|V|I|I|IV|V7|I|I|IV|V7|I",
        "authentic cadence 3-4, authentic cadence 7-8, authentic cadence 11-12, "
        "authentic cadence 15-16",
    ),
    "relative verse and chorus": (
        "i|iv|V7|i|i|iv|V7|i|I|IV|V7|I|I|IV|V7|I",
        "authentic cadence 3-4, authentic cadence 7-8, authentic cadence 11-12, "
        "authentic cadence 15-16",
    ),
    "relative chorus on I V vi IV": (
        "i|bVII|bVI|V7|i|bVII|bVI|V7|I|V|vi|IV|I|V|IV|V|i|bVII|bVI|V7|i|bVII|bVI|V7|"
        "I|V|vi|IV|I|V|IV V|I",
        "half cadence 7-8, half cadence 15-16, half cadence 23-24, authentic cadence 31-32",
    ),
    "carol with a relative refrain": (
        "i|V7|i|i|i|V7|i|i|bVII|bVII|bIII|bIII|iv|V7|i|V7/bIII|I|I|IV|I|I|I|IV|I|"
        "I|V|IV|V7|I|IV|I|I",
        "authentic cadence 2-3, authentic cadence 6-7, authentic cadence 14-15, "
        "plagal cadence 19-20, plagal cadence 23-24, plagal cadence 30-31",
    ),
    "bridge in the relative major": (
        "i|V7|i|V7|iv|i|V7/V|V7|I|V7|I|V7|IV|I|V7/V|V7|i|V7|i|V7|iv|i|V7|i",
        "inner line by half step 5-8, half cadence 7-8, "
        "inner line by half step 14-17, half cadence 15-16, authentic cadence 23-24",
    ),
    "parallel verse and chorus": (
        "i|iv|V7|i|i|iv|V7|i|I|IV|V7|I|I|IV|V7|I",
        "authentic cadence 3-4, authentic cadence 7-8, authentic cadence 11-12, "
        "authentic cadence 15-16",
    ),
    "bridge on the dominant": (
        "I|IV|V7|I|I|IV|V7|I|I|IV|V7|I|I|IV|V7|I|I|IV|V7|I|I|IV|V7|I",
        "authentic cadence 3-4, authentic cadence 7-8, authentic cadence 11-12, "
        "authentic cadence 15-16, authentic cadence 19-20, authentic cadence 23-24",
    ),
    "bridge on the flat third": (
        "I|vi7|ii7|V7|I|vi7|ii7 V7|I|Imaj7|vi7|ii7|V7|Imaj7|vi7|ii7 V7|I|I|vi7|ii7|V7|"
        "I|vi7|ii7 V7|I",
        "authentic cadence 7-8, authentic cadence 15-16, authentic cadence 23-24",
    ),
    "centres a third apart": (
        "ii7 V7|I|ii7 V7|I|ii7 V7|I|ii7 V7|I|ii7 V7|I|ii7 V7|I|ii7 V7|I|ii7 V7|I",
        "authentic cadence 1-2, authentic cadence 3-4, authentic cadence 5-6, "
        "authentic cadence 7-8, authentic cadence 9-10, authentic cadence 11-12, "
        "authentic cadence 13-14, authentic cadence 15-16",
    ),
    "I flat VII IV, mode printed": (
        "I|bVII|IV|I|I|bVII|IV|I",
        "plagal cadence 3-4, plagal cadence 7-8",
    ),
    "section that rests on I, ends suspended": (
        "I|iv(add6)|I|IV|ii7|V7|I|V7sus4",
        "suspended ending 8-8",
    ),
    "dorian with a step up": (
        "i7|i7|bii7|bii7|i7|i7|IV7|i7",
        "",
    ),
    "relative verse that ends on its dominant": (
        "i|iv|V7|i|bVI|iv|V7|V7|I|IV|V7|I|I|IV|V7|I|i|iv|V7|i|bVI|iv|V7|i",
        "half cadence 6-7, authentic cadence 11-12, authentic cadence 15-16, "
        "authentic cadence 23-24",
    ),
    "four bars on the flat second": (
        "i7|bVI7|iiø7|V7|i7|iv7|iiø7 V7|i7|ii7|V7|Imaj7|Imaj7|iiø7|V7|i(add6)|i(add6)",
        "tritone substitute 2-2, authentic cadence 7-8, authentic cadence 10-11, "
        "authentic cadence 14-15",
    ),
    "centres that fall by whole tones": (
        "Imaj7|ii7 V7|Imaj7|Imaj7|ii7|V7|Imaj7|Imaj7|ii7|V7|Imaj7|Imaj7|ii7|V7|Imaj7|"
        "I(add6)",
        "authentic cadence 2-3, authentic cadence 6-7, authentic cadence 10-11, "
        "authentic cadence 14-15",
    ),
    "cycle of thirds, two bars each": (
        "Imaj7|ii7 V7|Imaj7|ii7 V7|Imaj7|ii7 V7|Imaj7|ii7 V7|Imaj7|ii7 V7|Imaj7|I(add6)",
        "authentic cadence 2-3, authentic cadence 4-5, authentic cadence 6-7, "
        "authentic cadence 8-9, authentic cadence 10-11",
    ),
    "bridge on the third": (
        "I|vi|ii|V7|I|vi|ii7 V7|I|I|vi|ii|V7|I|vi|ii V7|V7|I|vi|ii|V7|I|vi|ii7 V7|I",
        "authentic cadence 7-8, half cadence 15-16, authentic cadence 23-24",
    ),
    "ii V I of IV and of V stay in the key": (
        "Imaj7|ii7/IV V7/IV|IVmaj7|IVmaj7|vi7 V7/V|Vmaj7|ii7 V7|Imaj7",
        "related ii 2-2, authentic cadence 7-8",
    ),
    "a bar of the flat sixth is no centre": (
        "Imaj7|vi7|ii7/bVI V7/bVI|bVImaj7|ii7|V7|I(add6)|I(add6)",
        "related ii 3-3, authentic cadence 6-7",
    ),
    "bridge on the flat third that has no V": (
        "I|vi|IV|V|I|vi|IV V|I|I|IV|I|IV|I|vi|IV|V|I|vi|IV|V|I|vi|IV V|I",
        "authentic cadence 7-8, half cadence 15-16, authentic cadence 23-24",
    ),
    "bridge on the major sixth that has no V": (
        "I|vi|ii|V|I|vi|ii V|I|I|IV|I|IV|I|vi|IV|V7|I|vi|ii|V|I|vi|ii V|I",
        "authentic cadence 7-8, half cadence 15-16, authentic cadence 23-24",
    ),
    "chords of minor under a chorus that comes home": (
        "I|IV|V|I|I|IV|V|I|bIII|bVII|IV|I|bIII|bVII|IV|I|I|IV|V|I|I|IV|V|I",
        "authentic cadence 3-4, authentic cadence 7-8, inner line by half step 11-14, "
        "plagal cadence 15-16, authentic cadence 19-20, authentic cadence 23-24",
    ),
    "dorian vamps on two roots": (
        "i7|IV7|i7|IV7|i7|IV7|i7|IV7|i7|IV7|i7|IV7|i7|IV7|i7|IV7",
        "",
    ),
    "phrygian dominant": (
        "I|I|iv|I|bvii|bII|I|I|iv|iv|I|I|bvii|bII|I|I",
        "minor plagal cadence 10-11",
    ),
    "flamenco cadence": (
        "I|bII|I|I|iv|bIII|bII|I|I|bII|bIII|bII|iv|bIII|bII|I",
        "",
    ),
    "carol with a relative refrain, nothing marked": (
        "i|i|V7|i|i|i|V7|i|i|bVII|bIII|bVII7|iv|i V7|i|V7/bIII"
        "|I|IV|I|I|I|IV|I|I|vi|IV|I V7|vi|I|IV|I|I",
        "authentic cadence 3-4, authentic cadence 7-8, authentic cadence 14-15, "
        "plagal cadence 18-19, plagal cadence 22-23, plagal cadence 30-31",
    ),
    "minor blues in fast time": (
        "i|i|i|i|i|i|V7/iv|V7/iv|iv|iv|iv|iv|i|i|i|i|bVI7|bVI7|V7|V7|i|i|V7|V7",
        "plagal cadence 12-13, inner line by half step 9-19, tritone substitute 17-17",
    ),
    "four bars on V in sixteen": (
        "I|IV|I|V|V|vi|V7/V|V|I|IV|I|ii|I|V7|I|I",
        "half cadence 3-4, half cadence 7-8, authentic cadence 14-15",
    ),
    "power chords on I, flat III and IV": (
        "I5|bIII5|IV5|I5|I5|bIII5|IV5|I5|I5|bIII5|bVII5|IV5|I5|bIII5|IV5|I5",
        "",
    ),
    "lydian pedals on two roots": (
        "Imaj7|II over 1|Imaj7|II over 1|Imaj7|II over 1|Imaj7|Imaj7"
        "|Imaj7|II over 1|Imaj7|II over 1|Imaj7|II over 1|Imaj7|Imaj7",
        "",
    ),
    "blues on power chords": (
        "I5|I5|I5|I7|IV5|IV7|I5|I5|V7|IV7|I5|V7",
        "",
    ),
    "sixteens that begin on vi": (
        "vi7|ii7|V7|I V7/IV|IV|iiø7/vi|V7/vi|vi7 V7/ii|ii7|V7|I|vi7|ii7|V7|I(add6)"
        "|iiø7/vi V7/vi|vi7|ii7|V7|I V7/IV|IV|iiø7/vi|V7/vi|vi7 V7/ii|ii7|V7|iiø7/ii"
        "|V7/ii|ii7|V7|I(add6)|I(add6)",
        "related ii 6-6, authentic cadence 14-15, related ii 16-16, related ii 22-22, "
        "related ii 27-27, authentic cadence 30-31",
    ),
    "trio in the key of IV": (
        "I|I|V7|I|I|V7/V|V7|V7|I|I|V7|I|IV|I|V7|I"
        "|vi|V7/vi|vi|V7/vi|vi|V7/V|V7|V7|I|I|V7|I|IV|I|V7|I"
        "|I|I|V7|I|IV|I|V7/V|V7|I|I|V7|V7/ii|ii|I|V7|I",
        "authentic cadence 3-4, half cadence 6-7, authentic cadence 15-16, "
        "half cadence 22-23, authentic cadence 31-32, half cadence 39-40, "
        "authentic cadence 47-48",
    ),
    "verse in the minor of iii": (
        "i|V7|i|V7|i|iv|V7/V|V7|i|V7|i|iv|V7/bIII|V|ii7|V7"
        "|I|vi|ii7|V7|I|V7/IV|IV|iv|I|V7/ii|ii7|V7|I|IV|V7|I",
        "half cadence 7-8, inner line by half step 22-25, authentic cadence 31-32",
    ),
    "chorus a step below its verse": (
        "I|vi7|ii7|V7|I|vi7|ii7|V7/bVII|I|I6|IV|IV|I|I6|IV|V7|I|vi7|ii7|V7|I|vi7|ii7 V7|I",
        "half cadence 15-16, authentic cadence 23-24",
    ),
    "centres on either side of the fifth": (
        "vi7|ii7|V7|Imaj7|IVmaj7|ii7 V7|Imaj7|Imaj7|vi7|ii7|V7|Imaj7|IVmaj7|iiø7 V7|Imaj7"
        "|Imaj7|ii7|V7|Imaj7|Imaj7|iiø7|V7|Imaj7|V7/vi|vi7|ii7|V7|Imaj7|ii7|V7|Imaj7|Imaj7",
        "authentic cadence 6-7, authentic cadence 14-15, authentic cadence 18-19, "
        "authentic cadence 22-23, authentic cadence 30-31",
    ),
    "bridge that begins on its I, a half step up": (
        "ii7|ii7 V7|Imaj7|iii7|ii7|vi7 V7/V|ii7 V7|I(add6) V7/bII"
        "|Imaj7|ii7 V7|iii7 vi7|ii7 V7|ii7 V7|Imaj7|ii7 V7|V7/iii V7"
        "|ii7|ii7 V7|Imaj7|iii7|ii7|vi7 V7/V|ii7 V7|I(add6)",
        "authentic cadence 2-3, authentic cadence 7-8, authentic cadence 13-14, "
        "authentic cadence 18-19, authentic cadence 23-24",
    ),
    "bridge on the major sixth with its flat seventh": (
        "I|Imaj7|V7/IV|IV|V7/V|V|vi vi(maj7)|vi7 V7/V|IV|bIII V64"
        "|I|I|iii64|vi7 I64|IV bVII|I|I|iii64|vi7 I64|IV bVII"
        "|I|Imaj7|V7/IV|IV|V7/V|V|vi vi(maj7)|vi7 V7/V|IV|bIII V64|I",
        "inner line over one root 1-4, inner line over one root 7-9, flat VII to I 15-16, "
        "inner line over one root 21-24, inner line over one root 27-29, "
        "inner line by half step 29-31, authentic cadence 30-31",
    ),
    "suspended chords that are stayed on": (
        "|".join(["I7sus4"] * 20 + ["i7"] * 4 + ["I7sus4"] * 8),
        "suspended ending 29-29",
    ),
    "phrygian dominant with a strain on iv": (
        "I|I|iv|I|bvii|bvii|I|I|I|I|iv|I|bvii|bvii|I|I"
        "|i|i|iv|i|bVII|bIII|iv V|i|I|bII|I|bvii|I|bII|bvii|I",
        "authentic cadence 23-24",
    ),
}
