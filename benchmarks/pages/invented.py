"""Invented tunes to be drawn: random rhythms, tuplets, ties, graces, endings, changes.

Each maker takes a random generator and returns the bytes of a file that its own format
allows, with what makes paper hard: lengths that other programs round, tuplets of every
usual size, ties over bar lines, endings open and closed, changes of metre and key.

Contents: abc_tune, musicxml_tune, midi_tune.
"""

from __future__ import annotations

import io
import random
from itertools import pairwise

import mido

METRES = ((4, 4), (3, 4), (2, 4), (6, 8), (9, 8), (5, 8), (7, 8), (2, 2), (3, 8))
KEYS = ("C", "G", "Dm", "Bb", "F#m", "Ebm", "Ador", "Emix", "Cb", "C#")
LETTERS = "CDEFGABcdefgab"
TUPLETS = ((3, 2), (5, 4), (6, 4), (7, 4), (9, 8), (2, 3))
"""Notes, and the notes in whose time they are played."""

DIVISIONS = (256, 480, 960, 1024, 10080, 24)


def filled(draw: random.Random, units: int) -> list[tuple[int, tuple[int, int] | None]]:
    """Some 32nds cut into lengths, each plain or a tuplet's whole stretch."""
    out: list[tuple[int, tuple[int, int] | None]] = []
    while units > 0:
        length = draw.choice([n for n in (1, 2, 3, 4, 6, 8, 12, 16, 24, 32) if n <= units])
        ratio = (
            draw.choice(TUPLETS) if length in {4, 8, 16} and draw.random() < 0.3 else None
        )
        out.append((length, ratio if ratio != (2, 3) or length % 3 == 0 else None))
        units -= length
    return out


def metre_of(draw: random.Random) -> tuple[int, int, int]:
    """A metre and its bar in 32nds."""
    top, bottom = draw.choice(METRES)
    return top, bottom, top * 32 // bottom


# ABC


def abc_tune(draw: random.Random) -> bytes:
    """An ABC tune of 12 to 30 bars."""
    top, bottom, units = metre_of(draw)
    lines = ["X:1", f"T:Invented {draw.randrange(10_000)}", f"M:{top}/{bottom}", "L:1/32"]
    lines += [f"K:{draw.choice(KEYS)}"]
    bars = draw.randrange(12, 30)
    ending = draw.randrange(4, bars - 3)
    music = ["|:"]
    for bar in range(bars):
        if bar and draw.random() < 0.08:
            top, bottom, units = metre_of(draw)
            music.append(f"[M:{top}/{bottom}]")
        if bar and draw.random() < 0.08:
            music.append(f"[K:{draw.choice(KEYS)}]")
        music.append({ending: "[1 ", ending + 1: "[2 "}.get(bar, ""))
        music.append(abc_bar(draw, units))
        music.append({ending: ":|", ending + 1: draw.choice(["|", "||"])}.get(bar, "|"))
        if draw.random() < 0.2:
            music.append("\n")
    return ("\n".join(lines) + "\n" + " ".join(music).replace("\n ", "\n") + "]\n").encode()


def abc_bar(draw: random.Random, units: int) -> str:
    """One bar of ABC."""
    out = []
    for length, ratio in filled(draw, units):
        if ratio:
            actual, normal = ratio
            inside = "".join(
                f"{abc_pitch(draw)}{length // normal or ''}" for _ in range(actual)
            )
            whole = length % normal == 0
            out.append(f"({actual}:{normal}:{actual}{inside}" if whole else f"z{length}")
        elif draw.random() < 0.12:
            out.append(f"z{length}")
        else:
            grace = f"{{{abc_pitch(draw)}}}" if draw.random() < 0.1 else ""
            tie = "-" if draw.random() < 0.1 else ""
            out.append(f"{grace}{abc_pitch(draw)}{length}{tie}")
    return " ".join(out)


def abc_pitch(draw: random.Random) -> str:
    """A pitch, now and then altered."""
    return draw.choice(["", "", "", "", "^", "_", "="]) + draw.choice(LETTERS)


# MusicXML


def musicxml_tune(draw: random.Random) -> bytes:
    """A MusicXML sheet of 12 to 30 measures whose tuplets are rounded to divisions."""
    divisions = draw.choice(DIVISIONS)
    bars = draw.randrange(12, 30)
    ending = draw.randrange(4, bars - 3)
    closes = draw.choice(["stop", "discontinue"])
    out, units = [], 32
    for bar in range(bars):
        said = f"<divisions>{divisions}</divisions>" if not bar else ""
        if not bar or draw.random() < 0.08:
            said += f"<key><fifths>{draw.randrange(-7, 8)}</fifths></key>"
        if not bar or draw.random() < 0.08:
            top, bottom, units = metre_of(draw)
            said += f"<time><beats>{top}</beats><beat-type>{bottom}</beat-type></time>"
        left = {ending: "1", ending + 1: "2"}.get(bar)
        start = f'<ending number="{left}" type="start"/>' if left else ""
        end = f'<ending number="{left}" type="{"stop" if left == "1" else closes}"/>'
        repeat = '<repeat direction="backward"/>' if left == "1" else ""
        lines = (
            f'<barline location="left">{start}</barline>' if left else "",
            f'<barline location="right">{end}{repeat}</barline>' if left else "",
        )
        notes = measure_notes(draw, units, divisions)
        said = f"<attributes>{said}</attributes>" if said else ""
        out.append(
            f'<measure number="{bar + 1}">{said}{lines[0]}{notes}{lines[1]}</measure>'
        )
    return (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Line'
        f'</part-name></score-part></part-list><part id="P1">{"".join(out)}</part>'
        "</score-partwise>"
    ).encode()


TYPES = {1: "32nd", 2: "16th", 4: "eighth", 8: "quarter", 16: "half", 32: "whole"}
DOTTED = {3: 2, 6: 4, 12: 8, 24: 16}


def measure_notes(draw: random.Random, units: int, divisions: int) -> str:
    """The notes of a measure; each end is rounded to whole divisions."""
    out, place = [], 0.0
    scale = divisions / 8
    for length, ratio in filled(draw, units):
        if ratio and length % ratio[1] == 0 and length // ratio[1] in TYPES:
            actual, normal = ratio
            edges = [
                round((place + length * n / actual) * scale) for n in range(actual + 1)
            ]
            more = (
                f"<type>{TYPES[length // normal]}</type><time-modification><actual-notes>"
                f"{actual}</actual-notes><normal-notes>{normal}</normal-notes>"
                "</time-modification>"
            )
            out += [xml_note(draw, b - a, more) for a, b in pairwise(edges)]
        else:
            base = DOTTED.get(length, length)
            dot = "<dot/>" if length in DOTTED else ""
            whole = round((place + length) * scale) - round(place * scale)
            out.append(xml_note(draw, whole, f"<type>{TYPES[base]}</type>{dot}"))
        place += length
    return "".join(out)


def xml_note(draw: random.Random, length: int, more: str) -> str:
    """A note, or now and then a rest."""
    if draw.random() < 0.1:
        return f"<note><rest/><duration>{length}</duration>{more}</note>"
    alter = draw.choice([0, 0, 0, 0, 1, -1, 2])
    pitch = (
        f"<pitch><step>{draw.choice('CDEFGAB')}</step><alter>{alter}</alter>"
        f"<octave>{draw.choice([4, 5])}</octave></pitch>"
    )
    grace = (
        f"<note><grace/>{pitch}<type>eighth</type></note>" if draw.random() < 0.08 else ""
    )
    return f"{grace}<note>{pitch}<duration>{length}</duration>{more}</note>"


# MIDI


def midi_tune(draw: random.Random) -> bytes:
    """A MIDI file of one line, played on a grid of 32nds and triplets."""
    file = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack()
    file.tracks.append(track)
    top, bottom, units = metre_of(draw)
    track.append(
        mido.MetaMessage("time_signature", numerator=top, denominator=bottom, time=0)
    )
    track.append(
        mido.MetaMessage("key_signature", key=draw.choice(["C", "Bb", "A", "F#m"]))
    )
    waited = 0
    for _ in range(draw.randrange(12, 30)):
        for length, ratio in filled(draw, units):
            lengths = [length * 60]
            if ratio == (3, 2):
                lengths = [length * 20] * 3
            for ticks in lengths:
                if draw.random() < 0.1:
                    waited += ticks
                    continue
                pitch = draw.randrange(55, 85)
                track.append(mido.Message("note_on", note=pitch, velocity=70, time=waited))
                track.append(mido.Message("note_off", note=pitch, time=ticks))
                waited = 0
    stream = io.BytesIO()
    file.save(file=stream)
    return stream.getvalue()
