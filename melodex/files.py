"""Files that are put in place whole: links followed, permissions kept, folders flushed.

Conventions: what is to go under a name is written beside it first, in a part file that
its maker holds a lock on (``flock``, which the system lets go when a process ends,
however it ends). So whoever finds a part file that nobody holds knows that its maker
was killed, and takes it away; a folder that is made goes the same way. A file whose
owner cannot be kept, that has another name too (a hard link), that carries an access
list, or that lies in a closed folder is written in place; what is no regular file (a
pipe, a device) is written to.

Contents: COMPANIONS, final_place, is_special, part_beside, part_folder, put_in_place,
write_whole, flush_folder, sweep.
"""

from __future__ import annotations

import fcntl
import os
import secrets
import stat
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

__all__ = [
    "COMPANIONS",
    "final_place",
    "flush_folder",
    "is_special",
    "part_beside",
    "part_folder",
    "put_in_place",
    "sweep",
    "write_whole",
]

COMPANIONS = ("-wal", "-shm", "-journal")
"""What SQLite puts beside a file (https://www.sqlite.org/tempfiles.html, 2.1 to 2.3)."""

OPEN_ALREADY = ("/dev/stdout", "/dev/stderr", "/dev/fd/", "/proc/")
"""Names of open files under Linux (proc(5), /proc/pid/fd)."""

PART_MARK = ".melodex-part-"
LONGEST_STEM = 40
"""Characters of the target's name in that of a part file: file systems allow 255 bytes."""


def final_place(path: Path) -> Path:
    """The place that a name leads to, through all links; it may not be there yet."""
    return Path(os.path.realpath(path))


def is_special(path: Path) -> bool:
    """Whether a name leads to a pipe or a device, or to what is open here already."""
    if os.path.abspath(path).startswith(OPEN_ALREADY):  # noqa: PTH100 (as text)
        return True
    try:
        mode = path.stat().st_mode
    except OSError:
        return False
    return not stat.S_ISREG(mode) and not stat.S_ISDIR(mode)


@contextmanager
def part_beside(target: Path) -> Iterator[Path]:
    """An empty file beside a target, held while we are at work and gone afterwards.

    Parts whose makers were killed are taken away first.

    Raises
    ------
    OSError
        If the folder cannot be written.
    """
    sweep(target.parent)
    handle, part = held_part(target, new_file)
    try:
        yield part
    finally:
        for left in with_companions(part):
            left.unlink(missing_ok=True)
        os.close(handle)


@contextmanager
def part_folder(target: Path) -> Iterator[Path]:
    """An empty folder, in one beside a target that is held at work and gone afterwards.

    What is made in it may be given the target's name.

    Raises
    ------
    OSError
        If the folder in which the target stands cannot be written.
    """
    sweep(target.parent)
    handle, part = held_part(target, new_folder)
    try:
        # Who leaves a corpus takes turns at its folder, and would wait for us here.
        inner = part / "made"
        inner.mkdir(0o700)
        yield inner
    finally:
        take_folder(part)
        os.close(handle)


def take_folder(folder: Path) -> None:
    """Take a folder away with all that is in it."""
    # Here, since hardly anybody needs it, and it loads the packers of files.
    import shutil

    shutil.rmtree(folder, ignore_errors=True)


def held_part(target: Path, made: Callable[[Path], int]) -> tuple[int, Path]:
    """A new part of a target, made and opened under a new name, and what holds its lock."""
    while True:
        stem = target.name[:LONGEST_STEM]
        part = target.with_name(f".{stem}{PART_MARK}{secrets.token_hex(6)}")
        handle = made(part)
        # Some file systems know no locks; nothing is swept there.
        with suppress(OSError):
            fcntl.flock(handle, fcntl.LOCK_EX)
        with suppress(FileNotFoundError):
            if part.stat().st_ino == os.fstat(handle).st_ino:
                return handle, part
        # Somebody took it for a dead one between its making and its lock.
        os.close(handle)


def new_file(part: Path) -> int:
    """A new file, opened."""
    return os.open(part, os.O_RDWR | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, 0o600)


def new_folder(part: Path) -> int:
    """A new folder, opened."""
    part.mkdir(0o700)
    return os.open(part, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)


def sweep(folder: Path) -> None:
    """Take away the part files and folders in a folder that no process holds any more."""
    try:
        found = [each for each in os.scandir(folder or ".") if PART_MARK in each.name]
    except OSError:
        return
    for entry in found:
        part = Path(entry.path)
        is_folder = entry.is_dir(follow_symlinks=False)
        if part.name.endswith(COMPANIONS):
            if not Path(whose(str(part))).exists():
                with suppress(OSError):
                    part.unlink()
        elif is_folder or entry.is_file(follow_symlinks=False):
            with suppress(OSError):
                take_if_dead(part, is_folder=is_folder)


def take_if_dead(part: Path, *, is_folder: bool) -> None:
    """Take a part away, with what SQLite left beside it, if nobody holds it."""
    way = os.O_RDONLY | os.O_DIRECTORY if is_folder else os.O_RDWR
    handle = os.open(part, way | os.O_NOFOLLOW | os.O_CLOEXEC)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        if is_folder:
            take_folder(part)
            return
        for left in with_companions(part):
            left.unlink(missing_ok=True)
    finally:
        os.close(handle)


def with_companions(part: Path) -> list[Path]:
    """What SQLite may have put beside a file, and the file itself last."""
    return [*(Path(f"{part}{suffix}") for suffix in COMPANIONS), part]


def whose(name: str) -> str:
    """The file that a companion stands beside."""
    for suffix in COMPANIONS:
        name = name.removesuffix(suffix)
    return name


def write_whole(content: bytes, target: Path, *, replace: bool = True) -> None:
    """Write a file whole or not at all, or straight to what is no regular file.

    Parameters
    ----------
    content : bytes
        All of it.
    target : Path
        Where to; links are followed.
    replace : bool
        Whether a file that is there already may be replaced.

    Raises
    ------
    FileExistsError
        If there is a file already that may not be replaced.
    OSError
        If it cannot be written.
    """
    if is_special(target):
        # What stands in an open file already is not ours to take away.
        handle = os.open(target, os.O_WRONLY | os.O_APPEND | os.O_CLOEXEC)
        try:
            write_all(handle, content)
        finally:
            os.close(handle)
        return
    place = final_place(target)
    if replace and place.exists() and not can_be_exchanged(place):
        write_over(content, place)
        return
    with part_beside(place) as part:
        part.write_bytes(content)
        put_in_place(part, place, replace)


def can_be_exchanged(place: Path) -> bool:
    """Whether another file can take the place of this one and nobody sees a difference."""
    found = place.stat()
    alone = found.st_nlink == 1 and os.access(place.parent, os.W_OK | os.X_OK)
    ours = found.st_uid == os.geteuid() and found.st_gid == os.getegid()
    return alone and (ours or os.geteuid() == 0) and not has_more(place)


def has_more(place: Path) -> bool:
    """Whether a file carries attributes beyond its mode: access lists, labels."""
    try:
        return bool(os.listxattr(place))
    except OSError:
        return False


def write_over(content: bytes, place: Path) -> None:
    """Write over a file where it stands; all the room is taken before any of it."""
    writable = os.access(place, os.W_OK)
    mode = stat.S_IMODE(place.stat().st_mode)
    if not writable:
        place.chmod(mode | stat.S_IWUSR)
    try:
        handle = os.open(place, os.O_WRONLY | os.O_CLOEXEC)
        try:
            if content:
                os.posix_fallocate(handle, 0, len(content))
            write_all(handle, content)
            os.ftruncate(handle, len(content))
            os.fsync(handle)
        finally:
            os.close(handle)
    finally:
        if not writable:
            place.chmod(mode)


def write_all(handle: int, content: bytes) -> None:
    """Write all of it, however little the system takes at a time."""
    rest = memoryview(content)
    while rest:
        rest = rest[os.write(handle, rest) :]


def put_in_place(part: Path, target: Path, replace: bool) -> None:
    """Give a finished file its name, safely on disk.

    What is replaced hands on its permissions and its owner.

    Raises
    ------
    FileExistsError
        If there is a file of that name and it may not be replaced.
    """
    give_permissions(part, target)
    with part.open("rb") as written:
        os.fsync(written.fileno())
    if replace:
        part.replace(target)
    else:
        try:
            # Unlike a rename, a link fails where somebody else made the file meanwhile.
            os.link(part, target)
        except FileExistsError:
            raise
        except OSError:
            # Some file systems have no links.
            if target.exists():
                raise FileExistsError(str(target)) from None
            part.rename(target)
    flush_folder(target.parent)


def give_permissions(part: Path, target: Path) -> None:
    """Give a file the permissions and the owner of another, or those of a new file."""
    try:
        found = target.stat()
    except FileNotFoundError:
        umask = os.umask(0)
        os.umask(umask)
        part.chmod(0o666 & ~umask)
        return
    with suppress(OSError):
        os.chown(part, found.st_uid, found.st_gid)
    # After the owner: a change of owner may take permissions away.
    part.chmod(stat.S_IMODE(found.st_mode))


def flush_folder(folder: Path) -> None:
    """See that a folder's names are on disk; some file systems cannot."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
