"""The tune of a file: read with its chords, and what else sounds in its piece.

Conventions: ``FILE#3`` is the tune numbered 3 of a file that holds several. A file is read
within limits of time and memory.

Contents: file_and_number, harmonised_of_file, is_file, is_recording, melody_of_file,
recording_of, texture_in_corpus, tune_of_file.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from melodex.errors import ReadingError, UnknownTuneError
from melodex.melody import Melody

if TYPE_CHECKING:
    from melodex.corpus.reader import Corpus
    from melodex.melody.texture import Texture
    from melodex.reading.recording.record import Recording
    from melodex.reading.result import ReadTune

__all__ = [
    "file_and_number",
    "harmonised_of_file",
    "is_recording",
    "melody_of_file",
    "recording_of",
    "texture_in_corpus",
]


def file_and_number(name: str) -> tuple[Path | None, str]:
    """Split ``FILE#NUMBER``; the path is None where the name is no file."""
    if is_file(name):
        return Path(name), ""
    stem, _, number = name.rpartition("#")
    if stem and is_file(stem):
        return Path(stem), number
    from melodex.reading import SOUND_SUFFIXES, SUFFIXES

    if Path(name).suffix.lower() in {*SUFFIXES, *SOUND_SUFFIXES}:
        raise ReadingError(missing(name), where=name)
    return None, ""


def missing(name: str) -> str:
    """What is wrong with a name that is that of no file: a pipe or a folder has one too."""
    try:
        is_there = Path(name).exists()
    except (OSError, ValueError):
        is_there = False
    return "this is not a file" if is_there else "there is no such file"


def is_file(name: str) -> bool:
    """Whether a name is that of a file; names that no file can have are not."""
    try:
        return Path(name).is_file()
    except (OSError, ValueError):
        return False


def is_recording(name: str) -> bool:
    """Whether a name is that of a sound file."""
    from melodex.reading import SOUND_SUFFIXES

    return name.lower().endswith(SOUND_SUFFIXES) and is_file(name)


def recording_of(name: str) -> Recording:
    """What is heard in a sound file.

    Raises
    ------
    ReadingError, EmptyMelodyError
        If it cannot be read, or holds no line.
    """
    from melodex.reading import contents
    from melodex.reading.recording.reader import read_recording
    from melodex.reading.recording.waveform import MOST_FILE_BYTES

    return read_recording(contents(Path(name), name, MOST_FILE_BYTES), name)


def melody_of_file(path: Path, number: str, chords_alone: bool = False) -> Melody:
    """The melody of one tune of a file; of a recording, the likeliest reading."""
    from melodex.reading.apart import called_apart

    if is_recording(str(path)):
        return recording_of(str(path)).melody
    return called_apart(str(path), harmonised_of_file, path, number, chords_alone)[0]


def harmonised_of_file(
    path: Path, number: str, chords_alone: bool
) -> tuple[Melody, Texture | None]:
    """One tune of a file with its chords, and all notes of its piece.

    Working chords out of many notes takes as long as reading them.
    """
    from melodex.analysis.harmony.heard.sounding import harmonised

    read = tune_of_file(path, number, chords_alone)
    return harmonised(read), read.texture


def texture_in_corpus(tune_id: str, corpus: Corpus) -> Texture | None:
    """All notes of a piece as the first of its kept sources that can be read has them."""
    from melodex.corpus.tunes.particulars import sources_of
    from melodex.reading import read_bytes

    for data, kept_format, source, choice in sources_of(corpus, tune_id):
        if kept_format == "abc" and b"V:" not in data:
            # One voice, as nearly all tunes in ABC are; reading it again shows no other.
            continue
        # The main line comes first and brings the notes of its piece.
        whole = None
        for tune in read_bytes(data, kept_format, source, choice).tunes:
            if tune.texture:
                whole = tune.texture
            if whole and tune_id in (tune.melody.content_id(), tune.melody.earlier_id()):
                return whole
    return None


def tune_of_file(path: Path, number: str, chords_alone: bool = False) -> ReadTune:
    """Read one tune of a file, within the limits of what a file may cost."""
    from melodex.reading.apart import read_path_apart
    from melodex.reading.result import Choice

    reading = read_path_apart(path, Choice(chords_alone=chords_alone))
    tunes = list(reading.tunes)
    if number:
        tunes = [tune for tune in tunes if tune.melody.credits.number == number]
        if not tunes:
            raise UnknownTuneError(f"no tune is numbered {number}", where=str(path))
    if not tunes:
        reasons = "; ".join(str(refusal) for refusal in reading.refusals)
        raise ReadingError(
            reasons or "there is no tune in it", where="" if reasons else str(path)
        )
    if len(tunes) > 1 and not number:
        listed = ", ".join(f"{path}#{t.melody.credits.number}" for t in tunes[:4])
        raise UnknownTuneError(
            f"the file holds {len(tunes)} tunes",
            where=str(path),
            hint=f"name one: {listed} ...",
        )
    return tunes[0]
