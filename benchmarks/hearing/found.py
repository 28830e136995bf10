"""Read recordings that people really made: what is heard in them, and what is refused.

Run:  python -m benchmarks.hearing.found NAME=FOLDER ... [--keep NAME]

A FOLDER holds sound files, and NAME says where they are from. What was kept is of Debian
packages, fetched with ``apt-get download`` and unpacked with ``dpkg-deb -x``; none is
part of this project. ``tuxpaint-stamps-default`` holds single instruments and animals,
``asterisk-core-sounds-en-wav`` somebody who speaks, ``asterisk-moh-opsound-wav`` bands,
``sonic-pi-samples`` loops and single notes; their licences stand in each package's own
``copyright``.

Reported for each folder: how many files were read as a line, how many were refused and with
which words, CPU seconds a second of sound; and of each that was read, its notes.

Contents: main.
"""

from __future__ import annotations

import json
import re
import time
from collections import Counter
from pathlib import Path
from typing import Any

from benchmarks.keeping import about, asker, keep
from melodex.errors import MelodexError
from melodex.reading import SOUND_SUFFIXES
from melodex.reading.recording.reader import read_recording


def heard_in(path: Path) -> dict[str, Any]:
    """One file: its notes, or why there are none."""
    before = time.process_time()
    row: dict[str, Any] = {"file": path.name}
    try:
        heard = read_recording(path.read_bytes(), path.name)
    except MelodexError as error:
        row["refused"] = re.sub(r"[\d.:]+", "N", error.what)
    else:
        row["seconds"] = heard.seconds
        row["notes"] = " ".join(note.name for note in heard.notes)
        row["tuning"] = heard.tuning
        row["remarks"] = list(heard.remarks)
    row["cpu"] = round(time.process_time() - before, 2)
    return row


def main() -> None:
    """Read, print, and keep where that is wanted."""
    parser = asker(__doc__)
    parser.add_argument("folders", nargs="+", metavar="NAME=FOLDER")
    said = parser.parse_args()
    results: dict[str, Any] = {}
    for asked in said.folders:
        name, _, folder = asked.partition("=")
        files = sorted(
            path
            for path in Path(folder).rglob("*")
            if path.suffix.lower() in SOUND_SUFFIXES and path.is_file()
        )
        rows = [heard_in(path) for path in files]
        refused = Counter(row["refused"] for row in rows if "refused" in row)
        read = [row for row in rows if "refused" not in row]
        results[name] = {
            "files": len(rows),
            "read as a line": len(read),
            "refused": dict(refused.most_common()),
            "read": read,
        }
        print(name, json.dumps(results[name], indent=1), flush=True)
    if said.keep:
        keep(said.keep, {"found.json": about("numpy", "soundfile") | {"results": results}})


if __name__ == "__main__":
    main()
