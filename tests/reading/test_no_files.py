"""What has the name of a file and is none is told to be so, and never waited for."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from melodex.errors import LessonError, ReadingError
from melodex.reading import MOST_BYTES, read_data
from melodex.tasks.lesson.file import unpack_file
from melodex.tasks.tune_file import file_and_number

pytestmark = pytest.mark.timeout(20)


@pytest.mark.parametrize("name", ["pipe.abc", "pipe.wav", "folder.mid"])
def test_a_pipe_or_a_folder_in_the_place_of_a_tune_is_none(
    tmp_path: Path, name: str
) -> None:
    """It was said not to be there."""
    path = tmp_path / name
    if name.startswith("pipe"):
        os.mkfifo(path)
    else:
        path.mkdir()
    with pytest.raises(ReadingError, match="this is not a file"):
        file_and_number(str(path))
    with pytest.raises(LessonError, match="this is not a file"):
        unpack_file(tmp_path / "a.melodex", path)


def test_what_is_not_there_is_said_not_to_be(tmp_path: Path) -> None:
    (tmp_path / "loop.abc").symlink_to(tmp_path / "loop.abc")
    for name in ("loop.abc", "gone.abc", "x" * 5000 + ".abc"):
        with pytest.raises(ReadingError, match="there is no such file"):
            file_and_number(str(tmp_path / name))


def test_a_file_that_is_too_large_comes_with_advice() -> None:
    reading = read_data(b"MThd" + bytes(MOST_BYTES["midi"]), "a.mid")
    assert "part it" in str(reading.refusals[0])
