"""Files that are handed over by name: added once, replaced by name, refused in words."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from melodex.corpus.reader import Corpus
from melodex.tasks.adding.add import add_paths
from melodex.tasks.adding.handed import HandedFile, add_handed, plain_name

DEMO = Path(__file__).parents[2] / "corpus_demo"


def handed(folder: Path, **files: bytes) -> list[HandedFile]:
    folder.mkdir(exist_ok=True)
    out = []
    for place, (name, content) in enumerate(files.items()):
        (folder / str(place)).write_bytes(content)
        out.append(
            HandedFile(name.replace("__", "/").replace("_", "."), folder / str(place))
        )
    return out


TUNE = b"X:1\nT:Salt Stair\nM:4/4\nL:1/4\nK:C\nCEGF|EDEF|GAGF|EDDC|]\n"


def test_the_tunes_are_those_of_adding_the_same_files_from_disk(tmp_path):
    names = ["reed_cutters.abc", "fen_school.abc"]
    files = [HandedFile(name, DEMO / name) for name in names]
    add_handed(tmp_path / "handed.melodex", files)
    add_paths(tmp_path / "disk.melodex", [DEMO / name for name in names])
    found = []
    for path in ("handed.melodex", "disk.melodex"):
        with Corpus.open(tmp_path / path) as corpus:
            rows = corpus.tunes()
            found.append({(r.tune_id, r.title, r.collection, r.number) for r in rows})
    assert found[0] == found[1]
    assert len(found[0]) == 20


def test_the_same_name_again_is_unchanged_or_replaced(tmp_path):
    corpus = tmp_path / "corpus.melodex"
    assert add_handed(corpus, handed(tmp_path / "a", tunes__salt_abc=TUNE)).added == 1
    again = add_handed(corpus, handed(tmp_path / "b", tunes__salt_abc=TUNE))
    assert (again.added, again.unchanged) == (0, 1)
    other = TUNE.replace(b"GAGF", b"GABF")
    changed = add_handed(corpus, handed(tmp_path / "c", tunes__salt_abc=other))
    assert changed.replaced == 1
    with Corpus.open(corpus) as opened:
        assert [row.source for row in opened.tunes()] == ["tunes/salt.abc"]
        assert [row.collection for row in opened.tunes()] == ["tunes"]


def test_a_bad_file_is_refused_by_name_and_the_rest_goes_in(tmp_path):
    files = handed(tmp_path / "a", bad_abc=b"\x00" * 50, good_abc=TUNE, letter_txt=b"dear")
    (tmp_path / "a" / "9").write_bytes(b"")
    files.append(HandedFile("gone.abc", tmp_path / "a" / "nowhere"))
    result = add_handed(tmp_path / "corpus.melodex", files)
    assert result.added == 1
    assert {refusal.source for refusal in result.refusals} == {
        "bad.abc",
        "letter.txt",
        "gone.abc",
    }
    assert str(result.refusals[-1]) == "gone.abc: there is no such file"


def test_stopping_keeps_what_was_reported(tmp_path):
    files = [HandedFile(f"{n}.abc", DEMO / "reed_cutters.abc") for n in range(40)]
    done = []

    def stop(step):
        done.append(step)
        raise KeyboardInterrupt

    result = add_handed(tmp_path / "corpus.melodex", files, progress=stop)
    assert result.interrupted
    assert len(done) == 1
    assert len(result.reports) == done[0].files_done < 40


@given(st.text(max_size=80))
def test_no_name_leads_elsewhere(name):
    plain = plain_name(name)
    assert plain
    assert not plain.startswith("/")
    assert ".." not in plain.split("/")
    assert plain.isprintable()
    assert len(plain) <= 200


@pytest.mark.parametrize(
    ("name", "plain"),
    [
        ("tune.abc", "tune.abc"),
        ("jigs/tune.abc", "jigs/tune.abc"),
        ("C:\\tunes\\a.abc", "C:/tunes/a.abc"),
        ("../../etc/passwd", "etc/passwd"),
        ("/etc/passwd", "etc/passwd"),
        ("a\x1b[31m.abc", "a[31m.abc"),
        ("..", "unnamed"),
        ("", "unnamed"),
    ],
)
def test_names_as_they_come(name, plain):
    assert plain_name(name) == plain
