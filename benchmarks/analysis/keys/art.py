"""The key of movements of art music, told from one line of their sheets and from all.

Run:  python -m benchmarks.analysis.keys.art [--keep NAME]

Sheets lie in the installed music21 package; nothing is copied. Each is read as melodex
reads any sheet, by the top voice of its first part and by the chords that all its notes
make, as ``describe`` does, and its headline compared with the key that the work is known
by. The keys are those of titles and catalogues, written down from memory. Movements of
several centres count by the key that they are named by; what is cut into files in an
unclear way (Schumann op. 41 no. 1), or larger than a reader takes (Beethoven op. 74 and
132), is left out. The fourth file of Mozart K. 156 is the first version of its slow
movement. Verdi's and Handel's arias are there in another key than that of the work; they
count as misses. 95 % intervals draw movements anew.

Contents: MOVEMENTS, measure, main.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from benchmarks.analysis.keys.lines import Row, row, share
from benchmarks.analysis.keys.truth import CORPUS
from benchmarks.keeping import about, asker, keep
from melodex.analysis.harmony.heard.sounding import harmonised
from melodex.analysis.keys import read_keys
from melodex.melody import Key, Melody, fifths_from_name, pitch_class
from melodex.reading import read_path
from melodex.reading.result import ReadTune

FILES = {
    "beethoven/opus18no1/movement{}.mxl": "F major,D minor,F major,F major",
    "beethoven/opus18no3.mxl": "D major",
    "beethoven/opus18no4.mxl": "C minor",
    "beethoven/opus18no5.mxl": "A major",
    "beethoven/opus59no1/movement{}.mxl": "F major,Bb major,F minor,F major",
    "beethoven/opus59no2/movement{}.mxl": "E minor,E major,E minor,E minor",
    "beethoven/opus59no3/movement{}.mxl": "C major,A minor,C major,C major",
    "beethoven/opus133.mxl": "Bb major",
    "haydn/opus1no1/movement{}.mxl": "Bb major,Bb major,Eb major,Bb major,Bb major",
    "haydn/opus74no1/movement{}.mxl": "C major,G major,C major,C major",
    "mozart/k80/movement{}.mxl": "G major,G major,G major,G major",
    "mozart/k155/movement{}.mxl": "D major,A major,D major",
    "mozart/k156/movement{}.mxl": "G major,E minor,G major,E minor",
    "mozart/k458/movement{}.mxl": "Bb major,Bb major,Eb major,Bb major",
    "mozart/k545/movement1_exposition.mxl": "C major",
    "schumann_clara/polonaise_op1n{}.mxl": "Eb major,C major,D major,C major",
    "schumann_clara/opus17/movement3.xml": "G major",
    "schumann_robert/opus48no2.mxl": "A major",
    "schubert/Lindenbaum.xml": "E major",
    "verdi/laDonnaEMobile.mxl": "B major",
    "weber/concertino_clarinet.mxl": "Eb major",
    "joplin/maple_leaf_rag.mxl": "Ab major",
    "corelli/opus3no1/1grave.xml": "F major",
    "handel/rinaldo/Lascia_chio_pianga.mxl": "F major",
    "leadSheet/fosterBrownHair.mxl": "F major",
    "leadSheet/berlinAlexandersRagtime.mxl": "F major",
    "bach/bwv846.mxl": "C major",
    "chopin/mazurka06-2.krn": "C# minor",
}
"""Files by their place in the corpus, and the keys of their movements in order."""


def movements() -> dict[str, Key]:
    """Every file with its key."""
    found = {}
    for pattern, keys in FILES.items():
        for number, name in enumerate(keys.split(","), start=1):
            tonic, mode = name.split()
            found[pattern.format(number)] = Key(fifths_from_name(tonic), mode)
    return found


def measure() -> tuple[list[Row], list[str]]:
    """Tonic, tonic and mode, and refusals; and what was read otherwise."""
    rows, apart = [], []
    for what, heard in (("one line", line_of), ("all notes", harmonised)):
        found, others = measured(f"key of art music, {what}", heard)
        rows += found
        apart += others
    return rows, apart


def line_of(read: ReadTune) -> Melody:
    """The main line alone."""
    return read.melody


def measured(task: str, heard: Callable[[ReadTune], Melody]) -> tuple[list[Row], list[str]]:
    """The rows of one way to read, and what was read otherwise."""
    items, apart = [], []
    for name, key in movements().items():
        tunes = read_path(CORPUS / name).tunes
        said = read_keys(heard(tunes[0])).reading.key if tunes else Key(0, "none")
        refused = said.mode == "none"
        tonic = not refused and pitch_class(said.tonic_fifths) == pitch_class(
            key.tonic_fifths
        )
        items.append((tonic, tonic and said.mode == key.mode, refused))
        if not items[-1][1]:
            apart.append(f"{task}: {name}: {key} was read as {said}")
    rows = [
        row(task, what, items, share(place))
        for place, what in enumerate(("tonic", "tonic and mode", "refused"))
    ]
    return rows, apart


def main() -> None:
    """Measure; keep the figures if a name is given."""
    choice = asker(__doc__).parse_args()
    rows, apart = measure()
    print("\n".join(apart))
    run: dict[str, Any] = about("music21") | {"rows": rows, "read_otherwise": apart}
    keep(choice.keep, {"keys_art.json": run})


if __name__ == "__main__":
    main()
