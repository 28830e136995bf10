"""Single elements of MusicXML: pitch, key, time, clef, transposition, harmony.

References
----------
MusicXML 4.0 (W3C Music Notation Community Group, 2021).

Contents: the functions that write one element each.
"""

from __future__ import annotations

import re
from xml.etree.ElementTree import Element, SubElement

from melodex.melody import (
    ChordSymbol,
    KeyChange,
    Metre,
)
from melodex.presentation.notation.pitch import spelled
from melodex.presentation.notation.written import diatonic_steps
from melodex.reading.musicxml.harmony import KIND_SIGNS

__all__ = [
    "clean",
    "ending_numbers",
    "harmony",
    "write_clef",
    "write_key",
    "write_pitch",
    "write_time",
    "write_transpose",
]

MODES = {"major", "minor", "dorian", "phrygian", "lydian", "mixolydian", "aeolian"}
MODES |= {"ionian", "locrian", "none"}
"""Modes that MusicXML names and a printed key of ours can have."""

KINDS = {sign: kind for kind, sign in KIND_SIGNS.items()}


def clean(text: str) -> str:
    """Text without characters that XML cannot carry."""
    return "".join(c for c in text if c.isprintable())


def write_pitch(note: Element, midi: int, fifths: int) -> None:
    """Step, alteration and octave."""
    letter, alteration, octave = spelled(midi, fifths)
    pitch = SubElement(note, "pitch")
    SubElement(pitch, "step").text = letter
    if alteration:
        SubElement(pitch, "alter").text = str(alteration)
    SubElement(pitch, "octave").text = str(octave)


def write_key(home: Element, signature: int, change: KeyChange | None) -> None:
    """A key signature, with its mode unless it is drawn under another key's."""
    key = SubElement(home, "key")
    SubElement(key, "fifths").text = str(signature)
    is_own = change and change.signature_fifths == signature
    if change and is_own and change.stated and change.key.mode in MODES:
        SubElement(key, "mode").text = change.key.mode


def write_time(home: Element, metre: Metre | None) -> None:
    """A time signature, or word that there is none."""
    time = SubElement(home, "time")
    if metre is None:
        SubElement(time, "senza-misura")
        return
    if metre.symbol in {"C", "C|"}:
        time.set("symbol", "common" if metre.symbol == "C" else "cut")
    count = "+".join(map(str, metre.groups)) if metre.groups else str(metre.numerator)
    SubElement(time, "beats").text = count
    SubElement(time, "beat-type").text = str(metre.denominator)


def write_clef(home: Element, shape: str, line: int, octaves: int) -> None:
    """A clef."""
    clef = SubElement(home, "clef")
    SubElement(clef, "sign").text = shape
    SubElement(clef, "line").text = str(line)
    if octaves:
        SubElement(clef, "clef-octave-change").text = str(octaves)


def write_transpose(home: Element, semitones: int) -> None:
    """From written to sounding pitch; nothing where they are the same."""
    if not semitones:
        return
    octaves = int(semitones / 12)
    rest = semitones - 12 * octaves
    transpose = SubElement(home, "transpose")
    SubElement(transpose, "diatonic").text = str(diatonic_steps(rest))
    SubElement(transpose, "chromatic").text = str(rest)
    if octaves:
        SubElement(transpose, "octave-change").text = str(octaves)


def ending_numbers(text: str) -> str:
    """The numbers of an ending as the standard wants them: ``1, 2``."""
    return ",".join(re.findall(r"[1-9]\d*", text)) or "1"


def harmony(chord: ChordSymbol) -> Element | None:
    """A chord symbol, None where it names no root."""
    text = chord.text.replace("♭", "b").replace("♯", "#")
    found = re.fullmatch(r"([A-G])([#b]*)(.*?)(?:/([A-G])([#b]*))?", text)
    element = Element("harmony")
    if text in {"N.C.", "NC"}:
        root = SubElement(element, "root")
        SubElement(root, "root-step", {"text": ""}).text = "C"
        SubElement(element, "kind", {"text": "N.C."}).text = "none"
        return element
    if not found:
        return None
    letter, signs, rest, bass, bass_signs = found.groups()
    write_root(element, "root", letter, signs)
    rest = clean(rest)
    SubElement(element, "kind", {"text": rest}).text = KINDS.get(rest, "other")
    if bass:
        write_root(element, "bass", bass, bass_signs)
    return element


def write_root(home: Element, name: str, letter: str, signs: str) -> None:
    """The root or the bass of a chord symbol."""
    element = SubElement(home, name)
    SubElement(element, f"{name}-step").text = letter
    if signs:
        alteration = signs.count("#") - signs.count("b")
        SubElement(element, f"{name}-alter").text = str(alteration)
