"""Files put in place: what a name leads to, what stays as it was, what is swept."""

from __future__ import annotations

import os
import stat
import threading
from pathlib import Path

import pytest

from melodex.files import (
    PART_MARK,
    part_beside,
    part_folder,
    put_in_place,
    sweep,
    write_whole,
)


def parts(folder: Path) -> list[str]:
    return [each.name for each in folder.iterdir() if PART_MARK in each.name]


def test_permissions_stay_and_a_new_file_has_those_of_the_umask(tmp_path):
    old = tmp_path / "old"
    old.write_bytes(b"before")
    old.chmod(0o640)
    write_whole(b"after", old)
    assert (old.read_bytes(), stat.S_IMODE(old.stat().st_mode)) == (b"after", 0o640)
    umask = os.umask(0o027)
    try:
        write_whole(b"new", tmp_path / "new")
    finally:
        os.umask(umask)
    assert stat.S_IMODE((tmp_path / "new").stat().st_mode) == 0o640
    assert not parts(tmp_path)


def test_links_are_followed_and_stay_links(tmp_path):
    (tmp_path / "inner").mkdir()
    target, link = tmp_path / "inner" / "target", tmp_path / "link"
    link.symlink_to(target)
    write_whole(b"one", link)
    assert target.read_bytes() == b"one"
    write_whole(b"two", link)
    assert link.is_symlink()
    assert target.read_bytes() == b"two"


def test_both_names_of_a_hard_link_stay_one_file(tmp_path):
    one, two = tmp_path / "one", tmp_path / "two"
    one.write_bytes(b"a longer text than what comes")
    two.hardlink_to(one)
    write_whole(b"short", one)
    assert two.read_bytes() == b"short"
    assert one.samefile(two)


def test_a_pipe_and_a_device_are_written_to(tmp_path):
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    heard: list[bytes] = []
    listener = threading.Thread(target=lambda: heard.append(pipe.read_bytes()))
    listener.start()
    write_whole(b"x" * 200_000, pipe)
    listener.join()
    assert heard == [b"x" * 200_000]
    assert stat.S_ISFIFO(pipe.stat().st_mode)
    with pytest.raises(OSError, match="No space left"):
        write_whole(b"x", Path("/dev/full"))
    assert stat.S_ISCHR(Path("/dev/full").stat().st_mode)


def test_nothing_is_replaced_unless_it_may_be(tmp_path):
    file = tmp_path / "file"
    file.write_bytes(b"mine")
    with pytest.raises(FileExistsError):
        write_whole(b"yours", file, replace=False)
    assert file.read_bytes() == b"mine"
    assert not parts(tmp_path)


def test_parts_of_the_dead_are_swept_and_those_of_the_living_are_left(tmp_path):
    child = os.fork()
    if child == 0:
        with part_beside(tmp_path / "a") as part:
            part.write_bytes(b"half")
            Path(f"{part}-journal").write_bytes(b"half")
            os._exit(9)
    os.waitpid(child, 0)
    assert len(parts(tmp_path)) == 2
    with part_beside(tmp_path / "b") as mine:
        assert parts(tmp_path) == [mine.name]
        sweeper = os.fork()
        if sweeper == 0:
            sweep(tmp_path)
            os._exit(0)
        os.waitpid(sweeper, 0)
        assert mine.exists()
        mine.write_bytes(b"whole")
        put_in_place(mine, tmp_path / "b", replace=False)
    assert [each.name for each in tmp_path.iterdir()] == ["b"]


def test_folders_of_the_dead_are_swept_and_those_of_the_living_are_left(tmp_path):
    child = os.fork()
    if child == 0:
        with part_folder(tmp_path / "a") as part:
            (part / "half").write_bytes(b"half")
            os._exit(9)
    os.waitpid(child, 0)
    assert len(parts(tmp_path)) == 1
    with part_folder(tmp_path / "b") as mine:
        assert parts(tmp_path) == [mine.parent.name]
        sweeper = os.fork()
        if sweeper == 0:
            sweep(tmp_path)
            os._exit(0)
        os.waitpid(sweeper, 0)
        (mine / "whole").write_bytes(b"whole")
        (mine / "whole").rename(tmp_path / "b")
    assert [each.name for each in tmp_path.iterdir()] == ["b"]


def test_many_at_once_sweep_nothing_that_is_at_work(tmp_path):
    """Eight processes put forty files each in place in one folder; all arrive."""
    children = []
    for worker in range(8):
        child = os.fork()
        if child == 0:
            try:
                for at in range(40):
                    write_whole(b"whole", tmp_path / f"{worker}-{at}")
                os._exit(0)
            except BaseException:
                os._exit(3)
        children.append(child)
    assert [os.waitpid(child, 0)[1] for child in children] == [0] * 8
    assert len(list(tmp_path.iterdir())) == 320
