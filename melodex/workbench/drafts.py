"""What is half written on the pages of this run: words typed and not yet sent.

Conventions: a draft goes by the address of its page, the name of its field and the tab it
was typed in, so that tabs overwrite nothing of one another. They are kept as long as the
workbench runs, whatever becomes of the browser.

Contents: Drafts, MOST_LETTERS.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from typing import Any

__all__ = ["MOST_LETTERS", "Drafts"]

MOST_PLACES, MOST_FIELDS, MOST_TABS = 200, 40, 8
MOST_LETTERS = 10_000
"""Of one draft; fields of the page take 4,000 at most. All of these are our choice."""


class Drafts:
    """The drafts of a run; those of the page that was typed on last come last."""

    def __init__(self) -> None:
        self.lock = threading.Lock()
        # Page -> field -> tab -> text, each the latest last.
        self.kept: OrderedDict[str, OrderedDict[str, OrderedDict[str, str]]] = OrderedDict()

    def write(self, place: str, tab: str, texts: Mapping[str, str]) -> None:
        """Keep what stands in some fields of a page in one tab; an empty one is let go."""
        with self.lock:
            fields = self.kept.setdefault(place, OrderedDict())
            self.kept.move_to_end(place)
            for name, text in texts.items():
                tabs = fields.setdefault(name, OrderedDict())
                tabs.pop(tab, None)
                if text:
                    tabs[tab] = text[:MOST_LETTERS]
                trim(tabs, MOST_TABS)
                fields.move_to_end(name)
            self.tidy(place, fields)

    def sent(self, place: str, tab: str, texts: Mapping[str, str]) -> None:
        """Let go of what has been sent, and of what other tabs hold of the same words."""
        with self.lock:
            fields = self.kept.get(place, OrderedDict())
            for name, text in texts.items():
                tabs = fields.get(name, OrderedDict())
                for each in [t for t, held in tabs.items() if t == tab or held in text]:
                    del tabs[each]
            self.tidy(place, fields)

    def of(self, place: str) -> dict[str, list[str]]:
        """What was typed in each field of a page, in any tab, the latest last.

        A tab that is closed has nothing else by which its words would come back.
        """
        with self.lock:
            fields = self.kept.get(place, OrderedDict())
            texts = {name: list(tabs.values()) for name, tabs in fields.items()}
        return {name: said_once(held) for name, held in texts.items()}

    def tidy(self, place: str, fields: OrderedDict[str, OrderedDict[str, str]]) -> None:
        """Forget fields and pages that hold nothing, and the oldest of too many."""
        for name in [name for name, tabs in fields.items() if not tabs]:
            del fields[name]
        trim(fields, MOST_FIELDS)
        if not fields:
            self.kept.pop(place, None)
        trim(self.kept, MOST_PLACES)


def said_once(texts: Sequence[str]) -> list[str]:
    """Texts but those that a later one holds."""
    return [
        text
        for place, text in enumerate(texts)
        if not any(text.strip() in later for later in texts[place + 1 :])
    ]


def trim(held: OrderedDict[str, Any], most: int) -> None:
    """Forget the oldest beyond so many."""
    while len(held) > most:
        held.popitem(last=False)
