"""The pictures of the README, made from the demo corpus.

Run:  python -m benchmarks.pages.picture
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from benchmarks.keeping import ROOT
from melodex.corpus.reader import Corpus
from melodex.presentation.pages import rendered
from melodex.tasks.compare.compare import compare
from melodex.tasks.demo import CORPUS_FILE, prepare_demo
from melodex.tasks.passage import Span, find_passage

PICTURES = ROOT / "benchmarks" / "pictures"


def main() -> None:
    """Draw two passages side by side, one in major and one in minor."""
    with tempfile.TemporaryDirectory() as folder:
        prepare_demo(Path(folder))
        with Corpus.open(Path(folder) / CORPUS_FILE) as corpus:
            a = find_passage("Marl Pit Hornpipe", corpus, bars=Span(1, 4))
            b = find_passage("The Eel Trap", corpus, bars=Span(1, 4))
        drawn = rendered(compare(a, b), "svg")
    assert isinstance(drawn, str)
    PICTURES.mkdir(exist_ok=True)
    (PICTURES / "pair.svg").write_text(drawn, encoding="utf-8")


if __name__ == "__main__":
    main()
