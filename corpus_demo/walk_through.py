# ruff: noqa: B018
"""A walk through melodex in cells, for an editor or a notebook that knows ``# %%``.

Run it where this folder lies: ``python corpus_demo/walk_through.py``. What a cell ends
with, a notebook shows as engraved music with a table; ``print`` shows it as text.
"""

# %% The demo's tunes in a corpus of their own
from pathlib import Path
from tempfile import mkdtemp

import melodex

TUNES = Path(__file__).parent
corpus = melodex.open(Path(mkdtemp()) / "fen.melodex")
print(repr(corpus.add(TUNES)))

# %% Where have I met this?
found = corpus.resemble("3 5 3 1 3 1 4 6 4 3 1 2 4 2 7, 2 7, 1 5, 5,", limit=3)
for match in found:
    print(match, "expected by chance:", f"{match.expected_by_chance:.2g}")
found

# %% What do the first two share?
one, other = found.passages[:2]
pair = corpus.compare(one, other)
print(pair)
pair

# %% Have I borrowed without noticing?
close = corpus.audit(TUNES / "own" / "own_song.abc", exclude=["Letter from the Far Lock"])
for row in close.rows()[:3]:
    print(row["title"], row["first_bar"], row["last_bar"], row["expected_by_chance"])
close

# %% What is in this piece?
piece = corpus.describe("Fog over the Basin")
for sentence in piece.summary:
    print(sentence)
piece

# %% Which others show it? Keep them as a teaching set, and print a worksheet.
shown = corpus.gather(device="tritone substitute", limit=6)
lesson = shown.keep("Tritone substitutes")
for line in lesson.arrange():
    print(line)
sheet = lesson.worksheet(corpus.path.with_name("worksheet.html"))
print(sheet.stat().st_size > 10_000)
lesson

# %% Notes as a table, for pandas or any other library
tune = corpus.tune("The Eel Trap")
degrees = [note["degree"] for note in tune.notes()]
print({degree: degrees.count(degree) for degree in sorted(set(degrees))})
tune
