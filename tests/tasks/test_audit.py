"""audit: a borrowed phrase comes first, a clean tune has none, all is repeatable."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from collections.abc import Iterable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from melodex.cli import melodex
from melodex.corpus.reader import Corpus
from melodex.corpus.writing.store import CorpusWriter
from melodex.errors import EmptyMelodyError
from melodex.matching.chance.fit import Fit, Null, expected_by_chance
from melodex.matching.evidence.commonness import IntervalModel
from melodex.melody import Melody
from melodex.melody.tune_id import leading
from melodex.presentation.data.corpus import whole_audit_json
from melodex.presentation.data.forms import as_json
from melodex.presentation.report.audit import audit_summary
from melodex.presentation.report.paper import handout_pdf
from melodex.presentation.text.audit_whole import whole_audit_text
from melodex.presentation.text.forms import as_text
from melodex.presentation.text.style import Style
from melodex.reading.abc.reader import read_abc
from melodex.tasks.audit.audit import CAUTIONS, audit, digest_of
from melodex.tasks.audit.leads import chance_of, windows_of
from melodex.tasks.audit.whole import audit_whole
from melodex.tasks.compare.likeness import ALONE, Pair
from melodex.tasks.demo import CORPUS_FILE
from melodex.tasks.matches import Size
from melodex.tasks.passage import Passage, find_passage


def own(text: str) -> Passage:
    melody: Melody = read_abc(text).tunes[0].melody
    return Passage(melody, melody, 0, melody.content_id(), False)


def test_the_planted_borrowing_is_the_first_passage(
    demo_corpus: Corpus, demo_folder: Path
) -> None:
    # corpus_demo/PLANTED.json: bars 5-8 are Seven Steps Down, bars 8-11, a tone lower.
    found = audit(demo_corpus, find_passage(str(demo_folder / "own" / "own_song.abc")))
    first = found.findings[0]
    assert first.tune.whole.title == "Seven Steps Down"
    assert (first.own.melody.bar[0], first.own.melody.bar[-1]) == (5, 8)
    assert (first.tune.melody.bar[0], first.tune.melody.bar[-1]) == (8, 11)
    assert first.likeness.transposition_semitones == 2
    assert first.likeness.same_function
    assert first.expected_by_chance is not None
    assert first.expected_by_chance < 0.001
    assert first.commonness.verdict == "distinctive"
    assert {cover.bar for cover in found.coverage if 1 in cover.findings} == {5, 6, 7, 8}


def test_the_clean_tune_has_no_passage_that_chance_does_not_explain(
    demo_corpus: Corpus, demo_folder: Path
) -> None:
    found = audit(
        demo_corpus, find_passage(str(demo_folder / "own" / "own_song_clean.abc"))
    )
    told = [finding.expected_by_chance for finding in found.findings]
    assert all(expected is not None and expected > 0.01 for expected in told)


def test_an_audit_repeats_byte_for_byte_and_carries_the_cautions(
    demo_corpus: Corpus, demo_folder: Path
) -> None:
    tune = find_passage(str(demo_folder / "own" / "own_song.abc"))
    once, again = audit(demo_corpus, tune), audit(demo_corpus, tune)
    assert as_json(once) == as_json(again)
    for caution in CAUTIONS:
        assert caution in as_json(once)
        assert " ".join(caution.split()) in " ".join(as_text(once, Style()).split())


def test_relatives_can_be_left_out_and_the_audited_tune_always_is(
    demo_corpus: Corpus, demo_folder: Path
) -> None:
    tune = find_passage(str(demo_folder / "own" / "own_song.abc"))
    source = demo_corpus.resolve("Seven Steps Down")
    without = audit(demo_corpus, tune, exclude=[source])
    assert source not in {finding.tune.tune_id for finding in without.findings}
    assert without.excluded == (source,)
    itself = audit(demo_corpus, find_passage("Seven Steps Down", demo_corpus))
    assert source not in {finding.tune.tune_id for finding in itself.findings}
    assert "The corpus holds the audited tune itself; it was left out." in itself.remarks


def test_a_tune_shorter_than_a_phrase_is_refused(demo_corpus: Corpus) -> None:
    with pytest.raises(EmptyMelodyError, match="shorter than a phrase"):
        audit(demo_corpus, own("X:1\nT:Stub\nL:1/4\nK:C\nC D E F |]\n"))


def test_an_empty_corpus_is_no_sign_of_anything(tmp_path: Path) -> None:
    path = tmp_path / "none.melodex"
    CorpusWriter.open(path).close()
    with Corpus.open(path) as corpus:
        found = audit(corpus, own("X:1\nT:Mine\nL:1/4\nK:C\nC E G F | E D E F |]\n"))
    for text in (as_text(found, Style()), " ".join(audit_summary(found))):
        assert "There are no tunes to compare it with." in text
        assert "comes closer" not in text


def test_a_corpus_of_one_tune_says_that_nothing_can_be_said_of_chance(
    tmp_path: Path,
) -> None:
    tune = "X:1\nT:Lone\nL:1/4\nK:C\nC E G F | E D E F | G A G F | D E D C |]\n"
    path = tmp_path / "one.melodex"
    with CorpusWriter.open(path) as writer:
        writer.add_reading(read_abc(tune, "lone.abc"))
    with Corpus.open(path) as corpus:
        found = audit(corpus, own(tune.replace("T:Lone", "T:Mine")))
    assert found.findings[0].expected_by_chance is None
    assert "The corpus is too small to say what chance would bring." in found.remarks
    remark = "The corpus is too small to say what chance would bring."
    assert remark in as_text(found, Style())
    assert remark in json.loads(as_json(found))["remarks"]


def test_the_digest_goes_by_what_a_corpus_holds_and_not_by_how_it_came_there(
    tmp_path: Path,
) -> None:
    head = "L:1/4\nK:C\n"
    tunes = [
        f"X:{n}\nT:T{n}\n{head}C E G F | E D {note} F |]\n"
        for n, note in ((1, "E"), (2, "A"))
    ]
    digests = []
    for name, order in (("a", tunes), ("b", tunes[::-1]), ("c", tunes[:1])):
        with CorpusWriter.open(tmp_path / name) as writer:
            for tune in order:
                writer.add_reading(read_abc(tune, "t.abc"))
        with Corpus.open(tmp_path / name) as corpus:
            digests.append(digest_of(corpus))
    assert digests[0] == digests[1] != digests[2]
    assert len(digests[0]) == 12


def test_what_goes_by_the_corpus_alone_is_learned_once_until_it_is_seen_anew(
    demo_folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "c.melodex"
    shutil.copy(demo_folder / CORPUS_FILE, path)
    learned: list[int] = []

    def counted(tunes: Iterable[bytes]) -> IntervalModel:
        learned.append(1)
        return once(tunes)

    once = IntervalModel.learned
    monkeypatch.setattr(IntervalModel, "learned", counted)

    def told(corpus: Corpus, name: str, **named: Any) -> str:
        return as_json(audit(corpus, find_passage(name, corpus), **named))

    # Tunes of the corpus itself, one of them also left out of what others are compared
    # with, in some order and alone.
    asked: list[tuple[str, dict[str, Any]]] = [
        ("The Eel Trap", {}),
        ("Marl Pit Hornpipe", {}),
        ("Marl Pit Hornpipe", {"exclude": ["e30a69995b53"]}),
        ("The Eel Trap", {"outside": frozenset({"f8b24b5927b6"})}),
    ]
    with CorpusWriter.open(path) as writer, Corpus.open(path) as corpus:
        together = [told(corpus, name, **named) for name, named in asked]
        assert [told(corpus, name, **named) for name, named in asked[::-1]] == together[
            ::-1
        ]
        assert len(learned) == 1
        writer.add_reading(read_abc("X:1\nT:New\nK:C\nCDEFGABc|\n", "new.abc"))
        digest = digest_of(corpus)
        corpus.refresh()
        assert digest_of(corpus) != digest
        told(corpus, "The Eel Trap")
        assert len(learned) == 2
    for (name, named), before in zip(asked, together, strict=True):
        with Corpus.open(demo_folder / CORPUS_FILE) as alone:
            assert told(alone, name, **named) == before


def test_an_audit_repeats_byte_for_byte_in_another_process_whatever_its_hash_seed(
    demo_folder: Path,
) -> None:
    words = ["--corpus", str(demo_folder / CORPUS_FILE), "audit", "--format", "json"]
    own_song = str(demo_folder / "own" / "own_song.abc")
    written = [
        subprocess.run(
            [sys.executable, "-m", "melodex", *words, own_song],
            env={**os.environ, "PYTHONHASHSEED": seed},
            capture_output=True,
            check=True,
        ).stdout
        for seed in ("1", "2")
    ]
    assert written[0] == written[1]
    assert b"corpus_digest" in written[0]


def test_except_is_said_in_text_and_data(demo_corpus: Corpus, demo_folder: Path) -> None:
    tune = find_passage(str(demo_folder / "own" / "own_song.abc"))
    source = demo_corpus.resolve("Seven Steps Down")
    found = audit(demo_corpus, tune, exclude=[source, source])
    assert found.excluded == (source,)
    assert f"left out: {leading(source)}." in " ".join(as_text(found, Style()).split())
    assert json.loads(as_json(found))["compared_with"]["excluded"] == [source]


def test_the_audit_on_paper_carries_the_cautions_and_the_digest(
    demo_corpus: Corpus, demo_folder: Path, tmp_path: Path
) -> None:
    found = audit(demo_corpus, find_passage(str(demo_folder / "own" / "own_song.abc")))
    path = tmp_path / "audit.pdf"
    path.write_bytes(handout_pdf(found))
    words = ["pdftotext", str(path), "-"]
    paper = subprocess.run(words, capture_output=True, check=True).stdout.decode()
    for caution in CAUTIONS:
        assert caution in " ".join(paper.split())
    assert found.corpus_digest in paper


@pytest.mark.parametrize("notes", [6, 12, 13, 50, 200])
def test_every_note_lies_in_a_window(notes: int) -> None:
    spans = windows_of(notes)
    assert all(0 <= first <= last < notes for first, last, _ in spans)
    covered = {place for first, last, _ in spans for place in range(first, last + 1)}
    assert covered == set(range(notes))


@pytest.mark.parametrize(("windows", "separate"), [(1, 1), (2, 1), (3, 1.5), (28, 14)])
def test_windows_that_overlap_count_as_half_as_many(
    demo_corpus: Corpus, windows: int, separate: float
) -> None:
    fit = Fit(0.5, -2.0, Null((), (), 12), (0.0, 0.0, 0.0))
    one = expected_by_chance(
        fit, 60, corpus_tunes=demo_corpus.tune_count, corpus_notes=demo_corpus.note_count
    )
    assert 0 < one < 0.01
    tunes = demo_corpus.tune_count
    size = Size(tunes, demo_corpus.note_count, tunes)
    assert chance_of(size, fit, 60, windows) == pytest.approx(separate * one)
    # There are no more tunes that chance could bring than there are.
    assert chance_of(size, fit, 1, 10**6) == demo_corpus.tune_count


def test_what_sets_a_shared_run_apart_puts_a_finding_before_its_equals(
    demo_corpus: Corpus, demo_folder: Path
) -> None:
    tune = find_passage(str(demo_folder / "own" / "own_song.abc"))
    found = audit(demo_corpus, tune).findings[0]
    assert found.likeness.count(ALONE) == 0
    held_by_many = replace(found, commonness=replace(found.commonness, exact=20))
    told_little = replace(found, bits=found.bits - 5)
    pairs = found.likeness.pairs
    one_out, most_out = (
        replace(
            found,
            likeness=replace(found.likeness, pairs=(*pairs, *[Pair(None, 0, ALONE)] * n)),
        )
        for n in (1, 40)
    )
    for lesser in (held_by_many, told_little, one_out):
        assert found.order < lesser.order
    # A long variant that leaves many notes out is not hidden behind what chance brings.
    assert one_out.order == most_out.order
    likelier = replace(found, expected_by_chance=0.9)
    assert most_out.order < likelier.order


def test_what_a_limit_hides_is_counted(demo_corpus: Corpus, demo_folder: Path) -> None:
    tune = find_passage(str(demo_folder / "own" / "own_song.abc"))
    every = audit(demo_corpus, tune, threshold=30, limit=100)
    found = audit(demo_corpus, tune, threshold=30, limit=1)
    assert every.findings_in_all == len(every.findings) > 2
    assert found.findings_in_all == every.findings_in_all
    assert found.findings == every.findings[:1]
    more = f"{found.findings_in_all - 1} more are not shown"
    text = " ".join(as_text(found, Style()).split())
    assert more in text
    assert "The passage shown can hardly be chance: bars 5-8." in text
    assert more in " ".join(audit_summary(found))
    some = audit(demo_corpus, tune, threshold=30, limit=3)
    assert "Of the 3 passages shown, 1 can hardly" in " ".join(
        as_text(some, Style()).split()
    )
    assert f"1 passage of {len(every.findings)} can hardly" in " ".join(
        as_text(every, Style()).split()
    )
    assert json.loads(as_json(found))["findings_in_all"] == found.findings_in_all
    assert f"tune {leading(found.findings[0].tune.tune_id)}" in as_text(found, Style())


def test_a_narrow_plain_terminal_gets_lines_that_fit_and_no_signs(
    demo_corpus: Corpus, demo_folder: Path
) -> None:
    found = audit(demo_corpus, find_passage(str(demo_folder / "own" / "own_song.abc")))
    text = as_text(found, Style(width=60, signs=False))
    assert text.isascii()
    assert max(len(line) for line in text.splitlines()) <= 60
    # The strip has every bar, those of the borrowing the more strongly marked.
    assert "#" in text or "*" in text


def test_a_whole_corpus_gives_its_twins_and_the_pairs_that_share_a_passage(
    demo_corpus: Corpus,
) -> None:
    found = audit_whole(demo_corpus, limit=20)
    twins = [{row.title for row in group.tunes} for group in found.duplicates.groups]
    assert twins == [{"Procession of Lamps", "Rain on the Roof"}]
    # corpus_demo/PLANTED.json: notes 1-14 and 15-28, down a minor third.
    planted = {"The Lock-Keeper's Daughter", "Sixpence for the Ferryman"}
    (pair,) = [
        each
        for each in found.pairs
        if {each.one.whole.title, each.other.whole.title} == planted
    ]
    assert pair.notes >= 14
    assert abs(pair.transposition_semitones) == 3
    steps = [b - a for a, b in pairwise(pair.one.melody.midi)]
    assert steps == [b - a for a, b in pairwise(pair.other.melody.midi)]
    assert [p.bits for p in found.pairs] == sorted(p.bits for p in found.pairs)[::-1]


def test_tunes_of_one_title_are_told_apart_by_file_number_and_id(
    demo_corpus: Corpus,
) -> None:
    found = audit_whole(demo_corpus, limit=3)
    text = whole_audit_text(found, Style(width=200, signs=False))
    (group,) = found.duplicates.groups
    for row in group.tunes:
        file = row.source.rpartition("/")[2]
        (line,) = [
            each for each in text.splitlines() if f"  {leading(row.tune_id)}  " in each
        ]
        assert line.endswith(f"{file} {row.number}")
    for pair in found.pairs:
        for passage in (pair.one, pair.other):
            assert f"{passage.label} (" in text
            assert f"; tune {leading(passage.tune_id)})" in text


def test_an_audit_of_a_whole_corpus_repeats_and_carries_the_cautions(
    demo_corpus: Corpus,
) -> None:
    once, again = audit_whole(demo_corpus, limit=2), audit_whole(demo_corpus, limit=2)
    assert whole_audit_json(once) == whole_audit_json(again)
    # One group of near-duplicates and one pair: the limit counts both.
    assert len(once.duplicates.groups) == len(once.pairs) == 1
    assert once.pairs_in_all > 2
    text = whole_audit_text(once, Style(signs=False))
    assert f"{once.pairs_in_all - 1} are not shown" in " ".join(text.split())
    for caution in CAUTIONS:
        assert caution in whole_audit_json(once)
        assert " ".join(caution.split()) in " ".join(text.split())


def test_tunes_left_out_of_a_whole_corpus_pair_with_none(demo_corpus: Corpus) -> None:
    twin = demo_corpus.resolve("Rain on the Roof")
    found = audit_whole(demo_corpus, exclude=[twin])
    assert not found.duplicates.groups
    assert found.corpus_tunes == demo_corpus.tune_count - 1
    text = " ".join(whole_audit_text(found, Style(signs=False)).split())
    assert f"left out: {leading(twin)}" in text
    assert "No two tunes are near-duplicates" in text
    assert json.loads(whole_audit_json(found))["compared"]["excluded"] == [twin]


def test_a_corpus_of_one_tune_has_no_pairs(tmp_path: Path) -> None:
    path = tmp_path / "one.melodex"
    tune = "X:1\nT:Lone\nL:1/4\nK:C\nC E G F | E D E F | G A G F | E D C D |]\n"
    with CorpusWriter.open(path) as writer:
        writer.add_reading(read_abc(tune, "lone.abc"))
    with Corpus.open(path) as corpus:
        found = audit_whole(corpus)
    assert not found.pairs
    assert not found.duplicates.groups


@pytest.mark.parametrize(
    ("words", "refused"),
    [
        (["audit"], "Name a tune or a file, or give --whole-corpus"),
        (["audit", "x.abc", "--whole-corpus"], "not both"),
        (["audit", "--whole-corpus", "--into", "Set"], "--into keeps"),
    ],
)
def test_what_does_not_go_together_is_a_usage_error(words: list[str], refused: str) -> None:
    done = CliRunner().invoke(melodex, words)
    assert done.exit_code == 2
    assert refused in done.output


def test_the_command_writes_an_audit_of_a_whole_corpus(demo_folder: Path) -> None:
    corpus = str(demo_folder / CORPUS_FILE)
    done = CliRunner().invoke(melodex, ["--corpus", corpus, "audit", "--whole-corpus"])
    assert done.exit_code == 0
    assert "Sixpence for the Ferryman" in done.output
