"""Names of one very long word, and very long ones, on a narrow screen."""

from __future__ import annotations

import pytest

from melodex.corpus.reader import Corpus
from melodex.tasks.adding.add import add_paths
from melodex.tasks.lesson.keeping import found_by_hand, keep
from tests.workbench.conftest import InThread

WORD = (
    "Donaudampfschifffahrtselektrizitätenhauptbetriebswerkbauunterbeamtengesellschaftslied"
)
LONG = "A Ballad of One Who Would Not Go Home " * 4
ABC = f"""X:1
T:{WORD}
C:{WORD}
M:3/4
L:1/4
K:Dm
A|d2e|f2e|d2^c|d2A|d2e|f2g|a2e|f3|

X:2
T:{LONG}
M:3/4
L:1/4
K:Dm
A|d2e|f2g|d2^c|d2A|d2e|f2e|a2e|f3|
"""
WIDEST = """[...document.querySelectorAll("main *, footer *")]
  .filter((each) => each.getBoundingClientRect().right > 391 && !each.closest(".scroll"))
  .map((each) => `${each.tagName}.${each.className}`).slice(0, 9).join(" ")"""
PAGES = (
    "/find?phrase=5+1+2+b3",
    "/gather?mode=minor",
    "/inside?tune=Donau",
    "/own?tune=Donau",
    "/beside?a=Donau&b=Ballad",
    "/tune?tune=Donau",
    "/tunes",
    "/shelf",
    "/sets",
    "/set?name=Long",
    "/set/questions?name=Long",
    "/set/order?name=Long",
    "/done",
)


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    folder = tmp_path_factory.mktemp("long")
    (folder / f"{WORD}.abc").write_text(ABC, encoding="utf-8")
    path = folder / "long.melodex"
    add_paths(path, [folder / f"{WORD}.abc"])
    with Corpus.open(path) as corpus:
        found = [found_by_hand(corpus, name, bars="1-4") for name in ("Donau", "Ballad")]
    keep(path, "Long", found, create=True)
    started = InThread(path)
    yield started.running
    started.stop()


def test_no_page_is_wider_than_a_narrow_screen(bench, visit):
    page = visit(bench, width=390)
    wide = {}
    for path in PAGES:
        page.goto(bench.base + path)
        width = page.evaluate("document.documentElement.scrollWidth")
        if width > 390:
            wide[path] = page.evaluate(WIDEST)
    assert wide == {}
