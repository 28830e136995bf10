"""Work dealt out to processes of this machine, ended, kept and gone on with."""

from __future__ import annotations

import os
import signal
from pathlib import Path

import pytest

from melodex.errors import WorkersError
from melodex.matching.dealing import exchange as exchanged
from melodex.matching.dealing.dealer import Here, Kept, Processes, dealt_by
from melodex.matching.dealing.exchange import Exchange, shared_figures_dealt
from melodex.matching.evidence.kinship import shared_figures


def doubled(number: int) -> int:
    return 2 * number


def ends_once(job: tuple[str, int]) -> int:
    """End the process that is at the third piece of work, the first time."""
    folder, number = job
    mark = Path(folder) / "ended"
    if number == 3 and not mark.exists():
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return number


def ends_always(number: int) -> int:
    os.kill(os.getpid(), signal.SIGKILL)
    return number


@pytest.fixture
def two() -> Processes:
    return Processes(2)


def test_results_come_in_order_and_progress_is_told(two: Processes) -> None:
    told: list[tuple[int, int]] = []
    try:
        found = two.deal(doubled, range(20), lambda *said: told.append(said))
    finally:
        two.close()
    assert found == [2 * number for number in range(20)]
    assert told == [(done, 20) for done in range(1, 21)]


def test_a_process_that_ends_is_replaced_and_its_work_done_again(
    two: Processes, tmp_path: Path
) -> None:
    try:
        found = two.deal(ends_once, [(str(tmp_path), number) for number in range(8)])
    finally:
        two.close()
    assert found == list(range(8))
    assert (tmp_path / "ended").exists()


def test_work_that_ends_every_process_is_given_up_in_one_sentence(two: Processes) -> None:
    try:
        with pytest.raises(WorkersError, match="processes ended 4 times"):
            two.deal(ends_always, [1])
    finally:
        two.close()


def test_what_was_kept_is_not_done_twice(tmp_path: Path) -> None:
    asked: list[int] = []

    class Noted(Here):
        def deal(self, work, items, progress=None, done=None):
            asked.extend(items)
            return super().deal(work, items, progress, done)

    def stop(done: int, total: int) -> None:
        if done == 3:
            raise KeyboardInterrupt

    kept = Kept(Noted(), tmp_path, "test")
    with pytest.raises(KeyboardInterrupt):
        kept.deal(doubled, range(6), stop)
    assert len(list(tmp_path.iterdir())) == 3
    asked.clear()
    assert kept.deal(doubled, range(6)) == [0, 2, 4, 6, 8, 10]
    assert asked == [3, 4, 5]


def test_a_cluster_and_processes_are_not_both_taken() -> None:
    with pytest.raises(WorkersError, match="both asked for"), dealt_by(2, "tcp://x:1"):
        pass


def tunes_by_dice(count: int) -> list[bytes]:
    import random

    dice = random.Random(5)
    pool = [bytes(dice.choice((1, 2, 255, 254, 3)) for _ in range(30)) for _ in range(60)]
    found = []
    for _ in range(count):
        one, other = dice.choice(pool), dice.choice(pool)
        cut = dice.randrange(30)
        found.append(one[:cut] + other[: dice.randrange(30)])
    return found


@pytest.mark.parametrize("most", [20_000_000, 5_000, 300, 1])
@pytest.mark.parametrize("fewest", [1, 3])
def test_figures_exchanged_give_the_pairs_of_one_pass(
    most: int, fewest: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Also where there is not room for all pairs: the rarest figures go first."""
    from melodex.matching.evidence import kinship

    monkeypatch.setattr(kinship, "MOST_PAIRS", most)
    monkeypatch.setattr(exchanged, "MOST_PAIRS", most)
    monkeypatch.setattr(exchanged, "TUNES_AT_ONCE", 37)
    monkeypatch.setattr(exchanged, "FIGURES_AT_ONCE", 500)
    tunes = tunes_by_dice(300)
    expected = shared_figures(tunes, fewest=fewest)
    assert expected or most == 1
    for _ in range(2):
        found = shared_figures_dealt(tunes, Exchange(Here(), tmp_path), fewest=fewest)
        assert found == expected
    assert shared_figures_dealt([], Exchange(Here(), tmp_path)) == []
