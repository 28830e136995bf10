"""Sound made of real tunes: played by sampled instruments, sung and whistled.

Conventions: sound is float32 at 16 kHz; a phrase is 12 to 20 notes of a tune, moved to
where a voice or an instrument lies, its middle note at 0.25 to 0.45 s or
slower, so that none is under 0.12 s, each length
multiplied by a factor spread by 8 %. Everything is drawn from a seed.

Instruments are those of Debian's ``timgm6mb-soundfont`` (GPL-2), played by
``fluidsynth``. The voice is a row of partials under the formants of "ah" (Peterson, G.
E. and Barney, H. L. (1952), Control methods used in a study of the vowels, JASA 24(2),
175-184: 730, 1090 and 2440 Hz for men, 850, 1220 and 2810 Hz for women), with glides
from note to note, a vibrato of 5 to 6.5 Hz (Prame, E. (1994), Measurement of the vibrato
rate of ten singers, JASA 96(4), 1979-1984: 6.0 Hz on average), breath and drift. A
whistle is nearly a sine (common practice, no source).

Contents: KINDS, Sung, phrases, sound_of, melodies.
"""

from __future__ import annotations

import os
import pickle
import subprocess
import tempfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import mido
import numpy as np
from numpy.typing import NDArray

from benchmarks.material import abc_texts
from melodex.melody import Melody
from melodex.reading.abc.reader import read_abc
from melodex.reading.recording.resampling import resampled
from melodex.reading.recording.wav import read_wav
from melodex.reading.recording.waveform import RATE_HZ

__all__ = ["KINDS", "Sung", "melodies", "phrases", "sound_of"]

Floats = NDArray[np.float64]

SOUND_FONT = Path("/usr/share/sounds/sf2/TimGM6mb.sf2")
PROGRAMS = {"piano": 0, "violin": 40, "flute": 73, "clarinet": 71, "trumpet": 56}
CENTRES = {"piano": 67, "violin": 72, "flute": 77, "clarinet": 67, "trumpet": 67}
CACHE_VARIABLE = "MELODEX_BENCHMARK_CACHE"

SHORTEST, LONGEST = 12, 20
MOST_LENGTH = 8.0
SHORTEST_NOTE = 0.12
"""Seconds: eight notes a second are about what a singer articulates (from memory)."""

NOISE_DB = (30.0, 20.0, 10.0)


@dataclass(frozen=True, slots=True)
class Sung:
    """Notes to be sounded: pitch in semitones, onset and end in seconds, of which tune."""

    tune_id: str
    midi: Floats
    onset: Floats
    end: Floats
    seed: int
    half: str


def melodies() -> dict[str, Melody]:
    """Every tune of music21's ABC files by its id, from the cache where there is one."""
    folder = os.environ.get(CACHE_VARIABLE)
    kept = Path(folder) / "hearing_tunes.pickle" if folder else None
    if kept and kept.exists():
        found: dict[str, Melody] = pickle.loads(kept.read_bytes())
        return found
    found = {}
    for name, text in abc_texts():
        for tune in read_abc(text, name).tunes:
            if len(tune.melody) > LONGEST:
                found.setdefault(tune.melody.content_id(), tune.melody)
    if kept:
        kept.write_bytes(pickle.dumps(found))
    return found


def phrases(tunes: dict[str, Melody], count: int, seed: int) -> list[Sung]:
    """So many phrases, every other one of the half for tuning."""
    dice = np.random.default_rng(seed)
    ids = sorted(tunes)
    found: list[Sung] = []
    while len(found) < count:
        tune_id = ids[dice.integers(len(ids))]
        tune = tunes[tune_id]
        length = int(dice.integers(SHORTEST, LONGEST + 1))
        first = int(dice.integers(0, len(tune) - length)) if dice.random() < 0.5 else 0
        sung = timed(tune, tune_id, first, length, dice)
        if sung is not None:
            half = ("tuning", "reported")[len(found) % 2]
            found.append(replace(sung, seed=len(found), half=half))
    return found


def timed(
    tune: Melody, tune_id: str, first: int, length: int, dice: np.random.Generator
) -> Sung | None:
    """The notes of a phrase in seconds, or None where it is no phrase to be sung."""
    place = slice(first, first + length)
    onset = np.array(tune.onset_ticks[place], float)
    lasting = np.array(tune.duration_ticks[place], float)
    gaps = np.append(np.diff(onset), lasting[-1])
    midi = np.array(tune.midi[place], float)
    if gaps.min() <= 0 or np.ptp(midi) > 19 or len(set(tune.midi[place])) < 4:
        return None
    middle = np.median(gaps)
    if gaps.max() > MOST_LENGTH * middle or gaps.min() < middle / 3:
        return None
    jitter = np.exp(dice.normal(0, 0.08, length))
    scale = max(dice.uniform(0.25, 0.45) / middle, SHORTEST_NOTE / gaps.min())
    times = np.concatenate([[0.0], np.cumsum(gaps * scale * jitter)])
    end = times[:-1] + np.minimum(lasting / gaps, 1.0) * np.diff(times)
    return Sung(tune_id, midi, times[:-1], end, 0, "")


def centred(sung: Sung, centre: float, dice: np.random.Generator) -> Floats:
    """The pitches moved to lie around a centre."""
    move = round(centre - float(np.median(sung.midi)) + dice.uniform(-3, 3))
    return sung.midi + move


def in_a_room(sound: Floats, dice: np.random.Generator) -> NDArray[np.float32]:
    """Silence before and after, an echo of 0.3 to 0.6 s, noise, and some level."""
    padded = np.pad(sound, (int(0.4 * RATE_HZ), int(0.6 * RATE_HZ)))
    decay = dice.uniform(0.3, 0.6)
    steps = np.arange(int(decay * RATE_HZ))
    tail = dice.normal(size=len(steps)) * 10 ** (-3 * steps / len(steps))
    size = 1 << (len(padded) + len(tail)).bit_length()
    wet = np.fft.irfft(np.fft.rfft(padded, size) * np.fft.rfft(tail, size), size)
    wet = wet[: len(padded)]
    wet *= 0.3 * np.sqrt(np.mean(padded**2) / np.maximum(np.mean(wet**2), 1e-12))
    heard = padded + wet
    power = np.mean(sound**2) * 10 ** (-dice.choice(NOISE_DB) / 10)
    heard = heard + dice.normal(size=len(heard)) * np.sqrt(power)
    return (heard / np.abs(heard).max() * dice.uniform(0.2, 0.9)).astype(np.float32)


def played(sung: Sung, kind: str, dice: np.random.Generator) -> Floats:
    """The phrase on a sampled instrument."""
    track = mido.MidiTrack([mido.Message("program_change", program=PROGRAMS[kind], time=0)])
    events = []
    for midi, onset, end in zip(
        centred(sung, CENTRES[kind], dice), sung.onset, sung.end, strict=True
    ):
        # Players let go a little before the next.
        stop = onset + (end - onset) * dice.uniform(0.8, 0.98)
        events += [(onset, "note_on", int(midi)), (stop, "note_off", int(midi))]
    at = 0
    for time, what, midi in sorted(events):
        tick = round(time * 960)
        speed = int(dice.integers(60, 110))
        track.append(mido.Message(what, note=midi, velocity=speed, time=tick - at))
        at = tick
    track.append(mido.Message("note_off", note=0, time=480))
    with tempfile.TemporaryDirectory() as folder:
        score, wav = Path(folder) / "a.mid", Path(folder) / "a.wav"
        mido.MidiFile(ticks_per_beat=480, tracks=[track]).save(score)
        asked = ["fluidsynth", "-niq", "-r", "32000", "-g", "0.6", "-F", str(wav)]
        subprocess.run(
            [*asked, str(SOUND_FONT), str(score)], check=True, capture_output=True
        )
        heard = read_wav(wav.read_bytes(), str(wav))
    mono = heard.part(0, heard.frames).mean(axis=1)
    return resampled(mono, heard.rate_hz, RATE_HZ).astype(float)


@dataclass(frozen=True, slots=True)
class Manner:
    """How somebody sings."""

    separated: float
    off_cents: float
    drift: float
    glide: tuple[float, float] = (0.05, 0.12)


MANNERS = {
    "separated": Manner(1.0, 12, 1.0),
    "joined": Manner(0.0, 12, 1.0),
    "rough": Manner(0.6, 40, 1.5),
}


def curve(
    sung: Sung, pitch: Floats, manner: Manner, dice: np.random.Generator
) -> tuple[Floats, Floats]:
    """Pitch and loudness of each sample of a sung line."""
    count = int((sung.end[-1] + 0.15) * RATE_HZ)
    time = np.arange(count) / RATE_HZ
    drift = np.linspace(0, dice.uniform(-manner.drift, manner.drift), count)
    off = dice.normal(0, manner.off_cents / 100, len(pitch))
    line = np.full(count, pitch[0] + off[0])
    loud = np.ones(count)
    for note in range(len(pitch)):
        start = sung.onset[note]
        if note:
            glide = dice.uniform(*manner.glide)
            way = np.clip((time - start + glide / 2) / glide, 0, 1)
            before = pitch[note - 1] + off[note - 1]
            goal = pitch[note] + off[note] + (pitch[note] - pitch[note - 1]) * 0.0
            turn = (1 - np.cos(np.pi * way)) / 2
            here = time >= start - glide / 2
            line = np.where(here, before + (goal - before) * turn, line)
            loud *= between(time, start, pitch[note] == pitch[note - 1], manner, dice)
        level = 10 ** (dice.normal(0, 1.5) / 20)
        loud = np.where(time >= start, loud / max(loud[-1], 1e-9) * level, loud)
    rate, width = dice.uniform(5, 6.5), dice.uniform(0.1, 0.4)
    swing = width * np.sin(2 * np.pi * rate * time + dice.uniform(0, 6.28))
    since = np.zeros(count)
    for start in sung.onset:
        since = np.where(time >= start, time - start, since)
    swing *= np.clip((since - 0.12) / 0.2, 0, 1)
    slow = np.cumsum(dice.normal(size=count)) / np.sqrt(np.arange(1, count + 1))
    edges = np.clip(time / 0.04, 0, 1) * np.clip((sung.end[-1] + 0.1 - time) / 0.1, 0, 1)
    line = line + drift + swing + 0.03 * slow + dice.uniform(-0.5, 0.5)
    return line, smooth(loud, 0.012) * edges


def between(
    time: Floats, start: float, repeated: bool, manner: Manner, dice: np.random.Generator
) -> Floats:
    """What happens to the loudness where one note ends and the next begins."""
    if dice.random() < manner.separated:
        depth, width = dice.uniform(12, 30), dice.uniform(0.03, 0.07)
    elif repeated:
        # Joined notes that repeat are told apart by a weak consonant, or hardly at all.
        depth, width = dice.uniform(3, 12), dice.uniform(0.03, 0.05)
    else:
        depth, width = dice.uniform(0, 3), 0.04
    dip = depth * np.exp(-(((time - start) / (width / 2)) ** 2))
    return 10 ** (-dip / 20)


def smooth(values: Floats, seconds: float) -> Floats:
    """A running mean."""
    size = max(int(seconds * RATE_HZ), 1)
    return np.convolve(np.pad(values, size, mode="edge"), np.ones(size) / size, "same")[
        size:-size
    ]


def sung_sound(sung: Sung, manner: Manner, dice: np.random.Generator) -> Floats:
    """The phrase as a voice sings it on "ah"."""
    woman = dice.random() < 0.5
    pitch = centred(sung, 65 if woman else 53, dice)
    line, loud = curve(sung, pitch, manner, dice)
    formants = ((850, 1220, 2810) if woman else (730, 1090, 2440), (90, 110, 170))
    hertz = 440 * 2 ** ((line - 69) / 12)
    phase = 2 * np.pi * np.cumsum(hertz) / RATE_HZ
    sound = np.zeros(len(line))
    for partial in range(1, int(5500 / hertz.min()) + 1):
        at = partial * hertz
        size = sum(
            gain / (1 + ((at - centre) / width) ** 2)
            for centre, width, gain in zip(*formants, (1.0, 0.6, 0.3), strict=True)
        )
        sound += (
            (size + 0.05) / partial**0.7 * np.where(at < 7000, np.sin(partial * phase), 0)
        )
    breath = smooth(dice.normal(size=len(line)), 0.0002) * np.sqrt(np.mean(sound**2))
    return (sound + 10 ** (dice.uniform(-30, -20) / 20) * breath) * loud


def whistled(sung: Sung, centre: float, dice: np.random.Generator) -> Floats:
    """The phrase as somebody whistles it."""
    pitch = centred(sung, centre, dice)
    line, loud = curve(sung, pitch, Manner(0.5, 15, 0.7, (0.03, 0.08)), dice)
    phase = 2 * np.pi * np.cumsum(440 * 2 ** ((line - 69) / 12)) / RATE_HZ
    sound = np.sin(phase) + 0.03 * np.sin(2 * phase)
    breath = smooth(dice.normal(size=len(line)), 0.0003) * 0.1
    return (sound + breath) * loud


Kind = Callable[[Sung, np.random.Generator], Floats]


def by_program(name: str) -> Kind:
    """A line played by an instrument."""
    return lambda sung, dice: played(sung, name, dice)


def in_manner(how: Manner) -> Kind:
    """A line sung in some manner."""
    return lambda sung, dice: sung_sound(sung, how, dice)


KINDS: dict[str, Kind] = {
    **{name: by_program(name) for name in PROGRAMS},
    **{f"sung, {name}": in_manner(how) for name, how in MANNERS.items()},
    "whistle": lambda sung, dice: whistled(sung, 86, dice),
    "whistle above 2,093 Hz": lambda sung, dice: whistled(sung, 98, dice),
}
"""Each kind of sound, and what makes it."""


def sound_of(sung: Sung, kind: str) -> NDArray[np.float32]:
    """One clip, always the same for a phrase and a kind."""
    dice = np.random.default_rng([sung.seed, sorted(KINDS).index(kind)])
    return in_a_room(KINDS[kind](sung, dice), dice)
