"""Sets taken along: packed, read back, and hostile files refused.

The zip files that are refused are built here with Python's zipfile (PKWARE APPNOTE
6.3); the ratio of the bomb is that of deflated zeros (RFC 1951), about 1:1000.
"""

from __future__ import annotations

import copy
import io
import json
import zipfile
from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from melodex.corpus.reader import Corpus
from melodex.errors import HostileInputError, LessonError, MelodexError
from melodex.presentation.lesson.pack import packed_set
from melodex.tasks.lesson.file import (
    MOST_BYTES,
    MOST_ENTRIES,
    MOST_JSON_BYTES,
    read_set,
    set_data,
    unpack_file,
    unpack_set,
)
from melodex.tasks.lesson.keeping import Found, found_by_hand, keep
from melodex.tasks.lesson.sets import annotate, list_lessons, open_lesson


@pytest.fixture(scope="module")
def packed(demo_folder: Path, tmp_path_factory) -> bytes:
    """A set of three passages as a file."""
    import shutil

    path = tmp_path_factory.mktemp("packed") / "demo.melodex"
    shutil.copyfile(demo_folder / "demo.sqlite", path)
    with Corpus.open(path) as corpus:
        found = [
            found_by_hand(corpus, "Fog over the Basin", bars="3-6", reason="minor iv"),
            found_by_hand(corpus, "Rope and Pulley", bars="9-12"),
            found_by_hand(corpus, "Cut and Carry", bars="1-4"),
        ]
    keep(path, "Three", found, create=True)
    annotate(path, "Three", 1, "E flat!")
    with Corpus.open(path) as corpus:
        return packed_set(open_lesson(corpus, "Three"))


def told(packed: bytes) -> dict:
    with zipfile.ZipFile(io.BytesIO(packed)) as package:
        return json.loads(package.read("set.json"))


def zipped(text: str | bytes, name: str = "set.json") -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as package:
        package.writestr(name, text)
    return out.getvalue()


def test_a_set_comes_back_as_it_was_in_a_corpus_without_its_tunes(packed, tmp_path):
    path = tmp_path / "other.melodex"
    row, count = unpack_set(path, packed, "three.zip")
    assert (row.name, count) == ("Three", 3)
    with Corpus.open(path) as corpus:
        lesson = open_lesson(corpus, "Three")
    assert {e.state.kind for e in lesson.examples} == {"not of this corpus"}
    assert lesson.examples[0].row.note == "E flat!"
    assert lesson.examples[0].row.reason == "minor iv"
    assert lesson.examples[0].rights.startswith("CC0 1.0")
    assert json.loads(json.dumps(set_data(lesson))) == told(packed)
    assert packed_set(lesson) == packed


def test_a_set_joins_the_tunes_that_a_corpus_has(packed, demo):
    unpack_set(demo, packed, "three.zip", name="Here")
    with Corpus.open(demo) as corpus:
        lesson = open_lesson(corpus, "Here")
    assert {e.state.kind for e in lesson.examples} == {"as kept"}


def test_a_name_that_is_taken_is_said_and_nothing_is_written(packed, demo):
    unpack_set(demo, packed, "three.zip")
    with pytest.raises(LessonError, match="already"):
        unpack_set(demo, packed, "three.zip")
    with Corpus.open(demo) as corpus:
        assert [line.example_count for line in list_lessons(corpus)] == [3]


def test_the_file_tells_no_folder_and_carries_rights_and_caution(packed):
    data = told(packed)
    assert "Check the rights" in data["caution"]
    for example in data["examples"]:
        assert "/" not in example["excerpt"]["credits"]["source"]
        assert example["rights_known"] is True
        assert example["rights"] == example["excerpt"]["credits"]["rights"] != ""


def test_every_tune_of_the_demo_can_be_packed_and_read_back(demo):
    with Corpus.open(demo) as corpus:
        melodies = corpus.melodies(row.tune_id for row in corpus.tunes())
    found = [Found(tune, melody, 0, len(melody) - 1) for tune, melody in melodies.items()]
    keep(demo, "All", found, create=True)
    with Corpus.open(demo) as corpus:
        lesson = open_lesson(corpus, "All")
    _, rows = read_set(packed_set(lesson), "all.zip")
    assert [row.excerpt_sha256 for row in rows] == [
        row.excerpt_sha256 for row in lesson.rows
    ]
    assert [row.labels for row in rows] == [row.labels for row in lesson.rows]


# What is refused.


def bomb() -> bytes:
    return zipped(b" " * (MOST_JSON_BYTES + 1))


def crowded() -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as package:
        for number in range(MOST_ENTRIES + 1):
            package.writestr(f"{number}.txt", "")
    return out.getvalue()


def lying() -> bytes:
    """An archive whose directory says that the entry is small."""
    data = bytearray(bomb())
    at = data.rindex(b"PK\x01\x02") + 24
    data[at : at + 4] = (10).to_bytes(4, "little")
    return bytes(data)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (b"", "no whole zip"),
        (b"no zip at all", "no whole zip"),
        (zipped("{}", "other.json"), "holds no set.json"),
        (zipped("{}", "../set.json"), "holds no set.json"),
        (zipped("{}", "/set.json"), "holds no set.json"),
        (zipped("{"), "is no JSON"),
        (zipped("[]"), "is no object"),
        (zipped('{"format": NaN}'), "NaN is no number"),
        (zipped("[" * 100_000 + "]" * 100_000), "nests too deep"),
        (zipped('{"format": ' + "9" * 5000 + "}"), "is no JSON"),
        (zipped(b"\xff\xfe"), "is no JSON"),
        (bomb(), "larger than 32 MB unpacked"),
        (lying(), "no whole zip|larger than 32 MB"),
        (crowded(), "files are packed in it"),
        (bytes(MOST_BYTES + 1), "larger than 16 MB"),
        (zipped(b'{"name": "' + b"x" * (10 << 20) + b'"}'), "'format' of the set"),
    ],
    ids=range(16),
)
def test_hostile_and_broken_files_are_refused(data, said, tmp_path):
    path = tmp_path / "corpus.melodex"
    with pytest.raises((LessonError, HostileInputError), match=said) as refused:
        unpack_set(path, data, "strange.zip")
    assert "strange.zip" in str(refused.value)
    assert not path.exists(), "nothing was made"


def test_a_file_with_the_end_cut_off_is_refused(packed):
    for end in range(0, len(packed), 997):
        with pytest.raises(LessonError, match="zip"):
            read_set(packed[:end], "cut.zip")


def test_a_file_that_is_not_there_is_said(tmp_path):
    with pytest.raises(LessonError, match="no such file"):
        unpack_file(tmp_path / "c.melodex", tmp_path / "none.zip")


CHANGES = [
    (("format",), "other", "no teaching set"),
    (("format_version",), 2, "this version reads 1"),
    (("name",), "", "cannot be the name"),
    (("name",), 7, "'name' of the set"),
    (("examples",), {}, "'examples' of the set"),
    (("examples", 0), [], "passage 1 is no object"),
    (("examples", 1, "tune_id"), "../../etc/pw", "tune id of passage 2"),
    (("examples", 0, "first_note"), 1, "place of passage 1"),
    (("examples", 0, "first_note"), True, "'first_note' of passage 1"),
    (("examples", 0, "agreement"), 7, "agreement of passage 1"),
    (("examples", 0, "feature_bars"), [3], "bars that passage 1"),
    (("examples", 0, "excerpt", "midi", 0), 61, "contradict each other|not those"),
    (("examples", 0, "excerpt", "midi", 0), 200, "'midi' of passage 1"),
    (("examples", 0, "excerpt", "duration_ticks", 0), 5040, "not those that were packed"),
    (("examples", 0, "excerpt", "duration_ticks", 0), 10**30, "'duration_ticks'"),
    (("examples", 0, "excerpt", "onset_ticks", 1), 0, "contradict|back in time"),
    (("examples", 0, "excerpt", "metres", 0, 1), [10**9, 4, "", []], "'metres'"),
    (("examples", 0, "excerpt", "metres", 0, 1), [4, 0, "", []], "'metres'"),
    (("examples", 0, "excerpt", "keys", 0, 1), [0, ["major"]], "'keys'"),
    (("examples", 0, "excerpt", "bars"), [[1]], "'bars'"),
    (("examples", 0, "excerpt", "lyrics"), [[9999, "la", 1]], "'lyrics'"),
    (("examples", 0, "excerpt", "credits", "title"), "a\x1b[31m", "credits"),
    (("examples", 0, "excerpt", "credits", "year"), "now", "credits"),
    (("examples", 0, "labels", "degrees"), [], "labels of passage 1 do not fit"),
    (("examples", 0, "labels", "numerals", 0), 4, "labels of passage 1 do not fit"),
    (("examples", 0, "labels", "keys", 0), {"mode": "major"}, "labels of passage 1"),
]


@pytest.mark.parametrize(("place", "value", "said"), CHANGES, ids=range(len(CHANGES)))
def test_a_value_that_makes_no_sense_is_named(packed, place, value, said):
    data = told(packed)
    home = data
    for step in place[:-1]:
        home = home[step]
    home[place[-1]] = value
    with pytest.raises(LessonError, match=said):
        read_set(zipped(json.dumps(data)), "changed.zip")


JUNK = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=3), inner),
    max_leaves=6,
)


@settings(max_examples=150)
@given(data=st.data())
def test_whatever_stands_in_a_file_is_read_or_refused_but_never_breaks(packed, data):
    changed = copy.deepcopy(told(packed))
    home = changed
    # Walk to some place of the file and put something else there.
    while True:
        names = list(home) if isinstance(home, dict) else list(range(len(home)))
        if not names:
            return
        name = data.draw(st.sampled_from(names))
        deeper = isinstance(home[name], dict | list) and data.draw(st.booleans())
        if not deeper:
            home[name] = data.draw(JUNK)
            break
        home = home[name]
    # Anything but an error of ours would fail the test.
    with suppress(LessonError, HostileInputError):
        read_set(zipped(json.dumps(changed)), "junk.zip")


@settings(max_examples=100)
@given(place=st.integers(0, 10**9), bit=st.integers(0, 7))
def test_a_flipped_bit_is_refused_or_changes_nothing(packed, place, bit):
    damaged = bytearray(packed)
    damaged[place % len(damaged)] ^= 1 << bit
    try:
        found = read_set(bytes(damaged), "flipped.zip")
    except MelodexError:
        return
    assert found == read_set(packed, "whole.zip")
