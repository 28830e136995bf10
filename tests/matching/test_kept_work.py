"""Work that is kept in a folder: never gone on with for another question or corpus.

One process without a folder is the check of the answers.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from melodex.cli import melodex
from melodex.matching.dealing import exchange
from melodex.tasks.adding.add import add_paths
from melodex.tasks.collection import kin
from melodex.tasks.demo import tunes_folder

DUPLICATES = ["collection", "duplicates", "--least", "0.2"]
WHOLE = ["audit", "--whole-corpus"]
FAMILIES = ["collection", "families", "--all"]


@pytest.fixture(scope="module")
def corpora(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """The demo's tunes, and a part of them."""
    folder = tmp_path_factory.mktemp("corpora")
    one, part = folder / "one.melodex", folder / "part.melodex"
    assert not add_paths(one, [tunes_folder()]).refusals
    assert not add_paths(part, sorted(tunes_folder().glob("*.abc"))[:3]).refusals
    return one, part


def told(corpus: Path, question: list[str], work: Path | None = None) -> str:
    words = ["--corpus", str(corpus), *question, "--format", "json"]
    done = CliRunner().invoke(melodex, [*words, *(["--work", str(work)] if work else [])])
    assert done.exit_code == 0, done.output
    return done.stdout


def files_in(folder: Path) -> dict[str, int]:
    return {
        str(path.relative_to(folder)): path.stat().st_mtime_ns
        for path in folder.rglob("*")
        if path.is_file()
    }


def test_a_folder_that_serves_many_questions_mixes_none(
    corpora: tuple[Path, Path], tmp_path: Path
) -> None:
    for _ in range(2):
        for question in (
            WHOLE,
            DUPLICATES,
            ["collection", "duplicates", "--least", "0.9"],
            FAMILIES,
            ["collection", "families", "--all", "--least", "0.5"],
        ):
            for corpus in corpora:
                assert told(corpus, question, tmp_path) == told(corpus, question)
        kept = files_in(tmp_path)
    assert kept
    for corpus in corpora:
        told(corpus, WHOLE, tmp_path)
    assert files_in(tmp_path) == kept


def test_what_another_version_kept_is_not_gone_on_with(
    corpora: tuple[Path, Path], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for question in (WHOLE, FAMILIES):
        told(corpora[0], question, tmp_path)
    before = files_in(tmp_path)
    for module in (exchange, kin):
        monkeypatch.setattr(module, "__version__", "99.0")
    for question in (WHOLE, FAMILIES):
        told(corpora[0], question, tmp_path)
    after = files_in(tmp_path)
    assert len(after) == 2 * len(before)
    assert {name: after[name] for name in before} == before


def test_kept_work_that_is_cut_off_is_named_in_one_sentence(
    corpora: tuple[Path, Path], tmp_path: Path
) -> None:
    expected = told(corpora[0], WHOLE, tmp_path)
    named = set()
    for kept in sorted(tmp_path.rglob("*.npy")):
        whole = kept.read_bytes()
        for left in (0, 50, len(whole) - 3):
            kept.write_bytes(whole[:left])
            words = ["--corpus", str(corpora[0]), *WHOLE, "--format", "json"]
            done = CliRunner().invoke(melodex, [*words, "--work", str(tmp_path)])
            if done.exit_code == 0:
                # What pairs were counted of is not read any more, once they are.
                assert done.stdout == expected
                continue
            assert "what was kept of the work cannot be read" in done.output
            assert kept.name in done.output
            named.add(kept.name.split("-")[0])
        kept.write_bytes(whole)
    assert named == {"sizes", "figures", "groups", "counted", "counts"}


@pytest.mark.parametrize("lie", ["{", "[" * 100_000, "[]", "{}"])
def test_kept_kin_that_cannot_be_read_is_done_again(
    lie: str, corpora: tuple[Path, Path], tmp_path: Path
) -> None:
    expected = told(corpora[0], FAMILIES, tmp_path)
    (kept,) = tmp_path.rglob("kin-*.json")
    kept.write_text(lie, encoding="utf-8")
    assert told(corpora[0], FAMILIES, tmp_path) == expected


@pytest.mark.parametrize("lie", ['{"result": 5}', '{"result": [[1, 2]]}'])
def test_kept_kin_that_are_none_are_named(
    lie: str, corpora: tuple[Path, Path], tmp_path: Path
) -> None:
    told(corpora[0], FAMILIES, tmp_path)
    (kept,) = tmp_path.rglob("kin-*.json")
    kept.write_text(lie, encoding="utf-8")
    words = ["--corpus", str(corpora[0]), *FAMILIES, "--work", str(tmp_path)]
    done = CliRunner().invoke(melodex, words)
    assert done.exit_code == 1
    assert "what was kept of the work cannot be read" in done.output


def test_a_folder_that_cannot_be_made_is_named(
    corpora: tuple[Path, Path], tmp_path: Path
) -> None:
    (tmp_path / "file").touch()
    place = tmp_path / "file" / "work"
    words = ["--corpus", str(corpora[0]), *WHOLE, "--work", str(place)]
    done = CliRunner().invoke(melodex, words)
    assert done.exit_code == 1
    assert f"{place}: the folder for the work cannot be made" in done.output
