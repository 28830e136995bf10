"""Reports as text: self-contained, escaped, the same each time."""

from __future__ import annotations

import base64
import hashlib
import io
import json
import re
from dataclasses import replace
from html.parser import HTMLParser

import mido
import pytest

from melodex.corpus.reader import Corpus
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import PresentationError
from melodex.melody import Phrase
from melodex.presentation.pages import FORMS, rendered
from melodex.presentation.report.charts import (
    BarCell,
    bar_grid,
    coverage_strips,
    dot_plot,
)
from melodex.presentation.report.forms import report_html
from melodex.presentation.report.page import (
    Caution,
    Facts,
    Fold,
    Page,
    Player,
    Section,
    Table,
    Text,
    inert_json,
    page_html,
)
from melodex.presentation.report.paper import handout_pdf
from melodex.presentation.text.audit import facts
from melodex.reading.abc.reader import read_abc
from melodex.reading.phrase.reader import read_phrase
from melodex.reading.result import Choice
from melodex.tasks.audit.audit import audit
from melodex.tasks.resemble import Resemblance, resemble


class Outline(HTMLParser):
    """What a page refers to, and its inline scripts and styles."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.references: list[str] = []
        self.inline: dict[str, list[str]] = {"script": [], "style": []}
        self.policy = ""
        self.handlers: list[str] = []
        self.open = ""
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        given = dict(attrs)
        self.references += [given[name] or "" for name in ("href", "src") if name in given]
        self.handlers += [
            name for name, _ in attrs if name.startswith("on") or name == "style"
        ]
        if given.get("http-equiv") == "Content-Security-Policy":
            self.policy = given["content"] or ""
        if tag in self.inline and "json" not in (given.get("type") or ""):
            self.open = tag

    def handle_data(self, data):
        if self.open:
            self.inline[self.open].append(data)
            self.open = ""


@pytest.fixture(scope="session")
def found(tmp_path_factory) -> Resemblance:
    """Ten matches in a corpus of twelve variants of one invented tune."""
    path = tmp_path_factory.mktemp("corpus") / "corpus.melodex"
    keys = ["C", "D", "Eb", "F", "G", "A", "Bb", "Cm", "Dm", "Em", "Gm", "Am"]
    tunes = [
        f"X:{i}\nT:Stair <i>{i}</i>\nM:4/4\nL:1/8\nK:C transpose\nK:{key}\n"
        f"{'CDEF GABc' if i % 2 else 'C2E2 G2F2'} | G2 F2 E2 D2 | C{i % 5 + 1} z2 |\n"
        for i, key in enumerate(keys, 1)
    ]
    with CorpusWriter.open(path) as writer:
        writer.add_reading(read_abc("\n".join(tunes), "stairs.abc", Choice()))
    phrase = read_phrase("K:C C2 E2 G2 F2 | G2 F2 E2 D2", notation="abc")
    with Corpus.open(path) as corpus:
        return resemble(corpus, phrase, limit=10)


def test_the_page_is_self_contained(comparison):
    """Nothing is loaded from anywhere; only its own script and style may run."""
    text = report_html(comparison)
    outline = Outline(text)
    assert all(ref.startswith(("data:", "#")) for ref in outline.references)
    assert outline.handlers == []
    for kind in ("script", "style"):
        (inline,) = outline.inline[kind]
        digest = base64.b64encode(hashlib.sha256(inline.encode()).digest()).decode()
        assert f"{kind}-src 'sha256-{digest}'" in outline.policy
    assert outline.policy.startswith("default-src 'none'")
    assert "unsafe" not in outline.policy


def test_how_a_match_came_by_its_place_is_shown_where_that_was_asked_for(found):
    assert "How it came by its place" not in report_html(found)
    first, *rest = found.matches
    told = replace(first, explanation=("evidence 3.14, the sum of",))
    text = report_html(replace(found, matches=(told, *rest)))
    assert text.count("How it came by its place") == 1
    assert "evidence 3.14, the sum of" in text


def test_the_same_result_gives_the_same_bytes(comparison, found):
    assert report_html(comparison) == report_html(comparison)
    assert report_html(found) == report_html(found)


def test_words_come_first_and_titles_stay_text(comparison):
    text = report_html(comparison)
    assert "<b>Lamps" not in text
    assert "Harbour &lt;b&gt;Lamps&lt;/b&gt; &amp; Co" in text
    first = text.index("paired notes have the same degree")
    assert text.index("<h1>") < first < text.index("<svg", text.index("</header>"))
    assert "B♭ minor" in text
    assert "invented for these tests" in text


def test_every_pair_is_a_row_and_every_note_a_name(comparison):
    text = report_html(comparison)
    table = text[text.index("<tbody>") : text.index("</tbody>")]
    assert table.count("<tr>") == len(comparison.likeness.pairs)


def test_the_files_in_the_page_are_the_exports(comparison):
    text = report_html(comparison)
    files = dict(re.findall(r'download="([^"]+)" href="data:[^;]+;base64,([^"]+)"', text))
    assert sorted(files) == ["comparison.abc", "comparison.mid", "comparison.musicxml"]
    midi = mido.MidiFile(file=io.BytesIO(base64.b64decode(files["comparison.mid"])))
    assert len(midi.tracks) == 3


def test_what_the_player_gets_is_the_music(comparison):
    """At A's pitch B's tonic is A's; the first partners start together."""
    text = report_html(comparison)
    (players,) = re.findall(r"data-players>(.+?)</script>", text)
    data = json.loads(players)["listen"]
    a, b = comparison.a.melody, comparison.b.melody
    assert [row[0] for row in data["voices"]["a"]] == list(a.midi)
    assert [row[0] for row in data["voices"]["b"]] == list(b.midi)
    assert data["shift"] == -comparison.likeness.transposition_semitones
    first = next(
        p for p in comparison.likeness.pairs if p.query is not None and p.tune is not None
    )
    starts = [
        data["voices"][name][note][1] + data["lead"][side]
        for side, (name, note) in enumerate((("a", first.query), ("b", first.tune)))
    ]
    assert starts[0] == starts[1]
    assert min(data["lead"]) == 0


def test_ten_matches_fit_in_400_kilobytes(found):
    assert len(found.matches) == 10
    text = report_html(found)
    assert len(text.encode()) < 400_000
    assert text.count('class="music"') == 11
    ids = re.findall(r'\bid="([^"]+)"', text)
    assert len(set(ids)) == len(ids)


@pytest.mark.parametrize(
    ("typed", "notation"), [("5 1 2 3 2 1", "degrees"), ("+2 +2 -4 +7", "steps")]
)
def test_phrases_without_rhythm_or_key_have_pages_too(typed, notation, found, tmp_path):
    phrase = read_phrase(typed, notation=notation)
    path = tmp_path / "corpus.melodex"
    with CorpusWriter.open(path) as writer:
        tune = "X:1\nT:t\nM:4/4\nL:1/4\nK:Bb\nF B c d | c B B B |"
        writer.add_reading(read_abc(tune, "one.abc", Choice()))
    with Corpus.open(path) as corpus:
        result = resemble(corpus, phrase)
    text = report_html(result)
    assert text.count('class="music"') == 1 + len(result.matches)


def test_a_contour_shows_the_tunes_alone(tmp_path):
    path = tmp_path / "corpus.melodex"
    with CorpusWriter.open(path) as writer:
        tune = "X:1\nT:t\nM:4/4\nL:1/4\nK:Bb\nF B c d | c B B B |"
        writer.add_reading(read_abc(tune, "one.abc", Choice()))
    with Corpus.open(path) as corpus:
        result = resemble(corpus, read_phrase("+ + + - -", notation="contour"))
    assert result.matches
    assert report_html(result).count('class="music"') == len(result.matches)


def test_nothing_found_is_said():
    phrase = read_phrase("K:C C2 E2 G2 F2", notation="abc")
    assert isinstance(phrase, Phrase)
    text = report_html(Resemblance(phrase, 3, 40, 80, "alignment", ()))
    assert "Nothing in 3 tunes resembles the phrase." in text


def test_what_has_no_page_is_refused():
    with pytest.raises(PresentationError, match="there is no page for a dict"):
        report_html({})


def test_the_kit_escapes_whatever_it_is_given():
    hostile = "</script><script>alert(1)</script>\"'&"
    page = Page(
        hostile,
        hostile,
        (hostile,),
        (
            Section(
                hostile,
                (
                    Text((hostile,)),
                    Caution((hostile,)),
                    Facts(((hostile, hostile),)),
                    Table(hostile, (hostile,), ((hostile,),)),
                    Fold(hostile, (Text((hostile,)),)),
                    Player("p", {"a": [[60, 0, 1]]}, (hostile,), label=hostile),
                ),
                note=hostile,
            ),
        ),
        (hostile,),
    )
    text = page_html(page)
    assert "alert(1)</script>" not in text
    assert len(Outline(text).inline["script"]) == 1
    assert json.loads(inert_json({"a": hostile})) == {"a": hostile}


def test_a_page_without_sound_carries_no_script():
    text = page_html(Page("t", "k", (), (Section("s", (Text(("w",)),)),)))
    assert "<script" not in text
    assert "script-src 'none'" in Outline(text).policy


def test_the_dot_plot_has_a_dot_for_every_equal_pair(comparison):
    """Counted apart: as many squares and diamonds as the degrees say."""
    a, b = comparison.a.melody, comparison.b.melody
    shift = comparison.likeness.spelled_shift
    svg = dot_plot(a, b, [(0, 0)], shift_fifths=shift)
    paths = dict(re.findall(r'class="(?:rel )?rel-(\w+)" d="([^"]+)"', svg))
    apart = [fb - fa - shift for fa in a.fifths for fb in b.fifths]
    assert paths["same"].count("M") == apart.count(0)
    assert paths["inflected"].count("M") == sum(d != 0 and d % 7 == 0 for d in apart)


def test_the_coverage_strip_is_as_long_as_the_notes(comparison):
    melody = comparison.a.melody
    relations = ["no partner"] * len(melody)
    svg = coverage_strips([melody], [relations])
    widths = [float(w) for w in re.findall(r'<rect[^>]* width="([\d.]+)"', svg)]
    total = melody.onset_ticks[-1] + melody.duration_ticks[-1] - melody.onset_ticks[0]
    for width, length in zip(widths, melody.duration_ticks, strict=True):
        assert width == pytest.approx(length / total * 900 - 1.5, abs=0.1)
    assert "0 of 16 notes have a partner" in svg


def test_the_bar_grid_starts_a_row_at_each_section():
    cells = [
        BarCell(i, {1: "A", 9: "B", 14: "A"}.get(i, ""), f"C{i}") for i in range(1, 18)
    ]
    svg = bar_grid(cells)
    assert svg.count("<rect") == 17
    tops = sorted({float(y) for y in re.findall(r'<rect x="[^"]+" y="([\d.]+)"', svg)})
    assert len(tops) == 3
    assert "section B from bar 9" in svg


@pytest.fixture(scope="module")
def audited(tmp_path_factory, as_passage, read_tune):
    """An own tune whose first bars stand in a corpus of three."""
    path = tmp_path_factory.mktemp("audit") / "corpus.melodex"
    lent = "G2 B2 d2 ^c2 | e2 d2 B4 | A2 c2 B2 A2 | G8 |"
    others = "c2 e2 g2 e2 | f4 d4 | c2 B2 c4 | c8 |"
    head = "L:1/8\nM:4/4"
    shelf = f"X:1\nT:Lent\n{head}\nK:G\n{lent}\n\nX:2\nT:Other\n{head}\nK:C\n{others}"
    with CorpusWriter.open(path) as writer:
        writer.add_reading(read_abc(shelf, "shelf.abc", Choice()))
    own = read_tune(
        f"X:1\nT:Own <i>song</i>\nL:1/8\nM:4/4\nK:G\nP:A\n{lent}\nP:B\nd8 | B8 |"
    )
    with Corpus.open(path) as corpus:
        return audit(corpus, as_passage(own), threshold=1e9)


def test_an_audit_says_first_what_it_does_not_say(audited):
    text = report_html(audited)
    assert audited.findings
    assert text.count('class="music"') == len(audited.findings)
    for caution in audited.cautions:
        assert caution in text
    assert text.index(audited.cautions[0]) < text.index('class="music"')
    assert "Own &lt;i&gt;song&lt;/i&gt;" in text
    assert "<i>song" not in text


def test_an_audit_says_as_much_of_a_finding_on_paper_as_in_a_terminal(audited):
    text = report_html(audited)
    for finding in audited.findings:
        assert f"{finding.bits:.0f} bits" in text
        assert f"{finding.bits:.0f} bits" in " ".join(facts(finding))


def test_the_bars_of_an_audit_name_their_findings(audited):
    text = report_html(audited)
    grid = text[text.index('id="barstitle"') : text.index("Shaded bars")]
    shaded = sum(bool(cover.findings) for cover in audited.coverage)
    assert grid.count('fill-opacity="0.12"') == shaded > 0
    assert grid.count("<rect") == len(audited.coverage)


def test_an_audit_can_be_printed(audited):
    assert handout_pdf(audited).startswith(b"%PDF")


@pytest.mark.parametrize(
    ("form", "start"),
    [
        ("html", "<!doctype html>"),
        ("pdf", b"%PDF"),
        ("svg", "<svg"),
        ("midi", b"MThd"),
        ("musicxml", "<?xml"),
        ("abc", "X:1"),
    ],
)
def test_a_comparison_has_every_form(comparison, form, start):
    assert form in FORMS
    assert rendered(comparison, form).startswith(start)


def test_a_form_that_a_result_does_not_have_is_refused(found):
    with pytest.raises(PresentationError, match="there is no svg form of a Resemblance"):
        rendered(found, "svg")


def test_pictures_of_a_page_share_their_glyphs(found):
    """One outline of each glyph, and every reference finds it."""
    text = report_html(found)
    defined = re.findall(r'<(?:path|g) id="((?:glyph|sign)-\w+)"', text)
    assert len(set(defined)) == len(defined) > 3
    assert set(re.findall(r'href="#([^"]+)"', text)) <= set(defined)
    assert {name for name in defined if name.startswith("glyph")} <= set(
        re.findall(r'href="#([^"]+)"', text)
    )
