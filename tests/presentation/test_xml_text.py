"""Signs that XML cannot carry, in titles and words: nothing is refused for them."""

from __future__ import annotations

from xml.etree.ElementTree import Element, SubElement, fromstring

import pytest

from melodex.melody import Melody
from melodex.presentation import pages
from melodex.presentation.xml_text import xml_text
from melodex.reading import read_data
from melodex.tasks.describe.describe import describe
from melodex.tasks.passage import passage_of

ODD = "a\x00b\x01\x1f\ufffe\uffff\U0001f600\u202ec"


def test_what_is_written_can_be_read_again() -> None:
    root = Element("a", {"name": ODD})
    SubElement(root, "b").text = f"{ODD}\t\n"
    read = fromstring(xml_text(root))
    # XML 1.0, section 2.2: bidirectional marks and signs beyond the BMP are characters.
    assert read.get("name") == "ab\U0001f600\u202ec"
    assert read.findtext("b") == "ab\U0001f600\u202ec\t\n"


@pytest.fixture(scope="module")
def odd_tune() -> Melody:
    text = f"X:1\nT:{ODD}\nC:{ODD}\nM:4/4\nL:1/4\nK:C\nCDEF|GABc|cBAG|FEDC|\nw:{ODD}\n"
    return read_data(text.encode("utf-8", "surrogatepass"), "odd.abc").tunes[0].melody


@pytest.mark.parametrize("form", ["svg", "pdf", "html", "musicxml"])
def test_an_odd_title_is_shown_in_every_form(odd_tune: Melody, form: str) -> None:
    passage = passage_of(odd_tune, odd_tune.content_id(), False, fewest=0)
    result = passage if form == "musicxml" else describe(passage, None, None)
    content = pages.rendered(result, form)
    assert len(content) > 500
    if form in {"svg", "musicxml"}:
        fromstring(content if isinstance(content, str) else content.decode())
