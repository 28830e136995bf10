"""What was heard: notes with their times, in each reading of the sound.

Conventions: times in seconds from the start of the recording, pitch in semitones,
lengths as ratios to the middle one.

Contents: HeardNote, HeardLine, Recording.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import accumulate, pairwise
from pathlib import PurePath

from melodex.melody import Bar, Credits, Melody, Phrase
from melodex.melody.pitch import note_name
from melodex.reading.phrase.typed import FREE_METRE_STRENGTH
from melodex.reading.recording.rhythm import PULSES, ticks_of
from melodex.records import dataclass

__all__ = ["HeardLine", "HeardNote", "Recording"]


@dataclass(frozen=True, slots=True)
class HeardNote:
    """One note.

    Parameters
    ----------
    midi, fifths : int
        The semitone that was meant, and its spelling in the scale that fits the line.
    pitch : float
        Where it lies, in semitones as of MIDI, at 440 Hz and before any tuning.
    onset_seconds, seconds : float
        When it begins and how long it sounds.
    off_semitones : float
        How far it lies from that semitone, after the tuning of the line.
    ratio : float
        Its length up to the next note, where the middle one of all is 1.
    confidence : float
        From 0 to 1: that there is a pitch, times that it is this semitone.
    """

    midi: int
    fifths: int
    pitch: float
    onset_seconds: float
    seconds: float
    off_semitones: float
    ratio: float
    confidence: float

    @property
    def name(self) -> str:
        """Name and octave, such as ``Bb4``."""
        return note_name(self.midi, self.fifths)


@dataclass(frozen=True, slots=True)
class HeardLine:
    """One reading of the sound, how it was read, in words, and how its time may go.

    ``pulses`` are the quarters that its middle length is tried as.
    """

    words: str
    notes: tuple[HeardNote, ...]
    pulses: tuple[float, ...] = PULSES

    @property
    def middle_seconds(self) -> float:
        """How long the length is that is called 1."""
        gaps = [
            (after.onset_seconds - note.onset_seconds) / note.ratio
            for note, after in pairwise(self.notes)
        ]
        # Rests make a gap longer than what counts of it.
        return sorted(gaps)[len(gaps) // 4]

    def phrase(self, text: str, pulse: float | None = None) -> Phrase:
        """The line as something to look for.

        Parameters
        ----------
        text : str
            What to call it.
        pulse : float, optional
            Quarters that the middle length is; without it no rhythm is said.
        """
        ratios = [note.ratio if pulse else 1.0 for note in self.notes]
        lengths = ticks_of(ratios, pulse or 1.0)
        melody = melody_of(self.notes, lengths)
        return Phrase(
            melody, "recording", text=text, has_rhythm=pulse is not None, has_tonic=False
        )


@dataclass(frozen=True, slots=True)
class Recording:
    """What a recording holds.

    Parameters
    ----------
    source : str
        Name of the file.
    seconds : float
        How long it lasts.
    lines : tuple of HeardLine
        The readings, the likeliest first; those that do not differ stand once.
    offset_semitones, drift_semitones : float
        How far the line lies from 440 Hz as a whole, and from its start to its end.
    remarks : tuple of str
        What has to be said of the sound.
    """

    source: str
    seconds: float
    lines: tuple[HeardLine, ...]
    offset_semitones: float
    drift_semitones: float
    remarks: tuple[str, ...] = ()

    @property
    def name(self) -> str:
        """The name of the file, without its folder."""
        return PurePath(self.source).name

    @property
    def notes(self) -> tuple[HeardNote, ...]:
        """The notes of the likeliest reading."""
        return self.lines[0].notes

    @property
    def tuning(self) -> str:
        """How the line was tuned, in words."""
        cents = round(100 * self.offset_semitones)
        where = f"{abs(cents)} cents {'sharp' if cents > 0 else 'flat'}"
        said = f"{where} of 440 Hz" if abs(cents) >= 5 else "at 440 Hz"
        drift = round(100 * self.drift_semitones)
        if abs(drift) < 20:
            return said
        return f"{said}, {'rising' if drift > 0 else 'sinking'} by {abs(drift)} cents"

    @property
    def melody(self) -> Melody:
        """The likeliest reading as a melody, its middle length an eighth."""
        melody = self.lines[0].phrase(self.name, PULSES[0]).melody
        return melody.with_credits(title=self.name, source=self.source)

    def phrases(self) -> tuple[tuple[str, Phrase], ...]:
        """Every reading, without rhythm and in every pulse, each with its words."""
        return tuple((words, phrase) for _, words, phrase in self.ways())

    def ways(self) -> tuple[tuple[HeardLine, str, Phrase], ...]:
        """The same, each with the line that it is of."""
        return tuple(
            (
                line,
                f"{line.words}, in rhythm" if pulse else line.words,
                line.phrase(self.name, pulse),
            )
            for line in self.lines
            for pulse in (None, *line.pulses)
        )

    def __repr__(self) -> str:
        return f"<Recording {self.source!r}: {len(self.notes)} notes>"


def melody_of(notes: Sequence[HeardNote], lengths: Sequence[int]) -> Melody:
    """Notes laid one after another in a single bar of free metre."""
    onsets = list(accumulate(lengths, initial=0))
    count = len(notes)
    return Melody(
        midi=tuple(note.midi for note in notes),
        fifths=tuple(note.fifths for note in notes),
        onset_ticks=tuple(onsets[:-1]),
        duration_ticks=tuple(lengths),
        bar=(1,) * count,
        beat_strength=(FREE_METRE_STRENGTH,) * count,
        phrase=(0,) * count,
        bars=(Bar(1, 0, onsets[-1]),),
        credits=Credits(),
    )
