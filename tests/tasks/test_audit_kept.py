"""Audits written and read again are what they were, and no file makes anything else."""

from __future__ import annotations

import hashlib
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from typing import Any

import pytest

from melodex.corpus.reader import Corpus
from melodex.tasks.audit.audit import audit
from melodex.tasks.audit.kept import KeptAudits, read, written
from melodex.tasks.audit.many import own_tunes
from melodex.tasks.demo import tunes_folder


def every_value(value: Any) -> Any:
    """A record with all its fields, also those that are not compared."""
    if isinstance(value, tuple):
        return tuple(map(every_value, value))
    if not is_dataclass(value):
        return value
    told = tuple((f.name, every_value(getattr(value, f.name))) for f in fields(value))
    return type(value).__name__, told


def test_every_value_of_an_audit_comes_back(whole_demo: Path, tmp_path: Path) -> None:
    """Of all tunes and songs of the demo, with lines, words, dynamics and dates."""
    found = 0
    with Corpus.open(whole_demo) as corpus:
        for own in own_tunes([tunes_folder()])[0][::6]:
            made = audit(corpus, own.passage, threshold=30.0, limit=4)
            assert every_value(read(written(made))) == every_value(made)
            kept = KeptAudits(tmp_path, made.corpus_digest, (30.0, 4))
            assert kept.find(own.passage) is None
            kept.keep(made, own.passage)
            assert every_value(kept.find(own.passage)) == every_value(made)
            for other in ((30.0, 5), (31.0, 4)):
                others = KeptAudits(tmp_path, made.corpus_digest, other)
                assert others.find(own.passage) is None
            moved = replace(own.passage, tune_id="0" * 16)
            assert kept.find(moved) is None
            found += len(made.findings)
    assert found > 10


def signed(text: bytes) -> bytes:
    return hashlib.sha256(text).hexdigest().encode("ascii") + b"\n" + text


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\n",
        b"no digest\n{}",
        signed(b""),
        signed(b"{}"),
        signed(b'{"Popen": [["true"]]}'),
        signed(b'{"Metre": [1, 2, 3, 4, 5, 6, 7, 8, 9]}'),
        signed(b'{"again": 7}'),
        signed(b'{"again": "x"}'),
        signed(b'{"Metre": 5}'),
        signed(b'{"Metre": [4, 4], "Bar": []}'),
        signed(b"[" * 100_000),
    ],
)
def test_what_is_no_audit_is_none(content: bytes, whole_demo: Path, tmp_path: Path) -> None:
    with pytest.raises(
        ValueError, match=r"not as it was written|no record of this version"
    ):
        read(content)
    own = own_tunes([tunes_folder() / "own"])[0][0].passage
    kept = KeptAudits(tmp_path, "", ())
    kept.place_of(own).write_bytes(content)
    assert kept.find(own) is None
    kept.place_of(own).write_bytes(signed(b"5"))
    assert kept.find(own) is None
