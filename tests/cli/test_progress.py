"""Progress on a terminal: what is done, of how many, and no trace of it afterwards."""

from __future__ import annotations

import io
import re
import sys

import pytest

from melodex.cli.progress import progress_bar


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_a_bar_says_how_far_the_work_is_and_at_what(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    with progress_bar("adding") as bar:
        assert bar is not None
        bar(3, 12, "reed_cutters.abc")
        bar(7.6, 12, "night_ferry.abc")
    shown = terminal.getvalue()
    assert "0/1 " not in shown
    assert re.search(r"adding .* 3/12 .*reed_cutters\.abc.*8/12 .*night_ferry\.abc", shown)


def test_within_one_thing_the_bar_moves_and_its_words_change(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    with progress_bar("adding") as bar:
        assert bar is not None
        bar(0.25, 1, "512 tunes")
        bar(0.75, 1, "1,024 tunes")
        bar(0.75, 1, "1,030 tunes")
        bar(1, 1, "2,000 tunes")
    shown = terminal.getvalue()
    drawn = re.findall(r"\[(#*)-*\].*?(\d/1)  ([\d,]+ tunes)", shown)
    assert [(beside, words) for _, beside, words in drawn] == [
        ("0/1", "512 tunes"),
        ("0/1", "1,024 tunes"),
        ("0/1", "1,030 tunes"),
        ("1/1", "2,000 tunes"),
    ]
    lengths = [len(bar) for bar, _, _ in drawn]
    assert lengths[0] < lengths[1] == lengths[2] < lengths[3]


# ECMA-48: CSI 1 A moves up a line, CSI 2 K clears it.
@pytest.mark.parametrize("error", [None, KeyboardInterrupt])
def test_its_line_is_cleared_at_the_end_or_when_stopped(
    monkeypatch: pytest.MonkeyPatch, error: type[BaseException] | None
) -> None:
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    try:
        with progress_bar("checking") as bar:
            assert bar is not None
            bar(1, 2)
            if error:
                raise error
    except KeyboardInterrupt:
        pass
    assert terminal.getvalue().endswith("\n\x1b[1A\x1b[2K")
    assert terminal.getvalue().count("\n") == 1


def test_nothing_is_shown_where_nobody_watches(monkeypatch: pytest.MonkeyPatch) -> None:
    shown = io.StringIO()
    monkeypatch.setattr(sys, "stderr", shown)
    with progress_bar("adding") as bar:
        assert bar is None
    assert shown.getvalue() == ""
