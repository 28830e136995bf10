"""Tune families: kin whatever they are called, and corpora that could mislead.

That a tune in another key and metre, with notes put in, is the same tune is common
practice, no source.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from melodex.corpus.reader import Corpus
from melodex.corpus.writing.store import CorpusWriter
from melodex.presentation.data.corpus import families_csv, families_json
from melodex.presentation.text.families import families_text
from melodex.reading import read_path
from melodex.tasks.collection.families import Families, family_of_tune, find_families
from melodex.tasks.gather.gather import Wish, gather
from melodex.tasks.resemble import resemble, said_phrase

LONG = "DEFG|Adc2|dcAG|F2E2|DEFA|GFED|CDEF|D4|A2cA|GAFG|E2CE|D4|"


def sheet(
    number: int, title: str, notes: str, key: str = "Ddor", metre: str = "4/4"
) -> str:
    return f"X:{number}\nT:{title}\nM:4/4\nL:1/4\nK:{key}\n{notes}\n\n"


def found_in(folder: Path, text: str, **asked: float) -> Families:
    (folder / "tunes.abc").write_text(text)
    with CorpusWriter.open(folder / "c.melodex") as writer:
        writer.add_reading(read_path(folder / "tunes.abc"))
    with Corpus.open(folder / "c.melodex") as corpus:
        return find_families(corpus, **asked)  # type: ignore[arg-type]


def test_kin_under_another_name_are_a_family_and_what_differs_is_said(tmp_path):
    moved = LONG.translate(str.maketrans("CDEFGAcd", "GABcdegA")).replace("A4|", "A2A2|", 1)
    other = "G2ED|C3E|G2A2|B4|c2Ac|B2G2|A2FA|G4|e2dc|B2A2|GABG|c4|"
    text = sheet(1, "Ladder Song", LONG) + sheet(2, "Snail Post", moved, "Ador")
    found = found_in(tmp_path, text + sheet(3, "Another", other, "C"))
    (family,) = found.families
    assert {m.row.title for m in family.members} == {"Ladder Song", "Snail Post"}
    assert family.members[0].likeness == 1
    assert not family.members[0].differences
    said = "; ".join(family.members[1].differences)
    assert said in {
        "in A, not D; 2 pitches of 37 otherwise; 1 length of 37 otherwise; 1 note put in",
        "in D, not A; 2 pitches of 37 otherwise; 1 length of 37 otherwise; 1 note left out",
    }
    assert found.tunes_in_families == 2
    assert found.corpus_tunes == 3
    told = families_text(found)
    assert "1 family with 2 tunes of 3" in told
    assert '"families_in_all": 1' in families_json(found)
    assert families_csv(found).count("\n") == 3


def test_a_part_left_out_is_said(tmp_path):
    short = LONG[: LONG.index("A2cA")]
    found = found_in(tmp_path, sheet(1, "Whole", LONG) + sheet(2, "Half", short))
    (family,) = found.families
    said = {m.row.title: "; ".join(m.differences) for m in family.members}
    assert "notes at the end" in said["Half"] or "notes more at the end" in said["Whole"]


def test_tunes_too_short_or_too_plain_are_left_out_and_counted(tmp_path):
    plain = [
        sheet(1, "Three", "CDE|"),
        sheet(2, "Three more", "CDE2|"),
        sheet(3, "Drone", "C4|C4|C4|C4|C4|C4|C4|C4|C4|C4|C4|C4|C4|C4|"),
        sheet(4, "Low drone", "D4|D4|D4|D4|D4|D4|D4|D4|D4|D4|D4|D4|D4|D4|"),
        sheet(5, "Two steps", "CDCD|CDCD|CDCD|CDCD|CDCD|CDCD|CDCD|"),
    ]
    found = found_in(tmp_path, "".join(plain))
    assert not found.families
    assert found.left_out == found.corpus_tunes == 5
    assert "too short, or too plain" in families_text(found)


def test_a_scale_and_one_tune_fifty_times_are_one_family_each_at_most(tmp_path):
    scale = "CDEF|GABc|cBAG|FEDC|"
    text = sheet(1, "Scale", scale, "C") + sheet(2, "Study", scale + "C4|", "C")
    text += "".join(sheet(n, f"Copy {n}", LONG) for n in range(3, 53))
    found = found_in(tmp_path, text)
    sizes = sorted(len(family.members) for family in found.families)
    assert sizes[-1] == 50
    assert len(sizes) <= 2
    assert all(m.differences in {(), ("the same",)} for m in found.families[0].members)


@pytest.mark.parametrize("least", [0.99, 1.0])
def test_a_level_that_is_asked_for_is_kept(tmp_path, least):
    changed = LONG.replace("GFED", "AGEC").replace("CDEF", "DCEG").replace("E2CE", "F2DF")
    text = sheet(1, "One", LONG) + sheet(2, "Other", changed)
    assert not found_in(tmp_path, text, least=least).families


def three_tunes(folder: Path) -> Path:
    """A tune, the same in another key with some notes changed, and another tune."""
    moved = LONG.translate(str.maketrans("CDEFGAcd", "GABcdegA")).replace("A4|", "A2A2|", 1)
    other = "G2ED|C3E|G2A2|B4|c2Ac|B2G2|A2FA|G4|e2dc|B2A2|GABG|c4|"
    text = sheet(1, "Ladder Song", LONG) + sheet(2, "Snail Post", moved, "Ador")
    (folder / "tunes.abc").write_text(text + sheet(3, "Another", other, "C"))
    with CorpusWriter.open(folder / "c.melodex") as writer:
        writer.add_reading(read_path(folder / "tunes.abc"))
    return folder / "c.melodex"


def test_versions_of_a_tune_are_those_of_its_family(tmp_path):
    with Corpus.open(three_tunes(tmp_path)) as corpus:
        family = family_of_tune(corpus, "Ladder Song")
        assert [m.row.title for m in family.members] == ["Ladder Song", "Snail Post"]
        assert family.members[0].sureness == 1
        assert 0.9 < family.sureness < 1
        alone = family_of_tune(corpus, "Another")
        assert [m.row.title for m in alone.members] == ["Another"]
        (whole,) = find_families(corpus).families
        assert whole.sureness == pytest.approx(family.sureness)


def test_versions_are_gathered_whole_with_what_they_differ_by(tmp_path):
    with Corpus.open(three_tunes(tmp_path)) as corpus:
        found = gather(corpus, Wish(version_of="Snail Post"))
        (example,) = found.examples
        assert example.title == "Ladder Song"
        assert (example.first_bar, example.last_bar) == (1, 12)
        assert "sure: in D, not A" in example.reasons[0]
        assert not gather(corpus, Wish(version_of="Another")).examples
        assert not gather(corpus, Wish(version_of="Snail Post", key="C")).examples


def test_progress_is_told_to_its_end_and_can_stop_the_work(tmp_path):
    told: list[tuple[int, int]] = []
    with Corpus.open(three_tunes(tmp_path)) as corpus:
        find_families(corpus, progress=lambda done, total: told.append((done, total)))
        assert told == sorted(told)
        assert told[-1][0] <= told[-1][1]

        def stop(done: int, total: int) -> None:
            raise KeyboardInterrupt

        with pytest.raises(KeyboardInterrupt):
            find_families(corpus, progress=stop)


def test_lines_of_a_piece_are_compared_by_the_main_one(tmp_path):
    voices = "".join(f"V:{n}\n{LONG}\n" for n in (1, 2))
    piece = f"X:1\nT:Two lines\nM:4/4\nL:1/4\nK:Ddor\n{voices}\n"
    found = found_in(tmp_path, piece + sheet(2, "Alone", LONG))
    assert all(len(family.members) <= 2 for family in found.families)


def test_of_a_whole_tune_the_other_version_comes_before_a_medley_that_holds_it(tmp_path):
    changed = LONG.replace("GFED", "AFED")
    other = "G2ED|C3E|G2A2|B4|c2Ac|B2G2|A2FA|G4|e2dc|B2A2|GABG|c4|"
    text = sheet(1, "Whole", LONG) + sheet(2, "Version", changed)
    text += sheet(3, "Medley", other + LONG + other)
    (tmp_path / "tunes.abc").write_text(text)
    with CorpusWriter.open(tmp_path / "c.melodex") as writer:
        writer.add_reading(read_path(tmp_path / "tunes.abc"))
    with Corpus.open(tmp_path / "c.melodex") as corpus:
        whole = said_phrase(corpus, origin="Whole")
        by_points = resemble(corpus, whole, order="alignment").matches
        assert [m.passage.whole.title for m in by_points] == ["Medley", "Version"]
        found = resemble(corpus, whole, explain=True)
        assert [m.passage.whole.title for m in found.matches] == ["Version", "Medley"]
        assert any("what the longer could reach" in s for s in found.matches[0].explanation)
        # Of a passage it does not count how long the others are.
        part = said_phrase(corpus, origin="Whole", bars="1-6")
        assert not part.is_whole
