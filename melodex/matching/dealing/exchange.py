"""Kinship dealt out: pairs of tunes that share rare figures, exchanged by figure.

Conventions: the pairs and counts are those of
:func:`melodex.matching.evidence.kinship.shared_figures`, whoever works them out. It takes
four rounds. First the figures of some tunes each are worked out and written in order,
with the tunes that hold them. Then each piece of work takes one range of figures from all
of these files, so that equal figures meet, and writes the pairs that they suggest. When it
is known how many figures of each number of tunes there are, pairs are counted in each
range, the rarest first, for as long as there is room. Last, each piece of work takes the
pairs of some tunes from all ranges, so that equal pairs meet, and tells those that share
enough. So no worker holds more than a slice of the tunes, a range of the figures or a range
of the pairs, and whoever asks puts results end to end.

Files are put in place whole, in a folder that every worker sees. What is there from before
is not done again.

Contents: Exchange, work_folder, shared_figures_by, shared_figures_dealt, name_of_work.
"""

from __future__ import annotations

import hashlib
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

from melodex import __version__
from melodex.errors import REMEDIES, WorkersError
from melodex.files import write_whole
from melodex.matching.dealing.dealer import unreadable
from melodex.matching.evidence.kinship import (
    COMMON_TUNES,
    MOST_PAIRS,
    Progress,
    SharedFigures,
    as_shared,
    figures_in_order,
    numbered_pairs,
    shared_figures,
    sharing_enough,
)

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from melodex.matching.dealing.dealer import Dealer

__all__ = [
    "Exchange",
    "name_of_work",
    "shared_figures_by",
    "shared_figures_dealt",
    "work_folder",
]

TUNES_AT_ONCE = 10_000
"""Of one slice: their figures take about 11 MB."""

FIGURES_AT_ONCE = 2_000_000
"""Of one range, about: in order, with their pairs, they take some 100 MB."""

Slice = tuple[str, int, int, list[bytes]]
"""Folder, number of the slice, place of its first tune, and steps of its tunes."""
Range = tuple[str, int, str, int | None, int | None, int]
"""Folder, slices, name of the range, first figure, figure after the last, tunes."""
Counted = tuple[str, str, list[int]]
"""Folder, name of the range, and how many figures of each number of tunes are taken."""
Summed = tuple[str, int, list[str], int, int, int, int]
"""Folder, slices, names of the ranges, tunes, first pair, pair after the last, and the
fewest figures that are enough."""


@dataclass(frozen=True, slots=True)
class Exchange:
    """Who works, and the folder in which figures are exchanged."""

    dealer: Dealer
    folder: Path


def work_folder(path: Path) -> Path:
    """A folder in which what is done is kept, made if it is not there; its whole path.

    Raises
    ------
    WorkersError
        If it cannot be made.
    """
    folder = path.absolute()
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise WorkersError(
            f"the folder for the work cannot be made: {error.strerror}",
            where=str(folder),
            hint=REMEDIES["other folder for work"],
        ) from error
    return folder


def shared_figures_by(
    exchange: Exchange | None,
    tunes: Sequence[bytes],
    *,
    fewest: int = 1,
    progress: Progress | None = None,
) -> list[SharedFigures]:
    """Count the rare figures that each two tunes share, by whoever works, or here."""
    if exchange is None:
        return shared_figures(tunes, fewest=fewest, progress=progress)
    return shared_figures_dealt(tunes, exchange, fewest=fewest, progress=progress)


def shared_figures_dealt(
    tunes: Sequence[bytes],
    exchange: Exchange,
    *,
    fewest: int = 1,
    progress: Progress | None = None,
) -> list[SharedFigures]:
    """Count the rare figures that each two tunes share, by whoever works.

    Parameters
    ----------
    tunes : sequence of bytes
        Steps of each.
    exchange : Exchange
        Who works, and where.
    fewest : int
        Pairs that share fewer, and have more that they could share, are left out.
    progress : callable, optional
        Called with pieces of work done and of all, in each round anew.
    """
    import numpy as np

    settings = TUNES_AT_ONCE, FIGURES_AT_ONCE, MOST_PAIRS
    folder = exchange.folder / f"figures-{name_of_work(tunes, *settings)}"
    folder.mkdir(parents=True, exist_ok=True)
    deal = exchange.dealer.deal
    starts = range(0, len(tunes), TUNES_AT_ONCE)
    slices: list[Slice] = [
        (str(folder), number, first, list(tunes[first : first + TUNES_AT_ONCE]))
        for number, first in enumerate(starts)
    ]
    held = deal(figures_of_slice, slices, progress)
    figures = sum(held)
    if not figures:
        return []
    wanted = max(-(-figures // FIGURES_AT_ONCE), 2 * exchange.dealer.workers)
    edges: list[int | None] = [None, *bounds_of(folder, len(slices), wanted), None]
    ranges: list[Range] = [
        (str(folder), len(slices), f"{wanted}-{number}", low, high, len(tunes))
        for number, (low, high) in enumerate(pairwise(edges))
    ]
    sizes = np.asarray(deal(pairs_of_range, ranges, progress), np.int64)
    jobs: list[Counted] = [
        (str(folder), job[2], taken)
        for job, taken in zip(ranges, taken_of(sizes), strict=True)
    ]
    deal(counted_pairs, jobs, progress)
    names = [job[2] for job in ranges]
    last: list[Summed] = [
        (str(folder), len(slices), names, len(tunes), low, high, fewest)
        for low, high in pairwise(pair_bounds(len(tunes), len(ranges)))
    ]
    told = deal(summed_pairs, last, progress)
    pairs = np.concatenate([np.frombuffer(each, np.int64) for each, _ in told])
    counts = np.concatenate([np.frombuffer(each, np.int64) for _, each in told])
    return as_shared(pairs, counts, len(tunes))


def name_of_work(tunes: Sequence[bytes], *settings: float) -> str:
    """What tells this work from work on other tunes, in other pieces or otherwise set."""
    # Another version may find other figures in the same tunes.
    digest = hashlib.sha256(" ".join(map(str, (__version__, *settings))).encode())
    for steps in tunes:
        digest.update(len(steps).to_bytes(8, "little") + steps)
    return digest.hexdigest()[:16]


def figures_of_slice(job: Slice) -> int:
    """The figures of some tunes in order, with who holds them; how many there are."""
    import numpy as np

    folder, number, first, tunes = job
    place = Path(folder)
    names = [place / f"{kind}-{number}.npy" for kind in ("sizes", "holders", "figures")]
    if names[-1].exists():
        return len(read(names[-1]))
    figures, holders = figures_in_order(tunes, first)
    sizes = np.bincount(holders - first, minlength=len(tunes)).astype(np.int64)
    for name, column in zip(names, (sizes, holders, figures), strict=True):
        write(name, column)
    return len(figures)


def bounds_of(folder: Path, slices: int, wanted: int) -> list[int]:
    """Figures at which ranges of about one size begin, going by the largest slice."""
    largest = max((read(folder / f"figures-{n}.npy") for n in range(slices)), key=len)
    step = max(len(largest) // wanted, 1)
    bounds = sorted({int(largest[at]) for at in range(step, len(largest), step)})
    return bounds[: wanted - 1]


def pairs_of_range(job: Range) -> list[int]:
    """Write the pairs of one range; how many figures each number of tunes holds."""
    import numpy as np

    folder, slices, range_name, low, high, tunes = job
    place = Path(folder)
    name, told = place / f"pairs-{range_name}.npy", place / f"groups-{range_name}.npy"
    if not name.exists():
        parts = [part_of(place, each, low, high) for each in range(slices)]
        figures = np.concatenate([figures for figures, _ in parts])
        holders = np.concatenate([holders for _, holders in parts])
        groups = np.zeros(COMMON_TUNES + 1, np.int64)
        pairs = [np.zeros(0, np.int64)]
        for size, count, found in numbered_pairs(figures, holders, tunes, MOST_PAIRS):
            groups[size] = count
            pairs.append(found)
        write(told, groups)
        write(name, np.concatenate(pairs))
    held: list[int] = read(told).tolist()
    return held


def part_of(
    folder: Path, number: int, low: int | None, high: int | None
) -> tuple[NDArray[np.uint64], NDArray[np.int64]]:
    """What one slice has in a range of figures, and who holds it."""
    import numpy as np

    figures = read(folder / f"figures-{number}.npy")
    start = 0 if low is None else int(np.searchsorted(figures, np.uint64(low)))
    end = len(figures) if high is None else int(np.searchsorted(figures, np.uint64(high)))
    holders = read(folder / f"holders-{number}.npy")
    return np.asarray(figures[start:end]), np.asarray(holders[start:end])


def taken_of(sizes: NDArray[np.int64]) -> Iterator[list[int]]:
    """For each range how many figures of each number of tunes there is room for.

    Parameters
    ----------
    sizes : ndarray of shape (ranges, COMMON_TUNES + 1)
        How many figures of each range so many tunes hold; ranges are in order of figures.
    """
    import numpy as np

    taken = np.zeros_like(sizes)
    room = MOST_PAIRS
    for size in range(2, sizes.shape[1]):
        each = size * (size - 1) // 2
        left = np.maximum(room // each - np.r_[0, np.cumsum(sizes[:, size])[:-1]], 0)
        taken[:, size] = np.minimum(sizes[:, size], left)
        room -= each * int(taken[:, size].sum())
    yield from taken.tolist()


def counted_pairs(job: Counted) -> None:
    """Write the pairs of one range that there is room for, and how often each stands."""
    import numpy as np

    folder, name, taken = job
    place = Path(folder)
    names = [place / f"{kind}-{name}.npy" for kind in ("counts", "counted")]
    if names[-1].exists():
        return
    pairs = read(place / f"pairs-{name}.npy")
    groups = read(place / f"groups-{name}.npy")
    parts, start = [np.zeros(0, np.int64)], 0
    for size in range(2, len(groups)):
        each = size * (size - 1) // 2
        parts.append(np.asarray(pairs[start : start + each * taken[size]]))
        start += each * int(groups[size])
    found, counts = np.unique(np.concatenate(parts), return_counts=True)
    for written, column in zip(names, (counts, found), strict=True):
        write(written, column)


def pair_bounds(tunes: int, wanted: int) -> list[int]:
    """Pairs at which ranges begin that hold about as many pairs of tunes each.

    Of n tunes the first x are the lower one of n²(1 - (1 - x/n)²)/2 pairs.
    """
    firsts = (int(tunes * (1 - (1 - at / wanted) ** 0.5)) for at in range(1, wanted))
    return [0, *(first * tunes for first in firsts), tunes * tunes]


def summed_pairs(job: Summed) -> tuple[bytes, bytes]:
    """The pairs of some tunes that share enough, in order, and how much each shares."""
    import numpy as np

    folder, slices, names, tunes, low, high, fewest = job
    place = Path(folder)
    pairs, counts = [np.zeros(0, np.int64)], [np.zeros(0, np.int64)]
    for name in names:
        found = read(place / f"counted-{name}.npy")
        part = slice(*(int(np.searchsorted(found, edge)) for edge in (low, high)))
        pairs.append(np.asarray(found[part]))
        counts.append(np.asarray(read(place / f"counts-{name}.npy")[part]))
    everything = np.concatenate(pairs)
    # Each range is in order, which a stable sort makes use of.
    order = np.argsort(everything, kind="stable")
    everything = everything[order]
    starts = np.flatnonzero(np.r_[True, everything[1:] != everything[:-1]])
    if not len(everything):
        return b"", b""
    totals = np.add.reduceat(np.concatenate(counts)[order], starts)
    sizes = np.concatenate([read(place / f"sizes-{n}.npy") for n in range(slices)])
    assert len(sizes) == tunes
    enough = sharing_enough(everything[starts], totals, sizes, fewest)
    return enough[0].tobytes(), enough[1].tobytes()


def write(name: Path, column: NDArray[np.integer[Any]]) -> None:
    """Write numbers to a file, whole or not at all."""
    import numpy as np

    kept = io.BytesIO()
    np.save(kept, column, allow_pickle=False)
    write_whole(kept.getvalue(), name)


def read(name: Path) -> NDArray[np.int64]:
    """Numbers of a file, of which only what is asked for is read."""
    import numpy as np

    try:
        found: NDArray[np.int64] = np.load(name, mmap_mode="r", allow_pickle=False)
    except (ValueError, EOFError) as error:
        raise unreadable(name) from error
    return found
